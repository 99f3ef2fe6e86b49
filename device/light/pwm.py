"""Dimming by hardware PWM through sysfs. The pulse pin belongs to the PWM hardware alone, never to gpiozero.

The kernel keeps a PWM running after its process has died, until it is disabled: hence ``off`` on every way out, and
``python -m device.light --dark``.
"""

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final, Protocol

from shared.errors import Refused

BOARD_CHANNELS: Final[Mapping[str, Mapping[int, tuple[int, ...]]]] = MappingProxyType(
    {
        # Pi 4: address from memory, to be checked on the bench; pins from the overlay's own README
        "fe20c000.pwm": {0: (12, 18), 1: (13, 19)},
        # Pi 5: channel of each pin as users report it for this address; the chip's number differs between kernels
        "1f00098000.pwm": {0: (12,), 1: (13,), 2: (18,), 3: (19,)},
    }
)
"""Device of each board's PWM chip -> channel -> SoC pins it can drive."""

EXPORT_WAIT_NS = 1_000_000_000


class PwmFailed(Exception):
    """The PWM did not take a setting. What it does now is unknown, so it must be treated as on."""


class PwmOutput(Protocol):
    """One PWM channel."""

    def set(self, period_ns: int, duty_ns: int) -> None:
        """Pulse; raises PwmFailed."""

    def off(self) -> None:
        """No pulses; raises PwmFailed, after trying everything."""

    def close(self) -> None:
        """Off, and give the channel back; may be called twice; raises PwmFailed."""


def locked_period_ns(exposure_us: float, wanted_hz: float) -> int:
    """PWM period near ``1 / wanted_hz`` of which the exposure is a whole multiple, so that no exposure catches a partial pulse.

    Ripple of a window T on period P is proportional to min(f, 1-f), f = frac(T / P): nothing for T = k P (own derivation,
    agrees with simulation). An exposure shorter than one period gets the plain period.
    """
    whole = round(exposure_us * 1e-6 * wanted_hz)
    return round(exposure_us * 1000 / whole) if whole >= 1 else round(1e9 / wanted_hz)


def found_chip(pwm_class: Path, device: str = "") -> Path:
    """Folder of the PWM chip whose device link ends in ``device``, or of the board's own. Raises Refused naming what is there."""
    wanted = (device,) if device else tuple(BOARD_CHANNELS)
    seen: list[str] = []
    for chip in sorted(pwm_class.glob("pwmchip*")):
        link = (chip / "device").resolve()
        seen.append(f"{chip.name} -> {link.name}")
        if any(str(link).endswith(one) for one in wanted):
            return chip
    remedy = f"present: {', '.join(seen) or 'none'}; enable the PWM overlay, or set light.pwm_chip_device"
    raise Refused(f"no PWM chip of device {' or '.join(wanted)} under {pwm_class}", remedy=remedy)


def refuse_shared_pins(chip: Path, channel: int, others: Mapping[str, int]) -> None:
    """One pin, one owner: raises Refused where a gpiozero pin is one that the PWM channel may drive."""
    channels = BOARD_CHANNELS.get((chip / "device").resolve().name, {})
    for name, pin in others.items():
        if pin in channels.get(channel, ()):
            raise Refused(f"light.{name} is a pin of PWM channel {channel}", pin, "give it another pin")


def _write(path: Path, text: str) -> None:
    path.write_text(text)


class SysfsPwm:
    """A channel of a PWM chip. ``write`` and ``sleep`` are the only ways out, so that a test can stand in for the kernel."""

    def __init__(
        self,
        chip: Path,
        channel: int,
        *,
        write: Callable[[Path, str], None] = _write,
        sleep: Callable[[float], None] = time.sleep,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._chip, self._channel = chip, channel
        self._folder = chip / f"pwm{channel}"
        self._write_file, self._sleep, self._now_ns = write, sleep, now_ns
        self._period_ns = 0
        self._running = False
        self._closed = False
        self._export()
        try:
            self.off()
        except PwmFailed:
            self._closed = True
            raise

    def set(self, period_ns: int, duty_ns: int) -> None:
        """Pulse. Order of writes: duty 0, period, duty, enable; the duty alone where the period stays."""
        if not 0 <= duty_ns <= period_ns or period_ns <= 0:
            raise PwmFailed(f"duty {duty_ns} ns does not fit period {period_ns} ns")
        if not self._running or period_ns != self._period_ns:
            if self._current_period_ns():
                self._write("duty_cycle", 0)
            self._write("period", period_ns)
            self._period_ns = period_ns
        self._write("duty_cycle", duty_ns)
        if not self._running:
            self._write("enable", 1)
            self._running = True

    def off(self) -> None:
        """Duty 0 and disabled. Both are tried, whatever the first one says."""
        self._running = False
        failures: list[str] = []
        try:
            if not self._current_period_ns():
                return  # the kernel refuses every write to a channel that never had a period; it cannot be pulsing either
        except PwmFailed as error:
            failures.append(str(error))
        for name in ("duty_cycle", "enable"):
            try:
                self._write(name, 0)
            except PwmFailed as error:
                failures.append(str(error))
        if failures:
            raise PwmFailed("; ".join(failures))

    def close(self) -> None:
        """Off and unexported."""
        if self._closed:
            return
        self._closed = True
        try:
            self.off()
        finally:
            self._write_to(self._chip / "unexport", str(self._channel))

    def _export(self) -> None:
        channels = self._read(self._chip / "npwm")
        if not self._channel < channels:
            raise Refused(
                f"{self._chip.name} has {channels} channels, not channel", self._channel, "set light.pwm_channel"
            )
        if not self._folder.is_dir():
            self._write_to(self._chip / "export", str(self._channel))
        deadline_ns = self._now_ns() + EXPORT_WAIT_NS  # udev sets the permissions a little after the folder appears
        while not (self._folder / "enable").exists():
            if self._now_ns() > deadline_ns:
                raise PwmFailed(f"{self._folder} did not appear after export")
            self._sleep(0.005)

    def _current_period_ns(self) -> int:
        return self._read(self._folder / "period")

    def _read(self, path: Path) -> int:
        try:
            return int(path.read_text())
        except (OSError, ValueError) as error:
            raise PwmFailed(f"reading {path}: {error}") from error

    def _write(self, name: str, value: int) -> None:
        self._write_to(self._folder / name, str(value))

    def _write_to(self, path: Path, text: str) -> None:
        try:
            self._write_file(path, text)
        except OSError as error:
            raise PwmFailed(f"writing {text} to {path}: {error.strerror or error}") from error
