"""Where focus goes when glass is put in, taken out or changed, and scale and depth of field.

A plane plate of thickness t and index n moves the image by t (1 - 1/n) away from the lens when it is behind the lens. In front of
the lens it only makes the object look nearer by as much, which moves the image by that times the square of the magnification
f / (Z - f). Paraxial; Z from the front principal plane.
"""

import math


def plate_shift_mm(thickness_mm: float, refractive_index: float) -> float:
    """Shift by a plate: t (1 - 1/n)."""
    return thickness_mm * (1 - 1 / refractive_index)


def matching_thickness_mm(shift_mm: float, refractive_index: float) -> float:
    """Thickness of a plate that shifts focus by ``shift_mm``."""
    return shift_mm / (1 - 1 / refractive_index)


def magnification(focal_length_mm: float, distance_mm: float) -> float:
    """Size on the sensor beside size in life."""
    return focal_length_mm / (distance_mm - focal_length_mm)


def mm_per_px(pixel_um: float, focal_length_mm: float, distance_mm: float) -> float:
    """Millimetres in life that a pixel covers."""
    return pixel_um / 1000 / magnification(focal_length_mm, distance_mm)


def depth_of_field_mm(
    focal_length_mm: float, f_number: float, blur_um: float, distance_mm: float
) -> tuple[float, float]:
    """Nearest and farthest distance whose blur stays below ``blur_um`` on the sensor (H = f^2 / (N c) + f); farthest may be inf."""
    hyperfocal_mm = focal_length_mm**2 / (f_number * blur_um / 1000) + focal_length_mm
    to_lens_mm = hyperfocal_mm - focal_length_mm
    near_mm = distance_mm * to_lens_mm / (hyperfocal_mm + distance_mm - 2 * focal_length_mm)
    far_mm = distance_mm * to_lens_mm / (hyperfocal_mm - distance_mm) if distance_mm < hyperfocal_mm else math.inf
    return near_mm, far_mm


def blur_px(defocus_mm: float, f_number: float, pixel_um: float) -> float:
    """Width of the blur of a point, in pixels, where the sensor is ``defocus_mm`` from the image."""
    return abs(defocus_mm) / f_number / (pixel_um / 1000)
