"""Camera on the board's own connector, through picamera2: monochrome raw frames with everything automatic switched off.

Not yet run on a real sensor: the tests drive it with a fake of picamera2's interface.

picamera2 lends *requests*, and a request that is kept starves the sensor; so one is held only for the length of the ``with``
of ``next_frame``. What a frame was exposed with is read from its own metadata: what was asked for lands some frames later, and
rounded.
"""

import importlib
from collections.abc import Iterator
from concurrent.futures import CancelledError
from contextlib import AbstractContextManager, contextmanager, suppress
from typing import Any, Literal, Self

import numpy as np

from device.camera.raw_format import RawFormat
from device.camera.source import CameraStalled
from shared.calibration import Calibration
from shared.clock import Clock, SystemClock
from shared.errors import Refused
from shared.frame import CameraDescription, Counts, Frame
from shared.settings import CameraSettings

Shutter = Literal["global", "rolling"]

SHUTTER_BY_MODEL: dict[str, Shutter] = {
    "imx296": "global",
    "ov9281": "global",
    "ov9282": "global",
    "imx219": "rolling",
    "imx290": "rolling",
    "imx327": "rolling",
    "imx462": "rolling",
    "imx477": "rolling",
    "imx519": "rolling",
    "imx708": "rolling",
    "ov5647": "rolling",
}
"""From memory of the makers' data sheets."""

_BUFFERS = 6
_ISP_SIZE = (320, 240)  # picamera2 insists on a processed stream; nobody looks at it, so it is small
_FIRST_FRAME_S = 5.0
_CLOCK_TOLERANCE_NS = 2_000_000_000
_NOISE_REDUCTION_OFF = 0  # libcamera's draft NoiseReductionMode: Off is 0
_NEEDED_CONTROLS = ("AeEnable", "ExposureTime", "AnalogueGain", "FrameDurationLimits")


def open_picamera(settings: CameraSettings, clock: Clock | None = None) -> "PicameraCamera":
    """Open and configure the first camera, and take one frame to learn what it really gives.

    Raises Refused in one line when picamera2 or the camera is missing, or when its frames could not be trusted as measurements.
    """
    try:
        library: Any = importlib.import_module("picamera2")
    except ImportError as error:
        raise Refused(
            f"the board's camera needs picamera2, which cannot be loaded ({error})",
            remedy="apt-get install python3-picamera2, in an environment made with --system-site-packages; or set camera.kind",
        ) from error
    if not library.Picamera2.global_camera_info():
        raise Refused(
            "no camera is connected", remedy="check the ribbon cable and dtoverlay in /boot/firmware/config.txt"
        )
    try:
        camera = library.Picamera2()
    except (RuntimeError, IndexError) as error:
        raise Refused(f"the camera cannot be opened ({error})", remedy="end whatever else uses it") from error
    try:
        return PicameraCamera(camera, library.MappedArray, settings, clock or SystemClock())
    except BaseException:
        camera.close()
        raise


