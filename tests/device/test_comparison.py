"""Two runs of the same view: second levels come back with the first dye's remainder taken out; what cannot be compared is said."""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.ndimage import affine_transform

from device.cli.compare import command
from device.comparison import Comparison, compare
from device.simulate import simulate, write_frames
from shared.errors import Refused
from shared.recording import Recording
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer
from tests import scenes
from tests.scenes import two_halves

MARKS = (
    {"path_mm": [[20, -20], [45, 40], [25, 120]], "width_mm": 2.5},
    {"path_mm": [[70, -20], [72, 40], [69, 120]], "width_mm": 3.0},
    {"path_mm": [[-20, 70], [60, 78], [110, 60], [190, 75]], "width_mm": 2.5},
)
BASE, TIP = "base:30,20,30,35", "tip:110,15,35,40"


def scene(injected_s: float = 10.0, level: float = 0.28, arrival_s: float = 17.0, **more: Mapping[str, Any]) -> Scene:
    """A hand that drifts over two tissues with marks between; ``more`` is laid over its sections."""
    values = two_halves(
        160,
        96,
        1.0,
        {**scenes.BASE, "level": 0.8},
        {**scenes.TIP, "arrival_s": arrival_s, "level": level},
        gap_mm=20.0,
        camera={"fps": 2.0, "exposure_us": 15_000},
        optics={"leakage": 0.06, "ambient": 0.01, **more.get("optics", {})},
        surface={"texture": 0.15, "mottle": 0.1},
        motion={"drift_mm_s": 0.1, **more.get("motion", {})},
        dye={"injected_at_s": injected_s, "half_life_s": 180.0},
        mark=list(MARKS),
    )
    return Scene.from_values(values, "harbour")


class Nearer(SceneRenderer):
    """The same scene in a camera so much nearer: everything larger round the middle, and brighter by the inverse square."""

    def __init__(self, seen: Scene, seed: int, magnification: float) -> None:
        electrons_per_s = seen.electrons_per_s * magnification**2
        noise = replace(seen.camera.noise, hot_pixels=0 if magnification != 1.0 else seen.camera.noise.hot_pixels)
        lit = replace(seen.light, electrons_per_s=electrons_per_s)
        super().__init__(replace(seen, light=lit, camera=replace(seen.camera, noise=noise)), seed)
        self._magnification = magnification

    def frame_into(self, pixels: np.ndarray, *drawn: Any) -> None:
        super().frame_into(pixels, *drawn)
        if self._magnification != 1.0:
            step, middle = 1.0 / self._magnification, (np.array(pixels.shape) - 1.0) / 2.0
            pixels[:] = affine_transform(pixels, np.full(2, step), middle * (1.0 - step), order=1, mode="nearest")


def second_run(
    folder: Path,
    minutes: int,
    level: float,
    arrival_s: float,
    seconds: float = 80.0,
    magnification: float = 1.0,
    **more: Mapping[str, Any],
) -> Path:
    """A second injection after the tip's supply has changed, into what is left of the first one at its old level; ``more`` is
    laid over sections of the scene.
    """
    first = SceneRenderer(scene(**more), 4)
    injected_s = 10.0 + 60 * minutes
    renderer = Nearer(scene(injected_s, level, arrival_s, **more), 4, magnification)
    own: Callable[..., np.ndarray] = renderer.truth.curve
    renderer.truth.curve = lambda name, times_s: own(name, times_s) + first.truth.curve(name, times_s)  # type: ignore[method-assign]
    path = folder / f"after{minutes}.zarr"
    from_frame = 2 * 60 * minutes
    write_frames(renderer, path, range(from_frame, from_frame + round(2 * seconds)), {})
    return path


