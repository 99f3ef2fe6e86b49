"""The printed parts, each by itself (closed, printable, with the dimensions that light and filter need), and put together."""

import itertools
import math

import manifold3d
import numpy as np
import pytest
import trimesh
from trimesh.transformations import reflection_matrix, rotation_matrix, translation_matrix

from hardware.parts import read_parts
from hardware.printed.render import PARTS, RING, definitions, dimension, render
from shared.errors import Refused
from shared.optics.ring import read_ring
from tests.hardware.printed.measure import about_axis, cut, wall_mm

THINNEST_MM = 1.2
"""Three lines of a 0.4 mm nozzle: common practice, no source."""


@pytest.mark.parametrize("part", PARTS)
def test_every_part_is_one_closed_body(parts, part):
    mesh = parts[part]
    assert mesh.is_watertight, "some edge does not belong to exactly two triangles"
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
    assert mesh.body_count == 1


@pytest.mark.parametrize("part", PARTS)
def test_every_part_lies_flat_on_the_bed(parts, part):
    mesh = parts[part]
    assert mesh.bounds[0][2] == pytest.approx(0, abs=1e-6)
    centres = mesh.triangles_center
    down = (mesh.face_normals[:, 2] < -0.999) & (centres[:, 2] < 1e-6)
    wide = np.prod(mesh.bounding_box.extents[:2])
    assert mesh.area_faces[down].sum() > 0.07 * wide, "too little of it touches the bed"
    assert max(mesh.bounding_box.extents) < 200, "larger than an ordinary bed (common practice, no source)"


@pytest.mark.parametrize("part", PARTS)
def test_nothing_is_thinner_than_a_printer_can_make(parts, part):
    thin = (wall_mm(parts[part]) < THINNEST_MM).mean()
    # Where two cuts meet at less than a right angle, an edge is thin by nature; a thin wall would be a large share.
    assert thin <= 0.005


def test_the_drawing_s_own_numbers_are_those_of_the_judged_ring():
    ring = read_ring(RING)
    assert dimension("leds") == ring.leds
    assert dimension("ring_radius_mm") == ring.radius_mm


def test_ports_are_as_many_and_where_the_judged_ring_has_its_leds(parts):
    ring = read_ring(RING)
    ports = [
        hole for hole in cut(parts["ring"], 0.8) if hole.width == pytest.approx(dimension("port_diameter_mm"), abs=0.01)
    ]
    assert len(ports) == ring.leds
    assert [math.hypot(hole.x, hole.y) for hole in ports] == pytest.approx([ring.radius_mm] * ring.leds, abs=0.01)
    angles = sorted(math.degrees(math.atan2(hole.y, hole.x)) % 360 for hole in ports)
    assert np.diff([*angles, angles[0] + 360]) == pytest.approx(360 / ring.leds, abs=0.05)


def test_clean_up_filters_fit_behind_the_ports(parts):
    wide = dimension("clean_up_diameter_mm") + 0.3
    lip = dimension("lip_mm")
    for z, diameter in ((lip - 0.05, dimension("port_diameter_mm")), (lip + 0.05, wide)):
        holes = [hole for hole in cut(parts["ring"], z) if hole.width == pytest.approx(diameter, abs=0.01)]
        assert len(holes) == read_ring(RING).leds


def test_the_filter_drops_in_with_clearance_and_stops_at_its_lip(parts):
    holder, pocket = parts["filter_holder"], dimension("filter_pocket_mm")
    nominal = dimension("filter_diameter_mm")
    for z in (pocket - 1 + 0.05, pocket - 0.05):
        assert 2 * about_axis(holder, z)[0] == pytest.approx(nominal + 0.3, abs=0.01)
    assert 2 * about_axis(holder, pocket + 0.05)[0] == pytest.approx(nominal - 2, abs=0.01)


@pytest.mark.parametrize("thickness_mm", [1.1, 2.0, 3.0, 3.5])
def test_the_spacer_is_what_the_filter_lacks_of_the_pocket(tmp_path, thickness_mm):
    target = tmp_path / "spacer.stl"
    render("filter_spacer", target, definitions(read_ring(RING), 32, {"filter_thickness_mm": thickness_mm}))
    spacer = trimesh.load_mesh(target)
    assert spacer.bounding_box.extents[2] == pytest.approx(dimension("filter_pocket_mm") - thickness_mm, abs=1e-4)
    assert spacer.bounding_box.extents[2] >= THINNEST_MM


