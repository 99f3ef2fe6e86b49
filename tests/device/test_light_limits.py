"""``tapetum light-limits``: its contract, its words, its picture.

"Worked case": computed once outside this program from the formulas of IEC 62471:2006 4.3.7 (see test_exposure_limits).
"""

import json
import math
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from device.cli.light_limits import command, in_words
from device.light_limits import light_limits
from shared.errors import Refused
from shared.optics.ring import read_ring
from shared.settings import EXAMPLE_RING

HARDWARE_RING = Path(__file__).parents[2] / "hardware" / "ring.toml"

RING = """[ring]
leds = 12
radius_mm = 0.0
wavelength_nm = 770
fwhm_nm = 30
radiant_intensity_w_sr = 0.5
half_angle_deg = 30
emitter_diameter_mm = 9
level = 1.0
"""


@pytest.fixture
def ring(tmp_path: Path) -> Path:
    file = tmp_path / "ring.toml"
    file.write_text(RING)
    return file


def said(*words: object) -> Result:
    return CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=False)


def test_json_keeps_the_contract(ring: Path) -> None:
    """Worked case: 12 x 0.5 W/sr: 150 W/m2 and 591.89 s at 0.2 m, 66.67 W/m2 at 0.3 m, no end from 0.24495 m on."""
    found = json.loads(said(ring, "--distance-mm", 200, "--distance-mm", 300, "--json").output)
    near, far = found["at"]
    assert near["distance_mm"] == 200
    assert near["irradiance_w_m2"] == pytest.approx(150, rel=1e-9)
    assert near["limit_w_m2"] == pytest.approx(100, rel=1e-9)
    assert near["allowed_time_s"] == pytest.approx(591.89, abs=5e-3)
    assert near["unlimited"] is False
    assert near["binding_limit"] == "eye, infrared at cornea and lens (IEC 62471:2006 4.3.7)"
    assert near["risk_group"] == "RG1"
    assert far["irradiance_w_m2"] == pytest.approx(66.67, abs=5e-3)
    assert (far["allowed_time_s"], far["unlimited"], far["risk_group"]) == (None, True, "exempt")
    assert found["shortest_distance_mm"] == pytest.approx(244.95, abs=5e-3)
    assert found["share_above_780_nm"] == pytest.approx(0.2162, abs=5e-5)
    assert near["above_780_nm_only"]["irradiance_w_m2"] == pytest.approx(150 * 0.2162, abs=0.01)
    assert near["above_780_nm_only"]["unlimited"] is True
    assert [limit["name"] for limit in near["limits"]] == ["eye-infrared", "retina", "retina-brief", "skin"]
    assert found["ring"]["lobe_exponent"] == pytest.approx(4.8188, abs=5e-5)
    assert any("competent person" in line for line in found["cautions"])


def test_half_the_level_is_half_the_light(ring: Path) -> None:
    ring.write_text(RING.replace("level = 1.0", "level = 0.5"))
    (at,) = json.loads(said(ring, "--distance-mm", 200, "--json").output)["at"]
    assert at["irradiance_w_m2"] == pytest.approx(75, rel=1e-9)
    assert at["unlimited"] is True


def test_the_readable_form(ring: Path) -> None:
    text = said(ring).output
    rows = {line.split()[0]: line for line in text.splitlines() if line.split() and line.split()[0].isdigit()}
    assert "9 min 51 s" in rows["200"]
    assert "RG1" in rows["200"]
    assert "no end" in rows["300"]
    assert "Light need not end from 244.95 mm on." in text
    for words in (
        "An estimate",
        "goggles",
        "Local rules and a competent person decide",
        "Not a certified medical device",
    ):
        assert words in text
    assert "EXAMPLE" not in text
    assert max(map(len, text.splitlines())) <= 130


def test_without_a_file_it_is_the_ring_of_the_settings_and_says_that_it_is_an_example(tmp_path: Path) -> None:
    assert "EXAMPLE figures, not your ring's" in said().output
    override = tmp_path / "settings.toml"
    override.write_text(RING)
    text = said("--settings", override).output
    assert text.startswith("12 LEDs of 0.5 W/sr")
    assert "EXAMPLE" not in text


