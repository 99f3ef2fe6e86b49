"""What it means for figures that something of a recording is unknown."""

from collections.abc import Sequence

_MEANS = (
    ("gamma", "gamma unknown: percent may be compressed, low values most; --linear or --gamma at import states it"),
    ("exposure", "exposure, gain and light level unknown: a change of them cannot be told from a change of dye"),
    (
        "exposure",
        "exposure unknown: moments may be off by half a frame interval, all of them alike, and counts a millisecond are counts",
    ),
    ("black level", "{unknown}: without frames before the dye, percent comes out too near 100"),
    ("bit depth", "{unknown}: saturation may go unseen"),
    ("frame times", "{unknown}: times and slopes are as true as that"),
    ("compression losses", "compressed picture: faint and fast changes may be lost"),
)


def unknown_warnings(unknown: Sequence[str]) -> tuple[str, ...]:
    """One sentence for each thing in ``unknown`` that bears on figures, ``Recording.unknown`` being how it is written there."""
    return tuple(
        sentence.format(unknown=f"{name} unknown{one.removeprefix(name)}")
        for name, sentence in _MEANS
        for one in unknown
        if one == name or one.startswith(f"{name} (")
    )
