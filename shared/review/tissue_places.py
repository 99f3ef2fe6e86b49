"""Where the regions of a review lie in each frame: with the tissue, as the curves of the newest analysis have it."""

from collections import OrderedDict
from collections.abc import Sequence
from typing import Literal

from shared.motion.carried import carried
from shared.motion.kept_track import KeptTrack
from shared.motion.pose import Motion
from shared.protocol.review import ReviewRegion
from shared.region import Region

Place = Literal["followed", "lost", "still"]
"""Whether regions follow the tissue in a frame, the tissue's place is not known there, or nothing is known of the hand's motion."""

_KEPT_PLACES = 64


class TissuePlaces:
    """Carries marked regions from the view in which they were marked to any frame."""

    def __init__(self, track: KeptTrack | None, times_s: Sequence[float], picture_shape: tuple[int, int]) -> None:
        """``track`` is None where no analysis followed the hand; ``times_s`` are those of the frames, since the first."""
        self._track, self._times_s, self._shape = track, times_s, picture_shape
        self._places: OrderedDict[ReviewRegion, tuple[Region, Motion]] = OrderedDict()

    def place(self, number: int) -> Place:
        """What is known of the tissue's place in frame ``number``."""
        if self._track is None:
            return "still"
        return "lost" if self._track.motions[number] is None else "followed"

    def region(self, marked: ReviewRegion, number: int) -> Region:
        """The region as it lies in frame ``number``, to the nearest pixel; as in the last frame before where its place is lost."""
        if self._track is None:
            return self._known(marked)[0]
        region, to_reference = self._known(marked)
        motions = self._track.motions
        motion = next((found for at in range(number, -1, -1) if (found := motions[at]) is not None), Motion())
        return carried(region, to_reference.then(motion), self._shape)

    def _known(self, marked: ReviewRegion) -> tuple[Region, Motion]:
        """The region as marked, and the motion from that view back to the reference view."""
        if marked not in self._places:
            track = self._track
            place = Motion() if track is None else track.place_at(self._times_s, marked.seen_at_s)
            self._places[marked] = Region.parse(marked.region), place.back()
            while len(self._places) > _KEPT_PLACES:
                self._places.popitem(last=False)
        return self._places[marked]
