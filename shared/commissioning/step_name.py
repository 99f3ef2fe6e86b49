"""Names of the steps of commissioning; without numpy, so that a command line can have them at once."""

from typing import Literal

StepName = Literal["dark", "defects", "flat", "gain", "scale", "sharpness", "leakage", "sensitivity"]
