"""A recording on disk: an open store that stays readable whenever the writer is killed.

Its writer is asked for by its own name (``shared.recording.writer``), because it compiles: who only reads need not.
"""

from shared.recording.events import KINDS, Event
from shared.recording.recording import Recording
from shared.recording.table import FrameTable

__all__ = ["KINDS", "Event", "FrameTable", "Recording"]
