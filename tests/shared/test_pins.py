"""The pin map, and what is refused."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import shared
from device.light.pwm import BOARD_CHANNELS
from shared.errors import Refused
from shared.pins import HEADER_PINS, MAP, PWM_PINS, PinMap, board_pins, faults, read_pins


def with_pin(name: str, /, **changes: object) -> PinMap:
    """The project's map with one pin changed."""
    return PinMap(tuple(replace(pin, **changes) if pin.name == name else pin for pin in board_pins().pin))


def lines(pins: PinMap) -> list[str]:
    return [f"{fault.what}; {fault.remedy}" for fault in faults(pins)]


def test_the_project_s_own_map_is_one_the_board_can_do() -> None:
    assert faults(board_pins()) == []
    assert board_pins() == read_pins(MAP)


@pytest.mark.parametrize(
    ("name", "changes", "line"),
    [
        ("button", {"gpio": 17}, "GPIO 17 has two owners, ring_enable and button; move one of them"),
        ("ring_enable", {"gpio": 12}, "GPIO 12 has two owners, ring_enable and ring_dimming; move one of them"),
        ("button", {"gpio": 28}, "button on GPIO 28: the header has no such pin for us; choose one from 2 to 27"),
        ("button", {"gpio": 1}, "button on GPIO 1: the header has no such pin for us; choose one from 2 to 27"),
        (
            "ring_dimming",
            {"gpio": 16},
            "ring_dimming on GPIO 16: no hardware PWM there; put it on GPIO 12 or 13 or 18 or 19",
        ),
        ("ring_dimming", {"channel": 1}, "ring_dimming on GPIO 12: channel 1 does not drive this pin; set channel 0"),
        (
            "ring_dimming",
            {"channel": None},
            "ring_dimming on GPIO 12: channel None does not drive this pin; set channel 0",
        ),
        (
            "ring_dimming",
            {"owner": "imager"},
            "pwm belongs to the light guard, not to imager; set owner = 'light guard'",
        ),
        ("button", {"channel": 0}, "button on GPIO 20: a channel, 0, but not pwm; leave channel out"),
        (
            "button",
            {"gpio": 18},
            "button on GPIO 18: channel 0 of ring_dimming may drive it too; move it to a pin without PWM",
        ),
        ("i2c_data", {"gpio": 26}, "i2c_data on GPIO 26: cannot be i2c data; put it on GPIO 2"),
        (
            "i2c_clock",
            {"owner": "imager"},
            "i2c_clock on GPIO 3: i2c clock cannot belong to imager; its owner is kernel",
        ),
        ("adc_select", {"gpio": 6}, "adc_select on GPIO 6: cannot be spi select; put it on GPIO 7 or 8"),
        ("button", {"owner": "kernel"}, "input cannot belong to kernel; its owner is light guard or imager"),
        ("ring_enable", {"gpio": 6}, "ring_enable on GPIO 6: not low from reset"),
        ("heartbeat", {"pull": "none"}, "heartbeat on GPIO 27: not low from reset"),
        ("heartbeat", {"name": "button"}, "button is there twice; keep one, or give the other its own name"),
    ],
)
def test_what_the_board_cannot_do_is_named_with_pin_and_remedy(
    name: str, changes: dict[str, object], line: str
) -> None:
    assert any(line in found for found in lines(with_pin(name, **changes)))


