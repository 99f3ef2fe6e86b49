"""About how large an export becomes, told before anything is written. Light enough for the imager to ask."""

from shared.inflow.map_values import PARAMETERS
from shared.protocol.control import ExportFormat
from shared.recording import Recording

_VIDEO_BYTES_A_PIXEL = 0.12
"""More than noise at the worst took in trials."""


def needed_bytes(recording: Recording, one: ExportFormat) -> int:
    """Bytes of one format, rather more than it takes."""
    pixels = recording.camera.width * recording.camera.height
    match one:
        case "csv":
            return recording.frames * 400 + 10_000
        case "tiff":
            return stack_bytes(recording)
        case "mp4":
            return int(recording.frames * pixels * _VIDEO_BYTES_A_PIXEL) + 100_000
        case "png":
            return 8 * pixels * 3
        case "maps":
            return len(PARAMETERS) * (pixels * 2 + pixels * 3 + 2_000_000)


def stack_bytes(recording: Recording) -> int:
    """About how large the stack of raw counts becomes."""
    return recording.frames * recording.camera.width * recording.camera.height * 2 + 4096
