"""Follows the tissue from frame to frame while dye changes the picture, and always says where it is in one reference view.

A frame is looked for in one view that is still alike. Dye makes another picture of the tissue, and what is left of the old one is
then found, but pulled by the new one (measured: by up to a pixel once likeness has fallen to a fifth). So a new view is taken where
the present one fades, each knowing its own place in the reference view: few steps, each made while both pictures are still alike,
so that errors hardly add up. A step is the mean of two dozen frames in which both views were found: one frame is off by a tenth of
a pixel, and every later one would be. It goes by where most parts of the picture are, and the new view leaves out parts that the
dye moved alone (``parts.py``). Any view that is alike again is used again, the reference first.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from shared.calibration import Calibration
from shared.frame import Counts
from shared.motion.parts import PARTS, Parts, shifted
from shared.motion.pose import Motion, mean_motion
from shared.motion.reduced import LEAST_SIDE, Reducer
from shared.motion.refinement import BIAS_TEXELS, Mask, compared_texels, likeness_u
from shared.motion.registration import CONFIDENCE_LIMIT, DYE_PULL_PX, SEARCHED_DEG, Registration, Sighting

_COARSER = (2, 4)
"""How much wider texels are tried where the picture is too smooth for the finest."""
MOST_VIEWS = 12
"""Views kept, the reference among them; the oldest of the others makes room."""
_SURE = 0.6
"""A view that is as sure as this needs no other one; as sure must the first two pictures be of each other."""
_SURER, _TEXTURED = 0.75, 25.0
"""They must be even surer, or as alike as this in units of 1 / sqrt(texels compared). In even fields with one faint patch, still
and noisy, views below 20 and hardly sure were taken up by chance after many frames, and lost again in up to 63 % of the others."""
_FADED = 0.85
"""Share of a view's own best confidence or likeness below which it has faded; noise keeps both low without making it fade."""
_BY_CHANCE = 7.0
"""Nor is it faded while its likeness is below its best by less than this many standard errors: the best and the worst of some
thousand frames lie that far apart by noise alone."""
_FAR = 0.35
"""Share of the picture's side beyond which a shift asks for another view: at half, right and left can no longer be told apart."""
_LINKS = 24
"""Frames that tell a new view's place. Half as many leave the worst of twelve runs of the limb scene off by 0.38 px rms, not 0.31;
twice as many gain another hundredth there."""
_SURE_PARTS = 6
"""Frames of these from which on parts that moved alone are left out: before, noise moves parts as well."""
_LINKED = 0.9
"""The view before it serves for that while its likeness keeps this share of what it fades at."""
_LINKED_FAR = 0.42
"""And while the shift is below this share of the picture's side."""
_SMALL_TURN_DEG = 0.4
"""Rotations smaller than this need no turning back before they are looked for."""


