"""What one builds: pins, ring, parts, circuits, printed parts, budgets. The installed program reads only the pin map of it."""
