"""What is taken off a recording's frame for its ambient light: linear between the unlit frames on both sides, as curves have it."""

from collections import OrderedDict
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from shared.ambient import Way, as_rate, taken_off, unmeasured
from shared.calibration import Calibration
from shared.frame import Frame
from shared.light_steps import against_first
from shared.recording import Recording
from shared.review.binned import binned_frame
from shared.signal import Measured, RegionPixels, counts_variance, region_signal

_KEPT_FRAMES = 2


class AmbientBeside:
    """Finds the unlit frames beside a lit one; keeps the last two, which the next moment most often needs again."""

    def __init__(self, recording: Recording, times_s: NDArray[np.float64], lit: NDArray[np.bool_]) -> None:
        """``times_s`` and ``lit`` (frames,): since the first frame, and whether there was light."""
        self._recording, self._times_s, self._lit = recording, times_s, lit
        self._frames: OrderedDict[int, Frame] = OrderedDict()

    @cached_property
    def way(self) -> Way:
        """What of the ambient light is taken off."""
        whole = ~self._recording.half_lit
        return taken_off(self._times_s[whole], self._recording.frame_table.levels[whole])

    def is_off(self, number: int) -> bool:
        """Whether anything is taken off a frame."""
        return bool(self._lit[number]) and self._share(number) != 0.0

    @cached_property
    def left_out(self) -> NDArray[np.bool_]:
        """Frames that are not looked at, as curves leave them out: half lit, or with ambient light that is not known."""
        out = self._recording.half_lit
        return out | unmeasured(self._times_s, self._lit) if self.way == "whole" else out

    @cached_property
    def dark(self) -> NDArray[np.intp]:
        """Frames without light."""
        return np.flatnonzero(~self._lit & ~self._recording.half_lit)

    def inverse_output(self, number: int) -> float:
        """Light of the first frame that is looked at, as a multiple of that of frame ``number``."""
        return self._first_output / self._output(number)

    def counts(self, number: int, calibration: Calibration, *, reduced: bool) -> tuple[NDArray[np.float64], float]:
        """What is taken off the counts of frame ``number``, (height, width), and the variance of a pixel of that.

        ``calibration`` is the camera's, of half the size where ``reduced``. Defects are left as they are.
        """
        lit_for = self._share(number) * self._millisecond_gain(number)
        total, variance = np.zeros(calibration.camera.shape, np.float64), 0.0
        for dark, share in self._beside(number):
            frame = self._frame(dark)
            drawn = binned_frame(frame, self._recording.calibration) if reduced else frame
            counts = drawn.pixels - calibration.dark_counts.astype(np.float64)
            scale = share * lit_for / self._millisecond_gain(dark)
            total += scale * counts
            variance += scale**2 * float(counts_variance(max(float(counts.mean()), 0.0), frame.gain, calibration))
        return total, variance

    def signal(self, number: int, pixels: RegionPixels) -> Measured:
        """What is taken off a region's signal in frame ``number``, with its standard uncertainty."""
        value = variance = 0.0
        for dark, share in self._beside(number):
            found = region_signal(as_rate(self._frame(dark)), pixels, self._recording.calibration).signal
            value += share * found.value
            variance += (share * found.u) ** 2
        by_rate = self._share(number) / self._output(number)
        return Measured(value * by_rate, abs(by_rate) * float(np.sqrt(variance)))

    def _share(self, number: int) -> float:
        """Of the frame's ambient light that is taken off."""
        if self.way != "steps":
            return float(self.way == "whole")
        output = self._output(number)
        return output * against_first(output, self._first_output)

    @cached_property
    def _first_output(self) -> float:
        return self._output(int(np.flatnonzero(self._lit & ~self._recording.half_lit)[0]))

    def _output(self, number: int) -> float:
        level = float(self._recording.frame_table.levels[number])
        return float(self._recording.calibration.output_at(level))

    def _beside(self, number: int) -> tuple[tuple[int, float], ...]:
        """Unlit frames and their shares, which make 1: those before and after, or the one there is."""
        dark = self.dark
        after = int(np.searchsorted(dark, number))
        if after in (0, dark.size):
            return ((int(dark[min(after, dark.size - 1)]), 1.0),)
        left, right = int(dark[after - 1]), int(dark[after])
        span_s = self._times_s[right] - self._times_s[left]
        share = float((self._times_s[number] - self._times_s[left]) / span_s)
        return ((left, 1.0 - share), (right, share))

    def _millisecond_gain(self, number: int) -> float:
        table = self._recording.frame_table
        return float(table.exposure_us[number] * table.gain[number]) / 1000.0

    def _frame(self, number: int) -> Frame:
        if number not in self._frames:
            self._frames[number] = self._recording.frame(number)
            while len(self._frames) > _KEPT_FRAMES:
                self._frames.popitem(last=False)
        self._frames.move_to_end(number)
        return self._frames[number]
