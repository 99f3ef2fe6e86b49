"""Finished slots handed from the process that gathered to one that reads: a folder of numpy's own files, best in memory."""

import json
import shutil
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.bounded import filled
from shared.inflow.ambient_steps import LightSteps
from shared.inflow.maps_place import Followed
from shared.inflow.maps_samples import Samples
from shared.inflow.maps_slots import Bins, MapGatherer, Slot

_ABOUT = "slots.json"
_ARRAYS = ("planes", "saturated", "dark", "inverse_flat", "pixels", "sums", "held")
_STEPS = ("rate", "rate_u", "factors", "place_px")


@dataclass(frozen=True)
class Order:
    """What is to be read: of which recording (its folder), against which reference (empty: none), injected when (seconds since the
    first frame).
    """

    recording: str
    reference: str
    injected_at_s: float | None
    followed: Followed | None = None


@dataclass(frozen=True)
class Answer:
    """``refused`` says why there are no maps; empty where they are beside the recording."""

    refused: str
    took_s: float = 0.0


@dataclass(frozen=True, eq=False)
class HandedOver:
    """What ``inflow_maps`` asks of a gatherer, without the calibration and the sums that only gathering needs."""

    camera_shape: tuple[int, int]
    slots: list[Slot]
    planes: NDArray[np.int16]
    saturated: NDArray[np.uint8]
    bins: Bins
    samples: Samples
    light_steps: LightSteps | None = None

    def finish(self) -> None:
        """Nothing is left to be finished."""


def hand_over(folder: Path, gatherer: MapGatherer) -> None:
    """Fill ``folder``, which is made anew. Raises OSError where there is no room."""
    gatherer.finish()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    bins, samples = gatherer.bins, gatherer.samples
    arrays: tuple[NDArray[Any], ...] = (
        *(gatherer.planes, gatherer.saturated),
        *(bins.dark, bins.inverse_flat, bins.pixels, samples.sums, samples.held),
    )
    for name, array in zip(_ARRAYS, arrays, strict=True):
        np.save(folder / f"{name}.npy", array)
    steps = gatherer.light_steps
    if steps is not None:
        for name in _STEPS:
            np.save(folder / f"{name}.npy", getattr(steps, name))
    about = {
        "camera_shape": gatherer.camera_shape,
        "slots": [asdict(slot) for slot in gatherer.slots],
        "light_stepped": steps is not None,
    }
    (folder / _ABOUT).write_text(json.dumps(about))


def taken_over(folder: Path) -> HandedOver:
    """What ``hand_over`` left in ``folder``, mapped and not copied; the folder may be removed at once."""
    about = json.loads((folder / _ABOUT).read_text())
    # copy-on-write, because compiled loops take read-only arrays for another kind
    names = (*_ARRAYS, *(_STEPS if about["light_stepped"] else ()))
    arrays = {name: np.asarray(np.load(folder / f"{name}.npy", mmap_mode="c")) for name in names}
    bins = Bins(arrays["dark"], arrays["inverse_flat"], arrays["pixels"])
    slots = [filled(Slot, one, str(folder / _ABOUT)) for one in about["slots"]]
    height, width = about["camera_shape"]
    samples = Samples(arrays["sums"], arrays["held"])
    steps = LightSteps(*(arrays[name] for name in _STEPS)) if about["light_stepped"] else None
    return HandedOver((height, width), slots, arrays["planes"], arrays["saturated"], bins, samples, steps)