def test_the_vendors_ring_is_the_one_that_the_hardware_describes_and_needs_no_end_where_people_are() -> None:
    assert read_ring(HARDWARE_RING) == EXAMPLE_RING
    assert light_limits(EXAMPLE_RING).shortest_distance_mm < 150


@pytest.mark.parametrize(
    ("changed", "words", "line"),
    [
        (("wavelength_nm = 770\n", ""), (), "missing key: ring.wavelength_nm"),
        (("0.5", "-0.5"), (), "ring.radiant_intensity_w_sr must be from 0 to 10000: -0.5"),
        (("770", "940"), ("--distance-mm", "20"), "distance must be from 45 mm (5 emitter diameters"),
        (("770", "640"), (), "ring.wavelength_nm must be from 700 to 1400: 640"),
        (("", ""), ("--distance-mm", "nan"), "to 100000 mm: nan mm"),
        (("", ""), ("--plot", "limits.pdf"), "not a kind of picture this draws: limits.pdf; let the name end in .png or .svg"),
        (("", ""), ("--plot", "/nowhere/limits.png"), "/nowhere/limits.png: cannot be written (No such file or directory)"),
        (("[ring]", "[rings]"), (), "unknown key: rings"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_with_the_value(
    ring: Path, changed: tuple[str, str], words: tuple[str, ...], line: str
) -> None:
    ring.write_text(RING.replace(*changed) if changed[0] else RING)
    with pytest.raises(Refused) as refused:
        said(ring, *words)
    assert line in refused.value.line


def test_the_picture(ring: Path, tmp_path: Path) -> None:
    png, svg = tmp_path / "limits.png", tmp_path / "limits.svg"
    assert f"drawn: {png}" in said(ring, "--plot", png).output
    assert json.loads(said(ring, "--plot", svg, "--json").output)["plot"] == str(svg)
    with Image.open(png) as picture:
        assert picture.size == (1500, 975)
        colours = {colour for _, colour in picture.convert("RGB").getcolors(1 << 24)}
    assert {(0x00, 0x72, 0xB2), (0xD5, 0x5E, 0x00), (0x00, 0x9E, 0x73), (0xE6, 0x9F, 0x00)} <= colours
    assert ElementTree.parse(svg).getroot().tag.endswith("svg")


def test_the_lines_of_the_picture_are_the_figures(ring: Path) -> None:
    from device.light_plot import figure

    result = light_limits(read_ring(ring), [200.0])
    (axes,) = figure(result).axes
    lines = {str(line.get_label()): line for line in axes.lines}
    ours = lines["this ring, all its light: this counts"]
    for distance_mm, irradiance in zip(ours.get_xdata(), ours.get_ydata(), strict=True):
        assert irradiance == pytest.approx(6 / (distance_mm / 1e3) ** 2, rel=1e-6)  # N I / d^2
    assert set(lines["infrared limit of the eye, without end"].get_ydata()) == {100}
    assert any("from 245 mm on" in text.get_text() for text in axes.texts)


def test_nothing_heavy_is_loaded_without_a_picture() -> None:
    """Nor ever pyplot, which keeps figures of its own and may look for a display."""
    program = (
        "import sys; from click.testing import CliRunner; from device.cli.light_limits import command;"
        "CliRunner().invoke(command, ['--json']); assert 'matplotlib' not in sys.modules, 'matplotlib';"
        "assert 'numpy' not in sys.modules, 'numpy';"
        "CliRunner().invoke(command, ['--plot', sys.argv[1]]); assert 'matplotlib' in sys.modules;"
        "assert 'matplotlib.pyplot' not in sys.modules, 'pyplot'"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, "/dev/null/x.png"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("time_s", "words"),
    [(math.inf, "no end"), (2.19, "2.1 s"), (9.99, "9.9 s"), (10.9, "10 s"), (60, "1 min 00 s"), (591.89, "9 min 51 s")],
)  # fmt: skip
def test_times_are_never_said_longer_than_they_are(time_s: float, words: str) -> None:
    assert in_words(time_s) == words
