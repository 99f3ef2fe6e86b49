"""What ambient light is of, where frames hardly tell its kinds apart: no light is less than none, and one lens darkens all of it.

So there are mixtures: a part of it goes with signal, the rest is even, and the lens takes so much of the corners' light from both,
which is no more than the flat lacks there: no ring is brighter in the corners.
Each mixture counts as much as frames make it likely (Bayes). Before they tell anything mixtures are alike, and an amount may be
anything up to 1 (JCGM 100:2008, 4.3.7). What frames tell little of is taken for little, so that nothing is taken off which was not
told: of each mixture the amount that is best in the mean over all that may be (best linear estimate); others lie so far from it.
"""

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

_CELLS = 15
"""In which parts and lenses are looked at."""
_AMOUNTS = (np.arange(32) + 0.5) / 32
"""From the least to the most that is likely, where it is looked at how likely they are."""
_FARTHEST = 7.0
"""From the most likely amount, in standard deviations, or in powers of e."""
_CLOSER = 8
"""Times that those among which the likely ones lie are looked at."""
_UNLIKELY = 18.0
"""Powers of e below the most likely one."""
_MEAN_SQUARE = 1.0 / 3.0
"""Of an amount that may be anything up to 1."""
_FLAT = 1e-9
"""Of the curve of a likelihood that frames tell nothing of."""


def mixed(frames_tell: F64, pull: F64, darkened: float) -> tuple[F64, F64]:
    """Shares of the four kinds, (4,), and their covariance: light that goes with signal, by the flat and by how much of that is the
    lens, and even light, the same.

    ``frames_tell`` (4, 4) is their inverse covariance and ``pull`` (4,) that times the shares, as frames tell them, each by itself;
    by ``darkened``, a logarithm, the flat is darker in the corners than in the middle.
    """
    box = np.array([(0.0, 1.0), (0.0, max(darkened, 0.0))])
    for _ in range(_CLOSER):
        parts, lenses = (low + (high - low) * (np.arange(_CELLS) + 0.5) / _CELLS for low, high in box)
        of_both, of_lens = np.stack([parts, 1.0 - parts], axis=1), np.stack([np.ones(_CELLS), lenses], axis=1)
        mixtures = np.einsum("pi,lj->plij", of_both, of_lens).reshape(-1, 4)
        told, amounts, log_likely = _likely(mixtures, frames_tell, pull)
        best = log_likely.max(axis=1).reshape(_CELLS, _CELLS)
        near = best > best.max() - _UNLIKELY
        box = np.array([_about(each, near.any(axis=axis)) for each, axis in zip(box, (1, 0), strict=True)])
    likely = np.exp(log_likely - log_likely.max())
    likely /= likely.sum()
    found = likely.sum(axis=1) * told @ mixtures
    off = amounts[..., None] * mixtures[:, None] - found
    return found, np.einsum("ma,mai,maj->ij", likely, off, off)


def _likely(mixtures: F64, frames_tell: F64, pull: F64) -> tuple[F64, F64, F64]:
    """The amount of each that is told (mixtures,), likely ones, and the logarithm of how likely they are (mixtures, amounts)."""
    pulls = mixtures @ pull
    curved = np.maximum(np.einsum("mi,ij,mj->m", mixtures, frames_tell, mixtures), _FLAT)
    told, likeliest = (np.clip(pulls / (curved + before), 0.0, 1.0) for before in (1.0 / _MEAN_SQUARE, 0.0))
    reach = _FARTHEST / (np.sqrt(curved) + np.abs(pulls - curved * likeliest))
    least, most = np.maximum(likeliest - reach, 0.0), np.minimum(likeliest + reach, 1.0)
    amounts = least[:, None] + (most - least)[:, None] * _AMOUNTS
    log_likely = amounts * (pulls[:, None] - 0.5 * curved[:, None] * amounts)
    return told, amounts, log_likely + np.log(most - least)[:, None]


def _about(side: F64, near: NDArray[np.bool_]) -> F64:
    """From a cell below the first that is ``near`` to one above the last."""
    first, last = np.flatnonzero(near)[[0, -1]]
    cells = np.array((max(first - 1, 0), min(last + 2, _CELLS)))
    return np.asarray(side[0] + (side[1] - side[0]) * cells / _CELLS)
