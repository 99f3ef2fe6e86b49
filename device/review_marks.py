"""Reference and regions with which a recording is looked at again, as an analysis takes them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Self

from shared.recording import Recording
from shared.recording.afterwards import Marks, read_marks


@dataclass(frozen=True)
class ReviewMarks:
    """As on the command line; None and () mean those marked while recording. ``seen_at`` has the moment of each by its text."""

    reference: str | None = None
    regions: tuple[str, ...] = ()
    seen_at: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(cls, recording: Recording) -> Self:
        """Those kept beside the recording, where a review left any; raises Refused where they are damaged."""
        marks = read_marks(recording.path) or Marks()
        chosen = (*((marks.reference,) if marks.reference is not None else ()), *marks.regions)
        return cls(
            reference=None if marks.reference is None else marks.reference.region,
            regions=tuple(one.region for one in marks.regions),
            seen_at={one.region: one.seen_at_s for one in chosen},
        )
