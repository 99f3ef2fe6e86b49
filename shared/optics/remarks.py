"""What a builder should notice about a set of parts, in sentences, each from a number that was worked out."""

from shared.optics.chain import Chain
from shared.optics.focus_change import focus_change
from shared.optics.interference_filter import TRUSTED_ANGLE_DEG
from shared.optics.parts_file import Parts
from shared.optics.spectrum import share_outside

_LINEAR_TO_UM = 20.0
_UNEVEN = 2.0
_FAINT = 1e-6

CAUTIONS = (
    "Signal to leakage is known within a factor of three at best (quantum yield); compare sets, and measure the one you build.",
    "Not counted: scattering, depth, blood, pigment, mirror reflections, light that strays inside the case, room light.",
    "Not a certified medical device. Near-infrared light is invisible: have the ring's exposure of eyes judged before use.",
)


def remarks(parts: Parts, now: Chain) -> tuple[str, ...]:
    """The sentences, those about light first, then focus, then how far the figures go."""
    return (*_about_glow(parts, now), *_about_leakage(now), *_about_focus(parts), *_about_limits(parts, now))


def assumptions(parts: Parts) -> tuple[str, ...]:
    """Where the curves come from."""
    dye, sensor = parts.dye, parts.sensor
    emission = (
        "own table"
        if dye.emission
        else f"mirror image of protein-bound absorption with its peak at {dye.emission_peak_nm:g} nm"
    )
    response = (
        "own table" if sensor.quantum_efficiency else f"{sensor.response}, an estimate for the class, from memory"
    )
    return (
        f"absorption: {dye.table.origin}",
        f"emission: {emission}; quantum yield {dye.quantum_yield:g}",
        f"sensor: {response}",
        f"target: {parts.target.concentration_um:g} uM over {parts.target.path_mm:g} mm, "
        f"{100 * parts.target.reflectance:.0f} % of the excitation thrown back",
    )


def _about_glow(parts: Parts, now: Chain) -> list[str]:
    centre, corner = now.position("centre"), now.position("corner")
    said = [
        f"the emission filter passes {100 * centre.emission_passed_share:.0f} % of the dye's glow on axis and "
        f"{100 * corner.emission_passed_share:.0f} % at the corner"
    ]
    peak = float(parts.dye.table.epsilon(parts.target.concentration_um).max())
    beside_peak = now.epsilon_per_cm_per_molar / peak
    said.append(f"the dye takes up this light {100 * beside_peak:.0f} % as well as light at its peak of absorption")
    if parts.clean_up is not None:
        said.append(f"the clean-up filter passes {100 * now.light_passed_share:.0f} % of the LEDs' light")
    if now.inner_filter_share < 0.95:
        said.append(
            f"the layer shades itself: it absorbs {100 * (1 - now.inner_filter_share):.0f} % less than a thin one would, "
            "so brightness is no longer proportional to dye"
        )
    return said


def _about_leakage(now: Chain) -> list[str]:
    said = []
    for at in now.at:
        if at.leakage_per_million > at.signal_per_million > 0:
            times = at.leakage_per_million / at.signal_per_million
            said.append(f"leakage outshines the dye {times:.3g} times at the {at.position}")
    centre, corner = now.position("centre"), now.position("corner")
    if corner.leakage_share > _UNEVEN * centre.leakage_share:
        said.append(
            f"leakage is {corner.leakage_share / centre.leakage_share:.3g} times stronger at the corner than at the centre, "
            f"where the filter's edge is {-corner.chief_ray_shift_nm:.0f} nm shorter"
        )
    return said


def _about_focus(parts: Parts) -> list[str]:
    focus = focus_change(parts)
    if not focus.needs_refocusing:
        return []
    away = "away from" if focus.image_shift_mm > 0 else "towards"
    said = f"focus moves {abs(focus.image_shift_mm):.2f} mm {away} the lens: {focus.blur_px:.0f} px of blur until refocused"
    if focus.matching_thickness_mm:
        said += f"; a filter {focus.matching_thickness_mm:.2f} mm thick would leave it alone"
    return [said]


def _about_limits(parts: Parts, now: Chain) -> list[str]:
    said = []
    if now.untrusted_angle_deg is not None:
        said.append(
            f"rays meet the emission filter at up to {now.untrusted_angle_deg:.0f} degrees; the formula of the shift is trusted to "
            f"{TRUSTED_ANGLE_DEG:.0f}: take a longer lens, or ask the maker for the curve at that angle"
        )
    if parts.clean_up is not None and parts.clean_up.angle_deg > TRUSTED_ANGLE_DEG:
        said.append(
            f"clean_up.angle_deg {parts.clean_up.angle_deg:g} is beyond the {TRUSTED_ANGLE_DEG:.0f} degrees to which the formula "
            "of the shift is trusted: take LEDs of a narrower beam"
        )
    if parts.target.concentration_um > _LINEAR_TO_UM:
        said.append(
            f"below {_LINEAR_TO_UM:g} uM already, more dye can be darker in scattering liquid (Yuan 2004, J Biomed Opt 9:497); "
            "this model does not show that"
        )
    if parts.glow_beyond_sensor > 0.01:
        said.append(
            f"{100 * parts.glow_beyond_sensor:.0f} % of the glow that passes lies outside sensor.wavelength_nm; it counts as unseen"
        )
    filters = {"emission_filter": parts.emission_filter, **({"clean_up": parts.clean_up} if parts.clean_up else {})}
    for key, one in filters.items():
        if one.tabled and share_outside(parts.led.power, one.wavelength_nm[0], one.wavelength_nm[-1]) > _FAINT:
            said.append(
                f"{key}.wavelength_nm does not reach all of the LEDs' light: beyond it the filter is taken to block by "
                f"{key}.blocking_od {one.blocking_od:g}"
            )
    if any(one.edge_nm == 0 and not one.tabled for one in filters.values()):
        said.append(
            "edges of the filters are ideal (edge_nm = 0): real ones leak more near them; enter the data sheet's"
        )
    return said
