"""``tapetum parts`` as builders and scripts meet it, and its picture."""

import itertools
import json
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from PIL import Image

from device.cli import main
from device.parts_plot import curves, figure
from shared.optics.chain import chain
from shared.optics.parts_file import Parts
from shared.optics.spectrum import WAVELENGTH_NM
from shared.optics.stock import stock

READY = stock("ready")
LONGEST_LINE = 121


def said(*words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Exit status, standard output and standard error."""
    monkeypatch.setattr(sys, "argv", ["tapetum", "parts", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def test_without_a_file_the_ready_sets_are_compared(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(monkeypatch=monkeypatch, capsys=capsys)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert {line.split()[0] for line in lines[2 : 2 + len(READY)]} == set(READY)
    assert max(map(len, lines)) <= LONGEST_LINE
    assert "Not a certified medical device" in out
    code, out, _ = said("--json", monkeypatch=monkeypatch, capsys=capsys)
    rows = json.loads(out)["ready"]
    assert [row["worth"] for row in rows] == sorted((row["worth"] for row in rows), reverse=True)
    for row in rows:
        assert row["worth"] == pytest.approx(chain(Parts.load(READY[row["parts"]])).worth)


def test_a_set_in_numbers(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Leakage 4.9e-5 on axis, 1.33e-2 at the corner, AOI 27.59 degrees, 0.140300 mm a pixel (worked out elsewhere)."""
    code, out, err = said("led770-front", "--json", monkeypatch=monkeypatch, capsys=capsys)
    assert (code, err) == (0, "")
    result = json.loads(out)
    centre, _, corner = result["at"]
    assert (centre["position"], corner["position"]) == ("centre", "corner")
    assert centre["leakage_share"] == pytest.approx(4.9e-5, rel=0.01)
    assert corner["leakage_share"] == pytest.approx(1.33e-2, rel=0.01)
    assert corner["filter_angle_deg"] == pytest.approx(27.59, abs=0.01)
    assert corner["chief_ray_shift_nm"] == pytest.approx(
        820 * (np.sqrt(1 - (np.sin(np.radians(27.59)) / 2) ** 2) - 1), abs=0.01
    )
    assert centre["relative_signal"] == 1
    assert corner["signal_to_leakage"] == pytest.approx(corner["signal_per_million"] / corner["leakage_per_million"])
    assert result["view"]["mm_per_px"] == pytest.approx(0.140300, rel=1e-6)
    assert result["advice"][0]["change"] == "add a clean-up filter 740-790 nm OD 5 over the LEDs"
    assert result["focus"]["needs_refocusing"] is False
    assert len(result["tolerances"]) == 3
    assert result["cautions"]


@pytest.mark.parametrize("name", READY)
def test_a_set_in_words(name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(name, monkeypatch=monkeypatch, capsys=capsys)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= LONGEST_LINE
    assert [line.split()[0] for line in lines if line.startswith(("centre", "edge ", "corner"))] == [
        "centre",
        "edge",
        "corner",
    ]
    for heading in ("notice", "what to change, each tried alone", "if a part is not quite as listed", "from"):
        assert any(line.startswith(heading) for line in lines), heading
    assert "Not a certified medical device" in out


def test_a_file_of_ones_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "quay.toml"
    file.write_text("[led]\ncentre_nm = 780\n[emission_filter]\ncut_on_nm = 830\n")
    code, out, _ = said(str(file), monkeypatch=monkeypatch, capsys=capsys)
    assert code == 0
    assert out.splitlines()[0] == str(file)
    assert "830 nm long-pass OD 5 in front of the lens" in out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("/nowhere/parts.toml",), "no such file: /nowhere/parts.toml; check the path"),
        (
            ("led770-front", "--plot", "/tmp/p.gif"),
            "not a kind of picture this draws: /tmp/p.gif; let the name end in .png or .svg",
        ),
        (("led770-front", "--plot", "/nowhere/p.png"), "/nowhere/p.png: cannot be written (No such file or directory)"),
        (("--plot", "/tmp/p.png"), "--plot needs a set of parts to draw: /tmp/p.png; name one of "),
    ],
)
def test_what_is_wrong_is_one_line(
    words: tuple[str, ...], line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(*words, monkeypatch=monkeypatch, capsys=capsys)
    assert (code, out) == (2, "")
    assert err.startswith(f"tapetum: {line}")
    assert len(err.splitlines()) == 1


def test_the_picture_as_png_and_svg(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for suffix in ("png", "svg"):
        file = tmp_path / f"curves.{suffix}"
        code, out, _ = said("led770-clean-front", "--plot", str(file), "--json", monkeypatch=monkeypatch, capsys=capsys)
        assert code == 0
        assert json.loads(out)["plot"] == str(file)
    with Image.open(tmp_path / "curves.png") as picture:
        assert picture.size == (1500, 1125)
        assert len(np.unique(np.asarray(picture.convert("RGB")).reshape(-1, 3), axis=0)) > 100
    assert ElementTree.parse(tmp_path / "curves.svg").getroot().tag.endswith("svg")


def test_the_picture_shows_the_curves_that_were_worked_out() -> None:
    parts = Parts.load(READY["led770-clean-front"])
    now = chain(parts)
    above, below = figure(parts, now).axes
    drawn = {line.get_label(): np.asarray(line.get_ydata()) for line in above.lines}
    assert list(drawn) == [
        "dye takes up (peak = 1)",
        "dye glows (peak = 1)",
        "LED (peak = 1)",
        "LED after clean-up",
        "filter on axis",
        "filter at the corner (28°)",
        "sensor, electrons a photon",
    ]
    assert np.interp(810, WAVELENGTH_NM, drawn["dye takes up (peak = 1)"]) == pytest.approx(1, abs=1e-3)
    assert np.interp(765, WAVELENGTH_NM, drawn["LED after clean-up"]) < drawn["LED (peak = 1)"].max()
    assert drawn["LED after clean-up"][WAVELENGTH_NM > 791].max() < 1e-4
    assert np.interp(810, WAVELENGTH_NM, drawn["filter on axis"]) < 1e-4
    assert np.interp(810, WAVELENGTH_NM, drawn["filter at the corner (28°)"]) == pytest.approx(0.9)
    leaks = [text.get_text() for text in below.get_legend().get_texts()][-2:]
    assert leaks == ["leaks at the corner: 1.0e-05", "leaks on axis: 1.0e-05"]


def test_no_two_curves_look_alike_even_in_grey() -> None:
    """Colour and line style together tell every curve; those of one style differ in relative luminance (WCAG 2.2's formula)."""
    parts = Parts.load(READY["led770-clean-front"])
    shown = curves(parts, chain(parts))
    for one, other in itertools.combinations(shown, 2):
        if one.style == other.style:
            assert abs(luminance(to_rgb(one.colour)) - luminance(to_rgb(other.colour))) > 0.04, (one.label, other.label)


def luminance(rgb: tuple[float, float, float]) -> float:
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))
