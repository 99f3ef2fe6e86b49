"""Which sensors the light guard listens to, and where it draws the line. Standard library only: the guard reads it.

A sensor that is not fitted is ``absent`` here, on purpose; nothing is guessed from what happens to answer. ``path`` is a pattern
under ``/sys`` that must fit exactly one file; empty means the kind's usual place. Every limit has a hysteresis, so that a value
beside it does not switch light on and off, and a longest silence, after which the sensor counts as failed.
"""

from dataclasses import dataclass, field
from typing import Annotated, Literal

from shared.bounded import Length, Within

SysPath = Annotated[str, Length(0, 200)]
Silence = Annotated[int, Within(100, 60_000)]


@dataclass(frozen=True)
class ThermistorSettings:
    """NTC resistor in a divider with ``series_ohm``, the converter reading the middle. Its far end is at ``side``.

    ``steinhart_hart`` holds the three coefficients A, B, C of 1/T = A + B ln R + C (ln R)^3; empty: ``beta_k`` is used.
    """

    side: Literal["ground", "supply"] = "ground"
    ohm_at_25_c: Annotated[float, Within(100, 1e6)] = 10_000.0
    beta_k: Annotated[float, Within(2000, 6000)] = 3950.0
    steinhart_hart: Annotated[tuple[float, ...], Length(0, 3)] = ()
    series_ohm: Annotated[float, Within(100, 1e6)] = 10_000.0
    supply_mv: Annotated[float, Within(1000, 5500)] = 3300.0

    def __post_init__(self) -> None:
        if len(self.steinhart_hart) not in (0, 3):
            raise ValueError(f"steinhart_hart has three coefficients or none, not {len(self.steinhart_hart)}")


@dataclass(frozen=True)
class TemperatureSettings:
    """Of the ring's heat sink, beside the LEDs."""

    kind: Literal["absent", "1-wire", "thermistor"] = "1-wire"
    path: SysPath = ""
    highest_c: Annotated[float, Within(30, 80)] = 60.0
    hysteresis_c: Annotated[float, Within(0.5, 30)] = 5.0
    silent_ms: Silence = 5000
    thermistor: ThermistorSettings = field(default_factory=ThermistorSettings)

    def __post_init__(self) -> None:
        _check_path(self.path)


@dataclass(frozen=True)
class SupplySettings:
    """The board's undervoltage ``alarm``, or a voltage: of a ``monitor`` chip, or of a ``converter`` behind a divider."""

    kind: Literal["absent", "alarm", "monitor", "converter"] = "alarm"
    path: SysPath = ""
    least_v: Annotated[float, Within(1, 60)] = 4.8
    hysteresis_v: Annotated[float, Within(0.01, 5)] = 0.1
    divider: Annotated[float, Within(1, 100)] = 2.0
    silent_ms: Silence = 3000

    def __post_init__(self) -> None:
        _check_path(self.path)


@dataclass(frozen=True)
class CoverSettings:
    """Switch that closes to ground when the ring's cover is in place; an open wire counts as an open cover."""

    kind: Literal["absent", "switch"] = "absent"
    silent_ms: Silence = 500


@dataclass(frozen=True)
class DistanceSettings:
    """Ranging sensor that looks where the ring shines."""

    kind: Literal["absent", "ranger"] = "absent"
    path: SysPath = ""
    nearest_mm: Annotated[float, Within(10, 2000)] = 100.0
    hysteresis_mm: Annotated[float, Within(1, 500)] = 20.0
    silent_ms: Silence = 2000

    def __post_init__(self) -> None:
        _check_path(self.path)


def _check_path(path: str) -> None:
    if path.startswith("/") or ".." in path.split("/"):
        raise ValueError(
            f"path {path!r} must lie under /sys: write it without /sys, without a leading slash and without .."
        )