def reducers_of(calibration: Calibration) -> tuple[Reducer, ...]:
    """The finest reducer and coarser ones. Raises Refused for small pictures."""
    finest = Reducer(calibration)
    coarser = (k for k in _COARSER if min(finest.rows, finest.columns) // k >= LEAST_SIDE)
    return (finest, *(Reducer(calibration, k) for k in coarser))


@dataclass(eq=False)
class _View:
    registration: Registration
    place: Motion
    confidence: float = 0.0
    likeness: float = 0.0
    parts: Parts = field(default_factory=Parts)
    """Where parts of it lay when it was new, and nothing had changed yet."""

    def find(self, sighting: Sighting, near_deg: float) -> Motion:
        """Look for this view, and remember how well it was ever found."""
        motion = self.registration.match(sighting, near_deg)
        if motion.locked:
            self.confidence, self.likeness = (
                max(self.confidence, motion.confidence),
                max(self.likeness, motion.likeness),
            )
            # what the dye adds pulls all frames alike, the more the less of the view is left; what the view's noise does is in its
            # place too, and falls out
            pull_px = min((1.0 - motion.likeness / self.likeness) / (1.0 - _FADED), 1.0) * DYE_PULL_PX
            own_px = math.sqrt(max(motion.own_px**2 - DYE_PULL_PX**2, 0.0))
            return replace(motion, u_px=math.hypot(own_px, pull_px), own_px=own_px)
        return motion

    def add_parts(self, parts: Parts, sighting: Sighting, found: Motion) -> None:
        """Add to ``parts`` where those of the view are, it being ``found`` so."""
        view = self.registration.texture
        place = found.dx_px / view.block_px, found.dy_px / view.block_px, math.radians(found.rotation_deg)
        parts.add(view.fine, sighting.texture.fine, place, sighting.turn)

    def leave_out(self, former: "_View", alone: Mask, step: Motion) -> None:
        """Parts that moved ``alone`` show little of the tissue's place from now on, as do those that ``former``, a ``step`` away,
        left out.
        """
        rows, columns = self.registration.texture.fine.shape
        block = self.registration.texture.block_px
        right, down = step.dx_px * PARTS[1] / (columns * block), step.dy_px * PARTS[0] / (rows * block)
        counted = shifted(former.registration.counted & ~alone, right, down)
        self.registration = replace(self.registration, counted=counted)

    def has_faded(self, found: Motion, shape: tuple[int, int]) -> bool:
        """Whether another view would do better than this one ``found`` so in pictures of ``shape`` (height, width)."""
        unsure = found.confidence < min(_SURE, _FADED * self.confidence)
        noise = _BY_CHANCE * likeness_u(self.likeness, self.registration.texels)
        unlike = found.likeness < min(_FADED * self.likeness, self.likeness - noise)
        return not found.locked or _is_far(found, shape, _FAR) or unsure or unlike


@dataclass(frozen=True, eq=False)
class _Link:
    """A view that begins where ``former`` has faded: ``steps`` from there to it, a frame each."""

    former: _View
    newer: _View
    steps: list[Motion] = field(default_factory=list)
    parts: Parts = field(default_factory=Parts)
    """Where those of ``former`` are in the same frames."""

    def add(self, sighting: Sighting, seen: Motion, fresh: Motion) -> None:
        """A frame shows ``former`` so, and ``newer``: places that by all frames so far, as most of the picture has it."""
        self.steps.append(seen.then(fresh.back()))
        self.former.add_parts(self.parts, sighting, seen)
        self.newer.add_parts(self.newer.parts, sighting, fresh)
        moved = self.parts.moved(self.former.parts)
        block, mean = self.former.registration.texture.block_px, mean_motion(self.steps)
        if moved.middle_u is not None:
            # noise and dye have made parts disagree; what interpolation does is alike in all of them
            mean = replace(mean, u_px=block * math.hypot(moved.middle_u, BIAS_TEXELS / math.sqrt(len(self.steps))))
        right, down = (block * texels for texels in moved.middle)
        step = Motion(right, down).then(mean)
        self.newer.place = self.former.place.then(step)
        if len(self.steps) >= _SURE_PARTS:
            self.newer.leave_out(self.former, moved.alone, step)


@dataclass(eq=False)
class Follower:
    """Takes frames in order; ``follow`` answers where the reference view is in each. The reference is the first frame that shows
    texture which the next frame shows again; what comes before it has no lock. ``reducers`` are those of the calibration, made here
    where none are lent.
    """

    calibration: Calibration
    reducers: Sequence[Reducer] = ()
    _views: list[_View] = field(init=False, default_factory=list)
    _candidates: list[Registration] = field(init=False, default_factory=list)
    _turn: int = field(init=False, default=0)
    _rotation_deg: float = field(init=False, default=0.0)
    _current: _View | None = field(init=False, default=None)
    _link: _Link | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.reducers = self.reducers or reducers_of(self.calibration)

    @property
    def views(self) -> int:
        """How many views there are, the reference among them; 0 before there is one."""
        return len(self._views)

    def follow(self, pixels: Counts) -> Motion:
        """Motion from the reference view to this raw (height, width) uint16 frame. Raises Refused where the size is another."""
        if not self._views:
            return self._begun(pixels)
        texture = self._views[0].registration.reducer.texture(pixels)
        self._turn += 1
        sighting = Sighting.of(texture, self._turn)
        motion, faded = self._linked(sighting), None
        if motion is None:
            motion, faded = self._found(sighting)
        if motion.locked:
            self._rotation_deg = motion.rotation_deg
            if faded is not None:
                self._add_view(sighting, *faded)
        return motion

    def _begun(self, pixels: Counts) -> Motion:
        """A picture becomes the reference when the next one surely shows the same, at the finest scale that does; not noise."""
        candidates, self._candidates = self._candidates, []
        most = 0.0
        for number, reducer in enumerate(self.reducers):
            texture = reducer.texture(pixels)
            if candidates:
                motion = candidates[number].match(Sighting.of(texture))
                most = max(most, motion.confidence)
                if _is_surely_the_same(motion, compared_texels(texture.fine)):
                    self._current = _View(candidates[number], Motion(u_px=motion.shared_px))
                    self._views.append(self._current)
                    return motion
            self._candidates.append(Registration.seen(reducer, texture))
        return Motion(confidence=min(most, CONFIDENCE_LIMIT), locked=False)

    def _linked(self, sighting: Sighting) -> Motion | None:
        """Motion by the view that has faded, as long as it helps to place the one that follows it; None where it does not."""
        if (link := self._link) is None:
            return None
        seen, fresh = (view.find(sighting, self._near_deg(view)) for view in (link.former, link.newer))
        far = _is_far(seen, self.calibration.camera.shape, _LINKED_FAR)
        if not (seen.locked and fresh.locked) or far or seen.likeness < _LINKED * _FADED * link.former.likeness:
            self._link = None
            return None
        link.add(sighting, seen, fresh)
        if len(link.steps) == _LINKS:
            self._link = None
        return link.former.place.then(seen)

    def _found(self, sighting: Sighting) -> tuple[Motion, tuple[Motion, _View] | None]:
        """Motion by the first view that has not faded, else by the most alike; then also how that view is seen, and itself."""
        faded: list[tuple[Motion, _View]] = []
        for view in sorted(self._views, key=lambda view: view is not self._current):
            motion = view.find(sighting, self._near_deg(view))
            if not view.has_faded(motion, self.calibration.camera.shape):
                self._current = view
                if len(self._views) == 1 and view.parts.frames < _LINKS:
                    view.add_parts(view.parts, sighting, motion)
                return view.place.then(motion), None
            if motion.locked:
                faded.append((motion, view))
        if faded:
            seen, view = max(faded, key=lambda one: one[0].likeness)
            return view.place.then(seen), (seen, view)
        return self._searched(sighting), None

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

    def _add_view(self, sighting: Sighting, seen: Motion, former: _View) -> None:
        """This picture is a view from now on, in which ``former`` is ``seen`` so."""
        if len(self._views) == MOST_VIEWS:
            del self._views[1]
        newer = _View(Registration.seen(self._views[0].registration.reducer, sighting.texture), former.place.then(seen))
        self._views.append(newer)
        self._current, self._link = newer, _Link(former, newer)
        self._link.add(sighting, seen, Motion())


def _is_surely_the_same(found: Motion, texels: int) -> bool:
    """Whether two pictures of which nothing is known yet show one texture, and not noise that happens to match."""
    textured = found.confidence >= _SURER or found.likeness >= _TEXTURED / math.sqrt(texels)
    return found.locked and found.confidence >= _SURE and textured


def _is_far(found: Motion, shape: tuple[int, int], share: float) -> bool:
    """Whether the picture has moved by more than this ``share`` of one of its sides, ``shape`` (height, width)."""
    return abs(found.dx_px) > share * shape[1] or abs(found.dy_px) > share * shape[0]
