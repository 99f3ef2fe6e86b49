"""What the page is told of the steps is what the steps themselves ask for."""

import pytest

from device.commissioning.dark_step import DarkStep
from device.commissioning.dye_steps import LeakageStep, SensitivityStep
from device.commissioning.flat_step import DefectsStep, FlatStep
from device.commissioning.gain_step import GainStep
from device.commissioning.optics_steps import ScaleStep, SharpnessStep
from shared.commissioning.calibration_folder import Figures, Kept
from shared.commissioning.step_needs import LIGHTS, NEEDS
from shared.errors import Refused
from shared.frame import CameraDescription

STEPS = (
    DarkStep(), DefectsStep(), FlatStep(), GainStep(), ScaleStep(250.0), SharpnessStep(), LeakageStep(),
    SensitivityStep([0, 1, 2, 3, 4, 5, 6, 7], "micromole/L"),
)  # fmt: skip


class HasOnly(Figures):
    """Figures in which just some steps were taken."""

    there: frozenset[str] = frozenset()

    def of(self, step):
        return object() if step in self.there else None


def having(*steps):
    figures = HasOnly("0000-00-00T00:00:00Z", "a", 64, 64, 10)
    object.__setattr__(figures, "there", frozenset(steps))
    return Kept("", figures)


def test_every_step_is_listed_and_light_besides():
    assert set(NEEDS) == {one.name for one in STEPS} | {"light"}
    assert set(NEEDS) - {"dark"} == LIGHTS
    assert Figures.empty("a", CameraDescription("a", 64, 64)).missing == ("dark", "defects", "flat", "gain")


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_a_step_leans_on_what_is_said_and_on_nothing_else(step):
    needs = NEEDS[step.name]
    step.check(having(*needs))
    for missing in needs:
        with pytest.raises(Refused, match=missing):
            step.check(having(*(one for one in needs if one != missing)))


@pytest.mark.parametrize(
    ("told", "unit", "words"),
    [
        ([1, 2, 3], "g/L", "8 concentrations are needed: 3"),
        ([1, 2, 3, 4, 5, 6, 7, 8], "g/L", "must differ, and one must be 0: 1, 2, 3, 4, 5, 6, 7, 8"),
        ([0, 1, 1, 2, 3, 4, 5, 6], "g/L", "must differ, and one must be 0: 0, 1, 1"),
        ([0, -1, 2, 3, 4, 5, 6, 7], "g/L", "from 0 to 1e\\+09: 0, -1, 2"),
        ([0, 1, 2, 3, 4, 5, 6, 1e30], "g/L", "from 0 to 1e\\+09: .*1e\\+30; name them in another unit"),
        ([0, 1, 2, 3, 4, 5, 6, 7], "", "the unit of the concentrations has 1 to 20 letters: "),
        ([0, 1, 2, 3, 4, 5, 6, 7], 21 * "g", "the unit of the concentrations has 1 to 20 letters: g"),
    ],
)
def test_a_dilution_row_that_cannot_be_is_refused_before_anything_is_lit(told, unit, words):
    with pytest.raises(Refused, match=words):
        SensitivityStep(told, unit)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_a_guide_says_that_the_ring_lights_or_stays_dark(step):
    assert ("The ring lights" in step.guide) == (step.name in LIGHTS)
