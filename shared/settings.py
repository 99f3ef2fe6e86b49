"""Everything a hospital or builder may set, typed and bounded.

The vendor file ``device/settings.toml`` names every key with its default, but for pins, which come from the pin map unless named;
an override file names only what differs. Standard library only: the light guard reads its own part with it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from shared.bounded import Length, Within, filled, plain, read_toml
from shared.optics.ring import Ring
from shared.pins import board_pins, faults
from shared.sensor_settings import CoverSettings, DistanceSettings, SupplySettings, TemperatureSettings


def _pin(name: str) -> Any:
    """GPIO of a pin of the map, unless the settings name another."""
    return field(default_factory=lambda: board_pins()[name].gpio)


def _channel(name: str) -> Any:
    return field(default_factory=lambda: board_pins()[name].channel)


SOFTWARE_PWM_HZ = 1000
"""Fastest software PWM that is allowed: lgpio takes 10,000 Hz, but a thread that sleeps between edges misses them by tens of
microseconds on a busy board (from memory), and a hundredth of 1 ms is 10 us.
"""


@dataclass(frozen=True)
class CameraSettings:
    """Which camera, and how it is set before it starts."""

    kind: Literal["picamera", "simulated", "replay"] = "picamera"
    width: Annotated[int, Within(64, 8192)] = 1456
    height: Annotated[int, Within(64, 8192)] = 1088
    frames_per_s: Annotated[float, Within(0.5, 240)] = 30.0
    exposure_us: Annotated[float, Within(20, 1_000_000)] = 15_000.0
    gain: Annotated[float, Within(1, 64)] = 1.0
    bit_depth: Annotated[int, Within(10, 12)] = 10
    colour_sensor: bool = False
    shutter: Literal["by model", "global", "rolling"] = "by model"


@dataclass(frozen=True)
class LightSettings:
    """Ring, pins, lease, and the conditions to be lit. Pins are numbers of the SoC's GPIO; ``pwm_pin`` belongs to the PWM alone."""

    levels: Annotated[tuple[float, ...], Within(0.01, 1.0), Length(1, 12)] = (0.2, 0.4, 0.6, 0.8, 1.0)
    hold_to_light: bool = True
    lease_ms: Annotated[int, Within(20, 400)] = 100
    longest_lease_ms: Annotated[int, Within(20, 400)] = 400
    enable_pin: Annotated[int, Within(0, 27)] = _pin("ring_enable")
    heartbeat_pin: Annotated[int, Within(0, 27)] = _pin("heartbeat")
    pwm_pin: Annotated[int, Within(0, 27)] = _pin("ring_dimming")
    pwm_channel: Annotated[int, Within(0, 3)] = _channel("ring_dimming")
    pwm: Literal["hardware", "software"] = "hardware"
    # not below 400: the dead-man must not take a bridged pulse for a heartbeat (hardware/circuits)
    pwm_hz: Annotated[float, Within(400, 200_000)] = 20_000.0
    pwm_chip_device: Annotated[str, Length(0, 80)] = ""
    pwm_step_ns: Annotated[int, Within(1, 10_000)] = 20
    clock_error_ppm: Annotated[float, Within(0, 10_000)] = 100.0
    cover_pin: Annotated[int, Within(0, 27)] = _pin("cover_switch")
    longest_lit_s: Annotated[float, Within(1, 3600)] = 600.0
    rest_s: Annotated[float, Within(1, 3600)] = 60.0
    shortest_working_distance_mm: Annotated[float, Within(30, 2000)] = 150.0
    led_temperature: TemperatureSettings = field(default_factory=TemperatureSettings)
    supply: SupplySettings = field(default_factory=SupplySettings)
    cover: CoverSettings = field(default_factory=CoverSettings)
    distance: DistanceSettings = field(default_factory=DistanceSettings)

    def __post_init__(self) -> None:
        if list(self.levels) != sorted(set(self.levels)):
            raise ValueError(f"levels must rise: {list(self.levels)}")
        if self.longest_lease_ms < self.lease_ms:
            raise ValueError(f"longest_lease_ms {self.longest_lease_ms} is below lease_ms {self.lease_ms}")
        if self.pwm == "software" and self.pwm_hz > SOFTWARE_PWM_HZ:
            raise ValueError(f"software PWM allows at most pwm_hz {SOFTWARE_PWM_HZ}, not {self.pwm_hz:g}")


EXAMPLE_RING = Ring(
    leds=8,
    radius_mm=30.0,
    wavelength_nm=770.0,
    fwhm_nm=30.0,
    half_angle_deg=30.0,
    emitter_diameter_mm=3.0,
    radiant_intensity_w_sr=0.2,
)
"""The ring of ``hardware/ring.toml``, its light assumed and modest enough to need no end at the shortest working distance."""


