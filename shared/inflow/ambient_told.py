"""How much of what is seen before the dye is ambient light, told from how it changes under the hand.

Signal is divided by the flat, in which the ring falls off towards the picture's edge; the room's light does not come from the ring
and is divided by it all the same. So it looks brighter where the hand carries its tissue to a darker part of the ring's light:
ambient light a of a signal adds a (1 / change of the ring - 1). How much there is of it is told by straight lines through the
frames, by sums that know of tremor too (maps_samples.py).

Other things go with the place, too, and each gets a line of its own, so that none is taken for such light: a picture that is
followed too little (whole pixels follow a tremor of one too little) changes by its own gradient; a lamp, or dye of another
injection that falls, changes all of it alike while the hand happens to go one way.

What tissue sends back of the room's light goes with its signal; what lies over the picture like a veil is even. And the flat is the
ring's light times the lens's, which darkens ambient light as it does the ring's. So there are four kinds: light that goes with
signal, as a share of ln(flat), and as one of the square of the distance from the picture's middle, as which a lens falls off to the
lowest order; and even light, the same. By generalised least squares, with the scatter of scores over parts of the picture for how
unsure they are (Liang and Zeger 1986, Biometrika 73:13; from memory); then as mixtures that can be (ambient_mixtures.py).

What is left of another dye falls meanwhile, and a drift then has a slope of its own; what two tissues lose differs, which scores of
parts hardly tell from such light. There is next to none of it within half a second, or some frames: the lines go through those of
each slot by themselves, or, where that is much less sure, through all frames.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Self

import numpy as np
from numpy.typing import NDArray

from shared.inflow.ambient_mixtures import mixed
from shared.inflow.fall_off import FallOff
from shared.inflow.maps_samples import Samples, spacing

F64 = NDArray[np.float64]

_PRIOR_U = (3**-0.5, 0.5) * 2
"""Of a share that may be anything up to 1, and of one of the lens, as good as anything; of light that goes with signal, and of even
light."""
_OTHERS_U = (0.1, 0.1, 1.0)
"""Of what else goes with the place, as good as anything: of the signal, for a pixel to the right and down; of the gradient."""
_DARK = 0.1
"""Of the brightest: what is darker says nothing."""
FEWEST_BY_THEMSELVES = 8
"""Frames about whose own mean a line goes: fewer hold too little of a tremor."""
_MUCH_LESS_SURE = 2.0
"""Times the variance of lines through all frames (design choice, no source)."""
_PARTS = (4, 6)
"""Of the picture, down and across, whose disagreement says how sure the share is."""
LITTLE = 0.01
"""Of a baseline: ambient light that is less, or makes it less unsure, need not be told (design choice, no source)."""


@dataclass(frozen=True, eq=False)
class Moments:
    """How sampled signal goes with the place: its ``mean`` (rows, columns), the sum ``goes`` (2, rows, columns) of it times how far
    to the right and down the frame lay from their mean place ``middle_px`` (2,), and the ``spread`` (2, 2) of these places.
    """

    mean: F64
    middle_px: F64
    goes: F64
    spread: F64

    @classmethod
    def of(cls, sums: F64, held: F64) -> Self:
        """From sums of ``Samples``, (3, rows, columns) and (6,); what was out of the picture counts as dark."""
        frames = max(held[0], 1.0)
        sums = np.where(np.isfinite(sums), sums, 0.0)
        mean, away = sums[0] / frames, held[1:3]
        spread = np.array([held[3:5], held[4:6]]) - np.outer(away, away) / frames
        return cls(mean, away / frames, sums[1:] - mean * away[:, None, None], spread)

    @classmethod
    def within(cls, samples: Samples, places: Sequence[int]) -> Self:
        """Of slots that follow one another, each about its own mean: of some together where they hold few frames."""
        together: list[list[int]] = [[]]
        for place in places:
            if samples.held[together[-1], 0].sum() >= FEWEST_BY_THEMSELVES:
                together.append([])
            together[-1].append(place)
        first, *others = (cls.of(*samples.together(each)) for each in together)
        return reduce(cls.plus, others, first)

    def plus(self, other: Self) -> Self:
        """The sums of both; mean and middle stay this one's."""
        return type(self)(self.mean, self.middle_px, self.goes + other.goes, self.spread + other.spread)


