"""Recordings as files that other software opens."""
