"""What the units promise about light, devices and strangers; read line by line, and judged by systemd's own tools."""

import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.systemd.conftest import PROCESSES, SYSTEMD, Unit

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not here: apt-get install systemd"
)
MODULES = {"light": "device.light", "imager": "device.imager", "web": "web_ui"}


@pytest.mark.parametrize("name", PROCESSES)
def test_each_process_says_when_it_is_ready_and_is_watched_and_restarted(units, name):
    unit = units[name]
    assert unit.one("Type") == "notify"
    assert unit.one("Restart") == "always"
    assert 0 < int(unit.one("WatchdogSec")) <= 30
    assert int(unit.one("StartLimitBurst")) > 0


def test_the_ring_is_made_dark_after_every_end_of_the_guard_with_full_rights(units):
    command = units["light"].one("ExecStopPost")
    assert command.startswith("+/opt/tapetum/venv/bin/python -I -m device.light --dark ")
    assert command.removeprefix("+").replace("--dark ", "") == units["light"].one("ExecStart")


def test_the_guard_can_reach_the_dimmer_and_the_pins_and_nothing_else(units):
    light = units["light"]
    # systemd.exec(5): PrivateDevices= takes device nodes away, ProtectKernelTunables= makes /sys read-only
    assert light.all("PrivateDevices") == light.all("ProtectKernelTunables") == []
    assert light.all("DeviceAllow") == ["char-gpiochip rw"]
    assert light.one("ProtectSystem") == "strict"


def test_only_the_guard_may_write_the_dimmer_and_only_the_imager_may_ask_it_for_light(units):
    assert {name for name, unit in units.items() if "tapetum-pwm" in unit.groups} == {"light"}
    assert {name for name, unit in units.items() if "tapetum-light" in unit.groups} == {"light", "imager"}
    assert {name for name, unit in units.items() if "tapetum-control" in unit.groups} == {"imager", "web"}
    assert len({unit.one("User") for unit in units.values()}) == len(PROCESSES)


def test_the_page_has_no_device_at_all_and_reads_recordings_only(units):
    web = units["web"]
    assert web.one("PrivateDevices") == "yes"
    assert web.all("DeviceAllow") == []
    assert web.groups == {"tapetum-control", "tapetum"}
    assert web.one("ReadWritePaths") == "/run/tapetum"
    assert web.all("StateDirectory") == ["tapetum-web"], "its certificate's keys, and nothing of a patient"
    assert web.one("StateDirectoryMode") == "0700"


@pytest.mark.parametrize(("name", "families"), [("light", {"AF_UNIX"}), ("imager", {"AF_UNIX", "AF_NETLINK"})])
def test_guard_and_imager_have_no_network(units, name, families):
    assert set(units[name].one("RestrictAddressFamilies").split()) == families
    assert units[name].one("PrivateNetwork") == "yes"
    assert units[name].one("IPAddressDeny") == "any"


@pytest.mark.parametrize("name", PROCESSES)
def test_no_process_can_gain_rights(units, name):
    unit = units[name]
    assert unit.one("NoNewPrivileges") == "yes"
    assert unit.one("CapabilityBoundingSet") == ""
    assert unit.one("DevicePolicy") == "closed"
    assert unit.one("ProtectSystem") == "strict"


def test_the_target_wants_all_three_and_each_stops_with_it(units):
    target = Unit.read(SYSTEMD / "tapetum.target")
    assert set(target.one("Wants").split()) == {f"tapetum-{name}.service" for name in PROCESSES}
    assert {unit.one("PartOf") for unit in units.values()} == {"tapetum.target"}
    assert target.one("WantedBy") == "multi-user.target"


@pytest.mark.parametrize("name", PROCESSES)
def test_commands_use_options_that_the_programs_have(units, name):
    module = MODULES[name]
    if importlib.util.find_spec(f"{module}.__main__") is None:
        pytest.skip(f"{module} is not a program yet")
    done = subprocess.run(
        [sys.executable, "-I", "-m", module, "--help"], capture_output=True, text=True, check=True, timeout=60
    )
    commands = units[name].all("ExecStart") + units[name].all("ExecStopPost")
    options = {word for command in commands for word in command.split() if word.startswith("--")}
    assert f" -m {module} " in commands[0]
    assert {option for option in options if option not in done.stdout} == set()


@needs_systemd
def test_systemd_finds_nothing_wrong(installed):
    done = _verified(installed)
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@needs_systemd
def test_systemd_would_find_a_key_that_it_does_not_know(installed):
    path = installed / "etc/systemd/system/tapetum-web.service"
    path.write_text(path.read_text() + "PrivateDevises=yes\n")
    assert "PrivateDevises" in _verified(installed).stderr


@needs_systemd
@pytest.mark.parametrize("name", PROCESSES)
def test_systemd_calls_the_exposure_low(installed, name):
    # systemd-analyze(1): exposure from 0 to 10; the threshold is ten times that
    command = ["systemd-analyze", "security", f"--root={installed}", "--offline=true", "--threshold=20"]
    done = subprocess.run(
        [*command, f"tapetum-{name}.service"], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stdout[-400:] + done.stderr


@pytest.mark.skipif(shutil.which("systemd-sysusers") is None, reason="no systemd-sysusers: apt-get install systemd")
def test_systemd_makes_every_user_and_group_that_the_units_name(installed, units):
    (installed / "etc").mkdir(exist_ok=True)
    subprocess.run(
        ["systemd-sysusers", f"--root={installed}", "tapetum.conf"], check=True, capture_output=True, timeout=60
    )
    users = {line.split(":")[0] for line in (installed / "etc/passwd").read_text().splitlines()}
    groups = {line.split(":")[0] for line in (installed / "etc/group").read_text().splitlines()}
    assert {unit.one("User") for unit in units.values()} <= users
    assert set.union(*(unit.groups for unit in units.values())) <= groups


def _verified(root: Path) -> subprocess.CompletedProcess[str]:
    command = ["systemd-analyze", "verify", f"--root={root}", "--recursive-errors=no"]
    names = [f"tapetum-{name}.service" for name in PROCESSES] + ["tapetum.target"]
    return subprocess.run([*command, *names], capture_output=True, text=True, check=False, timeout=60)
