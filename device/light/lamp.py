"""The ring as the guard drives it: enable pin, PWM and heartbeat, always in the safe order."""

from collections.abc import Callable

from device.light.pins import OutputPin
from device.light.pwm import Pulses, PwmFailed, PwmOutput
from shared.optics.pwm_ripple import locked_period_ns


class LampFailed(Exception):
    """The ring did not take a setting; enable has been driven low as far as it would go."""


class Lamp:
    """Owner of the ring's three lines. Enable goes low first and high last, so the PWM never decides alone."""

    def __init__(
        self, pwm: PwmOutput, enable: OutputPin, heartbeat: OutputPin, wanted_hz: float, step_ns: int = 1
    ) -> None:
        """``step_ns`` is what the PWM hardware counts time in."""
        self._pwm, self._enable, self._heartbeat = pwm, enable, heartbeat
        self._wanted_hz, self._step_ns = wanted_hz, step_ns
        self._closed = False

    def light(self, level: float, exposure_us: float) -> Pulses:
        """Ring on at duty ``level``, its PWM period locked to the exposure; returns what is really given.

        A ring that is lit is dark while the PWM is written: a write that the kernel never returns from then leaves it dark.
        Raises LampFailed, and is then dark.
        """
        period_ns = locked_period_ns(exposure_us * 1000, self._wanted_hz, self._step_ns)
        try:
            self._enable.off()
            given = self._pwm.set(period_ns, round(level * period_ns))
            self._enable.on()
        except Exception as error:
            self._all((self._enable.off, self._pwm.off))
            raise LampFailed(str(error)) from error
        return given

    def beat(self) -> None:
        """One edge for the dead-man, which holds the driver enabled only while edges come; raises LampFailed."""
        self._all((self._heartbeat.toggle,), "the heartbeat pin failed")

    def dark(self) -> None:
        """Ring off; every line is tried, then LampFailed is raised if one failed."""
        self._all((self._enable.off, self._pwm.off, self._heartbeat.off), "the ring could not be switched off")

    def close(self) -> None:
        """Dark, and every line given back; may be called twice; raises LampFailed."""
        if self._closed:
            return
        self._closed = True
        steps = (self._enable.off, self._pwm.off, self._heartbeat.off)
        ends = (self._pwm.close, self._enable.close, self._heartbeat.close)
        self._all((*steps, *ends), "the ring could not be given back")

    @staticmethod
    def _all(steps: tuple[Callable[[], None], ...], failed: str = "") -> None:
        errors: list[str] = []
        for step in steps:
            try:
                step()
            except PwmFailed as error:
                errors.append(str(error))
            except Exception as error:  # noqa: BLE001 - a pin library may raise anything, and the next line must still go low
                errors.append(f"{type(error).__name__}: {error}")
        if errors and failed:
            raise LampFailed(f"{failed}: {'; '.join(errors)}")
