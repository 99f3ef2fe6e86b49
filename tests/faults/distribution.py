"""The table of a run: for each fault how many trials, how long the light shone after it, and what went wrong."""

import statistics
from collections import defaultdict
from collections.abc import Sequence

from tests.faults.trial import Outcome

COLUMNS = (
    "fault",
    "trials",
    "lit at it",
    "went dark",
    "median ms",
    "p95 ms",
    "longest ms",
    "seen from outside ms",
    "bound ms",
    "longest of bound",
    "violations",
)
HEAD = (f"| {' | '.join(COLUMNS)} |", "|---" * len(COLUMNS) + "|")


def table(outcomes: Sequence[Outcome]) -> str:
    """One row a fault, by name; then what was measured in every trial besides."""
    groups: dict[str, list[Outcome]] = defaultdict(list)
    for one in outcomes:
        groups[one.blow.name].append(one)
    rows = [_row(name, groups[name]) for name in sorted(groups)]
    return "\n".join([*HEAD, *rows, "", *_besides(outcomes)])


def _row(name: str, group: list[Outcome]) -> str:
    lit = sum(one.lit_at_it for one in group)
    dark = [one for one in group if one.took_ms is not None]
    took = sorted(one.took_ms for one in dark if one.took_ms is not None)
    figures = "- | - | - | -"
    if took:
        seen = max(one.seen_ms or 0.0 for one in dark)
        figures = f"{statistics.median(took):.1f} | {p95(took):.1f} | {took[-1]:.1f} | {seen:.1f}"
    shares = [one.took_ms / one.bound_ms for one in dark if one.took_ms is not None and one.bound_ms]
    share = f"{100 * max(shares):.0f} %" if shares else "-"
    bad = sum(bool(one.violations) for one in group)
    return f"| {name} | {len(group)} | {lit} | {len(took)} | {figures} | {_bound(group)} | {share} | {bad} |"


def _bound(group: list[Outcome]) -> str:
    bounds = sorted({round(one.bound_ms) for one in group if one.bound_ms is not None})
    if not bounds:
        return "may go on"
    return f"{bounds[0]}" if len(bounds) == 1 else f"each its own, {bounds[0]}-{bounds[-1]}"


def _besides(outcomes: Sequence[Outcome]) -> list[str]:
    let_go = sorted(one.let_go_ms for one in outcomes if one.let_go_ms is not None)
    back = sorted(one.back_s for one in outcomes if one.back_s is not None)
    dead = sum(one.by_dead_man for one in outcomes)
    dark = sum(one.took_ms is not None for one in outcomes)
    lines = [f"{len(outcomes)} trials, {dark} of them dark by the fault, {dead} by the simulated dead-man."]
    if let_go:
        lines.append(_line("Afterwards, finger lifted to dark, ms", let_go))
    helped = sorted(1000 * one for found in outcomes for one in found.helper_s if found.blow.is_plain_end_of_guard)
    if helped:
        lines.append(_line("End of the guard to end of ExecStopPost (--dark), ms", helped))
    kept = [one.recording for one in outcomes if one.recording]
    if kept:
        lost = max([one.lost_s for one in outcomes if one.lost_s is not None], default=0.0)
        lines.append(
            f"Recordings beside: {kept.count('complete')} complete, {kept.count('cut off')} cut off with their imager,"
            f" of which at most {max(0.0, lost):.2f} s before the fault were lost."
        )
    if back:
        lines.append(_line("Lifted, armed and pressed again to light, s", back))
    return lines


def _line(what: str, ordered: list[float]) -> str:
    return (
        f"{what}: n {len(ordered)}, median {statistics.median(ordered):.1f}, p95 {p95(ordered):.1f},"
        f" longest {ordered[-1]:.1f}."
    )


def p95(ordered: Sequence[float]) -> float:
    """The smallest value that at least 95 % of all do not exceed."""
    return ordered[-(-95 * len(ordered) // 100) - 1]
