"""Follows the tissue from frame to frame while dye changes the picture, and always says where it is in one reference view.

Every frame is first looked for in the reference view itself, so that no error adds up. Where the reference fades (the dye has made
another picture of it, or much of it has left), views taken on the way stand in: each knows its own place in the reference view, and
a new one is taken only when none of the present ones matches well, so that as few steps as possible are added.
"""

from dataclasses import dataclass, field

from shared.calibration import Calibration
from shared.frame import Counts
from shared.motion.pose import Motion
from shared.motion.reduced import LEAST_SIDE, Reducer, Texture
from shared.motion.registration import CONFIDENCE_LIMIT, SEARCHED_DEG, Registration, Sighting

_COARSER = (2, 4)
"""How much wider texels are tried where the picture is too smooth for the finest."""
MOST_VIEWS = 12
"""Views kept, the reference among them; the oldest of the others makes room."""
_SURE = 0.6
"""A view that is as sure as this needs no other one; as sure must the first two pictures be of each other."""
_FADED = 0.7
"""Share of a view's own best confidence below which it has faded; noise alone keeps it low without making it fade."""
_FAR = 0.35
"""Share of the picture's side beyond which a shift asks for another view: at half, right and left can no longer be told apart."""
_SMALL_TURN_DEG = 0.4
"""Rotations smaller than this need no turning back before they are looked for."""


@dataclass(eq=False)
class _View:
    registration: Registration
    place: Motion
    best: float = 0.0

    def coarse(self, sighting: Sighting, near_deg: float) -> Motion:
        """Look for this view, and remember how well it was ever found."""
        motion = self.registration.coarse(sighting, near_deg)
        self.best = max(self.best, motion.confidence)
        return motion

    def has_faded(self, found: Motion, shape: tuple[int, int]) -> bool:
        """Whether another view would do better than this one ``found`` so in pictures of ``shape`` (height, width)."""
        far = abs(found.dx_px) > _FAR * shape[1] or abs(found.dy_px) > _FAR * shape[0]
        return far or found.confidence < min(_SURE, _FADED * self.best)


@dataclass(eq=False)
class Follower:
    """Takes frames in order; ``follow`` answers where the reference view is in each. The reference is the first frame that shows
    texture which the next frame shows again; what comes before it has no lock.
    """

    calibration: Calibration
    _reducers: list[Reducer] = field(init=False)
    _views: list[_View] = field(init=False, default_factory=list)
    _candidates: list[Registration] = field(init=False, default_factory=list)
    _rotation_deg: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        finest = Reducer(self.calibration)
        coarser = (k for k in _COARSER if min(finest.rows, finest.columns) // k >= LEAST_SIDE)
        self._reducers = [finest, *(Reducer(self.calibration, k) for k in coarser)]

    @property
    def views(self) -> int:
        """How many views there are, the reference among them; 0 before there is one."""
        return len(self._views)

    def follow(self, pixels: Counts) -> Motion:
        """Motion from the reference view to this raw (height, width) uint16 frame. Raises Refused where the size is another."""
        if not self._views:
            return self._begun(pixels)
        texture = self._views[0].registration.reducer.texture(pixels)
        sighting = Sighting.of(texture)
        motion, faded = self._found(sighting)
        if motion.locked:
            self._rotation_deg = motion.rotation_deg
            if faded:
                self._add_view(texture, motion)
        return motion

    def _begun(self, pixels: Counts) -> Motion:
        """A picture becomes the reference when the next one surely shows the same, at the finest scale that does; not noise."""
        candidates, self._candidates = self._candidates, []
        motion = Motion(confidence=0.0, locked=False)
        for number, reducer in enumerate(self._reducers):
            texture = reducer.texture(pixels)
            if candidates:
                motion = max(motion, candidates[number].match(Sighting.of(texture)), key=lambda found: found.confidence)
            if motion.locked and motion.confidence >= _SURE:
                self._views.append(_View(candidates[number], Motion()))
                return motion
            self._candidates.append(Registration.seen(reducer, texture))
        return Motion(confidence=min(motion.confidence, CONFIDENCE_LIMIT), locked=False)

    def _found(self, sighting: Sighting) -> tuple[Motion, bool]:
        """Motion by the first view that has not faded, else by the surest; and whether that has faded."""
        unsure: list[tuple[Motion, _View, float]] = []
        for view in (self._views[0], *reversed(self._views[1:])):
            near_deg = self._near_deg(view)
            coarse = view.coarse(sighting, near_deg)
            if view.has_faded(coarse, self.calibration.camera.shape):
                unsure.append((coarse, view, near_deg))
                continue
            motion = view.registration.refine(sighting, coarse, near_deg)
            if motion.locked:
                return view.place.then(motion), False
        for coarse, view, near_deg in sorted(unsure, key=lambda one: -one[0].confidence):
            motion = view.registration.refine(sighting, coarse, near_deg)
            if motion.locked:
                return view.place.then(motion), True
        return self._searched(sighting), False

    def _searched(self, sighting: Sighting) -> Motion:
        """The reference and the newest view at other rotations."""
        found = []
        for view in {id(view): view for view in (self._views[0], self._views[-1])}.values():
            near_deg = self._near_deg(view)
            motion = view.registration.search(sighting, [near_deg + turn for turn in SEARCHED_DEG])
            found.append(view.place.then(motion) if motion.locked else motion)
        return max(found, key=lambda motion: motion.confidence)

    def _near_deg(self, view: _View) -> float:
        turn = self._rotation_deg - view.place.rotation_deg
        return 0.0 if abs(turn) < _SMALL_TURN_DEG else round(turn / 0.5) * 0.5

    def _add_view(self, texture: Texture, place: Motion) -> None:
        if len(self._views) == MOST_VIEWS:
            del self._views[1]
        self._views.append(_View(Registration.seen(self._views[0].registration.reducer, texture), place))
