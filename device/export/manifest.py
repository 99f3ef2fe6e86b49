"""What an exported folder says about itself."""

import json
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from device.export.delivery import Delivered
from shared.papers.words import Words
from shared.recording import Recording

CAUTIONS = ("caution-certified", "caution-relative", "caution-affects", "caution-code")


def write_manifest(
    path: Path,
    recording: Recording,
    files: Sequence[Delivered],
    formats: Sequence[str],
    notes: Sequence[str],
    made_at: str,
    words: Words,
) -> None:
    """Write manifest.json: every other file with its size and SHA-256, where they come from, and the cautions in that language.

    Notes are in English, as the device says them.
    """
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
        "language": words.language,
        "cautions": [words(one) for one in CAUTIONS],
    }
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
