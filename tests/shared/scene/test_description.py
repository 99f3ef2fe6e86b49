from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import Refused
from shared.scene.description import Scene, ready_scenes, scene_path

SQUARE = [[1, 1], [9, 1], [9, 9], [1, 9]]


def test_a_scene_of_one_polygon_is_enough(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text('[[tissue]]\nname = "skin"\npolygon_mm = [[1, 1], [9, 1], [9, 9]]\n')
    scene = Scene.load(file)
    assert (scene.camera.width, scene.camera.height, scene.camera.fps) == (1456, 1088, 30.0)
    assert scene.dye.injected_at_s is None
    assert scene.reference_level == 1.0
    assert scene.description.white_level == 1023


def test_every_key_of_the_agreed_format_is_read(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text(
        """
[camera]
width = 320
height = 240
fps = 15.0
bit_depth = 12
exposure_us = 8000
gain = 2
shutter = "rolling"
[camera.noise]
[optics]
mm_per_px = 0.2
vignetting = 0.1
leakage = 0.03
ambient = 0.02
[light]
[motion]
tremor_mm = 0.1
tremor_hz = 8
drift_mm_s = 0.05
[dye]
injected_at_s = 2
half_life_s = 150
reference = "skin"
[[tissue]]
name = "skin"
polygon_mm = [[1, 1], [50, 1], [50, 40]]
arrival_s = 4
alpha = 3
beta = 2
level = 1
[[vessel]]
path_mm = [[5, 5], [40, 30]]
width_mm = 2
packet_speed_mm_s = 11
packets_per_min = 0.9
[[node]]
centre_mm = [20, 20]
radius_mm = 3
level = 0.4
"""
    )
    scene = Scene.load(file)
    assert scene.camera.set_exposure_us == 8000
    assert scene.description.frame_interval_us == pytest.approx(66_666.667, abs=1e-3)
    assert scene.vessel[0].packets_per_min == 0.9
    assert scene.node[0].centre_mm == (20.0, 20.0)


def test_level_one_at_full_light_takes_65_percent_of_the_range() -> None:
    for camera in ({}, {"bit_depth": 12, "gain": 4.0}, {"exposure_us": 900.0, "bit_depth": 8}):
        scene = Scene.from_values({"camera": camera}, "x")
        room = scene.camera.white_level - scene.camera.black_level
        electrons = scene.electrons_per_s * scene.camera.set_exposure_us / 1e6
        assert electrons * scene.camera.counts_per_electron * scene.camera.gain == pytest.approx(0.65 * room)


def test_flat_and_paired_corners_are_the_same() -> None:
    flat = Scene.from_values({"tissue": [{"name": "a", "polygon_mm": [1, 1, 9, 1, 9, 9, 1, 9]}]}, "x")
    paired = Scene.from_values({"tissue": [{"name": "a", "polygon_mm": SQUARE}]}, "x")
    assert flat == paired


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"camera": {"widht": 640}}, "unknown key: camera.widht"),
        ({"lens": {}}, "unknown key: lens"),
        ({"camera": {"noise": {"colour": "pink"}}}, "camera.noise.colour"),
        ({"camera": {"fps": "fast"}}, "camera.fps must be a number"),
        ({"camera": {"width": 16}}, "camera.width must be from 64 to 4096"),
        ({"camera": {"exposure_us": 50_000}}, "longer than a frame"),
        ({"camera": {"shutter": "slow"}}, "camera.shutter is not one of global, rolling"),
        ({"optics": {"leakage": -0.1}}, "optics.leakage must be from 0"),
        ({"dye": {"half_life_s": 0}}, "dye.half_life_s"),
        ({"dye": {"reference": "thigh"}}, "dye.reference 'thigh' names no tissue"),
        ({"tissue": [{"polygon_mm": SQUARE}]}, "missing key: tissue[0].name"),
        ({"tissue": [{"name": "a"}]}, "missing key: tissue[0].polygon_mm"),
        ({"tissue": [{"name": "a", "polygon_mm": SQUARE[:2]}]}, "tissue[0].polygon_mm must have 3 to 500"),
        ({"tissue": [{"name": "a", "polygon_mm": [[1, 1], [9], [9, 9]]}]}, "tissue[0].polygon_mm[1] must have 2 items"),
        ({"tissue": [{"name": "a", "polygon_mm": [1, 1, 9, 1, 9]}]}, "tissue[0].polygon_mm[0] must be a list"),
        ({"tissue": [{"name": "a", "polygon_mm": [[1, 1], [2, 2], [3, 3]]}]}, "encloses no area"),
        ({"tissue": [{"name": "a", "polygon_mm": [[900, 1], [990, 1], [990, 9]]}]}, "outside the picture"),
        ({"tissue": [{"name": "a", "polygon_mm": SQUARE}, {"name": "a", "polygon_mm": SQUARE}]}, "'a' is used 2 times"),
        ({"tissue": [{"name": "a", "polygon_mm": SQUARE, "level": float("nan")}]}, "tissue[0].level must be finite"),
        ({"tissue": {"name": "a"}}, "tissue must be a list"),
        ({"vessel": [{"path_mm": [[1, 1], [1, 1]]}]}, "has no length"),
        ({"vessel": [{"path_mm": [[1, 1], [5, 5]], "packet_speed_mm_s": -3}]}, "vessel[0].packet_speed_mm_s"),
        ({"node": [{"radius_mm": 3}]}, "missing key: node[0].centre_mm"),
    ],
)
def test_what_is_wrong_is_named_in_one_line(values: dict[str, object], words: str) -> None:
    with pytest.raises(Refused) as refused:
        Scene.from_values(values, "harbour.toml")
    assert refused.value.line.startswith("harbour.toml: ")
    assert words in refused.value.line
    assert "\n" not in refused.value.line


def test_a_wrong_byte_is_named_with_its_offset(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_bytes(b'title = "caf\xe9"\n')
    with pytest.raises(Refused, match="not UTF-8 text at byte 12"):
        Scene.load(file)
    file.write_text("[camera\n")
    with pytest.raises(Refused, match="line 1"):
        Scene.load(file)


_ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["name", "level", "x"]), inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


@given(st.sampled_from(["camera", "optics", "dye", "tissue", "vessel", "node", "mark", "light", "title"]), _ANYTHING)
def test_whatever_is_written_is_read_or_refused(section: str, value: object) -> None:
    line = "x.toml: "
    try:
        Scene.from_values({section: value}, "x.toml")
    except Refused as refused:
        line = refused.line
    assert line.startswith("x.toml: ")


def test_ready_scenes_load_at_the_cameras_size_and_wait_for_the_operator() -> None:
    assert set(ready_scenes()) == {"flap", "limb", "nodes"}
    for name in ready_scenes():
        scene = Scene.load(scene_path(name))
        assert (scene.camera.width, scene.camera.height, scene.camera.fps) == (1456, 1088, 30.0)
        assert scene.dye.injected_at_s is None
    flap = {tissue.name: tissue for tissue in Scene.load(scene_path("flap")).tissue}
    assert flap["base"].level > flap["middle"].level > flap["distal"].level > flap["tip"].level
    assert flap["base"].arrival_s < flap["middle"].arrival_s < flap["distal"].arrival_s < flap["tip"].arrival_s
    # Arm lymph: 11 +/- 3 mm/s (Lymphat Res Biol 2020;18:226); a sluggish one is part of the scene, so the main two are checked
    limb = {vessel.name: vessel for vessel in Scene.load(scene_path("limb")).vessel}
    for name in ("radial", "middle"):
        assert 8.0 <= limb[name].packet_speed_mm_s <= 14.0
