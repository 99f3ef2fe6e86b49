"""A recording to look at again: two tissues of an invented scene, made as ``tapetum simulate`` makes them."""

import shutil
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from device.simulate import simulate
from shared.recording import Event, Recording
from shared.scene.description import Scene

NAME = "2026-11-25T10-00-00Z_K7-Heron"
SECONDS, FPS, INJECTED_S = 24.0, 10.0, 4.0
BASE, TIP = "base:8,8,24,40", "tip:52,8,24,40"
NOTE = "<script>document.title = 'owned'</script> \u202etide"
HAPPENED = (
    ("light", 0.0, {"level": 0.6, "lit": True}),
    ("note", 12.0, {"text": NOTE}),
    ("gap", 15.0, {"frames": 2, "cause": "disk"}),
    ("trip", 22.0, {"reason": "frames stopped coming"}),
)
SCENE = {
    "camera": {"width": 96, "height": 64, "fps": FPS, "noise": {"hot_pixels": 3}},
    "optics": {"mm_per_px": 0.5, "vignetting": 0.15, "leakage": 0.05},
    "motion": {"tremor_mm": 0.0},
    "dye": {"injected_at_s": INJECTED_S, "reference": "base"},
    "tissue": [
        {
            "name": "base",
            "polygon_mm": [[0, 0], [20, 0], [20, 32], [0, 32]],
            "arrival_s": 3.0,
            "alpha": 3.0,
            "beta": 1.5,
        },
        {
            "name": "tip",
            "polygon_mm": [[20, 0], [48, 0], [48, 32], [20, 32]],
            "arrival_s": 5.0,
            "alpha": 2.0,
            "beta": 3.0,
            "level": 0.35,
        },
    ],
}


@cache
def made() -> Path:
    """The recording, made once a test run."""
    path = Path(mkdtemp(prefix="reviewed-")) / f"{NAME}.zarr"
    simulate(Scene.from_values(SCENE, "quay.toml"), path, SECONDS, seed=7)
    with Recording.open(path) as recording:
        first_ns = int(recording.frame_table.sensor_time_ns[0])
    happened = [Event(kind, first_ns + round(at_s * 1e9), fields) for kind, at_s, fields in HAPPENED]
    with (path / "events.jsonl").open("ab") as file:
        file.writelines(event.line() for event in happened)
    return path


def put_recording(data_folder: Path, name: str = NAME) -> Path:
    """A copy among a device's recordings."""
    path = data_folder / "recordings" / f"{name}.zarr"
    shutil.copytree(made(), path)
    return path