@dataclass(frozen=True, eq=False)
class AmbientFields:
    """Fall-offs that light goes with before the dye: what goes ``with_signal``, and what is ``even`` and as bright as the picture's
    mean.
    """

    with_signal: FallOff
    even: FallOff

    def plus(self, other: "AmbientFields") -> "AmbientFields":
        """Both lights' product."""
        return AmbientFields(self.with_signal.plus(other.with_signal), self.even.plus(other.even))


@dataclass(frozen=True, eq=False)
class AmbientTold:
    """``fields`` are what signal before the dye goes with, of which ``mean`` is the picture's mean; ``doubts`` what they may be off
    by, one standard uncertainty in each of some ways. ``share`` (0 to 1) of ambient light if all of it went with signal and all of
    the flat were the ring's, with its standard uncertainty: at least so much is.
    """

    share: float
    share_u: float
    mean: float
    fields: AmbientFields
    doubts: tuple[AmbientFields, ...]

    @classmethod
    def of_slots(cls, flat: FallOff, samples: Samples, places: Sequence[int]) -> Self:
        """From the slots of samples at ``places``."""
        return cls.of(flat, Moments.of(*samples.together(places)), Moments.within(samples, places))

    @classmethod
    def of(cls, flat: FallOff, whole: Moments, within: Moments) -> Self:
        """From all frames about their mean, and from those of slots about their own."""
        bright = whole.mean > _DARK * whole.mean.max()
        mean = float(whole.mean[bright].mean()) if bright.any() else 0.0
        slopes = _slopes(flat, whole, mean)
        every = [_told(slopes, each, whole.mean, bright) for each in (whole, within)]
        normal = _scores(slopes, whole, whole.mean, bright)[1].sum(axis=0)
        of_whole, of_slots = (np.trace(normal @ covariance) for _, covariance in every)
        best = int(of_slots < _MUCH_LESS_SURE * of_whole)
        (share,), alone_u2 = _told(slopes[:1], (whole, within)[best], whole.mean, bright)
        share = min(max(float(share), 0.0), 1.0)
        shares, covariance = _mixed(*every[best], flat.darkened)
        variances, ways = np.linalg.eigh(covariance)
        doubts = (np.sqrt(np.maximum(variances, 0.0)) * ways).T
        fields, of_doubts = _fields(flat, shares), tuple(_fields(flat, doubt) for doubt in doubts)
        return cls(share, float(alone_u2[0, 0] ** 0.5), mean, fields, of_doubts)

    def added(self, fields: AmbientFields, points_px: F64, to_frames: F64) -> tuple[F64, F64]:
        """What light of such ``fields`` adds where frames show points, (frames, points) each: as a part of signal what goes with
        it, as signal what is even. ``points_px`` and ``to_frames`` are as for ``FallOff.lost``.
        """
        return np.expm1(fields.with_signal.lost(points_px, to_frames)), self.mean * fields.even.lost(
            points_px, to_frames
        )

    def note(self, is_wide: bool) -> str:
        """What must be said of it: how much it is, or, where that makes baselines unsure (``is_wide``), that it cannot be told;
        else nothing.
        """
        if self.share > max(1.96 * self.share_u, LITTLE):
            percent, u = 100.0 * self.share, max(100.0 * self.share_u, 1.0)
            return (
                f"the room's light is at least {percent:.0f} ± {u:.0f} % of the signal before the dye, as the hand's motion tells; "
                "only what that motion changed is taken off"
            )
        if is_wide:
            return "how much of the signal before the dye is the room's light cannot be told: its uncertainty allows for that"
        return ""


