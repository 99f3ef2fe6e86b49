"""The check before a case, on a running device: under a minute, and never with the light left on.

The handheld stands in its box on the plain card. Unlit frames, lit frames, then the trip is tried on purpose: the imager renews no
lease for a moment, and the guard has to go dark by itself.
"""

import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from device.commissioning.bench import POLL_S, Bench
from device.commissioning.cases import CHECK
from device.commissioning.run import in_force
from device.commissioning.takes import longest, stack, takes
from device.recording_list import summaries
from shared.commissioning import case_check as judge
from shared.commissioning.calibration_folder import Kept
from shared.errors import Refused
from shared.protocol.commissioning import CheckItem
from shared.protocol.control import Light, State, WithholdLeases
from shared.recording import Recording
from shared.signal import Measured

GUIDE = """\
The check before a case: stand the handheld in its dark box on the plain card, window clean, as at commissioning.
The ring lights for about a second, and is tripped on purpose. Do not look into it.
"""
FRAMES = 16
TRIAL_S = 1.5


@dataclass
class CaseCheck:
    """One check. ``now`` is wall-clock time, ``seconds`` a steady clock."""

    bench: Bench
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    seconds: Callable[[], float] = time.monotonic

    def items(self) -> Iterator[CheckItem]:
        """Every line as soon as it is known; the light is off in every case. Raises Refused where the device cannot be checked."""
        state = self.bench.fit()
        kept = in_force(state)
        now = self.now()
        recordings = Path(state.data_folder) / "recordings"
        camera = state.camera
        found = [
            judge.room(
                state.recording.free_mb, state.recording.least_free_mb, camera.width, camera.height, camera.rate_hz
            ),
            judge.clock(now, _moments(recordings, kept)),
            judge.calibration_age(kept, state.calibrated_at, state.light_measured_at, now, len(state.light_levels)),
        ]
        yield from found
        with self.bench.put_back():
            self.bench.target("check box")
            name, trial = self.walked(kept)
        path = recordings / f"{name}.zarr"
        with Recording.open(path) as recording:
            for item in (*_seen(recording, kept, trial), *judge.light_conditions(self.bench.state.light)):
                found.append(item)
                yield item
        if all(one.passed for one in found):
            shutil.rmtree(path)  # frames are kept as evidence only where something failed

    def walked(self, kept: Kept) -> tuple[str, judge.Trial]:
        """Record, and try the trip; returns the recording's name and what the trial gave."""
        bench, dark = self.bench, kept.figures.dark
        camera, levels = bench.state.camera, bench.state.light_levels
        with ExitStack() as afterwards:
            afterwards.callback(self._left_safe)
            with bench.recording(CHECK) as (name,):
                bench.at_level(levels[-1], levels)
                bench.expose(*((dark.exposure_us, dark.gain) if dark else (camera.exposure_us, camera.gain)))
                bench.say("unlit frames")
                bench.frames(FRAMES + 6, lit=False)
                bench.say("light, and its trip on purpose")
                trial = self._trial()
                bench.frames(FRAMES + 6, lit=False)
        return name, trial

    def _trial(self) -> judge.Trial:
        """Ask for light, wait until it was lit for some frames, withhold leases, and see whether the guard goes dark by itself."""
        started_s = self.seconds()
        state = self._until(lambda now: now.light.state == "lit", TRIAL_S)
        if state is None:
            light = self.bench.state.light
            return judge.Trial(None, None, light.reason, light.state != "lit")
        lit_after_s = self.seconds() - started_s
        self.bench.frames(FRAMES + 6, lit=True)
        self.bench.device.ask(WithholdLeases())
        withheld_s = self.seconds()
        tripped = self._until(lambda now: now.light.state == "tripped", TRIAL_S)
        after_s = self.seconds() - withheld_s if tripped else None
        return judge.Trial(lit_after_s, after_s, tripped.light.reason if tripped else "", tripped is not None)

    def _until(self, met: Callable[[State], bool], seconds: float) -> State | None:
        """Hold the light as a finger does until ``met``; None where it never is."""
        end_s = self.seconds() + seconds
        while self.seconds() < end_s:
            state = self.bench.hold()
            if met(state):
                return state
            self.bench.pause(POLL_S / 5)
        return None

    def _left_safe(self) -> None:
        """Off first; then the trip that was ours is armed again, so that the case can begin."""
        self.bench.let_go()
        if self.bench.state.light.state == "tripped":
            self.bench.device.ask(Light("rearm"))
        self.bench.let_go()


def _seen(recording: Recording, kept: Kept, trial: judge.Trial) -> Iterator[CheckItem]:
    """What the frames say."""
    found = takes(recording)
    before = next((one for one in found if not one.lit and len(one.numbers) >= FRAMES // 2), None)
    if before is None:
        raise Refused("too few unlit frames were recorded", len(found), "check again; see tapetum status")
    unlit = stack(recording, before)
    yield judge.dark_level(unlit, kept, recording.camera.white_level)
    yield judge.new_defects(unlit, kept)
    nothing = Measured(0.0, 1.0)
    if trial.lit_after_s is None or not any(one.lit and len(one.numbers) >= 2 for one in found):
        yield from (judge.light_answers(trial, nothing), judge.light_trips(trial))
        return
    shape = recording.camera.shape
    good = ~np.asarray(kept.planes.get("defects", np.zeros(shape, np.bool_)))
    flat = np.asarray(kept.planes.get("flat", np.ones(shape)), np.float64)
    lit_take, last = longest(found, lit=True), [one for one in found if not one.lit][-1]
    lit, after = stack(recording, lit_take), stack(recording, last)
    seen = judge.brightening(lit, unlit, good, flat)
    left = judge.brightening(after, unlit, good, flat)
    dark_again = trial.dark_afterwards and left.value < 0.25 * max(seen.value, judge.SEEN * seen.u)
    to_signal = recording.calibration.counts_to_signal(lit.exposure_us, lit.gain, lit.level)
    tried = judge.Trial(trial.lit_after_s, trial.tripped_after_s, trial.reason, dark_again)
    yield judge.leakage_now(seen, to_signal, kept)
    yield judge.light_answers(trial, seen)
    yield judge.light_trips(tried)


def _moments(recordings: Path, kept: Kept) -> list[datetime]:
    """When things happened that the clock cannot be before."""
    found = [one.made_at for one in kept.figures.taken]
    if recordings.is_dir():
        found += [one.started_at for one in summaries(recordings)[0][:1]]
    return [datetime.fromisoformat(one) for one in found]
