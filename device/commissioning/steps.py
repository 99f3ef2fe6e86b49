"""All steps of commissioning, in the order in which they lean on each other.

Light output has a walk and a file of its own.
"""

from collections.abc import Sequence

from device.commissioning.dark_step import DarkStep
from device.commissioning.dye_steps import LeakageStep, SensitivityStep
from device.commissioning.flat_step import DefectsStep, FlatStep
from device.commissioning.gain_step import GainStep
from device.commissioning.optics_steps import ScaleStep, SharpnessStep
from device.commissioning.step import Step
from shared.commissioning.step_name import StepName


def step(name: StepName, distance_mm: float, pitch_mm: float, concentrations: Sequence[float], unit: str) -> Step:
    """The step of that name, with what a person says of its target. Raises Refused."""
    match name:
        case "dark":
            return DarkStep()
        case "defects":
            return DefectsStep()
        case "flat":
            return FlatStep()
        case "gain":
            return GainStep()
        case "scale":
            return ScaleStep(distance_mm, pitch_mm)
        case "sharpness":
            return SharpnessStep()
        case "leakage":
            return LeakageStep()
        case "sensitivity":
            return SensitivityStep(concentrations, unit)
