"""The certificate: every figure is on it beside its limit, and it passes only where all did."""

import errno
import os
import re
from dataclasses import replace

import numpy as np
import pytest

from device.certificate import CAUTIONS, Subject, pages, tables, write
from shared.commissioning.calibration_folder import Figures, Kept, Taken, keep, load
from shared.commissioning.dark import Dark
from shared.commissioning.defects import Defects
from shared.commissioning.detection_limit import Sensitivity, Well
from shared.commissioning.flat import Flat
from shared.commissioning.gain import Gain
from shared.commissioning.grid_scale import Scale
from shared.commissioning.leakage import Leakage
from shared.commissioning.slanted_edge import Sharpness
from shared.commissioning.verdict import passed, verdicts
from shared.errors import Refused
from shared.frame import CameraDescription
from shared.optics.light_output import LevelOutput, LightOutput

CAMERA = CameraDescription("fake", 40, 30)
MADE_AT = "2026-11-25T10:00:00Z"
FOUND = {
    "dark": Dark(8000, 1, 36, 60.013, 0.0021, 0.4, 0.2, 5.0, 0.1),
    "defects": Defects(1, 0, 0, 1, 0.0005),
    "flat": Flat(8000, 1, 32, 560, 80, 0.3, 68, 0.2, -0.1),
    "gain": Gain(0.1004, 0.0003, 3.9, 0.05, True, 9000, True, -0.3, 0.4, 2.0, 0.6, 1023, 12),
    "scale": Scale(0.4, 0.0001, 250, -2.0, 0.02, 120, 0.05, 0.1),
    "sharpness": Sharpness(0.22, 0.001, 5.0, (0.0, 0.25, 0.5), (1.0, 0.4, 0.1), 0.55),
    "leakage": Leakage(5.0, 0.01, 6.0, 7.0, (5.0,) * 35, 4.0),
    "sensitivity": Sensitivity("mg/L", 70, 0.1, 5, 0.03, 0.0013, 0.0001, 1.0, (Well(0, 5, 0.1), Well(1, 75, 0.1))),
}
CURVE = b"exposure_us,mean_counts,variance_counts2,dark_mean_counts,dark_variance_counts2\n" + b"".join(
    b"%d,%d,%f,60,0.2\n" % (1000 * n, 60 + 80 * n, 0.2 + 8 * n) for n in range(1, 12)
)
LIGHT = LightOutput(MADE_AT, "r", "fake", 8000, 1, "middle:1,1,2,2", "a", tuple(
    LevelOutput(level, level, 0.001, 100, 100) for level in (0.5, 1.0)
))  # fmt: skip


def subject(folder, light=LIGHT, levels=5, **changes):
    found = {**FOUND, **changes}
    taken = tuple(Taken(step, MADE_AT, "r") for step, one in found.items() if one is not None)
    figures = replace(Figures.empty("A", CAMERA), made_at=MADE_AT, taken=taken, **found)
    plane = np.full(CAMERA.shape, 60, np.float32)
    planes = {"dark_counts": plane + np.eye(30, 40, dtype=np.float32), "flat": plane / 60}
    path = keep(folder, Kept("", figures, planes), {"photon_transfer.csv": CURVE})
    return Subject(load(folder, path.name), folder, light, levels)


def words(figure):
    return [text.get_text() for text in figure.texts]


def test_every_figure_is_there_with_its_limit_and_the_cautions(tmp_path):
    table, curves = pages(subject(tmp_path))
    said = words(table)
    assert "PASSED" in said
    assert "60.0130 ± 0.0021 counts" in said, "value to the place of two digits of its uncertainty"
    assert "0.10040 ± 0.00030 counts/e" in said
    assert all(step in said for step in FOUND)
    assert tuple(said[said.index("distortion") + 1 :][:2]) == ("-2.000 ± 0.020 %", "± 5"), "barrel is not pincushion"
    assert "\n".join(CAUTIONS) in said
    assert MADE_AT in " ".join(words(curves)), "a page by itself says whose it is"
    assert said.count("pass") == sum(one.passed is True for one in verdicts(subject(tmp_path).kept.figures, 1023))
    drawn = [axes for axes in curves.axes if axes.get_title(loc="left")]
    assert len(drawn) == 8
    assert not any("not measured" in text.get_text() for axes in curves.axes for text in axes.texts)


@pytest.mark.parametrize(
    ("step", "change"),
    [
        ("dark", {"current_counts_per_s": 30}),
        ("dark", {"dsnu_counts": 11}),
        ("defects", {"share": 0.002}),
        ("flat", {"noise_percent": 0.6}),
        ("flat", {"darkest_percent": 25}),
        ("flat", {"tilt_down_percent": -16}),
        ("gain", {"linearity_low_percent": -2.1}),
        ("gain", {"read_noise_electrons": 16}),
        ("gain", {"prnu_percent": 2.5}),
        ("scale", {"distortion_percent": -6}),
        ("sharpness", {"mtf50_cycles_per_px": 0.07}),
        ("leakage", {"middle_percent": 11}),
        ("leakage", {"worst_percent": 21}),
    ],
)
def test_one_figure_beyond_its_limit_fails_the_whole(tmp_path, step, change):
    changed = subject(tmp_path, **{step: replace(FOUND[step], **change)})
    (table,) = tables(changed)
    assert "NOT PASSED" in words(table)
    assert words(table).count("FAIL") == 1
    assert not changed.passed


@pytest.mark.parametrize("step", ["dark", "defects", "flat", "gain"])
def test_what_counts_need_must_have_been_measured(tmp_path, step):
    lacking = subject(tmp_path, **{step: None})
    assert not passed(lacking.kept.figures, 1023)
    assert f"by assumption: {step}" in words(tables(lacking)[0])[2]


def test_light_that_is_only_assumed_is_said_and_does_not_pass(tmp_path):
    dark_horse = subject(tmp_path, light=None, sharpness=None)
    table, curves = pages(dark_horse)
    assert "NOT PASSED" in words(table)
    assert "assumed linear" in words(table)[2]
    absent = {text.get_text() for axes in curves.axes for text in axes.texts if "not measured" in text.get_text()}
    assert {one.partition(":")[0] for one in absent} == {"light output", "sharpness"}


def test_a_ring_of_one_level_passes_without_light_output(tmp_path):
    table, _ = pages(subject(tmp_path, light=None, levels=1))
    assert "PASSED" in words(table)
    assert "not needed: the ring has one level" in words(table)[2]


def test_on_a_full_disk_the_older_one_stays_and_nothing_half_written(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    certified, out = subject(tmp_path), tmp_path / "out" / "c.pdf"
    out.parent.mkdir()
    out.write_bytes(b"older")
    monkeypatch.setattr("shared.recording.durable.write_all", full)
    with pytest.raises(Refused, match=r"c.pdf: cannot be written \(No space left on device\); choose another place"):
        write(certified, out)
    assert [one.name for one in out.parent.iterdir()] == ["c.pdf"]
    assert out.read_bytes() == b"older"


def test_it_is_a_pdf_of_two_pages(tmp_path):
    assert write(subject(tmp_path), tmp_path / "c.pdf")
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / "c.pdf").read_bytes())) == 2
    with pytest.raises(Refused, match=r"let the name end in \.pdf"):
        write(subject(tmp_path), tmp_path / "c.png")
    with pytest.raises(Refused, match="cannot be written"):
        write(subject(tmp_path), tmp_path / "no" / "c.pdf")
