"""Pictures of two runs' ends: each bin says what the region's figures say; what is not known has no colour."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image
from skimage.color import rgb2lab

from device.cli.compare import command
from device.comparison import Comparison, compare
from device.comparison_files import coloured
from device.late_pictures import LatePictures, late_pictures
from device.simulate import simulate
from shared.compare.change import difference
from shared.compare.difference_colours import LESS, MORE, full_scale, laid_over
from shared.inflow.map_values import MEASURED, UNCERTAIN, UNSEEN
from shared.recording import Recording
from shared.region import Region
from tests.device.test_comparison import BASE, TIP, scene, second_run
from tests.device.test_nearing import record

MINUTES, LEVEL, ARRIVAL_S, NEARER = 5, 0.48, 14.0, 1.05


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("late")
    simulate(scene(), folder / "before.zarr", 120.0, seed=4)
    return folder / "before.zarr", second_run(folder, MINUTES, LEVEL, ARRIVAL_S, magnification=NEARER)


@pytest.fixture(scope="module")
def compared(runs: tuple[Path, Path]) -> tuple[Comparison, LatePictures]:
    with Recording.open(runs[0]) as one, Recording.open(runs[1]) as other:
        found = compare(one, other, BASE, [TIP])
        pictures = late_pictures(found)
    assert pictures is not None
    return found, pictures


def inside(region: str, shape: tuple[int, int]) -> np.ndarray:
    """Bins of a region, one bin within its edge."""
    x, y, width, height = (number // 2 for number in Region.parse(region).numbers)
    found = np.zeros(shape, np.bool_)
    found[y + 1 : y + height - 1, x + 1 : x + width - 1] = True
    return found


def test_each_bin_says_what_the_region_says(compared: tuple[Comparison, LatePictures]) -> None:
    found, pictures = compared
    tip = inside(TIP, pictures.first.percent.shape)
    sides = found.regions["tip"].first.late, found.regions["tip"].second.late
    for picture, late in zip((pictures.first, pictures.second), sides, strict=True):
        assert (picture.classes[tip] == MEASURED).mean() > 0.95
        assert np.nanmean(picture.percent[tip]) == pytest.approx(late.value, abs=1.5)
    change = difference(*sides)
    assert change.value is not None
    assert change.value > 15
    assert np.nanmean(pictures.difference.percent[tip]) == pytest.approx(change.value, abs=2.0)
    base = inside(BASE, tip.shape)
    assert np.nanmean(pictures.difference.percent[base]) == pytest.approx(0.0, abs=1.5)


EVEN_BASE, EVEN_TIP = "base:30,20,30,36", "tip:110,16,34,40"


def nearer_and_as_before(folder: Path) -> tuple[Path, Path]:
    """A hand that comes nearer by a twentieth in the first recording, and one that keeps its distance in the second."""
    record(folder / "near.zarr", 0.05)
    return folder / "near.zarr", second_run(folder, MINUTES, LEVEL, ARRIVAL_S, motion={"drift_mm_s": 0.02})


def drifting_in_a_lit_room(folder: Path) -> tuple[Path, Path]:
    """Light of the room makes most of what is there before the dye, and the hand carries it over a twelfth of the picture."""
    lit = {"optics": {"ambient": 0.3}, "motion": {"drift_mm_s": 0.12}}
    simulate(scene(**lit), folder / "lit.zarr", 120.0, seed=4)
    return folder / "lit.zarr", second_run(folder, MINUTES, LEVEL, ARRIVAL_S, **lit)


@pytest.mark.parametrize("recorded", [nearer_and_as_before, drifting_in_a_lit_room])
def test_bins_say_what_the_region_says_of_a_hand_that_carries_light_or_comes_nearer(
    recorded: Callable[[Path], tuple[Path, Path]], tmp_path: Path
) -> None:
    """Regions of whole bins. Pictures that leave out what curves take out have 43 % in the tip where the hand came nearer, and 113
    in the base; 38.6 % in the lit room. The tip's curve has 36.8 and 36.6.
    """
    paths = recorded(tmp_path)
    with Recording.open(paths[0]) as one, Recording.open(paths[1]) as other:
        found = compare(one, other, EVEN_BASE, [EVEN_TIP])
        pictures = late_pictures(found)
    assert pictures is not None
    change = found.regions["tip"]
    for picture, late in ((pictures.first, change.first.late), (pictures.second, change.second.late)):
        means = [np.nanmean(picture.percent[all_of(region)]) for region in (EVEN_TIP, EVEN_BASE)]
        assert means == pytest.approx([late.value, 100.0], abs=0.4)
        assert np.nanmedian(picture.u[all_of(EVEN_TIP)]) < 2.0
    for picture in (pictures.first, pictures.second):
        assert all(np.isfinite(picture.u[picture.classes != UNSEEN]))


def all_of(region: str) -> tuple[slice, slice]:
    """Bins of a region of whole ones."""
    x, y, width, height = (number // 2 for number in Region.parse(region).numbers)
    return np.s_[y : y + height, x : x + width]


def test_uncertainty_is_as_large_as_the_scatter(compared: tuple[Comparison, LatePictures]) -> None:
    """Within a region of one level bins differ by noise, and by the surface's texture, which the difference largely cancels."""
    _, pictures = compared
    base = inside(BASE, pictures.first.percent.shape)
    scatter = np.nanstd(pictures.difference.percent[base])
    assert 0.3 * scatter < np.nanmedian(pictures.difference.u[base]) < 3.0 * scatter


