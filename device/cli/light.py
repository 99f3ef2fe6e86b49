"""``tapetum light``."""

import time
from pathlib import Path
from typing import Literal, cast

import click

from device.cli import answer, json_option
from device.cli.number import Number
from device.cli.running import asked, condition_lines, connected, pulses_words, run_dir_option
from shared.bounded import plain
from shared.errors import Refused
from shared.protocol.control import GetState, Light, a_press

_REPEAT_S = 0.3


@click.command()
@click.argument("act", type=click.Choice(["on", "off", "brighter", "dimmer", "rearm"]))
@click.option("--seconds", type=Number(0.1, 600), help="How long to hold the light on.  [default: until Ctrl-C]")
@run_dir_option
@json_option
def command(act: str, seconds: float | None, run_dir: Path, as_json: bool) -> None:
    """Operate the light of the running device. Do not stare into the ring; goggles near the eyes.

    ``on`` holds the light for --seconds or until Ctrl-C and switches it off then: nobody's light outlives the one who asked.
    """
    press = a_press() if act == "on" else 0
    request = Light(cast(Literal["on", "off", "brighter", "dimmer", "rearm"], act), press)
    with connected(run_dir) as client:
        state = asked(client, request)
        if act == "on":
            end = None if seconds is None else time.monotonic() + seconds
            try:
                while end is None or time.monotonic() < end:
                    time.sleep(_REPEAT_S if end is None else min(_REPEAT_S, max(0.0, end - time.monotonic())))
                    state = asked(client, request)
                    if state.light.state != "lit":
                        raise Refused(
                            "the light is not on",
                            state.light.state,
                            state.light.reason or "somebody put it out; see tapetum status",
                        )
            finally:
                asked(client, Light("off", press))
        else:
            state = asked(client, GetState())
    light = state.light
    words = f"light {light.state}, level {light.wanted_level:.0%}, {pulses_words(state)}"
    answer(plain(light), "\n".join([words, *condition_lines(light.conditions)]), as_json)
