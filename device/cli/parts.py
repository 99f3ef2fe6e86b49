"""``tapetum parts``: whether dye, LED, filters, lens and sensor fit each other."""

from pathlib import Path
from typing import Any

import click

from device.cli import answer, json_option
from shared.bounded import plain
from shared.errors import Refused
from shared.optics.advice import Advice, Tolerance, advise, tolerances
from shared.optics.chain import AtPosition, Chain, chain
from shared.optics.focus_change import View, focus_change, view
from shared.optics.parts_file import Parts
from shared.optics.remarks import CAUTIONS, assumptions, remarks
from shared.optics.stock import stock

_WIDTH = 110


@click.command("parts")
@click.argument("file", metavar="[F]", required=False)
@click.option(
    "--plot", type=click.Path(path_type=Path, dir_okay=False), metavar="P", help="Draw the curves, as .png or .svg."
)
@json_option
def command(file: str | None, plot: Path | None, as_json: bool) -> None:
    """Whether parts fit each other: signal, leakage, shift with angle, focus, and what to change.

    F is a TOML file of parts or the name of a ready set; without it the ready sets are compared. Every change that is advised was
    worked out, alone, with the same model. Near-infrared light is invisible and can hurt an eye: work out the ring's limits and
    have it judged before use. Not a certified medical device.
    """
    if file is None:
        if plot is not None:
            raise Refused("--plot needs a set of parts to draw", str(plot), f"name one of {', '.join(stock('ready'))}")
        sets = {name: Parts.load(path) for name, path in stock("ready").items()}
        answer(*_comparison(sets), as_json)
        return
    parts = Parts.load(stock("ready").get(file, Path(file)))
    now = chain(parts)
    if plot is not None:
        from device.parts_plot import draw

        draw(parts, now, plot)
    advice, trials = advise(parts, now), tolerances(parts, now)
    result = {"parts": file, **_as_json(parts, now), "advice": plain(advice), "tolerances": plain(trials)}
    if plot is not None:
        result["plot"] = str(plot)
    answer(result, readable(file, parts, now, advice, trials) + (f"\n\ndrawn: {plot}" if plot else ""), as_json)


def _as_json(parts: Parts, now: Chain) -> dict[str, Any]:
    return {
        "title": parts.title,
        "light_passed_share": now.light_passed_share,
        "epsilon_per_cm_per_molar": now.epsilon_per_cm_per_molar,
        "absorbed_share": now.absorbed_share,
        "inner_filter_share": now.inner_filter_share,
        "at": [_place(at, now) for at in now.at],
        "focus": {**plain(focus_change(parts)), "needs_refocusing": focus_change(parts).needs_refocusing},
        "view": plain(view(parts)),
        "remarks": list(remarks(parts, now)),
        "assumptions": list(assumptions(parts)),
        "cautions": list(CAUTIONS),
    }


def _place(at: AtPosition, now: Chain) -> dict[str, Any]:
    """``relative_signal`` is beside the picture's centre."""
    centre = now.position("centre").signal_per_million
    relative = at.signal_per_million / centre if centre > 0 else None
    return {**plain(at), "relative_signal": relative, "signal_to_leakage": at.signal_to_leakage}


def _comparison(sets: dict[str, Parts]) -> tuple[dict[str, Any], str]:
    """The ready sets side by side, best worst place first."""
    worked = sorted(((name, parts, chain(parts)) for name, parts in sets.items()), key=lambda row: -row[2].worth)
    result = {
        "ready": [{"parts": name, **_as_json(parts, now), "worth": now.worth} for name, parts, now in worked],
    }
    lines = [
        f"{'':30}{'leakage':^20}{'signal / leakage':^20}{'signal':>10}{'worth':>10}",
        f"{'ready set, best first':30}{'centre':>10}{'corner':>10}{'centre':>10}{'corner':>10}{'corner':>10}",
    ]
    for name, _, now in worked:
        centre, corner = now.position("centre"), now.position("corner")
        lines.append(
            f"{name:30}{centre.leakage_share:>10.1e}{corner.leakage_share:>10.1e}{_ratio(centre.signal_to_leakage):>10}"
            f"{_ratio(corner.signal_to_leakage):>10}{corner.signal_per_million:>10.2f}{now.worth:>10.2g}"
        )
    lines += [
        "",
        "leakage: share of the light on the target that the filter passes; signal: electrons per million photons of the LEDs;",
        "worth: signal^2 / (signal + leakage) in the worst place: twice as much does with half the exposure.",
        "One set in full: tapetum parts NAME. Your own: write a file like those in",
        f"{next(iter(stock('ready').values())).parent}",
        "",
        *CAUTIONS,
    ]
    return result, "\n".join(lines)


