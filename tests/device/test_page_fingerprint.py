"""What a person compares with the tablet is what the page's process left in the run folder."""

import json
from pathlib import Path

from click.testing import CliRunner

from device.cli.status import command
from tests.web_ui.fake_device import FakeDevice

FINGERPRINT = "C1:30:38"


def said(run_folder: Path, *options: str) -> str:
    done = CliRunner().invoke(command, ["--run-dir", str(run_folder), *options])
    assert done.exit_code == 0, done.output
    return done.output


def test_status_says_the_fingerprint_where_the_page_is_encrypted(tmp_path: Path) -> None:
    with FakeDevice(tmp_path):
        assert "fingerprint" not in said(tmp_path)
        assert json.loads(said(tmp_path, "--json"))["page_fingerprint"] is None
        (tmp_path / "fingerprint").write_text(f"{FINGERPRINT}\n")
        assert f"page         fingerprint for tablets {FINGERPRINT}" in said(tmp_path)
        assert json.loads(said(tmp_path, "--json"))["page_fingerprint"] == FINGERPRINT
