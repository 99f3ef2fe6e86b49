"""Frames of a sensor whose every figure is known: plain numpy after the model of EMVA 1288, apart from the scenes' own sensor."""

import numpy as np

K, SD_E, DSNU_E, PRNU, DARK_E_S, WHITE = 0.25, 3.0, 1.5, 0.008, 20.0, 4095
"""K in counts an electron, read noise and DSNU in electrons, PRNU as a share: a run that emva1288 1.0.2 was tried on beforehand."""
BLACK = 64.0


class TrueSensor:
    """Bare sensor under even light of so many electrons a second."""

    def __init__(self, shape=(96, 120), seed=1, electrons_per_s=1e6, black=BLACK):
        self.rng = np.random.default_rng(seed)
        self.shape, self.rate, self.black = shape, electrons_per_s, black
        self.dsnu = self.rng.normal(0, DSNU_E, shape)
        self.prnu = 1 + PRNU * self.rng.standard_normal(shape)

    def frame(self, exposure_us, lit, field=1.0, dark_e_s=DARK_E_S):
        seconds = exposure_us / 1e6
        mean = (self.rate * self.prnu * field * lit + dark_e_s) * seconds
        electrons = self.rng.poisson(mean) + self.rng.normal(0, SD_E, self.shape) + self.dsnu
        return np.clip(np.rint(self.black + K * electrons), 0, WHITE).astype(np.uint16)

    def frames(self, number, *args, **more):
        return [self.frame(*args, **more) for _ in range(number)]
