import numpy as np
import pytest

from shared.scene.description import Scene, scene_path
from shared.scene.renderer import SceneRenderer

EXPOSURE_US = 15_000.0


def drawn(renderer: SceneRenderer, index: int, time_s: float, **changes) -> np.ndarray:
    out = np.empty(renderer.scene.description.shape, np.uint16)
    settings = {"exposure_us": EXPOSURE_US, "gain": 1.0, "mean_level": 1.0} | changes
    renderer.frame_into(out, index, time_s, **settings)
    return out


def averaged(renderer: SceneRenderer, time_s: float, frames: int = 60, **changes) -> np.ndarray:
    return np.mean([drawn(renderer, index, time_s, **changes) for index in range(frames)], axis=0)


def busy(small_scene, **changes) -> Scene:
    """Everything a scene can hold, small."""
    return small_scene(
        optics={"scatter_mm": 1.5, "leakage": 0.1, "ambient": 0.05},
        surface={"mottle": 0.05, "drape_reflectance": 0.4},
        vessel=[{"path_mm": [[5, 5], [40, 30], [70, 20]], "packet_speed_mm_s": 5, "packets_per_min": 6}],
        node=[{"centre_mm": [60, 50], "radius_mm": 4, "level": 0.3}],
        mark=[{"path_mm": [[10, 40], [70, 45]], "width_mm": 2}],
        **changes,
    )


@pytest.mark.parametrize("motion", [{}, {"tremor_mm": 0.7, "drift_mm_s": 0.05, "drift_direction_deg": 40}])
@pytest.mark.parametrize("time_s", [0.5, 11.0, 14.0])
def test_frames_average_to_the_plainly_composed_truth(small_scene, motion, time_s: float) -> None:
    renderer = SceneRenderer(busy(small_scene, motion=motion), seed=3)
    truth = renderer.truth.counts(time_s, EXPOSURE_US)
    difference = averaged(renderer, time_s) - truth
    noise = np.sqrt((0.1 * (truth - 60) + 0.09 + 1 / 12) / 60)
    assert abs(difference.mean()) < 0.02
    assert np.abs(difference / noise).max() < 5.5
    assert (difference / noise).std() == pytest.approx(1.0, abs=0.05)


def test_a_frame_depends_on_its_index_and_not_on_what_was_drawn_before(small_scene) -> None:
    scene = busy(small_scene, motion={"tremor_mm": 0.5})
    one, other = SceneRenderer(scene, 5), SceneRenderer(scene, 5)
    forward = [drawn(one, index, index / 30) for index in range(4)]
    backward = [drawn(other, index, index / 30) for index in reversed(range(4))][::-1]
    assert all((a == b).all() for a, b in zip(forward, backward, strict=True))
    assert (forward[0] != drawn(one, 1, 0.0)).any()
    assert (forward[0] != drawn(SceneRenderer(scene, 6), 0, 0.0)).any()


def test_tissue_reaches_its_level_of_the_reference(small_scene) -> None:
    renderer = SceneRenderer(small_scene(), seed=1)
    base_peak_s, tip_peak_s = 1 + 5 + 4.5, 1 + 9 + 6.0
    assert renderer.truth.curve("base", np.array([base_peak_s]))[0] == pytest.approx(1.0, abs=1e-12)
    assert renderer.truth.curve("tip", np.array([tip_peak_s]))[0] == pytest.approx(0.35, abs=1e-12)
    assert renderer.truth.peak_relative_percent("tip") == pytest.approx(35.0)
    calibration = renderer.calibration()
    before = averaged(renderer, 0.0, 200)

    def signal(at_s: float) -> np.ndarray:
        return (averaged(renderer, at_s, 200) - before) / calibration.flat

    base = signal(base_peak_s)[20:108, 10:70].mean()
    tip = signal(tip_peak_s)[20:108, 90:150].mean()
    assert 100 * tip / base == pytest.approx(35.0, abs=0.1)


def test_borders_are_anti_aliased_where_the_polygon_lies(small_scene) -> None:
    scene = small_scene(
        optics={"mm_per_px": 1.0},
        tissue=[{"name": "base", "polygon_mm": [[10.25, 10], [50, 10], [50, 60.5], [10.25, 60.5]], "arrival_s": 0}],
    )
    plane = SceneRenderer(scene, 0).truth.fluorescence(1 + 12.0)
    assert plane[30, 8:12].tolist() == pytest.approx([0, 0, 0.75, 1], abs=0.01)
    assert plane[59:62, 30].tolist() == pytest.approx([1, 0.5, 0], abs=0.01)
    assert plane.sum() == pytest.approx(39.75 * 50.5, rel=2e-3)