def readable(name: str, parts: Parts, now: Chain, advice: tuple[Advice, ...], trials: tuple[Tolerance, ...]) -> str:
    """One set for people: the table over the picture, what to notice, what to change."""
    lines = [
        f"{name}: {parts.title}" if parts.title else name,
        *_wrapped(_parts_words(parts), ""),
        "",
        f"{'place':8}{'field':>8}{'at filter':>11}{'passes':>16}{'shift':>8}{'leakage':>10}{'glow passed':>13}"
        f"{'signal':>9}{'leaked':>9}{'signal/leaked':>15}",
        f"{'':8}{'deg':>8}{'deg':>11}{'nm':>16}{'nm':>8}{'share':>10}{'%':>13}{'ppm':>9}{'ppm':>9}",
        *(_row(at) for at in now.at),
        "",
        *_wrapped(_view_words(view(parts)), ""),
        "",
        "notice",
        *(line for remark in remarks(parts, now) for line in _wrapped(remark)),
        "",
        "what to change, each tried alone; the gain is in exposure, in the worst place",
        *(line for one in advice for line in _wrapped(one.line)),
        *([] if advice else ["- nothing that was tried gains 5 %"]),
        "",
        "if a part is not quite as listed",
        *(line for trial in trials for line in _wrapped(_tolerance_words(trial))),
        "",
        "from",
        *(line for one in assumptions(parts) for line in _wrapped(one)),
        "",
        "ppm: electrons per million photons of the LEDs, if the lens gathered all that leaves the tissue.",
        *CAUTIONS,
    ]
    return "\n".join(lines)


def _parts_words(parts: Parts) -> str:
    led = "own table" if parts.led.centre_nm is None else f"{parts.led.centre_nm:g}/{parts.led.fwhm_nm:g} nm"
    clean = "no clean-up filter" if parts.clean_up is None else f"clean-up {parts.clean_up.words}"
    place = {"front": "in front of", "behind": "behind"}[parts.emission_filter.place]
    lens = f"lens of {parts.lens.focal_length_mm:g} mm F/{parts.lens.f_number:g}"
    return f"LED {led}, {clean}; emission filter {parts.emission_filter.words} {place} the {lens}"


def _row(at: AtPosition) -> str:
    low = "..." if at.passes_from_nm is None else f"{at.passes_from_nm:.1f}"
    high = "..." if at.passes_to_nm is None else f"{at.passes_to_nm:.1f}"
    return (
        f"{at.position:8}{at.field_angle_deg:>8.1f}{at.filter_angle_deg:>11.1f}{f'{low}-{high}':>16}{at.chief_ray_shift_nm:>8.1f}"
        f"{at.leakage_share:>10.1e}{100 * at.emission_passed_share:>13.1f}{at.signal_per_million:>9.3g}"
        f"{at.leakage_per_million:>9.3g}{_ratio(at.signal_to_leakage):>15}"
    )


def _view_words(seen: View) -> str:
    far = "no end" if seen.farthest_mm is None else f"{seen.farthest_mm:.0f} mm"
    return (
        f"sees {seen.width_mm:.0f} x {seen.height_mm:.0f} mm at {seen.mm_per_px:.3f} mm a pixel, "
        f"sharp to a pixel from {seen.nearest_mm:.0f} mm to {far}"
    )


def _tolerance_words(trial: Tolerance) -> str:
    worth = "" if trial.worth_factor is None else f", worth x {trial.worth_factor:.2f}"
    return (
        f"{trial.what}: leakage at the corner {trial.corner_leakage_share:.1e}, signal / leakage there "
        f"{_ratio(trial.corner_signal_to_leakage)}{worth}"
    )


def _ratio(number: float | None) -> str:
    return "no leakage" if number is None else f"{number:.2g}"


def _wrapped(text: str, mark: str = "- ") -> list[str]:
    words = click.wrap_text(text, _WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))
    return words.splitlines()
