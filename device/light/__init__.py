"""The light guard: the one process that owns the ring. Off is its default; on is a lease that each verified frame renews.

What happens to a message: ``loop`` receives it, ``guard`` takes it in, ``lease`` judges a frame, ``sensed`` a sensor's value,
``on_time`` and ``allowance`` keep account of light given, ``conditions`` say what is missing, ``states`` decide, ``lamp`` obeys
through ``pwm`` and ``pins`` (or ``simulated``). ``sensors`` are read in a process of their own; ``link`` is the imager's end.
Standard library and gpiozero only.
"""
