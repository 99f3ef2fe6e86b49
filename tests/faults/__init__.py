"""Trying to break the light: random faults on the real processes, and how long the ring shone afterwards.

What happens in a trial: ``trial`` draws one fault or two from ``catalogue``, brings up a ``Bench`` (guard and an imager reduced
to its link, under a parent that acts as systemd would) or a ``House`` (all processes of the demo), lights the ring under a held
finger, strikes, and reads from the ring's own record (``ring_watch``) when the dark came and whether it stayed. ``distribution``
makes the table. The processes are the real ones; ``odd_guard`` and ``odd_imager`` only put a clock, pins or a camera under them
that go wrong when ``orders`` says so.
"""
