"""``python -m hardware.wiring FILE``: the wiring diagram, drawn from the pin map, the header and the ring.

Wires leave the header on their pin's side; those of the right column that end on the left go below the header. A pin of the map
that no box here expects is refused, so that the drawing cannot forget one.
"""

import argparse
import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

from hardware.header import BY_GPIO, LABELS
from hardware.parts import RING
from shared.errors import Refused
from shared.optics.ring import read_ring
from shared.pins import Pin, PinMap, board_pins

WIDTH, HEIGHT = 1400, 1010
HEADER_LEFT, HEADER_RIGHT, HEADER_TOP, PITCH = 716, 744, 110, 34
BOX_WIDTH, LEFT_EDGE, RIGHT_EDGE = 430, 60, 960
PORT_PITCH = 30

COLOURS = {
    "output": "#c2410c",
    "input": "#1d4ed8",
    "pwm": "#a21caf",
    "i2c data": "#15803d",
    "i2c clock": "#15803d",
    "1-wire": "#6d28d9",
    "spi select": "#0e7490",
    "spi data in": "#0e7490",
    "spi data out": "#0e7490",
    "spi clock": "#0e7490",
}
KINDS = {
    "output": "output",
    "input": "input",
    "pwm": "hardware PWM",
    "i2c data": "I2C",
    "1-wire": "1-wire",
    "spi clock": "SPI",
}


@dataclass(frozen=True)
class Box:
    """One part: its title, words below it, and the pins that end there in order; ``left`` of the header or right; ``top`` in px."""

    title: str
    words: tuple[str, ...]
    pins: tuple[str, ...]
    left: bool
    top: int
    height: int

    @property
    def edge(self) -> int:
        """Where wires end, from the left."""
        return LEFT_EDGE + BOX_WIDTH if self.left else RIGHT_EDGE

    def port_y(self, name: str) -> int:
        """Height of a pin's port, from the top."""
        return self.top + 46 + self.pins.index(name) * PORT_PITCH


BOXES = (
    Box(
        "Distance sensor, battery gauge (optional)",
        ("3.3 V from pin 1, ground to pin 9", "both on the same two wires"),
        ("i2c_data", "i2c_clock"),
        True,
        62,
        94,
    ),
    Box(
        "Thermometer on the heat sink",
        ("3.3 V from pin 1, ground to pin 9", "4.7 kΩ from data to 3.3 V"),
        ("thermometer",),
        True,
        168,
        80,
    ),
    Box("Ring driver with dead-man", (), ("ring_enable", "heartbeat", "ring_dimming"), True, 260, 234),
    Box(
        "Light monitor (optional)",
        ("photodiode and converter", "3.3 V from pin 17, ground to pin 25"),
        ("adc_data_out", "adc_data_in", "adc_clock", "adc_select"),
        True,
        582,
        152,
    ),
    Box(
        "Switch of the ring's cover (optional)", ("other contact to ground, pin 39",), ("cover_switch",), True, 746, 64
    ),
    Box(
        "Camera",
        ("ribbon to the camera connector", "optional, by 1.8 V level shifters"),
        ("camera_trigger", "camera_strobe"),
        False,
        320,
        94,
    ),
    Box("Status LED (optional)", ("through 1 kΩ, to ground, pin 20",), ("status_led",), False, 426, 64),
    Box("Button", ("under the index finger", "other contact to ground, pin 34"), ("button",), False, 506, 84),
)


def drawing(pins: PinMap, leds: int) -> str:
    """The SVG text; raises Refused for a pin that no box expects."""
    placed = {name for box in BOXES for name in box.pins}
    for pin in pins.pin:
        if pin.name not in placed:
            raise Refused(
                "the wiring diagram has no place for the pin", pin.name, "add it to a box in hardware/wiring.py"
            )
    body = [*_title(), *_header(pins), *_wires(pins), *(line for box in BOXES for line in _box(box, pins))]
    body += [*_driver(leds), *_power(), *_legend()]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="DejaVu Sans, sans-serif">',
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
            *body,
            "</svg>\n",
        ]
    )


