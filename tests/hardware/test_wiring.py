"""The wiring diagram says what the pin map says, and the committed drawing is the one the map gives."""

import itertools
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import pytest

import hardware
from hardware.header import BY_GPIO, LABELS
from hardware.wiring import COLOURS, drawing
from shared.errors import Refused
from shared.pins import PinMap, board_pins

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def svg() -> ElementTree.Element:
    return ElementTree.fromstring(drawing(board_pins(), leds=8))


def test_the_header_has_the_pins_of_the_standard_one():
    """40 pins: 28 GPIO of which 0 and 1 serve add-on boards, 8 grounds, 2 of 5 V, 2 of 3.3 V; from memory."""
    assert sorted(LABELS) == list(range(1, 41))
    assert sorted(BY_GPIO) == list(range(28))
    labels = list(LABELS.values())
    assert [labels.count(word) for word in ("GND", "5 V", "3.3 V")] == [8, 2, 2]
    assert (LABELS[1], LABELS[2], LABELS[6], LABELS[39]) == ("3.3 V", "5 V", "GND", "GND")


@pytest.mark.parametrize("name", [pin.name for pin in board_pins().pin])
def test_every_pin_of_the_map_is_wired_from_its_own_place_on_the_header(svg, name):
    pin = board_pins()[name]
    (wire,) = [line for line in svg.iter(f"{SVG}polyline") if line.get("id") == f"wire-{name}"]
    assert wire.get("data-gpio") == str(pin.gpio)
    assert wire.get("data-header-pin") == str(BY_GPIO[pin.gpio])
    assert wire.get("stroke") == COLOURS[pin.function]
    assert (wire.get("stroke-dasharray") is not None) == pin.optional
    start_y = float(wire.get("points").split()[0].split(",")[1])
    numbers = {text.text: float(text.get("y")) for text in svg.iter(f"{SVG}text") if text.get("font-size") == "11"}
    assert start_y == numbers[str(BY_GPIO[pin.gpio])] - 4, "the wire leaves beside another pin"
    assert [text for text in svg.iter(f"{SVG}text") if text.get("id") == f"port-{name}"]


def test_all_forty_pins_are_drawn(svg):
    drawn = {text.text for text in svg.iter(f"{SVG}text") if text.get("font-size") == "11"}
    assert drawn == {str(number) for number in range(1, 41)}


def test_no_two_wires_share_a_line(svg):
    upright = set()
    for line in svg.iter(f"{SVG}polyline"):
        if (line.get("id") or "").startswith("wire-"):
            points = [tuple(map(float, point.split(","))) for point in line.get("points").split()]
            for (x1, y1), (x2, y2) in itertools.pairwise(points):
                if x1 == x2 and y1 != y2:
                    for other_x, low, high in upright:
                        assert other_x != x1 or max(y1, y2) < low or min(y1, y2) > high, (
                            f"{line.get('id')} covers another"
                        )
                    upright.add((x1, min(y1, y2), max(y1, y2)))


def test_the_ring_has_its_leds(svg):
    assert len([c for c in svg.iter(f"{SVG}circle") if c.get("class") == "led"]) == 8


def test_a_pin_that_nobody_drew_is_refused():
    more = PinMap((*board_pins().pin, replace(board_pins()["button"], name="foot_switch", gpio=26)))
    with pytest.raises(Refused, match=r"no place for the pin: foot_switch; add it to a box"):
        drawing(more, leds=8)


def test_the_committed_drawing_is_the_one_the_map_gives():
    from hardware.parts import RING
    from shared.optics.ring import read_ring

    committed = Path(hardware.__path__[0]) / "wiring.svg"
    assert committed.read_text() == drawing(board_pins(), read_ring(RING).leds), "run: make hardware"


def test_no_wire_beside_the_button_can_press_it_through_a_bridge_of_solder() -> None:
    """Its neighbours on the header carry nothing of the map, and are not ground."""
    at = BY_GPIO[board_pins()["button"].gpio]
    neighbours = {at - 2, at + 2, at - 1 if at % 2 == 0 else at + 1}
    assert not neighbours & {BY_GPIO[pin.gpio] for pin in board_pins().pin}
    assert not [LABELS[pin] for pin in neighbours if LABELS[pin] == "GND"]
