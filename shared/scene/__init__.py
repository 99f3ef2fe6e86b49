"""Physics of the simulated device; a scene file's numbers are the truth that analysis is checked against."""