def test_a_later_tissue_lies_over_an_earlier_one(small_scene) -> None:
    below = {"name": "base", "polygon_mm": [0, 0, 80, 0, 80, 64, 0, 64], "arrival_s": 0}
    above = {"name": "patch", "polygon_mm": [20, 20, 40, 20, 40, 40, 20, 40], "arrival_s": 0, "level": 0.5}
    plane = SceneRenderer(small_scene(tissue=[below, above]), 0).truth.fluorescence(13.0)
    assert plane[60, 60] == pytest.approx(0.5)
    assert plane[10, 10] == pytest.approx(1.0)


def test_ambient_light_does_not_know_of_the_ring_and_leakage_does(small_scene) -> None:
    renderer = SceneRenderer(small_scene(optics={"ambient": 0.1, "leakage": 0.2}), 2)
    dark = drawn(renderer, 0, 0.0, mean_level=0.0).mean()
    half = drawn(renderer, 1, 0.0, mean_level=0.5).mean()
    full = drawn(renderer, 2, 0.0, mean_level=1.0).mean()
    assert dark > 60 + 30
    assert (full - dark) == pytest.approx(2 * (half - dark), rel=0.01)
    assert full - half > 30


def test_ambient_light_swings_as_the_sine_it_is_said_to_be(small_scene) -> None:
    optics = {"ambient": 0.2, "ambient_swing": 0.5, "ambient_period_s": 8.0, "leakage": 0.0}
    renderer = SceneRenderer(small_scene(optics=optics), 2)
    dark = renderer.calibration().dark_counts.mean()
    at_s = {
        time_s: drawn(renderer, number, time_s, mean_level=0.0).mean() - dark for number, time_s in enumerate((0, 2, 6))
    }
    assert at_s[2] == pytest.approx(1.5 * at_s[0], rel=0.03)
    assert at_s[6] == pytest.approx(0.5 * at_s[0], rel=0.03)


def test_vignetting_and_fall_off_darken_the_corners(small_scene) -> None:
    scene = small_scene(
        camera={"noise": {"prnu_percent": 0}},
        optics={"vignetting": 0.3, "leakage": 0, "ambient": 0},
        light={"fall_off": 0.2},
    )
    flat = SceneRenderer(scene, 0).calibration().flat
    assert flat.max() == 1.0
    assert flat[0, 0] == pytest.approx(0.7 * 0.8, abs=0.002)


def test_counts_end_at_the_converters_range(small_scene) -> None:
    renderer = SceneRenderer(small_scene(light={"electrons_per_s": 1e7}), 0)
    frame = drawn(renderer, 0, 10.5)
    assert frame.max() == 1023
    assert (frame[20:100, 5:75] == 1023).all()


def test_hot_pixels_shine_in_the_dark_and_are_the_calibrations_defects(small_scene) -> None:
    renderer = SceneRenderer(small_scene(camera={"noise": {"hot_pixels": 40}}, optics={"ambient": 0, "leakage": 0}), 7)
    defects = renderer.calibration().defects
    dark = averaged(renderer, 0.0, 20, mean_level=0.0, exposure_us=30_000.0)
    assert defects.sum() == 40
    assert dark[defects].min() > dark[~defects].max()
    longer, shorter = dark[defects] - 60, averaged(renderer, 0.0, 20, mean_level=0.0)[defects] - 60
    unclipped = longer < 900
    assert longer[unclipped].sum() == pytest.approx(2 * shorter[unclipped].sum(), rel=0.05)


def test_drift_moves_tissue_and_not_the_illumination(small_scene) -> None:
    """4 px a second to the right: the border between the tissues follows, the vignetting stays."""
    renderer = SceneRenderer(small_scene(motion={"drift_mm_s": 2.0}), 0)
    assert renderer.truth.displacement_mm(3.0) == pytest.approx((6.0, 0.0))
    moved = renderer.truth.fluorescence(11.0)
    border = np.argmin(np.abs(moved[60] - 0.5 * (moved[60, 105] + moved[60, 110])))
    assert moved[60, 80 + 43] > moved[60, 80 + 45]
    assert 0 <= border < 160
    flat = renderer.calibration().flat
    assert flat[0, 0] < flat[64, 80]


def test_tremor_has_the_stated_size_and_rate(small_scene) -> None:
    renderer = SceneRenderer(small_scene(motion={"tremor_mm": 0.4, "tremor_hz": 8.0}), 4)
    times = np.arange(0, 20, 0.005)
    shifts = np.array([renderer.truth.displacement_mm(t) for t in times])
    assert shifts.std(axis=0) == pytest.approx([0.4, 0.4], rel=0.05)
    spectrum = np.abs(np.fft.rfft(shifts[:, 0] * np.hanning(times.size))) ** 2
    rates = np.fft.rfftfreq(times.size, 0.005)
    assert (spectrum * rates).sum() / spectrum.sum() == pytest.approx(8.0, abs=1.0)


def test_a_hand_that_has_drifted_as_far_as_is_drawn_trembles_on(small_scene) -> None:
    renderer = SceneRenderer(small_scene(motion={"tremor_mm": 0.4, "tremor_hz": 8.0, "drift_mm_s": 20.0}), 4)
    late = np.array([renderer.truth.displacement_mm(t) for t in np.arange(20, 40, 0.005)])
    assert late.std(axis=0) == pytest.approx([0.4, 0.4], rel=0.05)
    assert late[:, 0].mean() > 50.0


