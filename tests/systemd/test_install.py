"""The installer, below a folder; and the script that hands out PWM channels, on a tree shaped like the kernel's."""

import grp
import os
import re
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from shared.settings import Settings
from tests.systemd.conftest import SYSTEMD, install


def test_a_second_run_changes_nothing(installed):
    before = {path: path.stat().st_mtime_ns for path in installed.rglob("*")}
    done = install(installed)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert {path: path.stat().st_mtime_ns for path in installed.rglob("*")} == before


def test_a_file_that_was_spoilt_is_replaced_and_said(installed):
    unit = installed / "etc/systemd/system/tapetum-light.service"
    unit.write_text("")
    assert install(installed).stdout == "installed /etc/systemd/system/tapetum-light.service\n"
    assert unit.read_bytes() == (SYSTEMD / "tapetum-light.service").read_bytes()


def test_what_the_builder_set_is_kept(installed):
    for name in ("settings.toml", "web.conf"):
        (installed / "etc/tapetum" / name).write_text("# mine\n")
    assert install(installed).stdout == ""
    for name in ("settings.toml", "web.conf"):
        assert (installed / "etc/tapetum" / name).read_text() == "# mine\n"


@pytest.mark.parametrize(
    ("options", "line"),
    [
        (["--rot", "x"], "install.sh: unknown option: --rot; known: --root DIR, --files-only\n"),
        (["--root"], "install.sh: --root names no folder; write --root DIR\n"),
        (["--root", "/no/such"], "install.sh: no such folder: /no/such; make it first\n"),
    ],
)
def test_wrong_options_are_refused_in_one_line(options, line):
    done = subprocess.run(
        [str(SYSTEMD / "install.sh"), *options], capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.returncode, done.stdout, done.stderr) == (2, "", line)


@pytest.mark.parametrize("script", ["install.sh", "pwm-permissions.sh"])
def test_scripts_parse_in_the_plain_shell(script):
    shell = shutil.which("dash") or "sh"
    subprocess.run([shell, "-n", str(SYSTEMD / script)], check=True, timeout=60)
    assert os.access(SYSTEMD / script, os.X_OK)


def test_everything_in_the_folder_is_installed(installed):
    contents = {path.read_bytes() for path in installed.rglob("*") if path.is_file()}
    left = {path.name for path in SYSTEMD.iterdir() if path.is_file() and path.read_bytes() not in contents}
    assert left == {"install.sh"}


def test_the_boot_lines_fit_the_vendor_settings():
    settings = Settings()
    lines = [line for line in (SYSTEMD / "boot-config.txt").read_text().splitlines() if not line.startswith("#")]
    assert "dtparam=strict_gpiod" in lines
    assert f"gpio={settings.light.enable_pin},{settings.light.heartbeat_pin}=ip,pd" in lines
    assert f"gpio={settings.button.pin}=ip,pu" in lines
    (overlay,) = [line for line in lines if line.startswith("dtoverlay=pwm")]
    # overlays README of the board's firmware: GPIO 12 is PWM0 by alternate function 0, whose code is 4
    assert overlay == "dtoverlay=pwm,pin=12,func=4"
    assert settings.light.pwm_channel == 0
    pins = [settings.light.enable_pin, settings.light.heartbeat_pin, settings.button.pin]
    assert 12 not in pins


def _chip(root: Path, number: int, channels: int, exported: int) -> Path:
    chip = root / f"sys/class/pwm/pwmchip{number}"
    chip.mkdir(parents=True)
    (chip / "npwm").write_text(f"{channels}\n")
    for name in ("export", "unexport"):
        (chip / name).write_text("")
        (chip / name).chmod(0o200)
    for channel in range(exported):
        folder = chip / f"pwm{channel}"
        folder.mkdir()
        for name in ("enable", "duty_cycle", "period", "polarity"):
            (folder / name).write_text("0\n")
            (folder / name).chmod(0o644)
    return chip


def test_pwm_channels_are_handed_to_one_group(tmp_path):
    chip = _chip(tmp_path, 0, channels=2, exported=1)
    _chip(tmp_path, 4, channels=0, exported=0)
    others = [group for group in os.getgroups() if group != os.getgid()]
    group = grp.getgrgid(others[0] if others else os.getgid()).gr_name
    for _ in range(2):
        subprocess.run([str(SYSTEMD / "pwm-permissions.sh"), group, str(tmp_path)], check=True, timeout=60)
    assert re.fullmatch("1\n", (chip / "export").read_text()), "the channel that was not there yet is exported"
    for path in [chip / "export", chip / "unexport", *(chip / "pwm0").iterdir()]:
        assert path.group() == group
        assert stat.S_IMODE(path.stat().st_mode) & 0o022 == 0o020, "the group may write, others may not"


def test_no_pwm_chip_at_all_is_left_to_the_guard_to_report(tmp_path):
    subprocess.run([str(SYSTEMD / "pwm-permissions.sh"), "root", str(tmp_path)], check=True, timeout=60)
