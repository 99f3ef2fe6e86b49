"""A recording on disk: an open store that stays readable whenever the writer is killed."""

from shared.recording.events import KINDS, Event
from shared.recording.recording import Recording
from shared.recording.table import FrameTable
from shared.recording.writer import RecordingWriter

__all__ = ["KINDS", "Event", "FrameTable", "Recording", "RecordingWriter"]