class PicameraCamera:
    """An open ``picamera2.Picamera2``, owned from here on. Use from one thread.

    Frames come as unlit at level 0: the camera knows nothing of the ring, and whoever does says so with ``Frame.with_light``.
    """

    def __init__(self, camera: Any, mapped_array: Any, settings: CameraSettings, clock: Clock) -> None:
        self._camera = camera
        self._mapped_array = mapped_array
        self._clock = clock
        self._interval_us = round(1e6 / settings.frames_per_s)
        self._job: Any = None
        self._sequence = -1
        self._last_ns: int | None = None
        self._started = False
        self._closed = False
        model = str(camera.camera_properties.get("Model", "unknown"))
        shutter = _shutter(model, settings)
        _refuse_colour(model, camera, settings)
        _refuse_missing_controls(camera)
        self._refuse_exposure(settings.exposure_us, settings.gain)
        self._configure(settings)
        self._format = self._reported_format(settings)
        self._unpacked: Counts = np.empty((self._format.height, self._format.width), np.uint16)
        metadata = self._probe()
        self._description = CameraDescription(
            model=model,
            width=self._format.width,
            height=self._format.height,
            bit_depth=self._format.bit_depth,
            black_level=_black_level(metadata, self._format.bit_depth),
            shutter=shutter,
            frame_interval_us=float(metadata.get("FrameDuration", self._interval_us)),
        )

    @property
    def description(self) -> CameraDescription:
        """As the sensor reported itself and its first frame."""
        return self._description

    @property
    def calibration(self) -> Calibration | None:
        """None: a real camera's calibration is measured, not known."""
        return None

    def start(self) -> None:
        """Begin exposing; the first frame already has the exposure asked for, since controls were set before."""
        self._last_ns = None
        self._camera.start()
        self._started = True

    def next_frame(self, timeout_s: float = 1.0) -> AbstractContextManager[Frame]:
        """Newest frame not yet lent; raises CameraStalled after ``timeout_s``."""
        return self._next_frame(timeout_s)

    def set_exposure(self, exposure_us: float, gain: float) -> None:
        """Ask for exposure and gain; raises Refused where the sensor or the frame interval has no room for them."""
        self._refuse_exposure(exposure_us, gain)
        self._camera.set_controls({"ExposureTime": round(exposure_us), "AnalogueGain": float(gain)})

    def close(self) -> None:
        """Stop, hand back whatever was still asked for, and free the camera; may be called twice."""
        if self._closed:
            return
        self._closed = True
        self._started = False
        try:
            self._abandon_job()
        finally:
            self._camera.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ---- frames ---------------------------------------------------------------------------------------------------------

    @contextmanager
    def _next_frame(self, timeout_s: float) -> Iterator[Frame]:
        request = self._request(timeout_s)
        try:
            metadata = request.get_metadata()
            with self._mapped_array(request, "raw", write=False) as mapped:
                yield self._frame(self._format.words(mapped.array), metadata)
        finally:
            request.release()

    def _request(self, timeout_s: float) -> Any:
        """Next request. Its job outlives a time-out: a second job would leave the first one's request without an owner."""
        if not self._started:
            raise CameraStalled("the camera is not started")
        if self._job is None:
            self._job = self._camera.capture_request(wait=False)
        try:
            request = self._camera.wait(self._job, timeout=timeout_s)
        except TimeoutError:
            raise CameraStalled(f"no frame for {timeout_s:g} s") from None
        self._job = None
        return request

    def _frame(self, words: Counts, metadata: dict[str, Any]) -> Frame:
        sensor_time_ns = int(metadata["SensorTimestamp"])
        return Frame(
            pixels=self._format.counts_into(words, self._unpacked),
            sequence=self._counted(sensor_time_ns, metadata),
            sensor_time_ns=sensor_time_ns,
            exposure_us=float(metadata["ExposureTime"]),
            gain=float(metadata["AnalogueGain"]),
            light_level=0.0,
            lit=False,
        )

    def _counted(self, sensor_time_ns: int, metadata: dict[str, Any]) -> int:
        """Sequence number; whole frame intervals that passed without a frame are counted as lost."""
        intervals = 1
        if self._last_ns is not None:
            if sensor_time_ns <= self._last_ns:
                raise CameraStalled(f"sensor time did not advance from {self._last_ns} ns to {sensor_time_ns} ns")
            interval_ns = 1000 * float(metadata.get("FrameDuration", self._interval_us))
            intervals = max(1, round((sensor_time_ns - self._last_ns) / interval_ns))
        self._last_ns = sensor_time_ns
        self._sequence += intervals
        return self._sequence

    def _abandon_job(self) -> None:
        """Cancel what is still asked for; if it was just answered, release the answer."""
        job, self._job = self._job, None
        if job is None:
            return
        self._camera.cancel_all_and_flush()
        with suppress(CancelledError, TimeoutError):  # nothing was answered, so there is nothing to release
            self._camera.wait(job, timeout=0).release()

    # ---- setting up -----------------------------------------------------------------------------------------------------

    def _configure(self, settings: CameraSettings) -> None:
        order = "R" if self._camera.is_mono else f"S{str(self._camera.sensor_format)[1:5]}"
        raw = {"format": f"{order}{settings.bit_depth}", "size": (settings.width, settings.height)}
        configuration = self._camera.create_video_configuration(
            main={"format": "YUV420", "size": _ISP_SIZE},
            raw=raw,
            buffer_count=_BUFFERS,
            queue=True,  # the newest finished frame is kept for us, so a turn a little too long does not cost a frame
            display=None,
            encode=None,
            controls=self._fixed_controls(settings),
        )
        try:
            self._camera.configure(configuration)
        except RuntimeError as error:
            raise Refused(
                f"the camera does not accept its configuration ({error})", raw, "check [camera] in the settings"
            ) from error

    def _fixed_controls(self, settings: CameraSettings) -> dict[str, Any]:
        controls: dict[str, Any] = {
            "AeEnable": False,
            "ExposureTime": round(settings.exposure_us),
            "AnalogueGain": settings.gain,
            "FrameDurationLimits": (self._interval_us, self._interval_us),
        }
        # A monochrome sensor has no white balance to switch off, and picamera2 raises for a control that is not there.
        optional = {"AwbEnable": False, "NoiseReductionMode": _NOISE_REDUCTION_OFF}
        return controls | {name: value for name, value in optional.items() if name in self._camera.camera_controls}

    def _reported_format(self, settings: CameraSettings) -> RawFormat:
        configuration = self._camera.camera_configuration()
        raw = configuration["raw"]
        size = tuple(raw["size"])
        if size != (settings.width, settings.height):
            raise Refused(
                f"the sensor has no raw mode of {settings.width} x {settings.height}",
                f"it gives {size[0]} x {size[1]}",
                "set camera.width and camera.height to a mode it has",
            )
        sensor_bits = (configuration.get("sensor") or {}).get("bit_depth")
        return RawFormat.reported(str(raw["format"]), (size[0], size[1]), int(raw["stride"]), sensor_bits)

    def _probe(self) -> dict[str, Any]:
        """Metadata of one frame, whose pixels and time were found to be what the rest relies on."""
        self.start()
        try:
            request = self._request(_FIRST_FRAME_S)
            try:
                metadata: dict[str, Any] = request.get_metadata()
                with self._mapped_array(request, "raw", write=False) as mapped:
                    self._format.check(self._format.words(mapped.array))
            finally:
                request.release()
        except CameraStalled as stalled:
            raise Refused(f"the camera gives no frames ({stalled})", remedy="check its cable and power") from stalled
        finally:
            self._abandon_job()
            self._camera.stop()
            self._started = False
        _refuse_missing_metadata(metadata)
        self._refuse_foreign_clock(int(metadata["SensorTimestamp"]))
        return metadata

    def _refuse_foreign_clock(self, sensor_time_ns: int) -> None:
        """The light guard judges freshness by sensor time; on another clock (after a suspend, say) it would be nonsense."""
        age_ns = self._clock.now_ns() - sensor_time_ns
        if abs(age_ns) > _CLOCK_TOLERANCE_NS + 2000 * self._interval_us:
            raise Refused(
                "the sensor's clock is not the system's monotonic clock",
                f"{age_ns / 1e9:.3f} s apart",
                "restart the device; it must not be suspended",
            )

    def _refuse_exposure(self, exposure_us: float, gain: float) -> None:
        if exposure_us > self._interval_us:
            raise Refused(
                f"an exposure does not fit into the frame interval of {self._interval_us} us",
                f"{exposure_us:g} us",
                "shorten it, or lower camera.frames_per_s",
            )
        for name, value in (("ExposureTime", exposure_us), ("AnalogueGain", gain)):
            low, high = self._camera.camera_controls[name][:2]
            if value < low or (value > high > 0):
                raise Refused(
                    f"this sensor's {name} goes from {low:g} to {high:g}", f"{value:g}", "choose a value inside"
                )


