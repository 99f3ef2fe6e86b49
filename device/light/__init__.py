"""The light guard: the one process that owns the ring. Off is its default; on is a lease that each verified frame renews.

What happens to a message: ``loop`` receives it, ``guard`` takes it in, ``lease`` judges a frame, ``conditions`` say what is
missing, ``states`` decide, ``lamp`` obeys through ``pwm`` and ``pins`` (or ``simulated``). ``link`` is the imager's end.
Standard library and gpiozero only.
"""