def test_an_inch_filter_gets_an_inch_pocket(tmp_path):
    target = tmp_path / "holder.stl"
    render("filter_holder", target, definitions(read_ring(RING), 32, {"filter_diameter_mm": 25.4}))
    assert 2 * about_axis(trimesh.load_mesh(target), 4.5)[0] == pytest.approx(25.7, abs=0.01)


def test_the_baffle_leaves_the_whole_field_of_view_free(parts):
    """1456 x 1088 pixels of 3.45 um behind a 6 mm lens: half the diagonal field is atan(0.5 x 6.2707 / 6) = 27.59 degrees."""
    slope = 0.5 * math.hypot(1456 * 0.00345, 1088 * 0.00345) / 6.0
    assert math.degrees(math.atan(slope)) == pytest.approx(27.59, abs=0.005)
    pupil_radius_mm, pupil_depth_mm = 6.0 / 2.0 / 2, 8.0  # F/2; how deep the pupil lies in such a lens is from memory
    lens_front_mm = -2.0
    holder = parts["filter_holder"]
    for z in (0.5, 4.5, 5.5, 7.0, 9.0, 11.0, 13.0, 14.9):
        field = pupil_radius_mm + slope * (z - lens_front_mm + pupil_depth_mm)
        assert about_axis(holder, z)[0] > field, f"the baffle shades the corners at z = {z}"


def test_no_straight_line_leads_from_a_port_to_the_filter(parts):
    """Geometry alone: the line from the port's nearest edge to the farthest edge of the filter meets the baffle below its rim."""
    holder, ring = parts["filter_holder"], parts["ring"]
    rim_z, rim_outer = holder.bounds[1][2], about_axis(holder, holder.bounds[1][2] - 0.05)[-1]
    front_z = ring.bounds[1][2]  # the ring's height is its front face in the assembled handheld
    port_inner = read_ring(RING).radius_mm - dimension("port_diameter_mm") / 2
    filter_z, filter_far = dimension("filter_pocket_mm"), -dimension("filter_diameter_mm") / 2
    slope = (filter_z - front_z) / (filter_far - port_inner)
    assert front_z + slope * (rim_outer - port_inner) < rim_z
    assert rim_z - front_z == pytest.approx(dimension("rim_proud_mm"), abs=1e-3), "the sleeve's window lies on the rim"


@pytest.mark.parametrize(
    ("part", "more", "complaint"),
    [
        ("ring", {"leds": 10}, "leds must be a multiple of 4"),
        ("ring", {"leds": 12}, "the LED boards touch"),
        ("ring", {"ring_radius_mm": 28}, "no wall is left"),
        ("filter_holder", {"filter_thickness_mm": 4}, "no room for a spacer of 1.2 mm"),
        ("led_collar", {"clean_up_thickness_mm": 6.5}, "no room for the collar"),
    ],
)
def test_what_cannot_be_built_is_refused_with_the_remedy(tmp_path, part, more, complaint):
    with pytest.raises(Refused, match=complaint):
        render(
            part, tmp_path / "x.stl", [*definitions(read_ring(RING), 32, {}), *definitions(read_ring(RING), 32, more)]
        )


def test_a_dimension_nobody_knows_is_refused():
    with pytest.raises(Refused, match="no such dimension: filter_thicknes_mm"):
        definitions(read_ring(RING), 32, {"filter_thicknes_mm": 2})


AXIS_HEIGHT_MM = 5 + 44 / 2
MOUNT_FRONT_MM = 180 / 2 + 6
TURNED_OVER = rotation_matrix(np.pi, [1, 0, 0])


def solid(mesh: trimesh.Trimesh) -> manifold3d.Manifold:
    made = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.faces.astype(np.uint64)))
    assert made.status() == manifold3d.Error.NoError
    return made


def shared_mm3(one: trimesh.Trimesh, other: trimesh.Trimesh) -> float:
    """Volume that two parts both claim."""
    return (solid(one) ^ solid(other)).volume()