def _fields(flat: FallOff, shares: F64) -> AmbientFields:
    """Of shares in the order of ``_slopes``."""
    lens = flat.by_lens
    with_signal, even = (flat.times(each[0]).plus(lens.times(each[1])) for each in shares.reshape(2, 2))
    return AmbientFields(with_signal, even)


def _mixed(shares: F64, covariance: F64, darkened: float) -> tuple[F64, F64]:
    """What is told of kinds, each by itself and with what may be of it before, as mixtures that can be."""
    weight = np.linalg.inv(covariance)
    before = np.diag(np.square(1.0 / np.array(_PRIOR_U)))
    return mixed(np.asarray(weight - before, np.float64), weight @ shares, darkened)


def _slopes(flat: FallOff, whole: Moments, mean: float) -> F64:
    """Changes of the sampled signal a pixel to the right and down, (4, 2, rows, columns), if it were ambient light of each kind."""
    every = spacing(flat.shape)
    where, orders = np.s_[::every, ::every], ((1, 0), (0, 1))
    changes = np.array(
        [[one.change(where, whole.middle_px, *order) for order in orders] for one in (flat, flat.by_lens)]
    )
    return -np.concatenate([changes * whole.mean, changes * mean])


def _scores(slopes: F64, moments: Moments, mean: F64, bright: NDArray[np.bool_]) -> tuple[F64, F64]:
    """Of parts of the picture: how much goes with each kind, (parts, kinds), and how much would, (parts, kinds, kinds)."""
    # by 1 / signal, as shot noise grows with it; what is nearly dark says nothing
    weight = np.where(bright, 1.0 / np.where(bright, mean, 1.0), 0.0)
    found = np.einsum("fiyx,iyx->fyx", slopes, moments.goes) * weight
    would = np.einsum("fiyx,ij,gjyx->fgyx", slopes, moments.spread, slopes) * weight
    return _in_parts(found), _in_parts(would)


def _told(slopes: F64, moments: Moments, mean: F64, bright: NDArray[np.bool_]) -> tuple[F64, F64]:
    """How much of each kind there is, and the covariance of that; beside what changes all of the picture alike, and by its own
    gradient.
    """
    kinds, others = len(slopes), np.zeros((3, *slopes.shape[1:]))
    others[0, 0] = others[1, 1] = mean
    others[2] = _gradient(np.where(bright, mean, 0.0))
    prior_u = np.array((*_PRIOR_U[:kinds], *_OTHERS_U))
    found, would = _scores(np.concatenate([slopes, others]), moments, mean, bright)
    normal, total = would.sum(axis=0), found.sum(axis=0)
    off = found - would @ np.linalg.lstsq(normal, total, rcond=1e-9)[0]
    scatter = off.T @ off * (len(off) / (len(off) - len(prior_u)))
    scatter += np.eye(len(prior_u)) * max(1e-9 * float(np.trace(scatter)), 1e-30)
    weight = normal @ np.linalg.inv(scatter)
    covariance = np.linalg.inv(np.diag(prior_u**-2.0) + weight @ normal)
    return (covariance @ weight @ total)[:kinds], covariance[:kinds, :kinds]


def _gradient(plane: F64) -> F64:
    """Change to the right and down from sample to sample, (2, rows, columns); none along a side of a single one."""
    changes = (np.gradient(plane, axis=axis) if plane.shape[axis] > 1 else np.zeros_like(plane) for axis in (1, 0))
    return np.stack(list(changes))


def _in_parts(planes: F64) -> F64:
    """Sums over parts of the picture, which come first."""
    bands = np.array_split(planes, _PARTS[0], axis=-2)
    return np.array([part.sum(axis=(-2, -1)) for band in bands for part in np.array_split(band, _PARTS[1], axis=-1)])
