"""Vendor settings, and what is laid over them."""

from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest

import device
from shared.bounded import plain, read_toml
from shared.errors import Refused
from shared.pins import board_pins
from shared.settings import Settings, changed, load

VENDOR = Path(device.__path__[0]) / "settings.toml"


def leaves(values: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """Every key with a dot between sections."""
    found: dict[str, Any] = {}
    for key, value in values.items():
        found |= leaves(value, f"{prefix}{key}.") if isinstance(value, dict) else {f"{prefix}{key}": value}
    return found


FROM_THE_PIN_MAP = {
    "light.enable_pin",
    "light.heartbeat_pin",
    "light.pwm_pin",
    "light.pwm_channel",
    "light.cover_pin",
    "button.pin",
}


def test_the_vendor_file_names_every_key_with_its_default_but_for_pins() -> None:
    assert load(VENDOR) == Settings()
    everything = leaves(plain(Settings()))
    assert leaves(read_toml(VENDOR)) == {key: everything[key] for key in everything.keys() - FROM_THE_PIN_MAP}


def test_pins_come_from_the_pin_map_unless_named(tmp_path: Path) -> None:
    pins, settings = board_pins(), Settings()
    assert settings.light.enable_pin == pins["ring_enable"].gpio
    assert settings.light.heartbeat_pin == pins["heartbeat"].gpio
    assert (settings.light.pwm_pin, settings.light.pwm_channel) == (pins["ring_dimming"].gpio, 0)
    assert settings.button.pin == pins["button"].gpio
    override = tmp_path / "settings.toml"
    override.write_text("[light]\nenable_pin = 16\npwm_pin = 13\npwm_channel = 1\n")
    moved = load(VENDOR, override)
    assert (moved.light.enable_pin, moved.light.pwm_pin, moved.light.pwm_channel) == (16, 13, 1)
    assert moved.light.heartbeat_pin == pins["heartbeat"].gpio


def test_every_key_is_explained_or_self_evident() -> None:
    assert {field.name for field in fields(Settings)} == set(read_toml(VENDOR))


def test_an_override_names_only_what_differs(tmp_path: Path) -> None:
    override = tmp_path / "settings.toml"
    override.write_text("[light]\nlease_ms = 60\nlevels = [0.1, 0.9]\n[web]\nhost = '0.0.0.0'\n")
    found, default = load(VENDOR, override), Settings()
    assert (found.light.lease_ms, found.light.levels, found.web.host) == (60, (0.1, 0.9), "0.0.0.0")
    differing = {key for key, value in leaves(plain(found)).items() if value != leaves(plain(default))[key]}
    assert differing == {"light.lease_ms", "light.levels", "web.host"}


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[light]\nlease = 60\n", "unknown key: light.lease"),
        ("[lihgt]\nlease_ms = 60\n", "unknown key: lihgt"),
        ("[light]\nlease_ms = '60'\n", "light.lease_ms must be a whole number: 60"),
        ("[light]\nlease_ms = 60.0\n", "light.lease_ms must be a whole number: 60.0"),
        ("[light]\nlease_ms = 401\n", "light.lease_ms must be from 20 to 400: 401"),
        ("[light]\nhold_to_light = 'yes'\n", "light.hold_to_light must be true or false: yes"),
        ("[light]\nlevels = [0.5, 0.2]\n", "levels must rise: [0.5, 0.2]"),
        ("[light]\nlevels = []\n", "light.levels must have 1 to 12"),
        ("[light]\nlevels = [0.5, 1.1]\n", "light.levels must be from 0.01 to 1: 1.1"),
        ("[light]\nlease_ms = 300\nlongest_lease_ms = 200\n", "longest_lease_ms 200 is below lease_ms 300"),
        ("[light]\nenable_pin = 27\n", "GPIO 27 has two owners, ring_enable and heartbeat"),
        ("[light]\nenable_pin = 4\n", "GPIO 4 has two owners, ring_enable and thermometer"),
        ("[light]\nenable_pin = 6\n", "ring_enable on GPIO 6: not low from reset"),
        ("[light]\npwm_channel = 1\n", "ring_dimming on GPIO 12: channel 1 does not drive this pin; set channel 0"),
        ("[button]\npin = 17\n", "GPIO 17 has two owners, ring_enable and button"),
        ("[camera]\nkind = 'film'\n", "camera.kind is not one of picamera, simulated, replay: film"),
        ("[recording]\nleast_free_mb = 9\n", "recording.least_free_mb must be from 10 to 100000: 9"),
        ("light = 3\n", "light must be a table: 3"),
        ("[light\n", "not valid TOML"),
    ],
)
def test_what_is_wrong_is_named_with_file_key_and_value(tmp_path: Path, text: str, line: str) -> None:
    override = tmp_path / "settings.toml"
    override.write_text(text)
    with pytest.raises(Refused) as refused:
        load(VENDOR, override)
    assert str(override) in refused.value.line
    assert line in refused.value.line


def test_the_lease_never_outlasts_what_the_issue_allows() -> None:
    settings = Settings()
    assert settings.light.lease_ms == 100
    assert settings.light.longest_lease_ms == 400
    for key in ("lease_ms", "longest_lease_ms"):
        with pytest.raises(Refused, match=key):
            changed(settings, light={key: 401})


def test_changed_checks_again_and_leaves_the_first_alone(tmp_path: Path) -> None:
    settings = Settings()
    assert changed(settings, recording={"directory": str(tmp_path)}).recording.directory == tmp_path
    assert settings == Settings()
    with pytest.raises(Refused, match=r"settings: unknown key: recording\.folder"):
        changed(settings, recording={"folder": str(tmp_path)})
