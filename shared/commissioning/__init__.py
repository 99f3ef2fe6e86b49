"""What commissioning finds out about one camera, ring and lens, from frames to figures. Pure; one step a file."""
