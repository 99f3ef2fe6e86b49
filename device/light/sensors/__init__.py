"""What the light guard is told of the ring: LED temperature, supply, cover, distance.

The kernel owns the buses, and gives each sensor as a file with a number in it (``kernel_file``; ``thermistor`` makes a temperature
of a voltage). ``fitted`` puts together what the settings name, ``simulated`` the rehearsal's. They are read in a process of
their own (``__main__``), a thread each, so that a bus that hangs holds up nobody; ``link`` is the guard's end of it.
Why so: ``DECISION-sensors.md``.
"""

from typing import Final, Literal

SensorName = Literal["LED temperature", "supply", "cover", "distance"]

NAMES: Final[tuple[SensorName, ...]] = ("LED temperature", "supply", "cover", "distance")
"""Their values: degrees Celsius; volts, or 1 for an undervoltage alarm; 1 for closed; millimetres."""
