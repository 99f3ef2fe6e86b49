"""All steps of commissioning, in the order in which they lean on each other.

Light output has a walk and a file of its own.
"""

from device.commissioning.dark_step import DarkStep
from device.commissioning.flat_step import DefectsStep, FlatStep
from device.commissioning.gain_step import GainStep
from device.commissioning.step import Step

STEPS: tuple[Step, ...] = (DarkStep(), DefectsStep(), FlatStep(), GainStep())
BY_NAME = {step.name: step for step in STEPS}
