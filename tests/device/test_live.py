"""The live path: what is shown at a point, and beside it, is what the pure functions give for the raw frames."""

import threading

import numpy as np
import pytest
import simplejpeg

from device.live import LivePath, warm_up
from shared.calibration import Calibration
from shared.colour import PercentColours
from shared.errors import Refused
from shared.frame import CameraDescription, Frame
from shared.live_picture import smoothed
from shared.region import Region
from shared.region_sums import compiled_sums
from shared.relative import relative_percent
from shared.settings import PictureSettings
from shared.signal import DefectSources, RegionPixels, region_signal, signal

SHAPE = (160, 240)
REFERENCE = Region.parse("base:24,24,40,40")
LEVELS = {"full": 100.0, "tip": 30.0, "middle": 62.0, "low": 18.0}
TILES = {"tip": (24, 100), "middle": (24, 170), "low": (100, 30)}


class Scene:
    """Even tiles of known percent on a dim ground; frames with the noise of the calibration."""

    def __init__(self, shape=SHAPE, seed=0):
        self.rng = np.random.default_rng(seed)
        camera = CameraDescription("test", shape[1], shape[0], 10, 40.0)
        rows, columns = np.indices(shape)
        flat = (1 - 0.4 * ((columns / shape[1] - 0.5) ** 2 + (rows / shape[0] - 0.5) ** 2)).astype(np.float32)
        defects = self.rng.random(shape) < 0.002
        self.calibration = Calibration(
            camera, np.full(shape, 40, np.float32), flat, defects, 0.1, 3.0, 1023, ((0.0, 0.0), (0.5, 0.55), (1.0, 1.0))
        )
        self.glow = np.full(shape, 8.0)
        self.glow[16:72, 16:72] = 100.0
        for name, (top, left) in TILES.items():
            self.glow[top : top + 48, left : left + 48] = LEVELS[name]
        self.sequence = 0

    def frame(self, strength=5.0, exposure_us=10_000.0, gain=1.0, level=1.0, lit=True):
        known = self.calibration
        self.sequence += 1
        factor = known.counts_to_signal(exposure_us, gain, level) if lit else np.inf
        counts = self.glow * strength / 10.0 / factor * known.flat
        electrons = self.rng.poisson(counts / (0.1 * gain)) + self.rng.normal(0, 3, counts.shape)
        pixels = np.rint(electrons * 0.1 * gain + 40)
        pixels[known.defects] = 1023
        clipped = np.clip(pixels, 0, 1023).astype(np.uint16)
        return Frame(clipped, self.sequence, self.sequence * 33_000_000, exposure_us, gain, level if lit else 0.0, lit)


def live_for(scene: Scene, **changes) -> LivePath:
    return LivePath(scene.calibration, PictureSettings(**changes))


def percent_at(jpeg: bytes, y: int, x: int, settings: PictureSettings) -> float:
    """Percent read from the JPEG's own chroma by going back through the colour table; mean of 8 x 8 pixels."""
    rgb = simplejpeg.decode_jpeg(jpeg, "RGB").astype(float)[y : y + 8, x : x + 8].reshape(-1, 3).mean(axis=0)
    luma = rgb @ [0.299, 0.587, 0.114]
    blue, red = 128 + (rgb[2] - luma) / 1.772, 128 + (rgb[0] - luma) / 1.402
    steps = np.linspace(0, settings.full_scale_percent, 2401)
    wanted = PercentColours(settings.full_scale_percent, settings.overlay_opacity).chroma(steps)
    return float(steps[np.argmin((wanted[0] - blue) ** 2 + (wanted[1] - red) ** 2)])


def test_what_is_shown_at_a_point_is_what_the_pure_functions_give():
    scene = Scene()
    settings = PictureSettings(contours_percent=(), jpeg_quality=95)
    live = LivePath(scene.calibration, settings)
    live.set_reference(REFERENCE)
    sources = DefectSources.around(scene.calibration.defects)
    pixels = RegionPixels.gathered(REFERENCE.indices(SHAPE), scene.calibration)
    steadied, reference = None, None
    for _ in range(5):
        frame = scene.frame()
        picture = live.process(frame)
        here, there = signal(frame, scene.calibration, sources), region_signal(frame, pixels, scene.calibration)
        steadied = here if steadied is None else 0.5 * steadied + 0.5 * here
        reference = there.signal.value if reference is None else 0.5 * reference + 0.5 * there.signal.value
    pure = relative_percent(smoothed(steadied), reference)
    for name, (top, left) in TILES.items():
        y, x = top + 16, left + 16
        shown = percent_at(picture.jpeg, y, x, settings)
        assert shown == pytest.approx(pure[y : y + 8, x : x + 8].mean(), abs=1.5)
        assert shown == pytest.approx(LEVELS[name], abs=3.0)


