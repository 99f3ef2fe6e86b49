"""Which wire hangs on which pin: the map ``hardware/pins.toml``, and what the board cannot do.

Standard library only: the light guard's own settings come from it. Facts of the board marked [M] are from memory and are to be
checked on the bench before a ring is connected.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Final, Literal

from shared.bounded import Length, from_toml
from shared.errors import Refused

MAP: Final = Path(__file__).resolve().parents[1] / "hardware" / "pins.toml"
"""Beside ``shared`` in the checkout and where the program is installed alike."""

Function = Literal[
    "input",
    "output",
    "pwm",
    "i2c data",
    "i2c clock",
    "1-wire",
    "spi select",
    "spi data in",
    "spi data out",
    "spi clock",
]
Owner = Literal["light guard", "imager", "kernel"]

HEADER_PINS: Final = range(2, 28)
"""GPIO 0 and 1 are on the header too, but belong to the memory of add-on boards [M]."""

PWM_PINS: Final[Mapping[int, tuple[int, ...]]] = MappingProxyType({12: (0,), 13: (1,), 18: (0, 2), 19: (1, 3)})
"""Pin -> channels that may drive it: on the older board 12, 18 and 13, 19 share a channel; on the newer each has its own."""

BUS_PINS: Final[Mapping[str, tuple[int, ...]]] = MappingProxyType(
    {
        "i2c data": (2,),  # bus 1 [M]
        "i2c clock": (3,),
        "spi select": (7, 8),  # bus 0 [M]
        "spi data in": (9,),
        "spi data out": (10,),
        "spi clock": (11,),
    }
)

LOW_FROM_RESET: Final = range(9, 28)
"""GPIO 0 to 8 are pulled up from reset until a program drives them [M]: a driver's enable there would light the ring."""


@dataclass(frozen=True)
class Pin:
    """One wire. ``gpio`` is the SoC's number; ``channel`` that of the PWM hardware, for a pwm pin alone."""

    name: Annotated[str, Length(1, 40)]
    gpio: int
    function: Function
    owner: Owner
    wire: Annotated[str, Length(1, 120)]
    pull: Literal["none", "up", "down"] = "none"
    channel: int | None = None
    optional: bool = False


@dataclass(frozen=True)
class PinMap:
    """All wires, in the order of the file."""

    pin: Annotated[tuple[Pin, ...], Length(1, 26)]

    def __getitem__(self, name: str) -> Pin:
        for pin in self.pin:
            if pin.name == name:
                return pin
        known = ", ".join(pin.name for pin in self.pin)
        raise Refused("the pin map has no such pin", name, f"known: {known}")

    def moved(self, gpio: Mapping[str, int], channel: Mapping[str, int]) -> "PinMap":
        """The same wires on other pins and PWM channels; not checked yet."""
        return PinMap(
            tuple(
                replace(pin, gpio=gpio.get(pin.name, pin.gpio), channel=channel.get(pin.name, pin.channel))
                for pin in self.pin
            )
        )


@dataclass(frozen=True)
class Fault:
    """What the board cannot do, with the remedy."""

    what: str
    remedy: str


def read_pins(path: Path) -> PinMap:
    """Read and check a pin map; raises Refused naming file, pin and remedy."""
    pins = from_toml(PinMap, path)
    for fault in faults(pins):
        raise Refused(f"{path}: {fault.what}", remedy=fault.remedy)
    return pins


@cache
def board_pins() -> PinMap:
    """The map that belongs to this program; raises Refused like ``read_pins``."""
    return read_pins(MAP)


def faults(pins: PinMap) -> list[Fault]:
    """Everything wrong with a map; empty when the board can do it."""
    return [*_sharing_faults(pins.pin), *(fault for pin in pins.pin for fault in _pin_faults(pin))]


def _pin_faults(pin: Pin) -> Iterable[Fault]:
    here = f"{pin.name} on GPIO {pin.gpio}"
    if pin.gpio not in HEADER_PINS:
        yield Fault(f"{here}: the header has no such pin for us", "choose one from 2 to 27")
        return
    if pin.function == "pwm":
        yield from _pwm_faults(pin, here)
    elif pin.channel is not None:
        yield Fault(f"{here}: a channel, {pin.channel}, but not pwm", "leave channel out, or set function = 'pwm'")
    wanted = BUS_PINS.get(pin.function, ())
    if wanted and pin.gpio not in wanted:
        yield Fault(f"{here}: cannot be {pin.function}", f"put it on GPIO {_either(wanted)}")
    by_kernel = pin.function in BUS_PINS or pin.function == "1-wire"
    if by_kernel != (pin.owner == "kernel"):
        owner = "kernel" if by_kernel else "light guard or imager"
        yield Fault(f"{here}: {pin.function} cannot belong to {pin.owner}", f"its owner is {owner}")
    drives = pin.owner == "light guard" and pin.function != "input"
    if drives and (pin.pull != "down" or pin.gpio not in LOW_FROM_RESET):
        yield Fault(
            f"{here}: not low from reset, and what the light guard drives can light the ring",
            "choose GPIO 9 to 27 and fit a pull-down resistor",
        )


def _pwm_faults(pin: Pin, here: str) -> Iterable[Fault]:
    channels = PWM_PINS.get(pin.gpio, ())
    if not channels:
        yield Fault(f"{here}: no hardware PWM there", f"put it on GPIO {_either(PWM_PINS)}")
    elif pin.channel not in channels:
        yield Fault(f"{here}: channel {pin.channel} does not drive this pin", f"set channel {_either(channels)}")
    if pin.owner != "light guard":
        yield Fault(f"{here}: pwm belongs to the light guard, not to {pin.owner}", "set owner = 'light guard'")


def _sharing_faults(pins: tuple[Pin, ...]) -> Iterable[Fault]:
    for index, pin in enumerate(pins):
        for other in pins[:index]:
            if pin.name == other.name:
                yield Fault(f"{pin.name} is there twice", "keep one, or give the other its own name")
            if pin.gpio == other.gpio:
                yield Fault(f"GPIO {pin.gpio} has two owners, {other.name} and {pin.name}", "move one of them")
    for pulsed in (pin for pin in pins if pin.channel is not None):
        for other in pins:
            if other.gpio != pulsed.gpio and pulsed.channel in PWM_PINS.get(other.gpio, ()):
                what = f"{other.name} on GPIO {other.gpio}: channel {pulsed.channel} of {pulsed.name} may drive it too"
                yield Fault(what, "move it to a pin without PWM")


def _either(numbers: Iterable[int]) -> str:
    return " or ".join(map(str, numbers))
