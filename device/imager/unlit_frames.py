"""When the light goes out for one frame, so that ambient infrared is measured. Pure: frames and moments in, a wish out.

That is before each step of the ring's level, with which ambient infrared does not go (shared/light_steps.py), and, where it is
wanted, for every n-th frame too.

Off is asked for when a frame has come: with a global shutter the next exposure then begins after the light went, and a frame is
unlit when the guard's word says so for all of its exposure. Darkness is short on purpose: the dead-man's circuit drops out when no
heartbeat came for a while, and takes its time to come back. A step, which comes seldom, waits a little longer for its dark frame:
a rolling shutter's rows, or exposures that leave no time between them, need more than one interval.
"""

from typing import Literal

from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.half_lit import HALF_LIT
from shared.settings import FEWEST_LIT

Act = Literal["stay", "go dark", "light again"]

LONGEST_DARK_NS = 34_000_000
"""With 20 ms since the last heartbeat before it and what a frame may come late, below 60 ms, which the dead-man's circuit was found
to bridge with the worst parts (hardware/circuits: "beats 60 ms apart, in a row or one late").
"""

BRIDGED_NS = 40_000_000
DEAD_MAN_RISES_NS = 30_000_000
"""After a longer darkness its circuit may need so long to give light again; the guard's word cannot know of it."""

STALLED_NS = 100_000_000
"""A dark spell longer by so much than what is waited for was no frame but a stall: light is asked for anew, by a finger."""

LONGEST_STEP_NS = 250_000_000
"""Longest wait for the dark frame of a step; then the level is set without it (design choice, no source)."""
STEP_INTERVALS = 4.5
"""Frame intervals in which it comes, whatever the shutter: one exposed half, one in the dark, its readout, and one frame late."""

IN_VAIN = 3
"""So many darknesses in a row that no frame lay wholly within are no accident."""

LONGEST_INTERVAL_US = 34_000.0
"""With slower frames darkness for a whole exposure would outlast what the dead-man bridges."""


class UnlitFrames:
    """Decides after each frame. ``every`` 0: never. Raises Refused for a camera with which it cannot work."""

    def __init__(self, every: int, camera: CameraDescription) -> None:
        self._every = every
        self._since_dark = 0
        self._dark_since_ns: int | None = None
        self._longest_ns = LONGEST_DARK_NS
        self._shown_again_ns = 0
        self._unsure_until_ns = 0
        self._in_vain = 0
        if every and camera.shutter == "rolling":
            raise Refused(
                "unlit frames need a global shutter: a rolling one's rows never see the same light",
                every,
                "set picture.unlit_every to 0",
            )
        if every and camera.frame_interval_us > LONGEST_INTERVAL_US:
            raise Refused(
                "unlit frames need at least 30 frames a second",
                f"{1e6 / camera.frame_interval_us:.3g}",
                "set picture.unlit_every to 0, or camera.frames_per_s higher",
            )
        self._interval_ns = round(camera.frame_interval_us * 1000)
        self._readout_ns = self._interval_ns if camera.shutter == "rolling" else 0
        self._known_ns: int | None = None
        self._longest_step_ns = min(round(STEP_INTERVALS * self._interval_ns), LONGEST_STEP_NS)

    @property
    def planned(self) -> bool:
        """Whether there are any between steps."""
        return self._every > 0

    @property
    def dark(self) -> bool:
        """Whether the light is out on purpose."""
        return self._dark_since_ns is not None

    @property
    def trouble(self) -> str:
        """Why ambient light is not measured though it should be; empty when it is."""
        if self._in_vain < IN_VAIN:
            return ""
        return "ambient light is not measured: no frame is wholly dark; shorten the exposure"

    def after(self, frame: Frame, lit: bool, now_ns: int, stepped: bool = False) -> Act:
        """What to do now that ``frame`` has come; ``lit`` says whether the guard gives light (or did, before this darkness), and
        ``stepped`` whether another level waits to be set.
        """
        if self._dark_since_ns is not None:
            if frame.light_level <= 0 and not frame.half_lit and self._known_ns is None:
                self._known_ns = frame.sensor_time_ns + self._readout_ns
            is_unlit = self._known_ns is not None and now_ns >= self._known_ns
            too_long = now_ns + self._interval_ns - self._dark_since_ns > self._longest_ns
            if is_unlit or too_long or not lit:
                if now_ns - self._dark_since_ns > BRIDGED_NS:
                    self._unsure_until_ns = now_ns + DEAD_MAN_RISES_NS
                self._in_vain = 0 if is_unlit else self._in_vain + 1
                self._since_dark, self._dark_since_ns, self._known_ns = 0, None, None
                self._shown_again_ns = now_ns + 2 * self._interval_ns
                return "light again"
            return "stay"
        if not lit:
            self._since_dark = 0
            return "stay"
        self._since_dark += 1
        if not stepped and not (self._every and self._since_dark >= self._every):
            return "stay"
        self._dark_since_ns = now_ns
        self._longest_ns = self._longest_step_ns if stepped else LONGEST_DARK_NS
        return "go dark"

    def stalled(self, now_ns: int) -> bool:
        """Whether darkness has lasted longer than any frame."""
        longest_ns = max(STALLED_NS, self._longest_ns + STALLED_NS // 2)
        return self._dark_since_ns is not None and now_ns - self._dark_since_ns > longest_ns

    def is_dark_on_purpose(self, now_ns: int) -> bool:
        """Whether a dark frame that comes now is meant to be one: in such a darkness, or just after it, before light is back."""
        return self.dark or now_ns < self._shown_again_ns

    def is_due(self, frame: Frame) -> bool:
        """Whether this one of frames that are dark anyhow is to be measured, so that ambient light is known before the light."""
        return frame.sequence % (self._every or FEWEST_LIT) == 0

    def is_half_lit(self, frame: Frame, level: float) -> bool:
        """Whether the light, of ``level`` when on, was switched during the exposure, or may have been by the dead-man."""
        unsure = frame.exposure_start_ns < self._unsure_until_ns
        return frame.light_level > 0 and (unsure or (self.planned and frame.light_level < HALF_LIT * level))
