"""What pulse-width dimming does to exposures: how much the light of one differs from that of the next. Standard library only.

A square wave of period P and duty d is high for max = k d P + P min(d, f) or min = k d P + P max(0, f - (1 - d)) of a window T,
where T / P = k + f with whole k, so the peak to peak is P min(d, 1-d, f, 1-f): nothing where f = 0 (own derivation; the tests
count it edge by edge). A global shutter shows it as flicker from frame to frame, a rolling one as bands of rows.
"""

import math


def ripple(window_ns: float, period_ns: float, duty: float) -> float:
    """Peak-to-peak on-time of a window over all phases, as a share of its mean; 0 for light that is off or does not pulse."""
    if duty <= 0.0:
        return 0.0
    periods = window_ns / period_ns
    part = periods - math.floor(periods)
    return max(0.0, min(duty, 1.0 - duty, part, 1.0 - part)) / (duty * periods)


def worst_ripple(window_ns: float, period_ns: float, duty: float, period_error: float) -> float:
    """The largest ripple of any period within ``period_error`` (relative, one-sided) of ``period_ns``.

    Two clocks that differ by e shift the left-over part f by k e, so a locked period is left with about e / d however fast it is.
    A ``period_error`` of 1 stands for pulses of which nothing is known but their mean: P min(d, 1-d) / (d T), the worst there is.
    """
    if duty <= 0.0:
        return 0.0
    periods = window_ns / period_ns
    fewest, most = periods * (1.0 - period_error), periods * (1.0 + period_error)
    # The part left over is worst at one half, which the range may reach, else at the end of it that comes nearest.
    halfway = math.floor(fewest) + 0.5
    halfway += 0.0 if halfway >= fewest else 1.0
    part = 0.5 if halfway <= most else max(min(at - math.floor(at), math.ceil(at) - at) for at in (fewest, most))
    return max(0.0, min(duty, 1.0 - duty, part)) / (duty * periods)


def locked_period_ns(window_ns: float, wanted_hz: float, step_ns: int, reach: float = 0.1) -> int:
    """PWM period near ``1 / wanted_hz`` that fits a whole number of times into the window and is a whole number of clock steps.

    Of the counts within ``reach`` (relative) of the wanted frequency it takes the one that leaves least over, the nearest among
    equals. A window of less than half a period gets the plain period: nothing fits.
    """
    wanted = window_ns * wanted_hz / 1e9
    if round(wanted) < 1 or window_ns < step_ns:
        return _in_steps(1e9 / wanted_hz, step_ns)
    nearest = round(wanted)
    counts = range(math.ceil(wanted * (1.0 - reach)), math.floor(wanted * (1.0 + reach)) + 1) or (nearest,)
    left_over = {count: abs(window_ns - count * _in_steps(window_ns / count, step_ns)) for count in {*counts, nearest}}
    best = min(left_over, key=lambda count: (round(left_over[count]), abs(count - wanted)))
    return _in_steps(window_ns / best, step_ns)


def _in_steps(period_ns: float, step_ns: int) -> int:
    return step_ns * max(1, round(period_ns / step_ns))