def test_a_file_that_is_wrong_is_refused_in_one_line_with_its_name(tmp_path: Path) -> None:
    path = tmp_path / "pins.toml"
    path.write_text(MAP.read_text().replace("gpio = 20", "gpio = 17"))
    with pytest.raises(Refused) as refused:
        read_pins(path)
    assert refused.value.line == f"{path}: GPIO 17 has two owners, ring_enable and button; move one of them"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("function = 'servo'", "pin[0].function is not one of input, output, pwm"),
        ("owner = 'gpiozero'", "pin[0].owner is not one of light guard, imager, kernel"),
        ("pins = 3", "unknown key: pin[0].pins"),
    ],
)
def test_keys_and_words_are_checked(tmp_path: Path, text: str, line: str) -> None:
    values = {"name": "'x'", "gpio": "22", "function": "'input'", "owner": "'imager'", "wire": "'w'"}
    key, _, value = text.partition(" = ")
    path = tmp_path / "pins.toml"
    path.write_text("[[pin]]\n" + "".join(f"{k} = {v}\n" for k, v in (values | {key: value}).items()))
    with pytest.raises(Refused) as refused:
        read_pins(path)
    assert line in refused.value.line


def test_the_map_goes_along_when_the_program_is_installed() -> None:
    """It lies beside ``shared`` in the checkout; wheel and installer have to put it there too."""
    root = Path(shared.__path__[0]).parent
    assert root / "hardware" / "pins.toml" == MAP
    setuptools = tomllib.loads((root / "pyproject.toml").read_text())["tool"]["setuptools"]
    assert "hardware" in setuptools["packages"]["find"]["include"]
    assert "*.toml" in setuptools["package-data"]["hardware"]
    (copied,) = re.findall(r"-cf - (.*) \|", (root / "systemd" / "install.sh").read_text())
    assert {"pyproject.toml", "shared", "hardware"} <= set(copied.split())


def test_an_unknown_name_is_refused_with_the_known_ones() -> None:
    with pytest.raises(Refused, match=r"no such pin: ring_disable; known: ring_enable, heartbeat"):
        board_pins()["ring_disable"]


def test_the_light_guard_s_boards_and_the_map_s_rules_agree_on_pwm() -> None:
    by_pin: dict[int, set[int]] = {}
    for channels in BOARD_CHANNELS.values():
        for channel, pins in channels.items():
            for pin in pins:
                by_pin.setdefault(pin, set()).add(channel)
    assert by_pin == {pin: set(channels) for pin, channels in PWM_PINS.items()}


def test_every_pin_can_be_moved_to_any_free_plain_pin() -> None:
    taken = {pin.gpio for pin in board_pins().pin}
    free = [gpio for gpio in HEADER_PINS if gpio > 8 and gpio not in taken and gpio not in PWM_PINS]
    assert free, "no spare pin is left on the header"
    for gpio in free:
        assert lines(board_pins().moved({"button": gpio}, {})) == []


@given(
    gpio=st.dictionaries(st.sampled_from([pin.name for pin in board_pins().pin]), st.integers(-1, 30), max_size=6),
    channel=st.sampled_from([None, 0, 1, 2, 3]),
)
def test_whatever_is_moved_a_map_without_fault_is_one_the_board_can_do(
    gpio: dict[str, int], channel: int | None
) -> None:
    """Against the board's rules said once more, as a list of what must hold."""
    pins = board_pins().moved(gpio, {} if channel is None else {"ring_dimming": channel})
    at = {pin.name: pin.gpio for pin in pins.pin}
    dimming = (at["ring_dimming"], pins["ring_dimming"].channel)
    plain = [at[name] for name in at if name != "ring_dimming"]
    also_driven = {0: {12, 18}, 1: {13, 19}, 2: {18}, 3: {19}}[pins["ring_dimming"].channel or 0]
    can = (
        len(set(at.values())) == len(at)
        and all(2 <= number <= 27 for number in at.values())
        and dimming in {(12, 0), (13, 1), (18, 0), (18, 2), (19, 1), (19, 3)}
        and (at["i2c_data"], at["i2c_clock"]) == (2, 3)
        and at["adc_select"] in (7, 8)
        and (at["adc_data_in"], at["adc_data_out"], at["adc_clock"]) == (9, 10, 11)
        and all(at[name] >= 9 for name in ("ring_enable", "heartbeat", "ring_dimming"))
        and not also_driven & set(plain)
    )
    assert (faults(pins) == []) == can
