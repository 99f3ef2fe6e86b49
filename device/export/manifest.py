"""What an exported folder says about itself."""

import json
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from device.export.delivery import Delivered
from shared.recording import Recording

CAUTIONS = (
    "Not a certified medical device.",
    "Relative intensity, not absolute and no measure of viability: decisions stay with licensed practice and local rules.",
    "Depth, pigment, distance, angle, ambient light and the choice of reference change the values.",
    "A case code stands in for the patient: check that no picture or note identifies anyone before these files leave.",
)


def write_manifest(
    path: Path,
    recording: Recording,
    files: Sequence[Delivered],
    formats: Sequence[str],
    notes: Sequence[str],
    made_at: str,
) -> None:
    """Write manifest.json: every other file with its size and SHA-256, where they come from, and the cautions."""
    content = {
        "software": f"tapetum {version('tapetum')}",
        "exported_at": made_at,
        "recording": recording.name,
        "recorded_at": recording.started_at,
        "recorded_by": recording.software,
        "case": recording.case,
        "complete": recording.complete,
        "frames": recording.frames,
        "missing_frames": recording.gaps,
        "calibration": recording.calibration.origin,
        "unknown": list(recording.unknown),
        "formats": list(formats),
        "files": [{"name": file.name, "bytes": file.size_bytes, "sha256": file.sha256} for file in files],
        "notes": list(notes),
        "cautions": list(CAUTIONS),
    }
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