def _shutter(model: str, settings: CameraSettings) -> Shutter:
    if settings.shutter != "by model":
        return settings.shutter
    known = SHUTTER_BY_MODEL.get(model.split("_")[0])
    if known is None:
        raise Refused(
            "the shutter of this sensor is not known",
            model,
            'say camera.shutter = "global" or "rolling" in the settings',
        )
    return known


def _refuse_colour(model: str, camera: Any, settings: CameraSettings) -> None:
    if not camera.is_mono and not settings.colour_sensor:
        raise Refused(
            "this sensor has colour filters, which cut and mix near infrared",
            model,
            "use a monochrome sensor, or say camera.colour_sensor = true in the settings",
        )


def _refuse_missing_controls(camera: Any) -> None:
    missing = [name for name in _NEEDED_CONTROLS if name not in camera.camera_controls]
    if missing:
        raise Refused("the camera cannot be fixed for measurement; it lacks", ", ".join(missing), "use another camera")


def _refuse_missing_metadata(metadata: dict[str, Any]) -> None:
    needed = ("SensorTimestamp", "ExposureTime", "AnalogueGain", "SensorBlackLevels")
    missing = [name for name in needed if name not in metadata]
    if missing:
        raise Refused("the camera's frames do not say", ", ".join(missing), "update libcamera")


def _black_level(metadata: dict[str, Any], bit_depth: int) -> float:
    """Counts of the sensor; libcamera gives SensorBlackLevels on a 16-bit scale (control_ids_core.yaml, from memory)."""
    levels = [float(level) for level in metadata["SensorBlackLevels"]]
    return sum(levels) / len(levels) / (1 << (16 - bit_depth))
