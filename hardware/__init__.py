"""What one builds. The installed program takes only the pin map and the ring from here."""