def test_values_beside_regions_are_those_of_the_pure_functions_and_of_the_scene():
    scene = Scene()
    live = live_for(scene, steadying=0.0)
    live.set_reference(REFERENCE)
    for name, (top, left) in TILES.items():
        live.put_region(Region.parse(f"{name}:{left + 8},{top + 8},32,32"))
    errors = []
    for _ in range(12):
        frame = scene.frame()
        header = live.process(frame).header
        for value in header["values"]:
            assert value["flag"] == ""
            errors.append((value["percent"] - LEVELS[value["name"]]) / value["percent_u"])
        ratio = [
            region_signal(
                frame,
                RegionPixels.gathered(Region.parse(v["region"]).indices(SHAPE), scene.calibration),
                scene.calibration,
                compiled_sums,
            )
            for v in ({"region": str(REFERENCE)}, header["values"][0])
        ]
        expected = 100 * ratio[1].signal.value / ratio[0].signal.value
        assert header["values"][0]["percent"] == pytest.approx(expected, rel=1e-9)
    # 36 values in units of their own uncertainty: mean 0 +- 1/6, spread 1 +- 1/sqrt(70); the reference's is shared by three
    assert abs(np.mean(errors)) < 1.0
    assert 0.6 < np.std(errors) < 1.5


def test_the_header_names_all_that_the_page_needs():
    scene = Scene()
    live = live_for(scene)
    live.set_reference(REFERENCE)
    frame = scene.frame()
    picture = live.process(frame)
    header = picture.header
    assert (header["sequence"], header["sensor_time_ns"]) == (frame.sequence, frame.sensor_time_ns)
    assert (header["width"], header["height"]) == (240, 160)
    assert (header["picture_width"], header["picture_height"]) == (picture.width, picture.height) == (240, 160)
    assert (header["view"], header["lit"], header["baseline"]) == ("relative", True, False)
    assert header["reference"]["percent"] == 100.0
    assert header["reference"]["signal"] > 100 * header["reference"]["signal_u"] > 0
    assert header["contours_percent"] == [20.0, 40.0, 60.0]
    assert simplejpeg.decode_jpeg_header(picture.jpeg)[:2] == (160, 240)


