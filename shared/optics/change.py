"""Changes to a set of parts that a builder could make: each family yields candidates to be tried, the mildest first.

A candidate is words, the changed parts, and what it costs elsewhere. Nothing here says that a change helps; ``advice`` tries them.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from shared.optics.chain import rays_at
from shared.optics.interference_filter import shift_factor
from shared.optics.parts_file import CleanUpPart, Parts
from shared.optics.stock import stock

_CLEAN_UP_WIDTH_NM = 50.0
_STOCK_STEP_NM = 5.0
_MARGIN_NM = 5.0  # edges, sorting and warmth differ by some nanometres: common practice, no source
_DEEPEST_OD = 6.0  # as sold, from memory; beyond it, light that strays inside a case leaks more than the filter
_LED_CENTRES_NM = (760.0, 770.0, 775.0, 780.0, 785.0)
_ROOM_LIGHT = "lets in more room light, which is not counted here"


@dataclass(frozen=True)
class Candidate:
    """A set of parts with one thing changed; ``light_factor`` is the light that the lens gathers, after / before."""

    words: str
    parts: Parts
    cost: str = ""
    light_factor: float = 1.0


Family = Callable[[Parts], Iterator[Candidate]]


def _changed(
    parts: Parts, words: str, section: str, cost: str = "", light_factor: float = 1.0, **values: Any
) -> Iterator[Candidate]:
    """The candidate, or nothing where such parts do not fit."""
    try:
        made = replace(parts, **{section: replace(getattr(parts, section), **values)})
    except ValueError:
        return
    yield Candidate(words, made, cost, light_factor)


def add_clean_up(parts: Parts) -> Iterator[Candidate]:
    """A band-pass over the LEDs, ending ever further below what the emission filter passes in the corner."""
    if parts.clean_up is not None:
        return
    for cut_off_nm in _below_emission_filter(parts):
        for blocking_od in (4.0, 5.0, 6.0):
            made = CleanUpPart(cut_off_nm - _CLEAN_UP_WIDTH_NM, cut_off_nm, blocking_od=blocking_od)
            yield Candidate(f"add a clean-up filter {made.words} over the LEDs", replace(parts, clean_up=made))


def move_clean_up(parts: Parts) -> Iterator[Candidate]:
    """Another long edge of the clean-up filter."""
    if parts.clean_up is None or parts.clean_up.cut_off_nm is None:
        return
    for step in (-1, 1, -2, 2, -3, 3, -4, 4):
        cut_off_nm = parts.clean_up.cut_off_nm + step * _STOCK_STEP_NM
        words = f"let the clean-up filter end at {cut_off_nm:g} nm"
        yield from _changed(parts, words, "clean_up", cut_off_nm=cut_off_nm)


def block_more(parts: Parts) -> Iterator[Candidate]:
    """Deeper blocking of the emission filter."""
    blocking_od = parts.emission_filter.blocking_od + 1
    if blocking_od <= _DEEPEST_OD:
        yield from _changed(parts, f"emission filter of OD {blocking_od:g}", "emission_filter", blocking_od=blocking_od)


def clean_more(parts: Parts) -> Iterator[Candidate]:
    """Deeper blocking of the clean-up filter."""
    if parts.clean_up is not None and parts.clean_up.blocking_od + 1 <= _DEEPEST_OD:
        blocking_od = parts.clean_up.blocking_od + 1
        yield from _changed(parts, f"clean-up filter of OD {blocking_od:g}", "clean_up", blocking_od=blocking_od)


def move_filter(parts: Parts) -> Iterator[Candidate]:
    """The emission filter on the other side of the lens."""
    if parts.emission_filter.place == "front":
        yield from _changed(parts, "move the filter behind the lens", "emission_filter", place="behind")
    else:
        yield from _changed(parts, "move the filter in front of the lens", "emission_filter", place="front")


def cut_on_elsewhere(parts: Parts) -> Iterator[Candidate]:
    """Another short edge of the emission filter."""
    if parts.emission_filter.cut_on_nm is None:
        return
    for step in (1, -1, 2, -2, 3, -3, 4, -4, 5, 6):
        cut_on_nm = parts.emission_filter.cut_on_nm + step * _STOCK_STEP_NM
        words = f"let the emission filter begin at {cut_on_nm:g} nm"
        yield from _changed(parts, words, "emission_filter", cut_on_nm=cut_on_nm)


def widen_filter(parts: Parts) -> Iterator[Candidate]:
    """A long edge further out, or none."""
    cut_off_nm = parts.emission_filter.cut_off_nm
    if cut_off_nm is None or parts.emission_filter.cut_on_nm is None:
        return
    for more in (20.0, 40.0):
        words = f"let the emission filter end at {cut_off_nm + more:g} nm"
        yield from _changed(parts, words, "emission_filter", _ROOM_LIGHT, cut_off_nm=cut_off_nm + more)
    words = f"long-pass from {parts.emission_filter.cut_on_nm:g} nm instead of a band-pass"
    yield from _changed(parts, words, "emission_filter", _ROOM_LIGHT, cut_off_nm=None)


def other_led(parts: Parts) -> Iterator[Candidate]:
    """LEDs of another wavelength."""
    cost = "another light is another exposure of eyes: work out its limits again"
    for centre_nm in _LED_CENTRES_NM:
        if parts.led.centre_nm is not None and abs(centre_nm - parts.led.centre_nm) >= _STOCK_STEP_NM:
            yield from _changed(parts, f"LEDs of {centre_nm:g} nm", "led", cost, centre_nm=centre_nm)


def longer_lens(parts: Parts) -> Iterator[Candidate]:
    """A narrower field."""
    for factor in (4 / 3, 2.0):
        focal_length_mm = parts.lens.focal_length_mm * factor
        cost = f"the picture shows {1 / factor:.2f} of the width from the same distance"
        yield from _changed(parts, f"lens of {focal_length_mm:.3g} mm", "lens", cost, focal_length_mm=focal_length_mm)


def smaller_aperture(parts: Parts) -> Iterator[Candidate]:
    """A narrower cone through a filter behind the lens."""
    if parts.emission_filter.place == "behind" and parts.lens.f_number <= 4:
        f_number = parts.lens.f_number * 2**0.5
        cost = "the lens gathers half the light, which is counted"
        yield from _changed(parts, f"stop the lens down to F/{f_number:.2g}", "lens", cost, 0.5, f_number=f_number)


def other_sensor(parts: Parts) -> Iterator[Candidate]:
    """Another class of sensor, of the same size."""
    if parts.sensor.quantum_efficiency:
        return
    for name in stock("sensors"):
        if name != parts.sensor.response:
            yield from _changed(
                parts, f"sensor of the class {name}", "sensor", "its response is an estimate", response=name
            )


FAMILIES: tuple[Family, ...] = (
    add_clean_up,
    move_clean_up,
    block_more,
    clean_more,
    move_filter,
    cut_on_elsewhere,
    widen_filter,
    other_led,
    longer_lens,
    smaller_aperture,
    other_sensor,
)


def _below_emission_filter(parts: Parts) -> tuple[float, ...]:
    """Edges in steps of 5 nm, from a margin below the emission filter's short edge in the corner downwards."""
    cut_on_nm = parts.emission_filter.cut_on_nm
    if cut_on_nm is None:
        return ()
    lowest_nm = cut_on_nm * float(shift_factor(rays_at(parts, "corner").steepest_deg, parts.emission_filter.n_eff))
    first = (lowest_nm - _MARGIN_NM) // _STOCK_STEP_NM * _STOCK_STEP_NM
    return tuple(first - step * _STOCK_STEP_NM for step in range(6))
