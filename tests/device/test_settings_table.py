"""Settings as lines to be read: every key, with the vendor's own words on it."""

from pathlib import Path

import device
from device.settings_table import comments, setting_lines
from shared.settings import load

VENDOR = Path(device.__path__[0]) / "settings.toml"


def test_every_key_is_there_and_only_what_differs_is_marked(tmp_path):
    override = tmp_path / "settings.toml"
    override.write_text("[light]\nlease_ms = 120\n[light.supply]\nkind = 'absent'\n")
    lines = {(one.section, one.key): one for one in setting_lines(load(VENDOR, override), VENDOR)}
    assert {key for key, one in lines.items() if one.changed} == {("light", "lease_ms"), ("light.supply", "kind")}
    assert lines["light", "lease_ms"].value == "120"
    assert lines["light", "levels"].value == "0.2, 0.4, 0.6, 0.8, 1"
    assert lines["camera", "colour_sensor"].value == "false"
    assert {section for section, _ in lines} >= {"camera", "light", "light.led_temperature.thermistor", "ring", "web"}


def test_the_vendors_comments_come_whole():
    found = comments(VENDOR.read_text())
    assert found["light", "lease_ms"].startswith("light goes dark this long after the last verified frame")
    assert found["exposure", "share_before_dye"].endswith("nobody knows"), "it goes on over two more lines"
    assert found["light.supply", "divider"].startswith('with "converter"')
