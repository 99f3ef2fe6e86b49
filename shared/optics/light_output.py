"""Light output of a ring as measured: what each level really gives. One dated file a measurement, in the device's data folder.

The newest file of a ring is the one in force; to go back to an older one, take the newer away.

Results use it, safety does not: the guard's budget of exposure counts a level as that share of what the ring is described to give
at full power, whatever was measured here. A ring that droops gives more than that when dimmed, if it was described hot; so it
has to be described cold, as a data sheet does or in its first instant.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from pathlib import Path
from typing import Annotated

from shared.bounded import Length, Within, filled, plain
from shared.data_folder import unwritable, writable
from shared.errors import Refused
from shared.recording.durable import replace_file

VERSION = 1
FOLDER = Path("calibration") / "light_output"
"""Within the data folder."""

Counts = Annotated[float, Within(0, 65_535)]


@dataclass(frozen=True)
class LevelOutput:
    """One level. ``output`` and its standard uncertainty ``u`` are relative to full level; the counts are those on the way up and
    on the way down, unlit ones taken off.
    """

    level: Annotated[float, Within(0.001, 1)]
    output: Annotated[float, Within(1e-6, 2)]
    u: Annotated[float, Within(0, 1)]
    up_counts: Counts
    down_counts: Counts


@dataclass(frozen=True)
class LightOutput:
    """A measurement, levels rising. At the highest level output is set equal to level, so the scale of signals stays as it was.

    ``made_at`` is UTC in ISO 8601, ``ring`` says whose it is, ``recording`` holds the frames, ``region`` is where they were read.
    """

    made_at: Annotated[str, Length(20, 20)]
    ring: Annotated[str, Length(1, 80)]
    camera: Annotated[str, Length(1, 80)]
    exposure_us: Annotated[float, Within(1, 1e7)]
    gain: Annotated[float, Within(1, 64)]
    region: Annotated[str, Length(1, 200)]
    recording: Annotated[str, Length(1, 120)]
    levels: Annotated[tuple[LevelOutput, ...], Length(2, 100)]
    version: Annotated[int, Within(VERSION, VERSION)] = VERSION

    def __post_init__(self) -> None:
        for before, after in pairwise(self.levels):
            if not (after.level > before.level and after.output > before.output):
                raise ValueError(f"output does not rise from level {before.level:g} to {after.level:g}")

    @property
    def table(self) -> tuple[tuple[float, float], ...]:
        """Level and output, from dark upwards: ``Calibration.light_output``."""
        return ((0.0, 0.0), *((one.level, one.output) for one in self.levels))


def keep(data_folder: Path, measured: LightOutput, evidence: str) -> Path:
    """Write the measurement, and the readings it comes from beside it as CSV; returns its path. Raises Refused."""
    path = writable(data_folder / FOLDER) / f"{measured.made_at.replace(':', '-')}.json"
    try:
        replace_file(path.with_suffix(".csv"), evidence.encode())
        replace_file(path, json.dumps(plain(measured), indent=1).encode())
    except OSError as error:
        raise unwritable(path, error.strerror) from None
    return path


def newest(data_folder: Path, ring: str) -> LightOutput | None:
    """The measurement in force for ``ring``; None where there is none. Raises Refused naming a file that is damaged."""
    return next((measured for _, measured in _kept(data_folder, ring)), None)


def former_again(data_folder: Path, ring: str, now: str) -> Path:
    """Keep the measurement before the newest once more, as of ``now``, with its evidence; returns its path. Raises Refused."""
    found = list(islice(_kept(data_folder, ring), 2))
    if len(found) < 2:
        raise Refused("no light output was measured before the newest", ring, "measure it again")
    path, measured = found[1]
    evidence = path.with_suffix(".csv")
    return keep(data_folder, replace(measured, made_at=now), evidence.read_text() if evidence.exists() else "")


def _kept(data_folder: Path, ring: str) -> Iterator[tuple[Path, LightOutput]]:
    """Those of ``ring``, the newest first."""
    for path in sorted((data_folder / FOLDER).glob("*.json"), reverse=True):
        try:
            values = json.loads(path.read_bytes())
        except (OSError, ValueError) as error:
            raise Refused(f"{path}: cannot be read ({error})", remedy="take it away, and measure again") from None
        found = filled(LightOutput, values, str(path))
        if found.ring == ring:
            yield path, found
