"""What a fake imager knows of commissioning and of the device: enough for every state the page can show."""

from dataclasses import replace
from pathlib import Path

from shared.commissioning.step_needs import LIGHTS, NEEDS
from shared.errors import Refused
from shared.protocol import commissioning as p
from shared.protocol.device_facts import DeviceFacts, GetDevice, SettingLine, Trip

NOW = "2031-05-04T09:41:00Z"
CHECK = (
    p.CheckItem("storage", True, "room for about 38 minutes, at least 5"),
    p.CheckItem("clock", True, "2031-05-04 09:41 UTC"),
    p.CheckItem("calibration", True, "oldest step 12 days old, at most 180"),
    p.CheckItem("dark level", True, "+0.02 counts from the calibration, at most 5.1"),
    p.CheckItem("new defects", True, "0 hot pixels, at most 26"),
    p.CheckItem("leakage", False, "1.82 times the calibrated, from 0.5 to 1.5: is the filter loose or cracked?"),
    p.CheckItem("light answers", True, "lit after 7 ms, seen by the camera"),
    p.CheckItem("light trips", True, "dark 112 ms after the last lease was asked back"),
    p.CheckItem("supply", True, "no sensor is fitted: look at the battery yourself"),
    p.CheckItem("light conditions", True, "10 of the light guard's hold, or have no sensor"),
)
FIGURES = {
    "dark": (
        p.FigureLine("mean", "60.02 ± 0.01 counts", "", None),
        p.FigureLine("DSNU", "0.114 counts", "at most 10.2", True),
    ),
    "defects": (
        p.FigureLine("pixels replaced", "80 (80 hot, 75 noisy, 10 odd in light)", "", None),
        p.FigureLine("share", "0.00505 %", "at most 0.1", True),
    ),
}


LINES = (p.Series("measured", (0.0, None, 4.1)), p.Series("line", (0.0, 2.0, 4.0)))
FLAT_MAP = p.Curve(
    "flat", tuple(100.0 - (x - 5.5) ** 2 - (y - 4) ** 2 for y in range(9) for x in range(12)), columns=12
)
"""As a flat field is: bright in the middle."""


