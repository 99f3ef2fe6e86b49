"""Measuring what this handheld's own camera and ring do, with a running device; one step a file."""