def test_a_second_injection_adds_to_the_remainder_of_the_first(small_scene) -> None:
    renderer = SceneRenderer(small_scene(), 0)
    times = np.array([310.0, 315.0])
    remainder = renderer.truth.curve("base", times)
    renderer.inject(305.0)
    fresh = SceneRenderer(small_scene(dye={"injected_at_s": 305.0}), 0).truth.curve("base", times)
    assert renderer.truth.curve("base", times) == pytest.approx(remainder + fresh)
    assert remainder.min() > 0.1


def test_without_an_injection_nothing_shines(small_scene) -> None:
    values = {"tissue": [{"name": "a", "polygon_mm": [1, 1, 9, 1, 9, 9]}], "camera": {"width": 64, "height": 64}}
    renderer = SceneRenderer(Scene.from_values(values, "x"), 0)
    assert renderer.truth.fluorescence(100.0).max() == 0
    renderer.inject(100.0)
    assert renderer.truth.fluorescence(100.0 + 15 + 12).max() == pytest.approx(1.0)


def test_a_ring_that_droops_gives_more_than_its_share_when_dimmed(small_scene) -> None:
    """Worked: output(l) = l (1 - .15 l) / .85, so half level gives .5 x .925 / .85 = .54412 of full level."""
    changes = {"optics": {"ambient": 0.0}, "camera": {"noise": {"dark_current_electrons_per_s": 0.0}}}
    renderer = SceneRenderer(small_scene(light={"droop": 0.15, "pwm_hz": 0.0}, **changes), 0)
    full, half = (drawn_mean(renderer, level) for level in (1.0, 0.5))
    assert half / full == pytest.approx(0.54412, abs=2e-3)
    black = renderer.truth.counts(20.0, 15_000.0, 1.0, 0.0)
    told = [(renderer.truth.counts(20.0, 15_000.0, 1.0, level) - black).mean() for level in (1.0, 0.5)]
    assert told[1] / told[0] == pytest.approx(0.54412, abs=1e-5)
    assert full == pytest.approx(told[0], rel=2e-3)
    straight = SceneRenderer(small_scene(light={"pwm_hz": 0.0}, **changes), 0)
    assert drawn_mean(straight, 1.0) == pytest.approx(full, rel=1e-3), "full light is what it was without droop"


def drawn_mean(renderer: SceneRenderer, level: float) -> float:
    """Mean counts above black of one frame, 20 s on."""
    pixels = np.empty(renderer.scene.description.shape, np.uint16)
    renderer.frame_into(pixels, 0, 20.0, 15_000.0, 1.0, level)
    return float(pixels.mean() - renderer.truth.counts(20.0, 15_000.0, 1.0, 0.0).mean())


def test_a_kymograph_finds_the_packets_speed(small_scene) -> None:
    """11 mm/s at 0.1403 mm a pixel and 15 frames a second is 5.2269 px a frame (worked out beforehand)."""
    scene = Scene.from_values(
        {
            "camera": {"width": 640, "height": 64, "fps": 15.0},
            "optics": {"mm_per_px": 0.1403},
            "dye": {"injected_at_s": 0.0},
            "vessel": [
                {"path_mm": [0, 4.5, 90, 4.5], "packet_speed_mm_s": 11.0, "packet_length_mm": 8.0, "resting_share": 0}
            ],
        },
        "x",
    )
    renderer = SceneRenderer(scene, 0)
    columns = np.arange(640)
    centres = []
    for index in range(20, 80, 5):
        line = drawn(renderer, index, index / 15)[30:35].mean(axis=0) - drawn(renderer, 0, 0.0)[30:35].mean(axis=0)
        line[line < 20] = 0
        centres.append((line * columns).sum() / line.sum())
    assert np.polyfit(np.arange(20, 80, 5), centres, 1)[0] == pytest.approx(5.2269, rel=0.005)


def test_truth_of_the_ready_flap_is_what_its_file_says() -> None:
    scene = Scene.load(scene_path("flap"))
    renderer = SceneRenderer(scene, 0)
    renderer.inject(0.0)
    for tissue in scene.tissue:
        peak_s = tissue.arrival_s + tissue.alpha * tissue.beta
        assert renderer.truth.curve(tissue.name, np.array([peak_s]))[0] == pytest.approx(tissue.level)
    base = next(tissue for tissue in scene.tissue if tissue.name == "base")
    frame = drawn(renderer, 0, base.arrival_s + base.alpha * base.beta)
    share = (np.percentile(frame[500:600, 150:300], 99) - 60) / (1023 - 60)
    assert 0.5 < share < 0.85
    defects = renderer.calibration().defects
    assert (frame[~defects] < 1023).all()
