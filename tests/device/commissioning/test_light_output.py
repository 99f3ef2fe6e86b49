"""From readings to the output of each level, on readings made from a known ring; and on a recording of a scene with droop."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from device.commissioning import light_output as m
from shared.errors import Refused
from shared.frame import Frame
from shared.recording import Recording
from shared.recording.writer import RecordingWriter
from shared.scene.description import Scene
from shared.scene.renderer import SceneRenderer

LEVELS = (0.2, 0.4, 0.6, 0.8, 1.0)
DARK_COUNTS, FULL_COUNTS = 62.0, 600.0


def drooping(level):
    """l (1 - .15 l) / .85: full level gives 15 % less than it promises."""
    return level * (1 - 0.15 * level) / 0.85


def walk(output=drooping, levels=LEVELS, noise=0.05, room=lambda _frame: 0.0, fade=0.0, full=FULL_COUNTS, seed=1):
    """Readings of a whole walk. ``room`` is light from elsewhere in counts, ``fade`` what is lost from step to step."""
    rng, taken = np.random.default_rng(seed), []
    steps = [0.0] + [one for level in (*levels, *reversed(levels)) for one in (level, 0.0)]
    for number, level in enumerate(steps):
        changing = [taken[-1].level * 0.3 + level * 0.7] if taken else []
        for at in (*changing, *[level] * 14):
            light = full * output(at) * (1 - fade) ** number if at else 0.0
            counts = DARK_COUNTS + room(len(taken)) + light + rng.normal(0, noise)
            share = 0.2 if counts >= 1000 else 0.0
            taken.append(m.Reading(len(taken), len(taken) * 33_333_333, at, 15_000.0, 1.0, min(counts, 1000.0), share))
    return taken


def warming(lost):
    """A ring that loses so much of its output while a level is looked at."""
    taken = walk()
    for first in range(len(taken)):
        if taken[first].level and (first == 0 or taken[first].level != taken[first - 1].level):
            run = [
                number
                for number in range(first, min(first + 14, len(taken)))
                if taken[number].level == taken[first].level
            ]
            for number in run:
                light = taken[number].counts - DARK_COUNTS
                taken[number] = replace(taken[number], counts=DARK_COUNTS + light * (1 - lost * (number - first) / 14))
    return taken


def found(taken):
    return m.levels(m.steps(m.plateaus(taken)))


def test_the_known_output_is_found_with_an_honest_uncertainty():
    result = found(walk())
    assert [one.level for one in result] == pytest.approx(LEVELS)
    for one in result:
        assert one.output == pytest.approx(drooping(one.level), abs=4 * one.u)
        assert one.u < 1e-3
    assert result[-1].output == pytest.approx(1.0, abs=1e-12), "the scale is anchored at the highest level"


@settings(deadline=None)
@given(st.floats(0, 0.4), st.integers(0, 2**32 - 1), st.floats(0.01, 0.3))
def test_any_droop_is_found_within_five_uncertainties(droop, seed, noise):
    def output(level):
        return level * (1 - droop * level) / (1 - droop)

    for one in found(walk(output, noise=noise, seed=seed)):
        assert one.output == pytest.approx(output(one.level), abs=5 * one.u + 1e-9)


def test_where_the_highest_level_is_not_full_the_scale_stays_as_it_was():
    result = found(walk(levels=(0.4, 0.8)))
    assert result[-1].output == pytest.approx(0.8)
    assert result[0].output == pytest.approx(0.8 * drooping(0.4) / drooping(0.8), abs=1e-3)


def test_frames_in_which_the_level_changed_and_the_first_after_it_do_not_count():
    taken = walk(noise=0.0)
    for plateau in m.plateaus(taken):
        first = plateau.readings[0].sequence
        before = taken[first - m.SETTLING_FRAMES : first]
        assert all(one.level == pytest.approx(plateau.level) for one in before)
        assert len(plateau.readings) == 14 - m.SETTLING_FRAMES


@pytest.mark.parametrize(
    ("taken", "words"),
    [
        (walk(full=1400.0), "saturates at level 80%.*20.0% of the pixels.*exposure to"),
        (walk(full=2.0, noise=0.2), "too dark at level 20%.*expose longer"),
        (walk(room=lambda frame: 0.2 * frame), "light from elsewhere changed during level 20%"),
        (walk(fade=0.01), "level 20% gave another output on the way down.*heat path"),
        (warming(0.05), "output still changes at level 20%.*by -2.*heat path"),
        (walk(lambda level: min(level, 0.6)), "level 80% gives no more light than 60%"),
        (walk(lambda level: 0.3 if level else 0.0), "level 40% gives no more light"),
        (walk()[:200], "did not go"),
        (walk()[40:], "did not go"),
        ([one for one in walk() if one.level], "darkness between"),
        ([], "darkness between"),
    ],
)
def test_a_worthless_measurement_is_refused_with_the_reason(taken, words):
    with pytest.raises(Refused, match=words):
        found(taken)


def test_the_exposure_advised_does_not_saturate():
    taken = walk(full=1400.0)
    with pytest.raises(Refused) as refused:
        found(taken)
    advised_us = float(refused.value.remedy.split(" us")[0].split()[-1])
    assert advised_us < 15_000
    found(walk(full=1400.0 * advised_us / 15_000))


def test_the_evidence_has_a_line_a_frame_and_says_which_were_used():
    taken = walk()
    lines = list(csv.DictReader(io.StringIO(m.evidence(taken, m.plateaus(taken)))))
    assert len(lines) == len(taken)
    assert float(lines[20]["mean_counts"]) == taken[20].counts
    used = [int(line["sequence"]) for line in lines if line["used"] == "1"]
    assert len(used) == 21 * (14 - m.SETTLING_FRAMES)


SCENE = {
    "camera": {"width": 96, "height": 96, "fps": 30.0},
    "optics": {"leakage": 0.5, "ambient": 0.02, "mm_per_px": 1.0},
    "light": {"droop": 0.15, "pwm_hz": 0.0},
}


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """A walk through three levels of a scene whose ring loses 15 % at full level."""
    scene = Scene.from_values(SCENE, "test")
    renderer = SceneRenderer(scene, 3)
    path = tmp_path_factory.mktemp("walk") / "walk.zarr"
    levels = (0.3, 0.6, 1.0)
    steps = [0.0] + [one for level in (*levels, *reversed(levels)) for one in (level, 0.0)]
    with RecordingWriter(path, scene.description, renderer.calibration(), started_at="2026-11-25T10:00:00Z") as writer:
        for index, level in enumerate(np.repeat(steps, 12)):
            pixels = np.empty(scene.description.shape, np.uint16)
            renderer.frame_into(pixels, index, index / 30, 15_000.0, 1.0, float(level))
            writer.append(Frame(pixels, index, index * 33_333_333, 15_000.0, 1.0, float(level), bool(level > 0)))
    with Recording.open(path) as opened:
        yield opened


@pytest.fixture(scope="module")
def measured(recording):
    return m.measured(recording, "2026-11-25T10:01:00Z", "simulated, droop 0.15")


def test_a_scenes_droop_is_found_in_its_frames(measured):
    result, evidence = measured
    assert [one.level for one in result.levels] == pytest.approx([0.3, 0.6, 1.0])
    for one in result.levels:
        assert one.output == pytest.approx(drooping(one.level), abs=5 * one.u)
    assert (result.camera, result.recording, result.region) == ("simulated", "walk", "middle:32,32,32,32")
    assert evidence.count("\n") == 1 + 13 * 12


def test_dimming_moves_the_signal_before_calibration_and_not_after(measured):
    """The same place at full and at 60 %: signal must stay within 1 % once the output is measured."""
    result, _ = measured
    scene = Scene.from_values({**SCENE, "optics": {**SCENE["optics"], "ambient": 0.0}}, "test")
    renderer = SceneRenderer(scene, 4)
    assumed = renderer.calibration()
    known = replace(assumed, light_output=result.table)
    indices = m.middle(96, 96).indices((96, 96))

    def moved(calibration):
        signals = []
        for index, level in enumerate((1.0, 0.6)):
            pixels = np.empty((96, 96), np.uint16)
            renderer.frame_into(pixels, index, 1.0, 15_000.0, 1.0, level)
            counts = pixels.reshape(-1)[indices].mean() - calibration.dark_counts.reshape(-1)[indices].mean()
            signals.append(counts * calibration.counts_to_signal(15_000.0, 1.0, level))
        return signals[1] / signals[0] - 1

    assert moved(assumed) == pytest.approx(drooping(0.6) / 0.6 - 1, abs=0.005)
    assert moved(assumed) > 0.06
    assert abs(moved(known)) < 0.01


def test_a_change_of_exposure_while_measuring_is_refused(recording, monkeypatch):
    taken = list(m.readings(recording))
    monkeypatch.setattr(m, "readings", lambda _recording: [*taken[:-1], replace(taken[-1], exposure_us=9_000.0)])
    with pytest.raises(Refused, match="exposure or gain changed"):
        m.measured(recording, "2026-11-25T10:01:00Z", "x")