@pytest.mark.parametrize("shape", [(64, 64), (97, 131), (101, 66), (544, 728)])
@pytest.mark.parametrize("view", ["grey", "relative", "side by side"])
def test_every_size_and_view_makes_a_jpeg_of_the_stated_size(shape, view):
    scene = Scene(shape)
    live = live_for(scene)
    live.set_view(view)
    live.set_reference(Region.parse("base:20,20,20,20"))
    picture = live.process(scene.frame())
    height, width = simplejpeg.decode_jpeg_header(picture.jpeg)[:2]
    assert (height, width) == (picture.height, picture.width)
    wanted = (shape[0] // 2, shape[1] // 4 * 4) if view == "side by side" else shape
    assert (height, width) == wanted
    assert live.still().width >= 640


def test_dimming_to_half_or_longer_exposure_moves_no_value():
    scene = Scene()
    settings = PictureSettings(contours_percent=(), jpeg_quality=95)
    live = LivePath(scene.calibration, settings)
    live.set_reference(REFERENCE)
    live.put_region(Region.parse("middle:178,32,32,32"))
    for _ in range(4):
        before = live.process(scene.frame(strength=3.0))
    shown_before = percent_at(before.jpeg, 40, 186, settings)
    for change in ({"level": 0.5}, {"exposure_us": 20_000.0}, {"gain": 2.0}, {"exposure_us": 5000.0}):
        after = live.process(scene.frame(strength=3.0, **change))
        assert after.header["values"][0]["percent"] == pytest.approx(before.header["values"][0]["percent"], rel=0.01)
        assert percent_at(after.jpeg, 40, 186, settings) == pytest.approx(shown_before, abs=1.5)


def test_the_baseline_is_taken_off_picture_and_values():
    scene = Scene()
    settings = PictureSettings(contours_percent=(), jpeg_quality=95)
    live = LivePath(scene.calibration, settings)
    live.set_reference(REFERENCE)
    live.put_region(Region.parse("tip:108,32,32,32"))
    with pytest.raises(Refused, match="too few lit frames"):
        live.mark_baseline()
    dyed = scene.glow
    scene.glow = np.full(SHAPE, 20.0)
    for _ in range(40):
        live.process(scene.frame())
    live.mark_baseline()
    scene.glow = dyed + 20.0
    for _ in range(6):
        picture = live.process(scene.frame())
    assert picture.header["baseline"]
    value = picture.header["values"][0]
    assert value["percent"] == pytest.approx(LEVELS["tip"], abs=4 * value["percent_u"] + 0.2)
    assert percent_at(picture.jpeg, 40, 116, settings) == pytest.approx(LEVELS["tip"], abs=2.0)
    live.clear_baseline()
    forgotten = live.process(scene.frame()).header["values"][0]["percent"]
    assert forgotten == pytest.approx(100 * 50 / 120, abs=1.0)


def test_frames_go_on_while_a_baseline_is_made(monkeypatch):
    """That takes as long as some frames; a loop that waited for it would lose the light's lease."""
    scene = Scene()
    live = live_for(scene)
    for _ in range(20):
        live.process(scene.frame())
    drawn = []

    def slowly(plane):
        other = threading.Thread(target=lambda: drawn.append(live.process(scene.frame())), daemon=True)
        other.start()
        other.join(20.0)
        return smoothed(plane)

    monkeypatch.setattr("device.live.smoothed", slowly)
    live.mark_baseline()
    assert len(drawn) == 1


def test_flags_say_why_there_is_no_value():
    scene = Scene()
    live = live_for(scene)
    live.put_region(Region.parse("tip:108,32,32,32"))
    assert live.region_states()[0].flag == "no picture yet"
    assert live.reference_state() is None
    assert live.process(scene.frame()).header["values"][0]["flag"] == "no reference"
    live.set_reference(REFERENCE)
    assert live.reference_state().flag == "no picture yet"
    live.process(scene.frame())
    assert live.region_states()[0].flag == ""
    assert live.process(scene.frame(lit=False)).header["values"][0]["flag"] == "unlit"
    assert live.process(scene.frame(strength=40.0)).header["reference"]["flag"] == "reference saturated"
    for _ in range(30):
        header = live.process(scene.frame(strength=0.0)).header
    assert header["reference"]["flag"] == "reference too dark"
    assert header["values"][0]["percent"] is None


def test_a_saturated_or_dark_region_has_no_value():
    scene = Scene()
    live = live_for(scene)
    scene.glow[100:148, 100:148] = 2000.0
    scene.glow[100:148, 170:218] = 0.0
    live.set_reference(REFERENCE)
    live.put_region(Region.parse("hot:108,108,32,32"))
    live.put_region(Region.parse("cold:178,108,8,8"))
    header = live.process(scene.frame(strength=1.0)).header
    assert [value["flag"] for value in header["values"]] == ["saturated", "too dark"]
    assert header["saturated_share"] == pytest.approx(48 * 48 / (160 * 240), rel=0.05)


def test_an_unlit_frame_is_grey_and_the_picture_returns_unharmed():
    scene = Scene()
    live = live_for(scene, jpeg_quality=95)
    live.set_reference(REFERENCE)
    for _ in range(3):
        live.process(scene.frame())
    dark = simplejpeg.decode_jpeg(live.process(scene.frame(lit=False)).jpeg, "RGB").astype(int)
    assert np.abs(dark[..., 0] - dark[..., 2]).max() <= 3
    again = live.process(scene.frame())
    assert percent_at(again.jpeg, 40, 186, PictureSettings()) == pytest.approx(62, abs=3)


def test_after_a_long_pause_the_old_picture_is_not_mixed_in():
    scene = Scene()
    live = live_for(scene, steadying=0.9)
    live.set_reference(REFERENCE)
    live.put_region(Region.parse("tip:108,32,32,32"))
    live.process(scene.frame())
    scene.sequence += 30
    scene.glow[24:72, 100:148] = 60.0
    assert live.process(scene.frame()).header["values"][0]["percent"] == pytest.approx(60, abs=1.0)


def test_a_frame_lit_for_a_moment_only_leaves_no_noise_behind():
    scene = Scene()
    live = live_for(scene, steadying=0.9)
    live.set_reference(REFERENCE)
    live.put_region(Region.parse("tip:108,32,32,32"))
    live.process(scene.frame(level=0.01))
    clean = live_for(scene, steadying=0.9)
    clean.set_reference(REFERENCE)
    clean.put_region(Region.parse("tip:108,32,32,32"))
    frame = scene.frame()
    assert live.process(frame).header["values"] == clean.process(frame).header["values"]


def test_a_frame_called_lit_at_level_zero_is_drawn_as_unlit():
    scene = Scene()
    live = live_for(scene)
    frame = scene.frame(lit=False)
    header = live.process(Frame(frame.pixels, 1, 1, frame.exposure_us, 1.0, 0.0, True)).header
    assert header["lit"] is False


def test_regions_come_and_go():
    scene = Scene()
    live = live_for(scene)
    live.put_region(Region.parse("tip:108,32,32,32"))
    live.put_region(Region.parse("tip:10,10,5,5"))
    assert [state.region for state in live.region_states()] == ["tip:10,10,5,5"]
    live.remove_region("tip")
    assert live.region_states() == ()
    with pytest.raises(Refused, match="no such region"):
        live.remove_region("tip")
    with pytest.raises(Refused, match="outside"):
        live.put_region(Region.parse("far:1000,1000,5,5"))
    with pytest.raises(Refused, match="contours"):
        live.set_contours((1, 2, 3, 4, 5))
    live.set_contours((60, 30))
    assert live.process(scene.frame()).header["contours_percent"] == [30, 60]


def test_a_still_before_the_first_picture_is_refused():
    with pytest.raises(Refused, match="no picture yet"):
        live_for(Scene()).still()


def test_a_still_shows_the_picture_as_shown_above_its_legend():
    scene = Scene((544, 728))
    live = live_for(scene, jpeg_quality=95)
    live.set_reference(REFERENCE)
    picture = live.process(scene.frame())
    still = np.asarray(live.still())
    shown = simplejpeg.decode_jpeg(picture.jpeg, "RGB")
    assert still.shape[1] == 728
    assert still.shape[0] > 544
    assert np.abs(still[:544].astype(int) - shown).mean() < 3


def test_contours_run_where_the_percentage_crosses():
    scene = Scene()
    settings = PictureSettings(contours_percent=(45.0,), jpeg_quality=95, steadying=0.0)
    live = LivePath(scene.calibration, settings)
    live.set_reference(REFERENCE)
    rgb = simplejpeg.decode_jpeg(live.process(scene.frame(strength=8.0)).jpeg, "RGB").astype(int)
    luma = rgb @ np.array([0.299, 0.587, 0.114])
    top, left = TILES["middle"]
    edge = luma[top + 12 : top + 36, left - 4 : left + 6]
    assert (edge.max(axis=1) > 225).all()
    assert (edge.min(axis=1) < 40).all()
    inside = luma[top + 12 : top + 36, left + 12 : left + 36]
    assert inside.max() < 200


def test_warming_up_again_costs_nothing():
    warm_up()
    warm_up()


def test_a_value_too_uncertain_is_flagged_as_the_picture_is_dashed_there():
    scene = Scene()
    live = live_for(scene, steadying=0.0, contours_percent=(), widest_u_percent=1.0)
    live.set_reference(REFERENCE)
    live.put_region(Region.parse("small:170,24,2,1"))
    live.put_region(Region.parse("large:170,24,40,40"))
    small, large = live.process(scene.frame(strength=3.0)).header["values"]
    assert small["flag"] == "uncertain"
    assert small["percent_u"] > 1.0
    assert large["flag"] == ""
    assert large["percent_u"] < 0.5


def test_values_beside_regions_hold_the_truth_in_95_of_100_cases():
    """Baseline taken off, steadied by half or strongly, light halved after the baseline: 93 to 97 % of 95 % intervals hold it."""
    inside, pulls = [], []
    for repeat in range(16):
        scene = Scene(seed=repeat)
        live = live_for(scene, steadying=(0.5, 0.9)[repeat % 2])
        live.set_reference(REFERENCE)
        places = [(24 + 12 * (i // 3), 100 + 12 * (i % 3), "tip") for i in range(9)] + [
            (24 + 12 * (i // 3), 170 + 12 * (i % 3), "middle") for i in range(9)
        ]
        for number, (top, left, _) in enumerate(places):
            live.put_region(Region.parse(f"r{number}:{left},{top},10,10"))
        glow = scene.glow
        scene.glow = np.full(SHAPE, 25.0)
        for _ in range(24):
            live.process(scene.frame())
        live.mark_baseline()
        scene.glow = glow + 25.0
        for _ in range(8):
            header = live.process(scene.frame(level=0.5)).header
        for value, (_, _, name) in zip(header["values"], places, strict=True):
            error = value["percent"] - LEVELS[name]
            inside.append(abs(error) <= 1.96 * value["percent_u"])
            pulls.append((error / value["percent_u"]) ** 2)
    assert 0.93 <= np.mean(inside) <= 0.97
    assert 0.8 < np.mean(pulls) < 1.2
