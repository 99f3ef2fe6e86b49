"""The two pins that gpiozero owns: enable, and the heartbeat that feeds the hardware dead-man."""

from collections.abc import Callable, Iterable
from importlib import import_module
from typing import Any, Protocol

from gpiozero import DigitalInputDevice, OutputDevice
from gpiozero.pins import Factory

from shared.errors import Refused

HEADER_LABELS = ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")
"""Labels of the chip behind the header: Pi 5, Pi 4, older. The number of the chip moved between kernels; the label did not."""

MOST_CHIPS = 16


class OutputPin(Protocol):
    """A pin that is only driven."""

    def on(self) -> None:
        """Drive high."""

    def off(self) -> None:
        """Drive low."""

    def toggle(self) -> None:
        """Drive to the other level."""

    def close(self) -> None:
        """Give the pin back; may be called twice."""


class InputPin(Protocol):
    """A pin that is only read."""

    @property
    def is_active(self) -> bool:
        """Whether the switch is closed."""


def output_pin(number: int, factory: Factory) -> OutputPin:
    """Claim a pin, active high, driven low from the first moment. Raises Refused when it has an owner already or is not there."""
    try:
        pin: OutputPin = OutputDevice(number, active_high=True, initial_value=False, pin_factory=factory)
    except Exception as error:  # each pin library raises its own kinds; all mean that there is no such pin for us
        raise Refused(f"GPIO {number} cannot be driven ({error})", remedy="free the pin, or name another") from error
    return pin


def input_pin(number: int, factory: Factory) -> InputPin:
    """Claim a pin for a switch to ground, pulled up. Raises Refused when it has an owner already or is not there."""
    try:
        pin: InputPin = DigitalInputDevice(number, pull_up=True, pin_factory=factory)
    except Exception as error:
        raise Refused(f"GPIO {number} cannot be read ({error})", remedy="free the pin, or name another") from error
    return pin


def board_factory() -> Factory:
    """The lgpio factory of gpiozero on the chip behind the header, found by label. Raises Refused off the board."""
    try:
        lgpio: Any = import_module("lgpio")
    except ImportError:
        raise Refused("the lgpio library is missing", remedy="install tapetum[board] on the handheld") from None
    chip = header_chip(range(MOST_CHIPS), lambda number: _label(lgpio, number))
    factory: Factory = import_module("gpiozero.pins.lgpio").LGPIOFactory(chip=chip)
    return factory


def header_chip(numbers: Iterable[int], label_of: Callable[[int], str | None]) -> int:
    """Number of the GPIO chip behind the header; ``label_of`` gives None for a chip that is not there."""
    labels = {number: label for number in numbers if (label := label_of(number)) is not None}
    for wanted in HEADER_LABELS:
        for number, label in labels.items():
            if label == wanted:
                return number
    present = ", ".join(f"{number} {label}" for number, label in labels.items()) or "none"
    raise Refused("no GPIO chip of a header is here", present, f"expected one of {', '.join(HEADER_LABELS)}")


def _label(lgpio: Any, number: int) -> str | None:
    try:
        handle = lgpio.gpiochip_open(number)
    except lgpio.error:
        return None
    try:
        _status, _lines, _name, label = lgpio.gpio_get_chip_info(handle)
        return str(label)
    finally:
        lgpio.gpiochip_close(handle)
