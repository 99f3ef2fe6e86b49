"""A complete commissioning at full size, 1456 x 1088, on the rehearsal: how long each step takes, what it finds beside the truth.

``python -m tests.bench.full_size_commissioning`` writes tests/bench/full_size_commissioning.md. Not part of the tests: a minute or
two on a quiet machine. The scene is the ready flap's camera, lens and ring, whose output droops and whose lens bends, so that
there is something to be found. The lease is the longest there is: a simulated camera draws its frames on the processors that
measure them.
"""

import json
import os
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from subprocess import run
from typing import Any

import numpy as np

from shared.commissioning.calibration_folder import load
from shared.scene.description import Scene, scene_path
from shared.scene.renderer import SceneRenderer
from shared.scene.targets import DILUTIONS, EDGE_SIGMA_PX
from tests.bench.running_demo import Demo, running_demo

OUT = Path(__file__).with_suffix(".md")
DROOP, DISTORTION = 0.12, -0.02
SETTINGS = "[light]\nlease_ms = 400\n"
MOST_TRIES = 8
STEPS = ("dark", "defects", "flat", "gain", "light", "scale", "sharpness", "leakage", "sensitivity")
BLURRED_MTF50 = 0.220124
"""Cycles a pixel at which Gaussian blur of sigma 0.8 pixels and the pixel's box together leave half, as in test_slanted_edge."""

REMARKS = """\
At a tenth of a count an electron, 2.8 electrons of noise scatter by 0.28 counts: too little for rounding to whole counts to average
out. So the read noise is an upper bound (EMVA 1288), and rounding is most of the dark current's uncertainty (`rounding_u` in
`shared/commissioning/dark.py`). With the vendor's lease of 100 ms the light trips in the first lit step as soon as other work loads
the two cores (2026-11-25, load 2.6): the simulated camera draws its frames there, and they come late. That is the guard at work. On
the same day at loads of 13 to 25 it tripped at 400 ms too, in three of four lit steps; at 11 to 14 it did not.
"""


@dataclass(frozen=True)
class Line:
    """One figure beside the truth."""

    step: str
    figure: str
    found: str
    truth: str
    off: str


