"""Where the tissue lay in each frame of a recording, as an analysis found it and keeps it beside the recording."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

from shared.errors import Refused
from shared.motion.pose import Motion, place_near

_DIGITS = 3


@dataclass(frozen=True, eq=False)
class KeptTrack:
    """``motions`` (one a frame) lead from the reference view to the frame; None where the tissue's place is not known, and where
    the frame has no light.
    """

    motions: tuple[Motion | None, ...]

    @classmethod
    def from_values(cls, values: Mapping[str, Any]) -> Self:
        """As ``as_values`` gave it; raises Refused for anything else."""
        try:
            rows = zip(values["dx_px"], values["dy_px"], values["rotation_deg"], strict=True)
            return cls(tuple(None if x is None else Motion(float(x), float(y), float(turn)) for x, y, turn in rows))
        except (KeyError, TypeError, ValueError) as error:
            raise Refused(f"no track of the hand as it should be ({error!r})", remedy="analyse again") from None

    def as_values(self) -> dict[str, list[float | None]]:
        """For JSON, to a thousandth of a pixel and a degree."""
        keys = ("dx_px", "dy_px", "rotation_deg")
        return {
            key: [None if motion is None else round(getattr(motion, key), _DIGITS) for motion in self.motions]
            for key in keys
        }

    def place_at(self, times_s: Sequence[float], seen_at_s: float) -> Motion:
        """Motion from the reference view to the view ``seen_at_s`` after the first frame, tremor smoothed out, as curves have it.

        ``times_s`` are those of the frames, since the first.
        """
        return place_near(times_s, self.motions.__getitem__, seen_at_s)
