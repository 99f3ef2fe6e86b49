"""Video clips from any camera as footage: brightness only, eight bits, with what nobody knows about them said."""

from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np

from device.camera.footage import Taken, check_size
from shared.calibration import Calibration
from shared.errors import Refused
from shared.frame import CameraDescription, Counts

_REMEDY = "convert it to an mp4 (H.264) that plays in full, or replay another clip"


class VideoClip:
    """One video stream of a file that PyAV (FFmpeg) reads, as 8-bit luma of full range (0 to 255).

    Brightness that a file keeps between 16 and 235 is stretched to 0 to 255, as ITU-R BT.601 defines it.

    All packets are looked through on opening, so that a clip which was cut off is refused at once. Frames are decoded in order;
    going back starts from the beginning.
    """

    unknown: tuple[str, ...] = (
        "gamma",
        "black level",
        "exposure",
        "gain",
        "light level",
        "scale",
        "compression losses",
    )

    def __init__(self, path: Path, fps: float | None = None) -> None:
        self._path = path
        self._container = _opened(path)
        self._stream = self._container.streams.video[0]
        self._times_ns = self._scanned_times_ns(fps)
        width, height = self._stream.codec_context.width, self._stream.codec_context.height
        check_size(str(path), width, height)
        bits = self._stream.codec_context.format.components[0].bits if self._stream.codec_context.format else 8
        if bits > 8:
            self.unknown = (*self.unknown, f"bit depth ({bits} bits cut to 8)")
        steps = np.diff(self._times_ns)
        self.description = CameraDescription(
            model=f"video clip {path.name}"[:80],
            width=width,
            height=height,
            bit_depth=8,
            frame_interval_us=float(np.median(steps)) / 1000 if steps.size else 1e6 / (fps or 30.0),
        )
        self.calibration = Calibration.assumed(self.description)
        self._next = 0
        self._decoded: Iterator[av.VideoFrame] = iter(())
        self._rewind()

    def __len__(self) -> int:
        return len(self._times_ns)

    def time_ns(self, number: int) -> int:
        """Presentation time after the first frame's (or, where ``fps`` was given, counted with it)."""
        return int(self._times_ns[number])

    def read(self, number: int, out: Counts) -> Taken:
        """Decode frame ``number`` into ``out``; raises Refused where the stream is damaged."""
        if number < self._next:
            self._rewind()
        while True:
            frame = self._decode_one()
            if self._next > number:
                break
        if (frame.width, frame.height) != (self.description.width, self.description.height):
            raise Refused(
                f"{self._path}: picture size changes at frame {number}", f"{frame.width} x {frame.height}", _REMEDY
            )
        out[:] = frame.reformat(format="gray", dst_color_range="JPEG").to_ndarray()
        return Taken(number, self.description.frame_interval_us)

    def close(self) -> None:
        """Close the file; may be called twice."""
        self._container.close()

    def _rewind(self) -> None:
        self._container.seek(0, stream=self._stream) if self._next else None
        self._decoded = self._container.decode(self._stream)
        self._next = 0

    def _decode_one(self) -> av.VideoFrame:
        try:
            frame = next(self._decoded)
        except (av.FFmpegError, StopIteration) as error:
            raise Refused(
                f"{self._path}: damaged at frame {self._next} of {len(self)} ({_said(error)})", remedy=_REMEDY
            ) from None
        if frame.is_corrupt:
            raise Refused(f"{self._path}: picture damaged at frame {self._next} of {len(self)}", remedy=_REMEDY)
        self._next += 1
        return frame

    def _scanned_times_ns(self, fps: float | None) -> list[int]:
        """Presentation times of all packets, from 0; raises Refused for an empty, cut-off or disordered clip."""
        base, stamps, ended_at = self._stream.time_base, [], 0
        try:
            for packet in self._container.demux(self._stream):
                if packet.size:
                    stamps.append(packet.pts)
                    ended_at = max(ended_at, (packet.pos or 0) + packet.size)
        except av.FFmpegError as error:
            raise Refused(f"{self._path}: damaged after byte {ended_at} ({_said(error)})", remedy=_REMEDY) from None
        if not stamps or base is None:
            raise Refused(f"{self._path}: holds no video frame", remedy=_REMEDY)
        if len(stamps) < self._stream.frames:
            what = f"{self._path}: cut off after byte {ended_at}"
            raise Refused(what, f"{len(stamps)} of {self._stream.frames} frames", _REMEDY)
        self._container.seek(0, stream=self._stream)
        if fps is not None:
            return [round(number * 1e9 / fps) for number in range(len(stamps))]
        known = sorted(stamp for stamp in stamps if stamp is not None)
        if len(known) < len(stamps) or len(set(known)) < len(known):
            return self._counted_times_ns(len(stamps))
        return [round((stamp - known[0]) * base * 1_000_000_000) for stamp in known]

    def _counted_times_ns(self, frames: int) -> list[int]:
        """Times at the file's own average rate, where its frames carry none (old AVI and program streams)."""
        rate = self._stream.average_rate
        if not rate:
            raise Refused(
                f"{self._path}: frames carry no times of their own", remedy="say how many frames a second it has"
            )
        self.unknown = (*self.unknown, f"frame times ({float(rate):g} a second counted)")
        return [round(number * 1_000_000_000 / rate) for number in range(frames)]


def _opened(path: Path) -> av.container.InputContainer:
    try:
        container = av.open(str(path))
    except av.FFmpegError as error:
        raise Refused(f"{path}: not a video that can be read ({_said(error)})", remedy=_REMEDY) from None
    except OSError as error:
        raise Refused(
            f"{path}: cannot be read ({error.strerror})", remedy="check the path and its permissions"
        ) from None
    if not container.streams.video:
        container.close()
        raise Refused(f"{path}: holds no video stream", remedy=_REMEDY)
    return container


def _said(error: Exception) -> str:
    return error.strerror or type(error).__name__ if isinstance(error, OSError) else "frames end early"
