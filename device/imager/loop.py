"""The imager's loop: one turn a frame, and nothing in it that waits for anyone but the camera."""

import json
import logging
from collections import deque

from device.camera.source import CameraStalled
from device.controls import Controls
from device.imager.curves import KeptCurves
from device.imager.happenings import Happenings
from device.imager.next_frame import NextFrame
from device.imager.parts import Parts
from device.imager.second_opinion import SecondOpinion
from device.imager.trip_log import TripLog
from device.imager.unlit_frames import UnlitFrames
from device.inflow_maps import LiveMaps
from shared.frame import Frame
from shared.protocol.light import LightStatus, Seen

_log = logging.getLogger(__name__)

FRAME_WAIT_S = 0.1
"""Longest wait for a frame before button and light are looked after again."""
WITHHELD_NS = 1_000_000_000
"""Longest time for which no lease is renewed on purpose; the longest lease is 0.4 s."""


class ImagerLoop:
    """Takes frames, renews the light's lease, records, draws, publishes. Owned by one thread; ``seen`` may be read by others."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self.controls: Controls | None = None
        self.maps: LiveMaps | None = None
        self.trips: TripLog | None = None
        self._times_ns: deque[int] = deque(maxlen=512)
        self._last_sequence: int | None = None
        self._last_light: tuple[str, float] | None = None
        self._light_told = "0"
        self._believed_ns: tuple[int, int] | None = None
        self._opinion = SecondOpinion(parts.source.camera.description.white_level)
        self._untold: Seen = "unclear"
        self.seen: Seen = "unclear"
        self.lost_frames = 0
        self.injections_ns: tuple[int, ...] = ()
        self.newest: Frame | None = None
        self.stalled_since_ns: int | None = None
        self.next_frame = NextFrame()
        self.curves = KeptCurves()
        self.happenings = Happenings()
        self._unlit = UnlitFrames(parts.settings.picture.unlit_every, parts.source.camera.description)
        self._withheld_until_ns = 0

    def withhold_leases(self) -> None:
        """Renew nothing until the guard has gone dark, so that its trip can be tried on purpose; for a second at most."""
        self._withheld_until_ns = self._parts.clock.now_ns() + WITHHELD_NS

    def turn(self) -> None:
        """One frame, or the time in which none came. Raises EndOfFrames when a clip is over; anything unexpected comes through."""
        parts = self._parts
        if self.controls is not None:
            self.controls.run_due()
        parts.light.keep_up()
        try:
            with parts.source.camera.next_frame(FRAME_WAIT_S) as frame:
                self.stalled_since_ns = None
                self._take(frame)
        except CameraStalled as stalled:
            if self.stalled_since_ns is None:
                self.stalled_since_ns = parts.clock.now_ns()
                _log.warning("no frame: %s", stalled)

    @property
    def rate_hz(self) -> float:
        """Frames a second over the last second, 0 when none came."""
        newest_ns = self._parts.clock.now_ns()
        recent = [time_ns for time_ns in tuple(self._times_ns) if newest_ns - time_ns < 1_000_000_000]
        return (
            (len(recent) - 1) / ((recent[-1] - recent[0]) / 1e9) if len(recent) > 1 and recent[-1] > recent[0] else 0.0
        )

    @property
    def lit(self) -> bool:
        """Whether the guard says that the ring is on."""
        return self._last_light is not None and self._last_light[0] == "lit"

    @property
    def since_injection_s(self) -> float | None:
        """Seconds since dye went in last, None before."""
        return (self._parts.clock.now_ns() - self.injections_ns[-1]) / 1e9 if self.injections_ns else None

    @property
    def ambient_trouble(self) -> str:
        """Why ambient light is not measured though it should be; empty when it is. Frames of a replay were lit long ago."""
        return "" if self._parts.source.kind == "replay" else self._unlit.trouble

    def _take(self, frame: Frame) -> None:
        parts = self._parts
        description = parts.source.camera.description
        self._look_at_the_light(frame)
        tried = self._withheld_until_ns > 0
        if self._withholds():
            parts.link.survey()
            status = parts.link.status
        else:
            status = parts.link.renew(
                frame.sequence, frame.sensor_time_ns, description.frame_interval_us, frame.exposure_us, self._untold
            )
            if not parts.link.trouble:
                self._untold = "unclear"
        if status is not None:
            self._note_light(status, tried)
        self._look_back()
        frame = self._with_light(frame)
        self._plan_light(frame)
        parts.recorder.offer(frame)
        self.happenings.see_gaps(frame.sensor_time_ns, parts.recorder.gaps)
        self._count(frame)
        if not frame.half_lit and (frame.light_level > 0 or not self._is_dark_on_purpose):
            self.next_frame.show(frame)
        if not self._is_shown(frame):
            if self.maps is not None and not frame.half_lit:
                self.maps.take(frame)
            return
        picture = parts.live.process(frame)
        now_ns = parts.clock.now_ns()
        header = {
            **picture.header,
            "published_ns": now_ns,
            "rate_hz": round(self.rate_hz, 2),
            "since_injection_s": self.since_injection_s,
        }
        parts.bus.publish(
            json.dumps(header, separators=(",", ":"), allow_nan=False).encode(),
            picture.jpeg,
            sequence=frame.sequence,
            published_ns=frame.sensor_time_ns,
        )
        self._believed_ns = self._exposed_ns(frame)
        if self._look_back():
            return
        self.curves.take(frame.sensor_time_ns, parts.live.curve_points())
        if self.maps is not None:  # last, when the lease is renewed and the picture is out
            self.maps.take(frame)

    def _withholds(self) -> bool:
        """Whether this frame renews no lease: the trip is being tried, and the guard has not gone dark yet."""
        if self._parts.light.tripped or self._parts.clock.now_ns() >= self._withheld_until_ns:
            self._withheld_until_ns = 0
        return self._withheld_until_ns > 0

    def _plan_light(self, frame: Frame) -> None:
        """Put the light out for a frame where one is due to be unlit or the level is to be stepped, and on again after it."""
        light, now_ns = self._parts.light, self._parts.clock.now_ns()
        if self._unlit.stalled(now_ns):
            light.let_go()
        match self._unlit.after(frame, self.lit, now_ns, light.step_waits):
            case "go dark":
                light.keep_unlit(True)
            case "light again":
                light.keep_unlit(False)

    def _with_light(self, frame: Frame) -> Frame:
        """The frame with the light it was taken under, and whether that changed meanwhile: known here once, for everybody."""
        parts, level, half_lit = self._parts, frame.light_level, frame.half_lit
        if not parts.source.stamps_light:
            level = parts.link.over(frame.exposure_start_ns, frame.sensor_time_ns)
            frame = frame.with_light(level, level > 0)
            half_lit = not parts.link.is_steady(*self._exposed_ns(frame))
        unsure = parts.light.wanted and self._unlit.is_half_lit(frame, parts.light.told_level)
        return frame.with_light(level, frame.lit, half_lit or unsure)

    def _exposed_ns(self, frame: Frame) -> tuple[int, int]:
        """From when the first row of a frame that has just come began until the last one ended, at the latest."""
        camera, end_ns = self._parts.source.camera.description, frame.sensor_time_ns
        if camera.shutter == "rolling":
            end_ns = min(end_ns + round(camera.frame_interval_us * 1000), max(self._parts.clock.now_ns(), end_ns))
        return frame.exposure_start_ns, end_ns

    def _look_back(self) -> bool:
        """Where the guard's word came too late for the newest picture, begin the picture anew; whether it did."""
        believed_ns = self._believed_ns
        if believed_ns is None or self._parts.source.stamps_light or self._parts.link.is_steady(*believed_ns):
            return False
        self._believed_ns = None
        self._parts.live.begin_anew()
        return True

    def _is_shown(self, frame: Frame) -> bool:
        """Whether a frame becomes a picture. A half lit one is of no use; an unlit one tells of the room, and is shown where nobody
        wants light.
        """
        if frame.half_lit:
            return False
        if frame.light_level > 0:
            return True
        wanted = self._parts.light.wanted
        on_purpose = self._unlit.planned or self._is_dark_on_purpose
        if (wanted and on_purpose) or self._unlit.is_due(frame):
            self._parts.live.take_unlit(frame)
        return not (wanted and on_purpose)

    @property
    def _is_dark_on_purpose(self) -> bool:
        return self._unlit.is_dark_on_purpose(self._parts.clock.now_ns())

    def _look_at_the_light(self, frame: Frame) -> None:
        """Form the camera's second opinion; one that was formed is told with the next lease that counts."""
        seen = self._opinion.look(frame, self._parts.link.over(frame.exposure_start_ns, frame.sensor_time_ns))
        if seen != "unclear":
            self._untold = self.seen = seen

    def _count(self, frame: Frame) -> None:
        if self._last_sequence is not None:
            self.lost_frames += max(0, frame.sequence - self._last_sequence - 1)
        self._last_sequence = frame.sequence
        self._times_ns.append(frame.sensor_time_ns)
        self.newest = frame

    def _note_light(self, status: LightStatus, tried: bool) -> None:
        """Keep what the light did with the recording that runs; ``tried``: a trip would be on purpose."""
        light = (status.state, status.level)
        if light == self._last_light or (self._unlit.dark and status.state == "ready"):
            return
        if status.state == "tripped" and (self._last_light is None or self._last_light[0] != "tripped"):
            _log.warning("light tripped: %s", status.reason)
            if self.trips is not None:
                self.trips.note(status.reason, tried)
            self._parts.recorder.event("trip", status.since_ns, reason=status.reason)
            self.happenings.note("trip", status.since_ns, status.reason)
        self._parts.recorder.event("light", status.since_ns, level=status.level, lit=status.state == "lit")
        shown = f"{round(100 * status.level)}" if status.state == "lit" else "0"
        if shown != self._light_told:
            self.happenings.note("light", status.since_ns, shown)
        self._last_light, self._light_told = light, shown