@pytest.fixture(scope="module")
def assembled(parts):
    """Every part where assembly.scad puts it with explode = 0: floor of the body at z = 0, patient towards +y."""
    optics = (
        translation_matrix([0, MOUNT_FRONT_MM, AXIS_HEIGHT_MM])
        @ rotation_matrix(np.pi, [0, 1, 0])
        @ rotation_matrix(-np.pi / 2, [1, 0, 0])
    )
    clip = optics @ translation_matrix([0, 0, 2]) @ rotation_matrix(np.pi / 2, [0, 0, 1])
    lid = translation_matrix([0, 0, dimension("body_height_mm") + dimension("wall_mm")]) @ rotation_matrix(
        np.pi, [0, 1, 0]
    )
    grip = (
        translation_matrix([0, dimension("grip_middle_mm"), 0]) @ TURNED_OVER @ reflection_matrix([0, 0, 0], [0, 1, 0])
    )
    places = {
        "ring": optics @ translation_matrix([0, 0, dimension("ring_front_mm")]) @ TURNED_OVER,
        "filter_holder": optics,
        "filter_spacer": optics,
        "camera_mount": optics @ TURNED_OVER,
        "drape_clip": clip,
        "body": np.eye(4),
        "lid": lid,
        "grip": grip,
    }
    moved = {}
    for name, place in places.items():
        moved[name] = parts[name].copy()
        moved[name].apply_transform(place)
    return moved


@pytest.fixture(scope="module")
def bought():
    """What is put in, as plain bodies where assembly.scad draws it; sizes from parts.csv and, for board and camera, from memory."""
    parts = read_parts()
    floor, board_top = dimension("floor_mm"), dimension("body_height_mm") - 6
    back = -dimension("body_length_mm") / 2 + dimension("wall_mm")
    usb_end = back + dimension("board_behind_mm")
    middle = floor + 45 / 2
    bodies = {
        "power bank": block([0, back + 6 + 106 / 2, floor + 26 / 2], [52, 106, 26]),
        "driver": block([0, 38, middle], [60, 1.6, 45]),
        "driver's parts": block([0, 34, middle], [52, 6, 40]),
        "board": block([0, usb_end + 85 / 2, board_top - 0.8], [56, 85, 1.6]),
        "board's sockets": block([0, usb_end - 3 + 20.4 / 2, board_top - 1.6 - 8], [53, 20.4, 16]),
        "camera board": block([0, MOUNT_FRONT_MM - 40 - 0.8, AXIS_HEIGHT_MM], [38, 1.6, 38]),
        "camera's socket": block([0, MOUNT_FRONT_MM - 40 - 1.6 - 3, AXIS_HEIGHT_MM - 14], [22, 6, 6]),
        "lens": rod(30, MOUNT_FRONT_MM - 40 + 0.01, 38),
        "filter": rod(parts["emission filter"].number("diameter_mm"), MOUNT_FRONT_MM + 2.01, 2.98),
    }
    plate, board_mm = parts["heat sink"], dimension("led_board_diameter_mm")
    sink = rod(plate.number("outer_mm"), MOUNT_FRONT_MM + 0.01, 3.98)
    bodies["heat sink"] = trimesh.boolean.difference(
        [sink, rod(plate.number("inner_mm"), MOUNT_FRONT_MM - 1, 6)], engine="manifold"
    )
    for index in range(read_ring(RING).leds):
        turn = 2 * np.pi * index / read_ring(RING).leds
        aside = [read_ring(RING).radius_mm * np.cos(turn), 0, read_ring(RING).radius_mm * np.sin(turn)]
        for name, diameter, start, length in (
            ("LED board", board_mm, 4.01, 1.58),
            ("LED", 9, 5.61, 3.5),
            ("clean-up filter", parts["clean-up filter"].number("diameter_mm"), 9.31, 3.48),
        ):
            bodies[f"{name} {index}"] = rod(diameter, MOUNT_FRONT_MM + start, length).apply_translation(aside)
    return bodies


def block(middle: list[float], size: list[float]) -> trimesh.Trimesh:
    return trimesh.creation.box(size, translation_matrix(middle))


def rod(diameter: float, start: float, length: float) -> trimesh.Trimesh:
    """Cylinder along the optical axis."""
    place = translation_matrix([0, start + length / 2, AXIS_HEIGHT_MM]) @ rotation_matrix(np.pi / 2, [1, 0, 0])
    return trimesh.creation.cylinder(diameter / 2, length, sections=32, transform=place)


def test_what_is_bought_fits_in_where_it_belongs(assembled, bought):
    for one, first in bought.items():
        for other, second in (*assembled.items(), *bought.items()):
            assert one == other or shared_mm3(first, second) < 0.01, f"{one} and {other} claim the same place"


