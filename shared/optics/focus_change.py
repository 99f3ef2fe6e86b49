"""What the emission filter, and the plate it replaces, do to focus; and the picture's scale."""

from dataclasses import dataclass

from shared.optics.focus import (
    blur_px,
    depth_of_field_mm,
    magnification,
    matching_thickness_mm,
    mm_per_px,
    plate_shift_mm,
)
from shared.optics.parts_file import Parts


@dataclass(frozen=True)
class FocusChange:
    """``image_shift_mm`` is how far the image moves away from the lens against the camera as it was bought (negative: towards it);
    ``tolerance_mm`` is the depth of focus to either side for a blur of one pixel; ``matching_thickness_mm`` what a filter behind
    the lens would have to be thick to leave focus alone (None where it is in front).
    """

    image_shift_mm: float
    tolerance_mm: float
    blur_px: float
    matching_thickness_mm: float | None

    @property
    def needs_refocusing(self) -> bool:
        """Whether the blur is wider than a pixel."""
        return abs(self.image_shift_mm) > self.tolerance_mm


@dataclass(frozen=True)
class View:
    """Scale and extent at the target's distance; ``farthest_mm`` None where depth of field has no end."""

    width_mm: float
    height_mm: float
    mm_per_px: float
    nearest_mm: float
    farthest_mm: float | None


def focus_change(parts: Parts) -> FocusChange:
    """Work out where focus goes."""
    plate, lens, pixel_um = parts.emission_filter, parts.lens, parts.sensor.pixel_um
    new_mm = plate_shift_mm(plate.thickness_mm, plate.refractive_index)
    old_mm = plate_shift_mm(plate.replaces_thickness_mm, plate.replaces_refractive_index)
    behind = plate.place == "behind"
    if not behind:
        new_mm *= magnification(lens.focal_length_mm, parts.target.distance_mm) ** 2
    moved_mm = new_mm - old_mm
    return FocusChange(
        image_shift_mm=moved_mm,
        tolerance_mm=lens.f_number * pixel_um / 1000,
        blur_px=blur_px(moved_mm, lens.f_number, pixel_um),
        matching_thickness_mm=matching_thickness_mm(old_mm, plate.refractive_index) if behind else None,
    )


def view(parts: Parts) -> View:
    """Work out scale, extent and depth of field for a blur of one pixel."""
    lens, sensor, distance_mm = parts.lens, parts.sensor, parts.target.distance_mm
    scale = mm_per_px(sensor.pixel_um, lens.focal_length_mm, distance_mm)
    near, far = depth_of_field_mm(lens.focal_length_mm, lens.f_number, sensor.pixel_um, distance_mm)
    return View(scale * sensor.width_px, scale * sensor.height_px, scale, near, None if far == float("inf") else far)
