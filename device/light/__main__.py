"""``python -m device.light``: the guard's process; with ``--dark``, a helper that forces everything off and ends.

Exit 0 when stopped by a signal (or when everything is dark), 1 when the ring may still be on, 2 when the guard was refused a start.
"""

import argparse
import atexit
import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import device
from device.light.allowance import RingAllowance
from device.light.given_light import NAME as GIVEN_NAME
from device.light.given_light import GivenLight
from device.light.guard import Guard
from device.light.lamp import Lamp, LampFailed
from device.light.loop import GuardLoop, only_guard
from device.light.pins import board_factory, output_pin
from device.light.pwm import PwmFailed, PwmOutput, SysfsPwm, found_chip, refuse_shared_pins
from device.light.sensed import limits
from device.light.sensors.link import SensorLink
from device.light.sensors.simulated import rehearsal_settings
from device.light.service import LogLines, ServiceNotice, ask_for_priority
from device.light.simulated_pins import simulated_factory
from device.light.simulated_ring import RING_NAME, SimulatedRing
from device.light.software_pwm import SoftwarePwm
from shared.clock import SystemClock
from shared.errors import Refused
from shared.optics.ring import Ring
from shared.settings import LightSettings, load


def main(arguments: list[str] | None = None) -> int:
    """Run the guard, or darken."""
    options = _parser().parse_args(arguments)
    log = LogLines(2)
    try:
        settings = load(options.settings, options.settings_override)
        if options.dark:
            return darkened(options, settings.light, log)
        with only_guard(options.run_dir):
            return guarded(options, settings.light, settings.ring, log)
    except Refused as refused:
        log(refused.line)
        return 2
    except (LampFailed, PwmFailed) as failed:
        log(str(failed))
        return 1


def guarded(options: argparse.Namespace, settings: LightSettings, ring: Ring, log: LogLines) -> int:
    """The guard's whole life. Dark comes first on every way out: signal, error, or end of the interpreter."""
    log(ask_for_priority())
    clock = SystemClock()
    if options.simulated:
        settings = rehearsal_settings(settings)
    lamp = simulated_lamp(options, settings) if options.simulated else board_lamp(options, settings)
    atexit.register(_close_again, lamp)
    given = GivenLight(options.run_dir / GIVEN_NAME, clock.now_ns())
    allowance = RingAllowance(ring, settings, clock.now_ns(), given)
    guard = Guard(lamp, settings, allowance, clock, log, given.before)
    try:
        with (
            contextlib.closing(given),
            sensors_of(options, settings) as sensors,
            GuardLoop(guard, options.run_dir, clock, ServiceNotice(os.environ), log, sensors) as loop,
        ):
            try:
                why = loop.run()
                log(f"stopped by {why}")
            finally:
                guard.close()
    finally:
        guard.close()
    return 0 if why.startswith("SIG") else 1


@contextlib.contextmanager
def sensors_of(options: argparse.Namespace, settings: LightSettings) -> Iterator[SensorLink | None]:
    """The process that reads the sensors, where any is fitted."""
    if not limits(settings):
        yield None
        return
    arguments = ["--run-dir", str(options.run_dir), "--settings", str(options.settings), "--sys", str(options.sys)]
    if options.settings_override is not None:
        arguments += ["--settings-override", str(options.settings_override)]
    with contextlib.closing(SensorLink([*arguments, *(["--simulated"] if options.simulated else [])])) as link:
        yield link


def board_lamp(options: argparse.Namespace, settings: LightSettings) -> Lamp:
    """The real ring: PWM through sysfs (or gpiozero, where the settings say so), pins through gpiozero."""
    pwm: PwmOutput
    if settings.pwm == "software":
        factory = board_factory()
        enable, heartbeat = (output_pin(pin, factory) for pin in (settings.enable_pin, settings.heartbeat_pin))
        pwm = SoftwarePwm(settings.pwm_pin, factory)
        return Lamp(pwm, enable, heartbeat, settings.pwm_hz)
    chip = found_chip(options.pwm_class, settings.pwm_chip_device)
    pins = {"enable_pin": settings.enable_pin, "heartbeat_pin": settings.heartbeat_pin}
    refuse_shared_pins(chip, settings.pwm_channel, pins)
    factory = board_factory()
    enable = output_pin(settings.enable_pin, factory)  # low before the PWM is touched
    heartbeat = output_pin(settings.heartbeat_pin, factory)
    pwm = SysfsPwm(chip, settings.pwm_channel, clock_error=settings.clock_error_ppm * 1e-6)
    return Lamp(pwm, enable, heartbeat, settings.pwm_hz, settings.pwm_step_ns)


def simulated_lamp(options: argparse.Namespace, settings: LightSettings) -> Lamp:
    """The ring of the rehearsal, on mock pins."""
    ring = SimulatedRing(options.run_dir / RING_NAME, SystemClock())
    software = settings.pwm == "software"
    pulse_pin = settings.pwm_pin if software else None
    factory = simulated_factory(ring, settings.enable_pin, settings.heartbeat_pin, pulse_pin)
    enable, heartbeat = (output_pin(pin, factory) for pin in (settings.enable_pin, settings.heartbeat_pin))
    if software:
        return Lamp(SoftwarePwm(settings.pwm_pin, factory), enable, heartbeat, settings.pwm_hz)
    return Lamp(ring, enable, heartbeat, settings.pwm_hz, settings.pwm_step_ns)


def darkened(options: argparse.Namespace, settings: LightSettings, log: LogLines) -> int:
    """Force every line off, each by itself, whether or not a guard ever started. 0 when all are known to be off."""
    if options.simulated:
        with only_guard(options.run_dir):
            simulated_lamp(options, settings).close()
        return 0
    failures = 0
    for step in (_enable_low, _pwm_off):
        try:
            step(options, settings)
        except (Refused, PwmFailed) as error:
            log(f"not known to be dark: {error}")
            failures += 1
    return 1 if failures else 0


def _enable_low(_options: argparse.Namespace, settings: LightSettings) -> None:
    factory = board_factory()
    for pin in (settings.enable_pin, settings.heartbeat_pin):
        output_pin(pin, factory).close()


def _pwm_off(options: argparse.Namespace, settings: LightSettings) -> None:
    if settings.pwm == "software":
        output_pin(settings.pwm_pin, board_factory()).close()
        return
    SysfsPwm(found_chip(options.pwm_class, settings.pwm_chip_device), settings.pwm_channel).close()


def _close_again(lamp: Lamp) -> None:
    with contextlib.suppress(LampFailed):  # already said by the first close, if there was one
        lamp.close()


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m device.light", description="Light guard of the handheld.")
    parser.add_argument("--run-dir", type=Path, required=True, help="folder of light.sock")
    parser.add_argument(
        "--settings", type=Path, default=Path(device.__path__[0]) / "settings.toml", help="vendor settings"
    )
    parser.add_argument("--settings-override", type=Path, help="settings laid over them")
    parser.add_argument("--simulated", action="store_true", help="mock pins and a simulated ring in the run folder")
    parser.add_argument("--dark", action="store_true", help="force everything off, and end")
    parser.add_argument("--pwm-class", type=Path, default=Path("/sys/class/pwm"), help=argparse.SUPPRESS)
    parser.add_argument("--sys", type=Path, default=Path("/sys"), help=argparse.SUPPRESS)
    return parser


if __name__ == "__main__":
    sys.exit(main())
