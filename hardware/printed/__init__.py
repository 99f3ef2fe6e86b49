"""Printed parts: OpenSCAD sources, and what renders them."""
