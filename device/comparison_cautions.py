"""What to bear in mind beside a comparison: what is known to have changed between the two recordings, and what nobody can see."""

import numpy as np

from shared.motion.pose import Motion
from shared.recording import Recording

_CHANGED_SHARE = 0.02
_FAR_SHARE = 0.1
_TURNED_DEG = 5.0


def cautions(first: Recording, second: Recording, shift: Motion | None) -> tuple[str, ...]:
    """``shift`` is from the first recording's beginning to the second's, None where it is not known."""
    return (*_settings(first, second), *_position(first, shift), *_identity(first, second), *_ALWAYS)


_ALWAYS = (
    "relative intensity, not viability: both are percentages of their own run's reference, and only as good as that reference",
    "distance, angle, pull, pressure, cold, drugs and wetness change it as well as perfusion does, and are not seen by the program",
    "each recording is taken to be of one distance: while the hand moves nearer or farther, regions away from the middle lie on "
    "other tissue",
    "a second injection meets dye of the first: what is taken out is an estimate, and washout slows down with time",
    "not a certified medical device: the decision stays with licensed practice and local rules",
)


def _settings(first: Recording, second: Recording) -> tuple[str, ...]:
    found = []
    for name, unit, factor in (
        ("light_level", "% light", 100),
        ("exposure_us", "ms exposure", 1e-3),
        ("gain", "gain", 1),
    ):
        means = [_mean(one, name) * factor for one in (first, second)]
        if all(np.isfinite(means)) and abs(means[1] - means[0]) > _CHANGED_SHARE * abs(means[0]):
            found.append(
                f"{means[0]:.3g}, then {means[1]:.3g} {unit}: allowed for as far as camera and ring are calibrated"
            )
    return tuple(found)


def _mean(recording: Recording, name: str) -> float:
    lit = recording.frame_table.lit
    return float(np.mean(getattr(recording.frame_table, name)[lit])) if lit.any() else float("nan")


def _position(first: Recording, shift: Motion | None) -> tuple[str, ...]:
    if shift is None:
        return ()
    found = []
    if shift.shift_px > _FAR_SHARE * first.camera.width or abs(shift.rotation_deg) >= _TURNED_DEG:
        found.append(
            f"the second view is {shift.shift_px:.0f} pixels and {abs(shift.rotation_deg):.0f} degrees away: other light, other "
            "angle"
        )
    if abs(shift.magnification - 1.0) > _CHANGED_SHARE:
        how = "nearer" if shift.magnification > 1.0 else "farther away"
        found.append(
            f"the second recording was made from {how}, the tissue is {shift.magnification:.2f} times as large in it: regions and "
            "pictures are matched in size, and left-over dye is reckoned as brighter or darker by the square of that, with doubt"
        )
    return tuple(found)


def _identity(first: Recording, second: Recording) -> tuple[str, ...]:
    found = []
    if first.case != second.case:
        found.append(f"recordings of different cases: {first.case or 'none'} and {second.case or 'none'}")
    scales = first.camera.mm_per_px, second.camera.mm_per_px
    if scales[0] and scales[1] and scales[0] != scales[1]:
        found.append(
            f"calibrated at {scales[0]:.3g}, then {scales[1]:.3g} mm a pixel: another distance or lens; sizes are matched by what "
            "is seen"
        )
    elif scales[0] != scales[1]:
        found.append("the scale is known of one recording alone: whether the distance was the same cannot be told")
    if first.calibration.made_at != second.calibration.made_at:
        found.append("the camera was calibrated anew between the two")
    if first.camera.model != second.camera.model:
        found.append(f"recorded by different cameras: {first.camera.model} and {second.camera.model}")
    return tuple(found)
