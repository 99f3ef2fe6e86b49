"""``tapetum status``."""

from pathlib import Path

import click

from device.cli import answer, json_option
from device.cli.running import asked, condition_lines, connected, page_fingerprint, pulses_words, run_dir_option
from shared.bounded import plain
from shared.protocol.control import GetState, State


@click.command()
@run_dir_option
@json_option
def command(run_dir: Path, as_json: bool) -> None:
    """Say what the running device is doing: camera, light and what it needs, recording, regions."""
    with connected(run_dir) as client:
        state = asked(client, GetState())
    fingerprint = page_fingerprint(run_dir)
    answer({**plain(state), "page_fingerprint": fingerprint}, _readable(state, fingerprint), as_json)


def _readable(state: State, fingerprint: str | None) -> str:
    camera, light, recording = state.camera, state.light, state.recording
    lines = [
        f"camera       {camera.model}, {camera.width} x {camera.height}, {camera.rate_hz:.1f} frames/s",
        f"newest       {camera.frame_age_ms:.0f} ms old, {camera.lost_frames} lost",
        f"light        {light.state} at {light.level:.0%}{', ' + light.reason if light.reason else ''}",
        f"pulses       {pulses_words(state)}",
        f"recording    {recording.name or 'none'}, {recording.frames} frames, {recording.gaps} missing",
        f"room         {recording.free_mb:.0f} MB",
        f"calibration  {state.calibration}{f', {state.calibrated_at}' if state.calibrated_at else ''}",
        f"light output {f'measured {state.light_measured_at}' if state.light_measured_at else 'assumed linear'}",
    ]
    if fingerprint is not None:
        lines.append(f"page         fingerprint for tablets {fingerprint}")
    lines += [f"condition    {line}" for line in condition_lines(light.conditions)]
    for region in (*((state.reference,) if state.reference else ()), *state.regions):
        value = region.flag or f"{region.percent or 0:.1f} ± {region.percent_u or 0:.1f} %"
        lines.append(f"region       {region.name}: {value}")
    return "\n".join([*lines, *(f"warning: {line}" for line in state.warnings)])
