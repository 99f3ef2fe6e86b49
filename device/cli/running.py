"""The device that is running on this machine, as the small commands see it."""

import signal
from collections.abc import Sequence
from pathlib import Path

import click

from shared.errors import Refused
from shared.protocol.control import State
from shared.protocol.control_client import ControlClient
from shared.protocol.light import ConditionState

run_dir_option = click.option(
    "--run-dir", default="/run/tapetum", show_default=True, type=click.Path(path_type=Path), help="Where it has its sockets."
)  # fmt: skip


def connected(run_folder: Path, timeout_s: float = 5.0) -> ControlClient:
    """Client of the running device, which waits so long for an answer; raises Refused when there is none."""
    socket = run_folder / "control.sock"
    if not socket.exists():
        raise Refused(
            "no device is running here", str(socket), "start one with tapetum run or tapetum demo, or give --run-dir"
        )
    return ControlClient(socket, timeout_s=timeout_s)


def stop_tidily() -> None:
    """Let SIGTERM end a command as Ctrl-C does, so that light, exposure and recording are put back on the way out."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)


def page_fingerprint(run_folder: Path) -> str | None:
    """SHA-256 fingerprint of the certificate that tablets are to trust; None while the page is served to this machine only."""
    try:
        return (run_folder / "fingerprint").read_text().strip()
    except FileNotFoundError:
        return None


def asked(client: ControlClient, request: object) -> State:
    """State after ``request``."""
    answer = client.ask(request)
    assert isinstance(answer, State)
    return answer


def pulses_words(state: State) -> str:
    """What dimming does to the exposures, for people: ``PWM 20.0 kHz, ripple 0.05 % at 15.0 ms``."""
    light, exposure_ms = state.light, state.camera.exposure_us / 1000
    name = "PWM" if light.pwm == "hardware" else "software PWM, in whole percents,"
    if light.state != "lit":
        return f"{name} dark; its ripple is known while lit"
    if not light.pulse_hz:
        return f"steady, no {name.split(',')[0]} ripple at {exposure_ms:.1f} ms"
    return f"{name} {light.pulse_hz / 1000:.2f} kHz, ripple {light.ripple:.2%} at {exposure_ms:.1f} ms"


def condition_lines(conditions: Sequence[ConditionState]) -> list[str]:
    """One line each: whether it holds, its name, and its value beside its limit or its sentence."""
    return [f"{_MARKS[one.state]:<8} {one.name}{_detail(one)}" for one in conditions]


_MARKS = {"holds": "ok", "missing": "MISSING", "absent": "absent"}


def _detail(condition: ConditionState) -> str:
    if condition.state != "holds":
        return f": {condition.sentence}"
    if condition.value is None:
        return ""
    limit = "" if condition.limit is None else f" (limit {condition.limit:g} {condition.unit})"
    return f": {condition.value:.4g} {condition.unit}{limit}"
