"""The 40-pin header: what each pin is, and where a GPIO comes out. From memory: hold it against the board's own print."""

from types import MappingProxyType
from typing import Final

_ROWS = """
3.3 V    5 V
GPIO 2   5 V
GPIO 3   GND
GPIO 4   GPIO 14
GND      GPIO 15
GPIO 17  GPIO 18
GPIO 27  GND
GPIO 22  GPIO 23
3.3 V    GPIO 24
GPIO 10  GND
GPIO 9   GPIO 25
GPIO 11  GPIO 8
GND      GPIO 7
GPIO 0   GPIO 1
GPIO 5   GND
GPIO 6   GPIO 12
GPIO 13  GND
GPIO 19  GPIO 16
GPIO 26  GPIO 20
GND      GPIO 21
"""

LABELS: Final = MappingProxyType(
    {
        2 * row + column: label.strip()
        for row, line in enumerate(_ROWS.strip().splitlines())
        for column, label in ((1, line[:9]), (2, line[9:]))
    }
)
"""Header pin, 1 to 40 -> what it is. Odd pins are the column of pin 1."""

BY_GPIO: Final = MappingProxyType(
    {int(label.split()[1]): pin for pin, label in LABELS.items() if label.startswith("GPIO")}
)
"""GPIO -> header pin."""