def test_what_one_view_does_not_show_or_is_uncertain_has_no_colour(compared: tuple[Comparison, LatePictures]) -> None:
    _, pictures = compared
    wide = replace(pictures.difference, classes=pictures.difference.classes.copy())
    wide.classes[:20] = UNCERTAIN
    wide.classes[20:30] = UNSEEN
    drawn = coloured(LatePictures(pictures.first, pictures.second, wide))[2].astype(int)
    assert (np.ptp(drawn[:30], axis=2) == 0).all()
    assert (np.ptp(drawn[30:], axis=2) > 20).any()


def test_less_and_more_are_of_one_lightness_and_rise_evenly() -> None:
    """CIE 1976 L* by scikit-image."""
    lightness = rgb2lab(np.array([[LESS, MORE]]) / 255.0)[0, :, 0]
    assert lightness == pytest.approx([71.0, 71.0], abs=2.0)
    steps = laid_over(np.full((1, 41), 40.0), np.linspace(-30, 30, 41)[None], 30.0)
    along = rgb2lab(steps / 255.0)[0, :, 0]
    assert (np.diff(along[:21]) < 0).all()
    assert (np.diff(along[20:]) > 0).all()
    assert full_scale(np.array([1.0, np.nan])) == 20.0
    assert full_scale(np.full(9, -33.0)) == 40.0


def test_the_command_writes_all_of_it_or_refuses(runs: tuple[Path, Path], tmp_path: Path) -> None:
    words = [
        str(runs[0]),
        str(runs[1]),
        "--reference",
        BASE,
        "--region",
        TIP,
        "--json",
        "--out",
        str(tmp_path / "made"),
    ]
    ran = CliRunner().invoke(command, words, catch_exceptions=False)
    assert ran.exit_code == 0
    assert '{"done": 1.0}' in ran.stderr
    kept = json.loads((tmp_path / "made" / "comparison.json").read_text())
    assert kept["regions"] == json.loads(ran.stdout)["regions"]
    about = kept["pictures"]
    assert about["widest_u_percent"] == 5.0  # what is uncertain in the live picture is so here
    for name in ("first", "second", "difference"):
        with Image.open(tmp_path / "made" / f"{name}.png") as picture:
            assert picture.size == (about["width"], about["height"]) == (80, 48)
    with Image.open(tmp_path / "made" / "sheet.png") as sheet:
        assert sheet.width >= 900
    rows = (tmp_path / "made" / "comparison.csv").read_text().splitlines()
    assert rows[0].startswith("region,figure,first,first u,second")
    assert any(row.startswith("tip,relative_percent_at_end,") for row in rows)
