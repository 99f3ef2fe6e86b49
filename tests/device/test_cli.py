"""The command line as people and scripts meet it: help that reads well, and one line with exit status 2 for what is wrong."""

import json
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from device.cli import _COMMANDS, _MODULES, main
from device.cli.running import condition_lines
from device.demo import free_port
from shared.protocol.light import ConditionState

COMMANDS = sorted(_COMMANDS)
LONGEST_LINE = 112


def said(*words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of ``tapetum`` with these words."""
    monkeypatch.setattr(sys, "argv", ["tapetum", *words])
    monkeypatch.setenv("COLUMNS", "110")
    with pytest.raises(SystemExit) as ended:
        main()
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def refusal(*words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """The one line with which that is refused."""
    code, out, err = said(*words, monkeypatch=monkeypatch, capsys=capsys)
    assert (code, out) == (2, "")
    (line,) = err.splitlines()
    assert line.startswith("tapetum: ")
    return line


def test_every_file_is_a_command_and_is_listed() -> None:
    folder = Path(sys.modules["device.cli"].__path__[0])
    files = {path.stem for path in folder.glob("*.py")} - {
        "__init__",
        "running",
        "percent_done",
        "progress",
        "share_done",
        "asked_regions",
        "figure_words",
        "number",
    }
    assert files == {_MODULES.get(name, name.replace("-", "_")) for name in COMMANDS}


@pytest.mark.parametrize("words", [(), ("--help",), ("-h",)])
def test_the_first_help_lists_every_command(
    words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(*words, monkeypatch=monkeypatch, capsys=capsys)
    assert (code, err) == (0, "")
    assert "Not a certified medical device" in out
    assert all(f"\n  {name} " in out for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_reads_well(name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(name, "--help", monkeypatch=monkeypatch, capsys=capsys)
    assert (code, err) == (0, "")
    assert out.startswith(f"Usage: tapetum {name} ")
    words = out.partition("Options:")[0].partition("\n\n")[2].split()
    assert words[0][0].isupper()
    assert words[-1].endswith(".")
    assert "--json" in out
    assert max(map(len, out.splitlines())) <= LONGEST_LINE
    for line in out.partition("Options:")[2].splitlines():
        if line.startswith("  -"):
            assert len(line.split("  ")) > 2 or len(line) < 40, f"an option without words: {line}"


@pytest.mark.parametrize("name", ["light", "demo", "run"])
def test_what_drives_the_ring_cautions(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = said(name, "--help", monkeypatch=monkeypatch, capsys=capsys)
    assert "do not stare" in " ".join(out.split()).lower() or "nothing that can dazzle anyone" in " ".join(out.split())


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("dmeo",), "no such command 'dmeo'; see tapetum --help"),
        (("demo", "--sceen", "flap"), "--sceen"),
        (("demo", "--port", "99999"), "99999 is not in the range 0<=x<=65534"),
        (("demo", "--seconds", "soon"), "'soon' is not a valid float"),
        (("demo", "--scene", "flap", "--replay", "x"), "--scene and --replay exclude each other"),
        (("simulate",), "missing option '--scene'"),
        (("light", "blink"), "'blink' is not one of"),
        (("record",), "missing argument"),
        (("analyse", "/nowhere/flap.zarr"), "no such recording: /nowhere/flap.zarr"),
        (("export", "/nowhere/flap.zarr", "/tmp"), "no such recording: /nowhere/flap.zarr"),
        (("recordings", "/nowhere"), "no such folder of recordings: /nowhere"),
        (("simulate", "--scene", "flap", "--out", "a.zarr", "--seconds", "nan"), "nan is not an ordinary number"),
        (("import", "clip.tif", "--out", "a.zarr", "--gamma", "nan"), "nan is not an ordinary number"),
        (("demo", "--seconds", "inf"), "inf is not an ordinary number"),
        (("calibrate", "sensitivity", "--yes", "--concentrations", "0,nan"), "numbers with commas between: 0,nan; for"),
        (("export", "/nowhere/flap.zarr", "/tmp", "--as", "gif"), "no such export format: gif; choose from csv"),
    ],
)
def test_what_is_wrong_is_one_line_with_the_value(
    words: tuple[str, ...], line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = refusal(*words, monkeypatch=monkeypatch, capsys=capsys)
    assert line in found
    assert ".;" not in found


@pytest.mark.parametrize("words", [("status",), ("light", "on"), ("record", "start"), ("check",)])
def test_without_a_device_there_is_one_line(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    line = refusal(*words, "--run-dir", str(tmp_path), monkeypatch=monkeypatch, capsys=capsys)
    assert f"no device is running here: {tmp_path}/control.sock" in line
    assert "tapetum demo" in line


@pytest.mark.parametrize("words", [("status",), ("light", "on"), ("record", "stop")])
def test_a_socket_that_nobody_serves_is_one_line(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.socket(socket.AF_UNIX) as left_behind:
        left_behind.bind(str(tmp_path / "control.sock"))
    line = refusal(*words, "--run-dir", str(tmp_path), monkeypatch=monkeypatch, capsys=capsys)
    assert "the imager does not answer" in line


def test_recordings_as_json(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said("recordings", str(tmp_path), "--json", monkeypatch=monkeypatch, capsys=capsys)
    assert (code, err) == (0, "")
    assert json.loads(out) == {"folder": str(tmp_path), "recordings": [], "problems": []}


def demo(folder: Path, *words: str) -> str:
    """The one line with which a demo is refused; no recording was begun."""
    command = [sys.executable, "-m", "device", "demo", "--json", "--data", str(folder / "data"), *words]
    environment = {"PATH": "/usr/bin:/bin", "HOME": str(folder)}
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, env=environment, check=False)
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    (line,) = done.stderr.splitlines()
    assert not list((folder / "data").glob("recordings/*"))
    return line


def test_a_demo_with_a_bad_scene_names_file_and_key(tmp_path: Path) -> None:
    scene = tmp_path / "pier.toml"
    scene.write_text("[camera]\nwidth = 12\n")
    line = demo(tmp_path, "--scene", str(scene), "--port", "0")
    assert line == f"tapetum: {scene}: camera.width must be from 64 to 4096: 12; choose a value inside"


def test_a_demo_with_bad_settings_names_file_and_key(tmp_path: Path) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("[light]\nlease = 100\n")
    line = demo(tmp_path, "--settings", str(settings), "--port", "0")
    assert line.startswith(f"tapetum: {settings}: unknown key: light.lease; known here: ")


def test_a_demo_on_a_busy_port_names_it(tmp_path: Path) -> None:
    with socket.socket() as busy:
        port = free_port("127.0.0.1")
        busy.bind(("127.0.0.1", port))
        busy.listen()
        line = demo(tmp_path, "--port", str(port), "--scene", "nodes")
    assert f"cannot serve the page on 127.0.0.1:{port} (" in line, line
    assert "choose another --port" in line


def test_a_demo_that_cannot_keep_anything_says_so(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("not a folder")
    command = [sys.executable, "-m", "device", "demo", "--data", str(tmp_path / "data"), "--port", "0", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert done.stderr == f"tapetum: {tmp_path}/data: cannot be made (File exists); choose another folder\n"


def test_conditions_are_lines_with_value_and_limit_or_a_sentence() -> None:
    lines = condition_lines(
        (
            ConditionState("frames fresh", "holds"),
            ConditionState("LED temperature", "holds", "", 41.24, 60.0, "°C"),
            ConditionState("cover", "missing", "the ring's cover is open: close it"),
            ConditionState("distance", "absent", "no distance sensor is fitted: nothing watches it"),
        )
    )
    assert lines == [
        "ok       frames fresh",
        "ok       LED temperature: 41.24 °C (limit 60 °C)",
        "MISSING  cover: the ring's cover is open: close it",
        "absent   distance: no distance sensor is fitted: nothing watches it",
    ]
