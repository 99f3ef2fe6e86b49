"""Dimming without PWM hardware, the second choice: gpiozero's own pulses, on a pin that is then gpiozero's.

A thread makes them, sleeping from edge to edge, so single pulses wander with the load of the board and cannot be locked to an
exposure. The library cuts the duty down to whole percents (``int(value * 100)``, which makes 28 % of 0.29); here it is cut
down first, to what will really be given, and that is what is reported.
"""

from typing import Any

from gpiozero import PWMOutputDevice
from gpiozero.pins import Factory

from device.light.pwm import Pulses, PwmFailed
from shared.errors import Refused

GRID_NS = 100_000
"""The library counts whole microseconds; in periods of whole 100 us every percent is one."""


class SoftwarePwm:
    """Pulses on GPIO ``pin``, low from the first moment. Raises Refused when the pin has an owner already or is not there."""

    def __init__(self, pin: int, factory: Factory) -> None:
        try:
            self._device: Any = PWMOutputDevice(pin, initial_value=0, frequency=1e9 / GRID_NS / 10, pin_factory=factory)
        except Exception as error:  # each pin library raises its own kinds; all mean that there is no such pin for us
            raise Refused(f"GPIO {pin} cannot be pulsed ({error})", remedy="free the pin, or name another") from error

    def set(self, period_ns: int, duty_ns: int) -> Pulses:
        """Pulse in whole percents, never more than asked (but for half a nanosecond of rounding by the caller)."""
        if not 0 <= duty_ns <= period_ns or period_ns <= 0:
            raise PwmFailed(f"duty {duty_ns} ns does not fit period {period_ns} ns")
        percent = (200 * duty_ns + 100) // (2 * period_ns)
        percent = min(percent, 100)
        if percent < 1:
            raise PwmFailed(f"a level of {duty_ns / period_ns:.4f} is below 1 %, the least that software PWM gives")
        given_ns = GRID_NS * max(1, -(-period_ns // GRID_NS))
        try:
            self._device.frequency = 1e9 / given_ns
            self._device.value = (percent + 0.5) / 100 if percent < 100 else 1.0
            pulsing = int(self._device.value * 100 + 1e-6)
        except Exception as error:
            raise PwmFailed(f"software PWM: {error}") from error
        if pulsing != percent:
            raise PwmFailed(f"software PWM gives {pulsing} %, asked for was {percent} %")
        return Pulses(given_ns, percent * given_ns // 100, period_error=1.0)

    def off(self) -> None:
        """No pulses, pin low."""
        try:
            self._device.value = 0
        except Exception as error:
            raise PwmFailed(f"software PWM: {error}") from error

    def close(self) -> None:
        """Low, and the pin given back; may be called twice."""
        if self._device.closed:
            return
        try:
            self.off()
        finally:
            self._device.close()