def test_the_driver_s_board_is_held_by_its_guides(assembled, bought):
    for way in (-1, 1):
        pushed = bought["driver"].copy().apply_translation([0, 0.5 * way, 0])
        assert shared_mm3(pushed, assembled["body"]) > 1


def test_the_check_sees_a_power_bank_that_is_too_high(bought):
    lifted = bought["power bank"].copy().apply_translation([0, 0, 5])
    assert shared_mm3(lifted, bought["board's sockets"]) > 1


def test_no_part_runs_into_another(assembled):
    for (one, first), (other, second) in itertools.combinations(assembled.items(), 2):
        assert shared_mm3(first, second) < 0.01, f"{one} and {other} claim the same place"


def test_the_check_sees_a_part_that_sits_a_tenth_too_low(assembled):
    sunk = assembled["lid"].copy()
    sunk.apply_translation([0, 0, -0.1])
    assert shared_mm3(sunk, assembled["body"]) > 1


def test_the_ring_clamps_the_filter_holder_s_foot(assembled):
    lifted = assembled["filter_holder"].copy()
    lifted.apply_translation([0, 0.05, 0])  # towards the patient
    assert shared_mm3(lifted, assembled["ring"]) > 0.1


def test_parts_that_slide_have_a_gap_and_not_a_wobble(parts):
    holder, ring, clip = parts["filter_holder"], parts["ring"], parts["drape_clip"]
    gap = min(o.outermost for o in cut(ring, 3) if abs(o.x) < 0.05) - max(o.outermost for o in cut(holder, 10))
    assert gap == pytest.approx(dimension("slide_mm"), abs=0.01)
    (band,) = cut(clip, 7)
    assert 0.15 < band.innermost - ring.bounds[1][0] < 0.35, "room for the sleeve's film, and no more"


def screw_holes(mesh, z, diameter):
    """Middles of round holes of a diameter at height z, in order."""
    round_ones = [
        (o.x, o.y) for o in cut(mesh, z) if (o.width, o.height) == pytest.approx((diameter, diameter), abs=0.02)
    ]
    return np.array(sorted((round(float(x), 2), round(float(y), 2)) for x, y in round_ones))


def test_screws_of_ring_and_camera_mount_meet(parts):
    ring = screw_holes(parts["ring"], 8, dimension("m3_clear_mm"))
    mount = screw_holes(parts["camera_mount"], 2, dimension("m3_insert_mm"))
    assert len(ring) == dimension("screws") == len(mount)
    assert ring == pytest.approx(mount, abs=0.02)


def test_screws_of_grip_and_body_meet(parts):
    middle = dimension("grip_middle_mm")
    grip = screw_holes(parts["grip"], 2, dimension("m3_insert_mm"))
    body = screw_holes(parts["body"], 1, dimension("m3_clear_mm")) - [0, middle]
    assert len(grip) == 4
    for hole in grip:
        assert np.abs(body - hole).max(axis=1).min() < 0.02


def test_screws_of_lid_and_body_meet(parts):
    lid = screw_holes(parts["lid"], 1, dimension("m3_clear_mm"))
    body = screw_holes(parts["body"], 55, 2.6)
    assert len(lid) == len(body) == 4
    assert lid == pytest.approx(body, abs=0.02)


def test_the_camera_board_s_pattern_is_on_the_mount(parts):
    side = dimension("camera_pattern_mm") / 2
    found = screw_holes(parts["camera_mount"], 35, dimension("m25_pilot_mm"))
    assert found == pytest.approx(np.array([(-side, -side), (-side, side), (side, -side), (side, side)]), abs=0.02)


def test_the_board_s_pattern_is_under_the_lid(parts):
    """58 x 49 mm, and room behind it for the sockets; both from memory, as dimensions.scad says."""
    holes = screw_holes(parts["lid"], 6, dimension("m25_pilot_mm"))
    assert len(holes) == 4
    xs, ys = holes.T
    assert (np.ptp(xs), np.ptp(ys)) == pytest.approx((49, 58), abs=0.02)
    usb_end = (max(ys) + min(ys)) / 2 - 52.5
    assert usb_end == pytest.approx(
        -dimension("body_length_mm") / 2 + dimension("wall_mm") + dimension("board_behind_mm"), abs=0.02
    )
