"""The overlay as a video that browsers play: H.264 in MP4, 4:2:0, index at the front, at the frames' real times."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from device.export.caption import Captioner
from device.export.overlay import Overlay
from shared.papers.words import Words
from shared.recording import Recording
from shared.settings import PictureSettings

TIME_BASE = Fraction(1, 90_000)


def write_video(
    path: Path, recording: Recording, settings: PictureSettings, words: Words, on_progress: Callable[[float], None]
) -> str:
    """Write the overlay with its legend burnt in below; returns a note where something could not be shown, else ""."""
    overlay = Overlay(recording, settings)
    caption = Captioner(recording, settings, words)
    with av.open(str(path), "w", format="mp4", options={"movflags": "faststart"}) as container:
        stream = container.add_stream("libx264", rate=_rate(recording))
        stream.pix_fmt = "yuv420p"
        stream.time_base = TIME_BASE
        stream.codec_context.time_base = TIME_BASE
        # Measured on the flap: half of veryfast's processor at a better picture, for about twice the bytes. Waiting costs more.
        stream.options = {"preset": "ultrafast", "crf": "25"}
        last = -1
        for number, shown in enumerate(overlay.play(), 1):
            picture = caption.under(shown)
            if number == 1:
                stream.height, stream.width = picture.shape[:2]
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            last = frame.pts = max(round(shown.time_s / TIME_BASE), last + 1)
            frame.time_base = TIME_BASE
            container.mux(stream.encode(frame))
            on_progress(shown.done)
        container.mux(stream.encode(None))
    return "; ".join(f"video: {note}" for note in overlay.notes)


def _rate(recording: Recording) -> Fraction:
    times = recording.frame_table.sensor_time_ns
    interval_s = float(np.median(np.diff(times))) / 1e9 if len(times) > 1 else recording.camera.frame_interval_us / 1e6
    return Fraction(1 / max(interval_s, 1e-3)).limit_denominator(1000)
