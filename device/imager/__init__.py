"""The imager process: takes frames from the camera, renews the light's lease, records, and draws the live picture."""