class FakeCommissioning:
    """Starts with dark and defects taken and kept; a walk runs until the test lets it end."""

    def __init__(self, data_folder: Path | None) -> None:
        self._data_folder = data_folder
        self.walk: p.WalkState | None = None
        self.now = p.Commissioning(
            now=NOW,
            sensor="simulated 1234abcd",
            steps=tuple(self._step(step) for step in NEEDS),
            in_force="2031-04-22T08:05:00Z",
            newest="2031-04-22T08:05:00Z",
            light_in_force="",
            proposal=None,
            calibrations=(
                p.CalibrationLine("2031-04-22T08-05-00Z", ("dark", "defects"), ("flat", "gain"), ""),
                p.CalibrationLine("2031-04-22T08-00-00Z", ("dark",), ("defects", "flat", "gain"), ""),
            ),
            checks=(p.CheckRecord("2031-05-03T07:30:00Z", True, tuple(replace(one, passed=True) for one in CHECK)),),
            paper=None,
            oldest_days=180,
        )

    @staticmethod
    def _step(step: p.Walk) -> p.StepLine:
        made_at = {"dark": "2031-04-22T08:00:00Z", "defects": "2031-04-22T08:05:00Z"}.get(step, "")
        return p.StepLine(
            step, made_at, f"{step}-step" if made_at else "", NEEDS[step], step in LIGHTS, FIGURES.get(step, ())
        )

    def tell(self, *said: str, items: tuple[p.CheckItem, ...] = ()) -> None:
        """The walk that runs says so on its way."""
        assert self.walk is not None
        self.walk = replace(self.walk, said=(*self.walk.said, *said), items=(*self.walk.items, *items))

    def finish(self, passed: bool = False, error: str = "") -> None:
        """The walk that runs has ended."""
        assert self.walk is not None
        self.walk = replace(self.walk, running=False, passed=passed, error=error)
        if self.walk.walk == "check" and not error:
            record = p.CheckRecord(NOW, passed, self.walk.items)
            self.now = replace(self.now, checks=(record, *self.now.checks))
        elif not error:
            step = self.walk.walk
            figures = FIGURES.get(step, (p.FigureLine("value", "1.00", "at most 2", True),))
            before = next(one.figures for one in self.now.steps if one.step == step)
            self.now = replace(self.now, proposal=p.Proposal(step, NOW, figures, before))

    def answer(self, request: object) -> object:
        """Answer to a request of commissioning or about the device; None where the state is the answer. KeyError for another."""
        match request:
            case p.GetCommissioning() | p.UseFormerLight():
                return self.now
            case p.GetCurve(step):
                return FLAT_MAP if step == "flat" else p.Curve(step, (0.0, 1.0, 2.0), LINES)
            case p.StartWalk(walk):
                if self.walk is not None and self.walk.running:
                    raise Refused("a walk is running", self.walk.walk, "wait until it is finished")
                self.walk = p.WalkState(walk, True, NOW)
            case p.WatchWalk() | p.PutInForce():
                pass
            case p.StopWalk():
                if self.walk is not None and self.walk.running:
                    self.finish(error="it was stopped")
            case p.SettleProposal(keep):
                return self._settled(keep)
            case p.UseCalibration(name):
                return self._used(name)
            case p.MakePaper(paper):
                return self._written(paper)
            case GetDevice():
                return FACTS
            case _:
                raise KeyError(type(request).__name__)
        return None

    def _settled(self, keep: bool) -> p.Commissioning:
        proposal = self.now.proposal
        if keep and proposal is None:
            raise Refused("no result waits to be kept", remedy="take a step first")
        if keep and proposal is not None:
            steps = tuple(
                replace(one, made_at=proposal.made_at, figures=proposal.figures) if one.step == proposal.step else one
                for one in self.now.steps
            )
            line = p.CalibrationLine(proposal.made_at.replace(":", "-"), (proposal.step,), ("gain",), "")
            calibrations = (line, *self.now.calibrations)
            self.now = replace(self.now, steps=steps, newest=proposal.made_at, calibrations=calibrations)
        self.now = replace(self.now, proposal=None)
        return self.now

    def _used(self, name: str) -> p.Commissioning:
        older = next((one for one in self.now.calibrations if one.name == name), None)
        if older is None:
            raise Refused("no such calibration", name, "choose one of the list")
        again = replace(older, name=NOW.replace(":", "-"), again_from=name)
        self.now = replace(self.now, newest=NOW, calibrations=(again, *self.now.calibrations))
        return self.now

    def _written(self, paper: p.Paper) -> p.Commissioning:
        if self._data_folder is not None:
            folder = self._data_folder / "papers"
            folder.mkdir(parents=True, exist_ok=True)
            (folder / f"{paper}.pdf").write_bytes(b"%PDF-1.4\n%%EOF\n")
        self.now = replace(self.now, paper=p.PaperState(paper, running=False, file=f"{paper}.pdf"))
        return self.now


FACTS = DeviceFacts(
    now=NOW,
    clock_set="not since the start",
    clock_words="",
    version="0.9.0",
    started_at="2031-05-04T08:02:10Z",
    memory_mb=371.4,
    storage_total_mb=118_000.0,
    storage_free_mb=51_234.0,
    minutes_left=22.5,
    asked_rate_hz=30.0,
    trips=(
        Trip("2031-05-04T08:40:12Z", "the camera's frames stopped coming", tried=True),
        Trip("2031-05-03T10:11:12Z", "the LEDs are at 61.0 °C, limit 60 °C: let them cool below 55 °C"),
    ),
    settings_file="/etc/tapetum/settings.toml",
    settings=(
        SettingLine("camera", "frames_per_s", "30", changed=False, about=""),
        SettingLine(
            "light", "lease_ms", "120", changed=True, about="light goes dark this long after the last verified frame"
        ),
        SettingLine("light.cover", "kind", "absent", changed=False, about='or "switch" on cover_pin'),
    ),
)