def main() -> None:
    """Take every step, and write the table."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        scene = place / "scene.toml"
        text = scene_path("flap").read_text(encoding="utf-8")
        text = text.replace("[light]", f"[light]\ndroop = {DROOP}", 1)
        scene.write_text(text.replace("[optics]", f"[optics]\ndistortion = {DISTORTION}", 1), encoding="utf-8")
        (place / "settings.toml").write_text(SETTINGS)
        with running_demo(place, "--scene", str(scene), "--settings", str(place / "settings.toml")) as demo:
            found, spent = taken(demo)
            check = command(demo, "check", "--yes") or {"items": (), "seconds": 0}
            lines = list(compared(found, Scene.load(scene), demo.data))
            OUT.write_text(page(lines, spent, check, memory_mb(demo)), encoding="utf-8")
    print(OUT.read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Spent:
    """Seconds of the try that succeeded: by the wall, and of processor in the command itself; and how many tries there were."""

    wall_s: float
    processor_s: float
    tries: int


def taken(demo: Demo) -> tuple[dict[str, Any], dict[str, Spent]]:
    """What each step printed, and what it took. A trip, which a machine that is too busy for a lease brings, is armed again."""
    found, spent = {}, {}
    for step in STEPS:
        more = ["--concentrations", ",".join(map(str, DILUTIONS))] if step == "sensitivity" else []
        for tries in range(1, MOST_TRIES + 1):
            began_s, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
            answer = command(demo, "calibrate", step, "--yes", *more)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            if answer is not None:
                used_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
                found[step], spent[step] = answer, Spent(time.monotonic() - began_s, used_s, tries)
                break
            demo.light("off")
            demo.light("rearm")
        else:
            raise SystemExit(f"{step} failed {MOST_TRIES} times: the machine is too busy")
        print(f"{step}: {spent[step]}", flush=True)
    return found, spent


def command(demo: Demo, *words: str) -> dict[str, Any] | None:
    """What a command prints, None where the light did not stay on; a check may fail, anything else not."""
    line = [sys.executable, "-m", "device", *words, "--json", "--run-dir", str(demo.run_folder)]
    done = run(line, capture_output=True, text=True, timeout=300, check=False)
    if done.returncode in ((0, 1) if words[0] == "check" else (0,)):
        answer: dict[str, Any] = json.loads(done.stdout)
        return answer
    said = done.stderr.strip().splitlines()[-1]
    if "frames stopped coming" not in said:
        raise SystemExit(said)
    print(said, flush=True)
    return None


def memory_mb(demo: Demo) -> float:
    """What the imager takes now."""
    return demo.child("imager").memory_info().rss / 1e6


def compared(found: dict[str, Any], scene: Scene, data: Path) -> Iterator[Line]:
    """Every figure of which the scene knows the truth."""
    truth = SceneRenderer(scene, 0).calibration()
    planes = load(data, Path(found["sensitivity"]["calibration"]).name).planes
    good = ~truth.defects
    k, noise, leaks = scene.camera.counts_per_electron, scene.camera.noise, scene.optics.leakage
    yield off(
        "dark",
        "median pixel's error",
        float(np.median((planes["dark_counts"] - truth.dark_counts)[good])),
        0.0,
        "counts",
    )
    current = k * noise.dark_current_electrons_per_s
    dark = found["dark"]
    yield off(
        "dark",
        f"dark current, u {dark['current_counts_per_s_u']:.2g}",
        dark["current_counts_per_s"],
        current,
        "counts/s",
    )
    missed, more = (
        int((a & ~b).sum()) for a, b in ((truth.defects, planes["defects"]), (planes["defects"], truth.defects))
    )
    yield Line(
        "defects",
        "hot pixels",
        str(found["defects"]["all"]),
        str(int(truth.defects.sum())),
        f"{missed} missed, {more} too many",
    )
    ratio = (planes["flat"] / truth.flat)[good]
    yield Line(
        "flat",
        "scatter against the truth",
        f"{100 * ratio.std() / ratio.mean():.3f} %",
        f"{found['flat']['noise_percent']:.3f} % stated",
        "",
    )
    gain = found["gain"]
    yield off("gain", "K", gain["counts_per_electron"], k, "counts/e")
    upper = " (upper bound, and said to be one)" if gain["read_noise_is_upper_bound"] else ""
    yield off("gain", f"read noise{upper}", gain["read_noise_electrons"], noise.read_noise_electrons, "e")
    clipping = (truth.saturation_counts - float(truth.dark_counts[good].mean())) / k
    yield off("gain", "full well, beside where the converter clips", gain["full_well_electrons"], clipping, "e")
    yield off("gain", "PRNU", gain["prnu_percent"], noise.prnu_percent, "%")
    yield off("gain", "linearity error", gain["linearity_high_percent"], 0.0, "%")
    half = next(one for one in found["light"]["levels"] if abs(one["level"] - 0.6) < 1e-6)
    yield off("light", "output at 60 %", half["output"], 0.6 * (1 - DROOP * 0.6) / (1 - DROOP), "of full")
    yield off("scale", "mm a pixel", found["scale"]["mm_per_px"], scene.optics.mm_per_px, "mm")
    yield off("scale", "distortion", found["scale"]["distortion_percent"], 100 * DISTORTION, "%")
    assert EDGE_SIGMA_PX == 0.8
    yield off("sharpness", "MTF50", found["sharpness"]["mtf50_cycles_per_px"], BLURRED_MTF50, "cycles/px")
    yield off(
        "leakage", "in the middle", found["leakage"]["middle_percent"], 100 * leaks / (1 + leaks), "% of dye card"
    )
    slope = 0.9 * found["flat"]["full_signal"] / (1 + leaks)
    yield off("sensitivity", "slope", found["sensitivity"]["slope"], slope, "signal per micromole/L")


def off(step: str, figure: str, value: float, truth: float, unit: str) -> Line:
    """How far a figure is from the truth."""
    by = f"{value - truth:+.3g} {unit}" if truth == 0 else f"{100 * (value / truth - 1):+.2f} %"
    return Line(step, figure, f"{value:.5g} {unit}", f"{truth:.5g}", by)


def page(lines: list[Line], spent: dict[str, Spent], check: dict[str, Any], imager_mb: float) -> str:
    """The table as it is kept."""
    passed = [one for one in check["items"] if one["passed"]]
    failed = [f"{one['name']}: {one['words']}" for one in check["items"] if not one["passed"]]
    on = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    scene = f"the ready flap's camera, ring droop {DROOP:g}, lens distortion {100 * DISTORTION:g} %, lease 400 ms"
    total_s = sum(one.wall_s for one in spent.values())
    checked = f"{len(passed)} of {len(check['items'])} lines passed, not: {'; '.join(failed) or 'none'}"
    return "\n".join(
        [
            "# A complete commissioning at full size",
            "",
            f"`python -m tests.bench.full_size_commissioning`, {on},",
            f"1456 x 1088 at 30 frames/s, {scene}.",
            "",
            "| step | seconds | processor of the command, s | tries |",
            "|---|---|---|---|",
            *(f"| {step} | {one.wall_s:.1f} | {one.processor_s:.1f} | {one.tries} |" for step, one in spent.items()),
            f"| all | {total_s:.1f} | | |",
            "",
            "More than one try: the simulated camera's frames came late on a busy machine, the light tripped, and was armed again.",
            "",
            f"The check before a case afterwards took {check['seconds']:g} s, {checked}.",
            "(The calibration is in force only from the next start.)",
            f"The imager took {imager_mb:.0f} MB.",
            "",
            "| step | figure | found | the scene's truth | off by |",
            "|---|---|---|---|---|",
            *(f"| {one.step} | {one.figure} | {one.found} | {one.truth} | {one.off} |" for one in lines),
            "",
            REMARKS,
        ]
    )


if __name__ == "__main__":
    main()
