"""What runs on the handheld: camera, light, controls, live path, recorder, export, daemon and command line."""
