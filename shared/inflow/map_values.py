"""What maps of inflow hold: a value, an uncertainty and a class for each bin and figure. Compiles nothing, for whoever reads."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]

MEASURED, SATURATED, NO_RISE, UNCERTAIN, UNSEEN = range(5)
CLASS_WORDS = (
    "measured",
    "saturated: brighter than the camera can tell",
    "too dark: no rise beyond the noise",
    "uncertain: the interval is too wide, or this cannot be told from the curve",
    "not seen: defective pixels, outside the picture, or no frames before the dye",
)


@dataclass(frozen=True)
class Parameter:
    """One map. A value is uncertain where its standard uncertainty exceeds both ``widest`` and ``widest_share`` of what bins beside
    it show.
    """

    name: str
    unit: str
    definition: str
    widest: float
    widest_share: float = 0.0

    def most_u(self, values: F32) -> F32:
        """The standard uncertainty above which values such as ``values`` are uncertain."""
        return np.maximum(np.float32(self.widest), np.float32(self.widest_share) * np.abs(values))


PARAMETERS = (
    Parameter("baseline_counts_per_ms", "counts/ms", "mean signal before the rise began", math.inf),
    Parameter("peak_relative_percent", "%", "100 x peak above baseline / the reference's", 5.0),
    Parameter(
        "relative_percent_at_reference_peak",
        "%",
        "100 x level above baseline / the reference's, at the reference's peak",
        5.0,
    ),
    Parameter("arrival_s", "s", "onset of the gamma variate through rise and top, since injection or first frame", 2.0),
    Parameter("time_to_peak_s", "s", "from arrival to the peak", 1.0, 0.15),
    Parameter("half_rise_s", "s", "from arrival to half of the peak, on the rise", 1.0, 0.15),
    Parameter("ingress_slope_percent_per_s", "%/s", "steepest rise, in percent of the reference's peak", 0.2, 0.25),
    Parameter(
        "washout_half_life_s",
        "s",
        "of the exponential through the second half of what follows the peak, or less",
        0.0,
        0.25,
    ),
)
BASELINE = PARAMETERS[0].name
NAMES = tuple(parameter.name for parameter in PARAMETERS)


@dataclass(frozen=True)
class MapsAbout:
    """What maps were made of: ``reference`` as on the command line, empty where there was none; ``since_s`` is the moment that
    arrival counts from, seconds since the first frame; ``frames`` those with light; ``baseline_note`` concerns baselines alone.
    """

    reference: str
    injected: bool
    since_s: float
    frames: int
    motion_followed: bool = False
    notes: tuple[str, ...] = ()
    baseline_note: str = ""

    def notes_on(self, name: str) -> tuple[str, ...]:
        """What must be said beside the map of that name."""
        return (*self.notes, self.baseline_note) if name == BASELINE and self.baseline_note else self.notes


@dataclass(frozen=True, eq=False)
class InflowMaps:
    """``values`` and standard uncertainties ``u``, (parameters, height, width) float32 in the order of ``PARAMETERS``, nan where
    ``classes``, uint8, is not MEASURED. One bin is 2 x 2 pixels.
    """

    values: F32
    u: F32
    classes: NDArray[np.uint8]
    about: MapsAbout

    def of(self, name: str) -> tuple[F32, F32, NDArray[np.uint8]]:
        """Values, uncertainties and classes of one parameter."""
        at = NAMES.index(name)
        return self.values[at], self.u[at], self.classes[at]