class Standing(datetime):
    """A calendar that stands still: how long it takes to simulate recordings must not count as time between them."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:
        return datetime(2026, 1, 1, tzinfo=tz)


@pytest.fixture(scope="module", autouse=True)
def one_moment() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("device.simulate.datetime", Standing)
        yield


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("compared")
    simulate(scene(), path / "before.zarr", 240.0, seed=4)
    dimmed = replace(scene(), light=replace(scene().light, level=0.6))
    simulate(dimmed, path / "again.zarr", 70.0, seed=4, from_s=600.0, injections_s=(610.0,))
    (path / "short").mkdir()
    simulate(scene(), path / "short" / "before.zarr", 50.0, seed=4)
    return path


def compared(first: Path, second: Path, **given: object) -> Comparison:
    with Recording.open(first) as one, Recording.open(second) as other:
        return compare(one, other, BASE, [TIP], **given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("minutes", "level", "arrival_s", "magnification"),
    [(5, 0.48, 14.0, 1.0), (10, 0.12, 22.0, 1.08)],
)
def test_a_second_injection_gives_its_own_levels(
    folder: Path, minutes: int, level: float, arrival_s: float, magnification: float
) -> None:
    """Truth: 100 x level / 0.8 of the scene. Left of the first dye, by the scene's washout: 0.6 x 2^(-t / 180 s) after its peak.

    Where the second one is made from nearer, so that its picture is larger and brighter, that is found and allowed for.
    """
    second = second_run(folder, minutes, level, arrival_s, magnification=magnification)
    result = compared(folder / "before.zarr", second)
    first, second = result.regions["tip"].first.figures, result.regions["tip"].second.figures
    assert first.peak_relative_percent.value == pytest.approx(35.0, abs=1.0)
    assert second.peak_relative_percent.value == pytest.approx(100 * level / 0.8, abs=3.0)
    assert second.arrival_s.value == pytest.approx(arrival_s, abs=0.5)
    printed = result.as_json()
    base, tip = printed["regions"]["base"], printed["regions"]["tip"]
    assert {each["remainder"]["method"] for each in (base, tip)} == {"prediction and observation"}
    for each, share, peak_s in ((base, 1.0, 21.0), (tip, 0.35, 29.5)):
        truth = 100 * share * 0.6 * 2 ** (-(60 * minutes - peak_s) / 180)
        low, high = each["remainder"]["predicted_95_percent"]
        assert low < truth < high
        for key in ("left_percent", "predicted_percent", "observed_percent"):
            assert each["remainder"][key]["value"] == pytest.approx(truth, abs=0.05 * truth + 0.3), key
    change, gained = tip["difference"]["peak_relative_percent"], tip["ratio"]["peak_relative_percent"]
    assert change["value"] == pytest.approx(100 * (level - 0.28) / 0.8, abs=3.0)
    assert gained["value"] == pytest.approx(level / 0.28, abs=0.1)
    assert change["u"] > 0
    assert gained["u"] > 0
    assert tip["difference"]["arrival_s"]["value"] == pytest.approx(arrival_s - 17.0, abs=0.5)
    assert printed["between_s"] == pytest.approx(
        60 * minutes, abs=60
    )  # both were simulated now, and the machine may be slow
    assert printed["between_known_from"] == "start times"
    assert printed["aligned"]["magnification"] == pytest.approx(magnification, abs=0.002)
    if magnification == 1.0:
        # as far as the hand drifted; a pixel is a millimetre
        assert printed["aligned"]["shift_mm"] == pytest.approx(12.0, abs=1.5)
    assert any("from nearer" in line for line in printed["cautions"]) == (magnification > 1.0)
    # of what is left of the first dye, before the second: this hand hardly moves, and that falls meanwhile
    untold = f"after{minutes}: how much of the signal before the dye is the room's light cannot be told"
    assert [line.partition(" and ")[0][: len(untold)] for line in printed["warnings"]] == [
        untold,
        "the recordings end 230",
    ]


def test_without_taking_it_out_the_levels_would_be_wrong(folder: Path) -> None:
    """The same run with nothing but its baseline taken off: the fall of what is left takes away from every late peak."""
    second = second_run(folder, 3, 0.2, 30.0)
    whole = compared(folder / "before.zarr", second).regions["tip"]
    plain = compared(folder / "short" / "before.zarr", second).regions["tip"]
    truth = 100 * 0.2 / 0.8
    assert whole.second.figures.peak_relative_percent.value == pytest.approx(truth, abs=1.0)
    assert whole.remainder.method == "prediction and observation"
    assert plain.remainder.method == "baseline alone"
    assert any("its fall not taken out" in flag for flag in plain.second.figures.flags)
    assert plain.second.figures.peak_relative_percent.value < whole.second.figures.peak_relative_percent.value - 0.5


def test_marks_of_one_clock_tell_the_time_between(folder: Path) -> None:
    """Written with both injections by `tapetum simulate`'s own path: the second knows of the first one's mark, as on a device.

    Its light is dimmed, which changes no figure and is said.
    """
    result = compared(folder / "before.zarr", folder / "again.zarr")
    assert (result.between_s, result.between_from) == (600.0, "injection marks")
    change = result.regions["tip"]
    assert change.second.figures.peak_relative_percent.value == pytest.approx(35.0, abs=1.0)
    assert change.as_json()["difference"]["peak_s"]["value"] == pytest.approx(0.0, abs=0.5)
    assert result.cautions[0] == "100, then 60 % light: allowed for as far as camera and ring are calibrated"
    told = compared(folder / "before.zarr", folder / "again.zarr", between_s=300.0)
    assert (told.between_s, told.between_from) == (300.0, "given")
    assert told.regions["base"].remainder.contradicts
    assert any("not what the first washout predicts" in flag for flag in told.regions["base"].second.figures.flags)


def test_two_looks_at_one_injection_compare_the_end(folder: Path) -> None:
    """No dye comes in: the relative intensity at the end counts, above what the first recording saw before any dye."""
    simulate(scene(), folder / "later.zarr", 30.0, seed=4, from_s=270.0)
    result = compared(folder / "before.zarr", folder / "later.zarr")
    change = result.regions["tip"]
    assert change.remainder.method == "no second injection"
    assert any("no second injection" in line for line in result.warnings)
    truth = SceneRenderer(scene(), 4).truth
    assert change.first.late.value == pytest.approx(truth.relative_percent("tip", 228.0), abs=1.0)
    assert change.second.late.value == pytest.approx(truth.relative_percent("tip", 298.0), abs=1.0)
    assert change.second.figures.arrival_s.value is None


def test_what_cannot_be_compared_is_said(folder: Path, tmp_path: Path) -> None:
    other = Scene.load(Path("shared/scene/ready/nodes.toml"))
    small = replace(
        other, camera=replace(other.camera, width=160, height=96, fps=2.0), optics=replace(other.optics, mm_per_px=1.0)
    )
    simulate(small, tmp_path / "nodes.zarr", 20.0, seed=5)
    with pytest.raises(Refused, match="do not show the same"):
        compared(folder / "short" / "before.zarr", tmp_path / "nodes.zarr")
    taken = compared(folder / "short" / "before.zarr", tmp_path / "nodes.zarr", same_view=True)
    assert taken.aligned is None
    assert any("not matched" in line for line in taken.warnings)
    with pytest.raises(Refused, match="began before the first"):
        compared(second_run(tmp_path, 20, 0.3, 17.0, 40.0), folder / "before.zarr")
    wide = replace(small, camera=replace(small.camera, width=192))
    simulate(wide, tmp_path / "wide.zarr", 5.0)
    short = ["--reference", BASE, "--region", TIP]
    done = CliRunner().invoke(command, [str(folder / "before.zarr"), str(tmp_path / "wide.zarr"), *short])
    assert isinstance(done.exception, Refused), "one line, and exit 2"
    assert done.exception.line == (
        "the two recordings differ in picture size: before has 160 x 96 pixels and wide has 192 x 96; "
        "choose two made with one camera at one size (camera.width, camera.height)"
    )


def test_a_region_that_was_lost_from_sight_has_no_level_at_the_end_either(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last frames of what is left of a curve are not the recording's last; here no curve is whole enough."""
    monkeypatch.setattr("device.followed_hand.MOST_LACKING_SHARE", -1.0)
    tip = compared(folder / "before.zarr", folder / "again.zarr").regions["tip"]
    for side in (tip.first, tip.second):
        assert any("was lost from sight" in flag for flag in side.figures.flags)
        assert side.figures.peak_relative_percent.value is None
        assert side.late.value is None


def test_the_command(folder: Path) -> None:
    regions = ["--reference", BASE, "--region", TIP]
    short = str(folder / "short" / "before.zarr")
    done = CliRunner().invoke(command, [short, short, *regions, "--json"], catch_exceptions=False)
    tip = json.loads(done.stdout)["regions"]["tip"]
    assert set(tip) == {"first", "second", "difference", "ratio", "remainder"}
    # a recording beside itself differs in nothing
    assert tip["difference"]["arrival_s"]["value"] == pytest.approx(0, abs=1e-6)
    assert tip["ratio"]["peak_relative_percent"]["value"] == pytest.approx(1, abs=1e-6)
    assert tip["difference"]["relative_percent_at_end"]["value"] == pytest.approx(0, abs=1e-6)
    readable = CliRunner().invoke(command, [short, short, *regions], catch_exceptions=False).stdout
    for words in (
        "0.0 minutes later (from injection marks)",
        "1.000 times as large",
        "left-over dye by no second injection",
        "±",
        "not viability",
        "licensed practice",
    ):
        assert words in readable