def _text(x: float, y: float, words: str, size: int = 14, anchor: str = "start", more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="{anchor}"{more}>{escape(words)}</text>'


def _line(points: list[tuple[float, float]], colour: str, more: str = "") -> str:
    path = " ".join(f"{x:g},{y:g}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2.5"{more}/>'


def _title() -> Iterator[str]:
    yield _text(LEFT_EDGE, 40, "Wiring of the handheld", 24, more=' font-weight="bold"')
    yield _text(WIDTH - 40, 40, "made from hardware/pins.toml; not yet built or measured", 14, "end")


def _pin_y(header_pin: int) -> int:
    return HEADER_TOP + (header_pin - 1) // 2 * PITCH


def _header(pins: PinMap) -> Iterator[str]:
    by_header = {BY_GPIO[pin.gpio]: pin for pin in pins.pin}
    height = 19 * PITCH + 44
    yield f'<rect x="{HEADER_LEFT - 22}" y="{HEADER_TOP - 22}" width="72" height="{height}" rx="6" fill="#1f2937"/>'
    yield _text((HEADER_LEFT + HEADER_RIGHT) / 2, HEADER_TOP - 48, "40-pin header, from above", 14, "middle")
    yield _text((HEADER_LEFT + HEADER_RIGHT) / 2, HEADER_TOP - 30, "pin 1 is the square one", 12, "middle")
    for number, label in LABELS.items():
        left, y = number % 2 == 1, _pin_y(number)
        x = HEADER_LEFT if left else HEADER_RIGHT
        pin = by_header.get(number)
        fill = (
            COLOURS[pin.function]
            if pin
            else {"GND": "#6b7280", "3.3 V": "#facc15", "5 V": "#ef4444"}.get(label, "#e5e7eb")
        )
        dark = pin is not None or label in ("GND", "5 V")
        if number == 1:
            yield f'<rect x="{x - 12}" y="{y - 12}" width="24" height="24" fill="{fill}"/>'
        else:
            yield f'<circle cx="{x}" cy="{y}" r="12" fill="{fill}"/>'
        yield _text(x, y + 4, str(number), 11, "middle", f' fill="{"white" if dark else "black"}"')
        weight = ' font-weight="bold"' if pin else ' fill="#4b5563"'
        yield _text(x - 32 if left else x + 32, y + 5, label, 13, "end" if left else "start", weight)


def _wires(pins: PinMap) -> Iterator[str]:
    wires = [Wire(box, pins[name]) for box in BOXES for name in box.pins]
    round_below = [wire for wire in wires if wire.from_left != wire.box.left]
    for left in (True, False):
        direct = [wire for wire in wires if wire.from_left == wire.box.left == left]
        # Wires that go up take lanes outwards from top to bottom, those that go down from bottom to top: so none of them cross.
        up = [wire for wire in direct if wire.end_y <= wire.start_y]
        down = sorted((wire for wire in direct if wire.end_y > wire.start_y), key=lambda wire: -wire.start_y)
        for group in (up, down):
            for lane, wire in enumerate(group, start=len(round_below)):
                x = _lane(left, lane)
                yield wire.drawn([(x, wire.start_y), (x, wire.end_y)])
    for lane, wire in enumerate(round_below):
        near, far, below = _lane(wire.from_left, lane), _lane(wire.box.left, lane), _pin_y(40) + 46 + 12 * lane
        yield wire.drawn([(near, wire.start_y), (near, below), (far, below), (far, wire.end_y)])


def _lane(left: bool, number: int) -> float:
    return HEADER_LEFT - 106 - 9 * number if left else HEADER_RIGHT + 106 + 9 * number


@dataclass(frozen=True)
class Wire:
    """One wire from the header to a box."""

    box: Box
    pin: Pin

    @property
    def header_pin(self) -> int:
        """Where it leaves."""
        return BY_GPIO[self.pin.gpio]

    @property
    def from_left(self) -> bool:
        """Whether it leaves on the side of pin 1."""
        return self.header_pin % 2 == 1

    @property
    def start_y(self) -> float:
        """Height at the header."""
        return _pin_y(self.header_pin)

    @property
    def end_y(self) -> float:
        """Height at the box."""
        return self.box.port_y(self.pin.name)

    def drawn(self, between: list[tuple[float, float]]) -> str:
        """The line by way of the points between."""
        start = (HEADER_LEFT - 94 if self.from_left else HEADER_RIGHT + 94, self.start_y)
        more = ' stroke-dasharray="7 4"' if self.pin.optional else ""
        more += f' id="wire-{self.pin.name}" data-gpio="{self.pin.gpio}" data-header-pin="{self.header_pin}"'
        return _line([start, *between, (self.box.edge, self.end_y)], COLOURS[self.pin.function], more)


def _box(box: Box, pins: PinMap) -> Iterator[str]:
    x = LEFT_EDGE if box.left else RIGHT_EDGE
    yield f'<rect x="{x}" y="{box.top}" width="{BOX_WIDTH}" height="{box.height}" rx="8" fill="#f8fafc" stroke="#334155"/>'
    text_x = x + 14 if box.left else x + 190
    yield _text(text_x, box.top + 24, box.title, 15, more=' font-weight="bold"')
    for row, words in enumerate(box.words):
        yield _text(text_x, box.top + 46 + row * 20, words, 13)
    for name in box.pins:
        port_x = box.edge - 10 if box.left else box.edge + 10
        anchor = "end" if box.left else "start"
        yield _text(port_x, box.port_y(name) + 5, _port(pins[name]), 13, anchor, f' id="port-{name}"')


def _port(pin: Pin) -> str:
    pull = f", pull-{pin.pull}" if pin.pull != "none" else ""
    short = pin.name.split("_", 1)[1] if pin.name.startswith(("adc_", "i2c_", "camera_", "ring_")) else pin.name
    return f"{short.replace('_', ' ')}{pull}"


def _driver(leds: int) -> Iterator[str]:
    """Inside of the driver's box, and the ring."""
    box = next(box for box in BOXES if "heartbeat" in box.pins)
    top = box.top
    for row, words in enumerate(
        (
            "light = enable and pulses and dead-man",
            "the dead-man, twice, is alive only",
            "while edges of the heartbeat come",
            "pull-downs of 4.7 kΩ on all three",
            "ground to pin 14, beside the signals",
            "circuits/ has the drawing",
        )
    ):
        yield _text(LEFT_EDGE + 14, top + 48 + row * 20, words, 13)
    middle_x, middle_y, radius = LEFT_EDGE + 352, top + 176, 40
    yield f'<circle cx="{middle_x}" cy="{middle_y}" r="{radius + 14}" fill="#111827"/>'
    yield f'<circle cx="{middle_x}" cy="{middle_y}" r="{radius - 16}" fill="white"/>'
    for index in range(leds):
        angle = 2 * math.pi * index / leds
        x, y = middle_x + radius * math.cos(angle), middle_y + radius * math.sin(angle)
        yield f'<circle class="led" cx="{x:.1f}" cy="{y:.1f}" r="6" fill="#fca5a5"/>'
    yield _text(middle_x, middle_y + 5, "ring", 13, "middle")
    yield _text(LEFT_EDGE + 14, top + 190, f"{leds} LEDs, {leds // 2} strings of two,", 13)
    yield _text(LEFT_EDGE + 14, top + 210, "a wire pair a string", 13)


def _power() -> Iterator[str]:
    driver = next(box for box in BOXES if "heartbeat" in box.pins)
    top, red = 850, "#dc2626"
    yield f'<rect x="{LEFT_EDGE}" y="{top}" width="{BOX_WIDTH}" height="92" rx="8" fill="#f8fafc" stroke="#334155"/>'
    yield _text(LEFT_EDGE + 14, top + 24, "Power bank, one 5 V output", 15, more=' font-weight="bold"')
    yield _text(LEFT_EDGE + 14, top + 48, "split to the board, through its USB-C socket,", 13)
    yield _text(LEFT_EDGE + 14, top + 70, "and to the ring driver, through its fuse", 13)
    yield _line([(LEFT_EDGE, top + 66), (30, top + 66), (30, driver.top + 200), (LEFT_EDGE, driver.top + 200)], red)
    yield _text(36, driver.top + 194, "5 V", 12)
    header_foot = _pin_y(40) + 22
    middle = (HEADER_LEFT + HEADER_RIGHT) / 2
    yield f'<rect x="{middle - 60}" y="{top}" width="120" height="60" rx="8" fill="#e2e8f0" stroke="#334155"/>'
    yield _text(middle, top + 26, "board", 14, "middle", ' font-weight="bold"')
    yield _text(middle, top + 46, "USB-C, 5 V", 13, "middle")
    yield _line([(LEFT_EDGE + BOX_WIDTH, top + 44), (middle - 60, top + 44)], red)
    yield _line([(middle, header_foot), (middle, top)], "#94a3b8", ' stroke-dasharray="2 4"')


def _legend() -> Iterator[str]:
    x, y = RIGHT_EDGE, 644
    yield _text(x, y, "Wires", 15, more=' font-weight="bold"')
    for row, (function, words) in enumerate(KINDS.items()):
        yield _line([(x, y + 20 + row * 22), (x + 40, y + 20 + row * 22)], COLOURS[function])
        yield _text(x + 50, y + 25 + row * 22, words, 13)
    yield _line([(x, y + 156), (x + 40, y + 156)], "#111827", ' stroke-dasharray="7 4"')
    yield _text(x + 50, y + 161, "optional", 13)
    for row, words in enumerate(
        (
            "Before power: measure each pull-down, and that 5 V and ground",
            "are nowhere swapped or joined. The pins take 3.3 V, never 5 V.",
            "First power: ring covered, goggles on. Its light is invisible.",
            "Work on a powered board only as your local rules allow.",
        )
    ):
        yield _text(x, y + 210 + row * 21, words, 13)


def main(arguments: list[str] | None = None) -> int:
    """Write the drawing; exit 2 with one line where that is not possible."""
    parser = argparse.ArgumentParser(prog="python -m hardware.wiring", description="Wiring diagram from the pin map.")
    parser.add_argument("file", type=Path, help="SVG file to write")
    try:
        target = parser.parse_args(arguments).file
        target.write_text(drawing(board_pins(), read_ring(RING).leds), encoding="utf-8")
    except Refused as refused:
        print(refused.line, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