@dataclass(frozen=True)
class ButtonSettings:
    """The one button under one finger."""

    pin: Annotated[int, Within(0, 27)] = _pin("button")
    debounce_ms: Annotated[int, Within(1, 200)] = 20
    hold_ms: Annotated[int, Within(200, 3000)] = 500
    double_press_ms: Annotated[int, Within(100, 1000)] = 350


FEWEST_LIT = 8
"""Between unlit frames: the camera's second opinion on the light needs five frames in one state."""


@dataclass(frozen=True)
class PictureSettings:
    """How the live picture is drawn."""

    contours_percent: Annotated[tuple[float, ...], Within(1, 200), Length(0, 4)] = (20.0, 40.0, 60.0)
    jpeg_quality: Annotated[int, Within(40, 95)] = 80
    smoothing: bool = True
    steadying: Annotated[float, Within(0, 0.9)] = 0.5
    overlay_opacity: Annotated[float, Within(0.1, 1)] = 0.75
    full_scale_percent: Annotated[float, Within(50, 200)] = 120.0
    least_signal_to_noise: Annotated[float, Within(0.5, 20)] = 3.0
    widest_u_percent: Annotated[float, Within(0.5, 50)] = 5.0
    unlit_every: Annotated[int, Within(0, 1000)] = 0

    def __post_init__(self) -> None:
        if 0 < self.unlit_every < FEWEST_LIT:
            raise ValueError(f"unlit_every is 0 (never) or at least {FEWEST_LIT}, not {self.unlit_every}")


@dataclass(frozen=True)
class ExposureSettings:
    """How exposure is chosen before a run; shares of full scale, 0 to 1, are those of the reference's brightest parts."""

    share_before_dye: Annotated[float, Within(0.02, 0.8)] = 0.15
    share_with_dye: Annotated[float, Within(0.1, 0.8)] = 0.6
    prefer: Literal["less light", "short exposure"] = "less light"
    shortest_us: Annotated[float, Within(20, 10_000)] = 200.0
    largest_gain: Annotated[float, Within(1, 64)] = 4.0
    hand_mm_s: Annotated[float, Within(0, 1000)] = 10.0
    blur_px: Annotated[float, Within(0.1, 50)] = 2.0


@dataclass(frozen=True)
class RecordingSettings:
    """Where recordings go, and when to stop for lack of room."""

    directory: Path = Path("/var/lib/tapetum/recordings")
    least_free_mb: Annotated[int, Within(10, 100_000)] = 500
    queue_frames: Annotated[int, Within(2, 120)] = 16
    longest_minutes: Annotated[float, Within(0.1, 600)] = 60.0


@dataclass(frozen=True)
class WebSettings:
    """Where the page is served."""

    host: Annotated[str, Length(1, 100)] = "127.0.0.1"
    port: Annotated[int, Within(0, 65535)] = 8080


@dataclass(frozen=True)
class Settings:
    """The whole, in the sections of the TOML file."""

    camera: CameraSettings = field(default_factory=CameraSettings)
    light: LightSettings = field(default_factory=LightSettings)
    ring: Ring = EXAMPLE_RING
    button: ButtonSettings = field(default_factory=ButtonSettings)
    picture: PictureSettings = field(default_factory=PictureSettings)
    exposure: ExposureSettings = field(default_factory=ExposureSettings)
    recording: RecordingSettings = field(default_factory=RecordingSettings)
    web: WebSettings = field(default_factory=WebSettings)

    def __post_init__(self) -> None:
        light = self.light
        gpio = {
            "ring_enable": light.enable_pin,
            "heartbeat": light.heartbeat_pin,
            "ring_dimming": light.pwm_pin,
            "cover_switch": light.cover_pin,
            "button": self.button.pin,
        }
        for fault in faults(board_pins().moved(gpio, {"ring_dimming": light.pwm_channel})):
            raise ValueError(f"{fault.what}; {fault.remedy}")


def load(vendor: Path, override: Path | None = None) -> Settings:
    """Read the vendor file and lay the override over it, key by key. Raises Refused naming file and key."""
    values = read_toml(vendor)
    filled(Settings, values, str(vendor))
    if override is None:
        return filled(Settings, values, str(vendor))
    changes = read_toml(override)
    filled(Settings, changes, str(override))
    return filled(Settings, _laid_over(values, changes), str(override))


def _laid_over(values: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(values)
    for key, change in changes.items():
        below = values.get(key)
        merged[key] = (
            _laid_over(below, change) if isinstance(below, Mapping) and isinstance(change, Mapping) else change
        )
    return merged


def changed(settings: Settings, **sections: Mapping[str, Any]) -> Settings:
    """Copy with some keys of some sections replaced and checked again; raises Refused like ``load``."""
    return filled(Settings, _laid_over(plain(settings), sections), "settings")
