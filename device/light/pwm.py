"""Dimming by hardware PWM through sysfs. The pulse pin belongs to the PWM hardware alone, never to gpiozero (which has its own,
slower pulses: ``software_pwm``).

The kernel keeps a PWM running after its process has died, until it is disabled: hence ``off`` on every way out, and
``python -m device.light --dark``.
"""

import errno
import os
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final, Protocol

from shared.errors import Refused
from shared.optics.pwm_ripple import worst_ripple

BOARD_CHANNELS: Final[Mapping[str, Mapping[int, tuple[int, ...]]]] = MappingProxyType(
    {
        # Pi 4: address from memory, to be checked on the bench; pins from the overlay's own README
        "fe20c000.pwm": {0: (12, 18), 1: (13, 19)},
        # Pi 5: channel of each pin as users report it for this address; the chip's number differs between kernels
        "1f00098000.pwm": {0: (12,), 1: (13,), 2: (18,), 3: (19,)},
    }
)
"""Device of each board's PWM chip -> channel -> SoC pins it can drive."""

EXPORT_WAIT_NS = 2_000_000_000

EXPOSURE_ROUNDING_US = 0.5
"""Camera stacks report the exposure in whole microseconds."""

_MORE_THAN_ASKED = 0.01
_SETTINGS = ("period", "duty_cycle", "enable")
_REMEDIES = {
    errno.EACCES: "is pwm-permissions installed, and the guard in its group?",
    errno.EPERM: "is pwm-permissions installed, and the guard in its group?",
    errno.EBUSY: "another driver has this channel",
}


class PwmFailed(Exception):
    """The PWM did not take a setting. What it does now is unknown, so it must be treated as on."""


@dataclass(frozen=True)
class Pulses:
    """Pulses really in force. ``period_error`` is how far the true period may lie from ``period_ns``, relative to the exposure's
    clock; 1 where nothing is known of single pulses.
    """

    period_ns: int
    duty_ns: int
    period_error: float = 0.0

    @property
    def level(self) -> float:
        """Duty, 0 to 1."""
        return self.duty_ns / self.period_ns

    @property
    def hz(self) -> float:
        """Pulses a second; 0 for steady light."""
        return 0.0 if self.duty_ns == self.period_ns else 1e9 / self.period_ns

    def ripple(self, exposure_us: float) -> float:
        """Largest peak-to-peak difference between exposures that begin anywhere in a pulse, as a share of their mean."""
        error = self.period_error + EXPOSURE_ROUNDING_US / exposure_us
        return worst_ripple(exposure_us * 1000, self.period_ns, self.level, min(error, 1.0))


class PwmOutput(Protocol):
    """One PWM channel."""

    def set(self, period_ns: int, duty_ns: int) -> Pulses:
        """Pulse, and say what is really given: never a longer share than asked; raises PwmFailed."""

    def off(self) -> None:
        """No pulses; raises PwmFailed, after trying everything."""

    def close(self) -> None:
        """Off, and give the channel back; may be called twice; raises PwmFailed."""


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
    """A channel of a PWM chip. ``write``, ``writable`` and ``sleep`` are the only ways out, so that a test can stand in for the
    kernel. ``clock_error`` is how far the camera's clock and the board's may differ, relative.
    """

    def __init__(
        self,
        chip: Path,
        channel: int,
        *,
        clock_error: float = 0.0,
        write: Callable[[Path, str], None] = _write,
        writable: Callable[[Path], bool] = lambda path: os.access(path, os.W_OK),
        sleep: Callable[[float], None] = time.sleep,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self._chip, self._channel = chip, channel
        self._folder = chip / f"pwm{channel}"
        self._clock_error = clock_error
        self._write_file, self._writable, self._sleep, self._now_ns = write, writable, sleep, now_ns
        self._period_ns = 0
        self._running = False
        self._closed = False
        self._export()
        try:
            self.off()
            self._not_inverted()
        except PwmFailed:
            self._closed = True
            raise

    def set(self, period_ns: int, duty_ns: int) -> Pulses:
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
        return self._given(period_ns, duty_ns)

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
        # The folder appears at once; what hands its files to a group (udev, or pwm-permissions) comes a little later.
        deadline_ns = self._now_ns() + EXPORT_WAIT_NS
        while (missing := self._not_yet()) is not None:
            if self._now_ns() > deadline_ns:
                raise PwmFailed(missing)
            self._sleep(0.005)

    def _not_yet(self) -> str | None:
        for path in (self._folder / name for name in _SETTINGS):
            if not path.exists():
                return f"{path} did not appear after export"
            if not self._writable(path):
                return f"{path} may not be written; {_REMEDIES[errno.EACCES]}"
        return None

    def _not_inverted(self) -> None:
        """An inverted channel would be fully on at duty 0. The kernel takes a polarity only while the channel is disabled."""
        path = self._folder / "polarity"
        if path.exists() and self._text(path) != "normal":
            self._write_to(path, "normal")

    def _given(self, period_ns: int, duty_ns: int) -> Pulses:
        """What the driver says it made of it; drivers that do not say repeat what was asked."""
        given = Pulses(self._current_period_ns(), self._read(self._folder / "duty_cycle"), self._clock_error)
        if given.period_ns <= 0 or not 0 <= given.duty_ns <= given.period_ns:
            raise PwmFailed(f"{self._folder} says duty {given.duty_ns} ns of period {given.period_ns} ns")
        if given.level > duty_ns / period_ns + _MORE_THAN_ASKED:
            raise PwmFailed(
                f"{self._folder} gives a duty of {given.level:.3f}, asked for was {duty_ns / period_ns:.3f}"
            )
        return given

    def _current_period_ns(self) -> int:
        return self._read(self._folder / "period")

    def _read(self, path: Path) -> int:
        text = self._text(path)
        if not text.isdigit():
            raise PwmFailed(f"reading {path}: {text[:40]!r} is not a whole number")
        return int(text)

    def _text(self, path: Path) -> str:
        try:
            return path.read_text().strip()
        except (OSError, ValueError) as error:
            raise PwmFailed(f"reading {path}: {error}") from error

    def _write(self, name: str, value: int) -> None:
        self._write_to(self._folder / name, str(value))

    def _write_to(self, path: Path, text: str) -> None:
        try:
            self._write_file(path, text)
        except OSError as error:
            remedy = _REMEDIES.get(error.errno or 0)
            said = f"writing {text} to {path}: {error.strerror or error}"
            raise PwmFailed(f"{said}; {remedy}" if remedy else said) from error
