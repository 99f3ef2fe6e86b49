"""The light guard: alone owns the ring's enable and PWM."""
