"""The small parent, with tiny real children."""

import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest

from device import supervisor as room
from device.supervisor import Child, Supervisor
from shared.errors import Refused

PATIENCE_S = 20.0
STAYING = "import signal, sys; signal.signal(signal.SIGTERM, lambda *_: sys.exit(0)); {first}; signal.pause()"


class Bench:
    """Children that write what they do into one file, and a supervisor over them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.diary = folder / "diary"
        self.diary.touch()
        self.notes: list[str] = []
        self.children: list[Child] = []
        self.supervisor: Supervisor | None = None

    def over(self, **programs: str) -> Supervisor:
        """A supervisor over children with these programs; ``note(text)`` in them adds a line to the diary."""
        head = f"import os\ndef note(text): fd = os.open({str(self.diary)!r}, os.O_APPEND | os.O_WRONLY); "
        head += "os.write(fd, (text + '\\n').encode()); os.close(fd)\n"
        self.children = [Child(name, ["-c", head + program]) for name, program in programs.items()]
        self.supervisor = Supervisor(self.children, self.notes.append, self.folder)
        return self.supervisor

    @property
    def lines(self) -> list[str]:
        return self.diary.read_text().splitlines()

    def run_until(self, holds: Callable[[], bool]) -> None:
        """Run the supervisor, which wants the main thread to itself, until that holds; another thread looks."""
        assert self.supervisor is not None
        watched = self.supervisor
        seen = threading.Event()

        def look() -> None:
            deadline, pause = time.monotonic() + PATIENCE_S, threading.Event()
            while time.monotonic() < deadline and not holds():
                pause.wait(0.005)
            if holds():
                seen.set()
            watched.request_stop()

        looker = threading.Thread(target=look, name="looker")
        looker.start()
        watched.run(PATIENCE_S)
        looker.join()
        assert seen.is_set(), (self.notes, self.lines)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    one = Bench(tmp_path)
    yield one
    if one.supervisor is not None:
        one.supervisor.stop()


def staying(first: str = "pass") -> str:
    """A child that stays until it is asked to end."""
    return STAYING.format(first=first)


def test_the_first_line_of_a_child_is_waited_for(bench: Bench) -> None:
    one = bench.over(quiet=staying(), web=staying("print('{\"url\": 1}', flush=True)"))
    one.start()
    assert one.wait_line("web", PATIENCE_S) == '{"url": 1}'
    assert one.wait_until(lambda: True, "web", PATIENCE_S)


def test_a_stop_asked_for_ends_the_waiting(bench: Bench) -> None:
    one = bench.over(web=staying())
    one.start()
    one.request_stop(signal.SIGTERM, None)
    assert one.wait_line("web", PATIENCE_S) is None
    assert not one.wait_until(lambda: False, "web", PATIENCE_S)


def test_what_is_not_ready_in_time_is_one_line(bench: Bench) -> None:
    one = bench.over(web=staying())
    one.start()
    with pytest.raises(Refused, match=r"web was not ready within 0\.05 s; try again"):
        one.wait_line("web", 0.05)


def test_a_long_wait_says_how_long_it_has_been(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "SAY_EVERY_S", 0.02)
    one = bench.over(web=staying())
    one.start()
    with pytest.raises(Refused):
        one.wait_line("web", 0.1)
    assert bench.notes[0] == "still waiting for web after 0 s"


@pytest.mark.parametrize(
    ("program", "line"),
    [
        ("import sys; print('imager: no such file: x; check', file=sys.stderr); sys.exit(2)", "no such file: x; check"),
        ("import sys; print('port is taken: 80; other', file=sys.stderr); sys.exit(2)", "port is taken: 80; other"),
        ("raise SystemExit('the lens: fell off')", "imager ended (exit 1): the lens: fell off"),
        ("import os; os.kill(os.getpid(), 9)", "imager ended (signal SIGKILL): no message"),
        ("pass", "imager ended (exit 0): no message"),
    ],
)
def test_a_child_that_ends_before_it_is_ready_is_one_line(bench: Bench, program: str, line: str) -> None:
    noisy = staying("print('web: INFO all is well', file=sys.stderr, flush=True)")
    one = bench.over(web=noisy, imager=program)
    one.start()
    with pytest.raises(Refused) as refused:
        one.wait_line("web", PATIENCE_S)
    assert refused.value.line == line


def test_a_child_that_dies_is_started_again_and_the_pause_grows(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "RESTART_PAUSE_S", 0.01)
    monkeypatch.setattr(room, "LONGEST_PAUSE_S", 0.04)
    one = bench.over(guard=staying("note('guard')"), imager="note('imager'); raise SystemExit(3)")
    bench.children[1].pause_s = 0.01
    one.start()
    pauses: list[float] = []

    def four_starts() -> bool:
        if not pauses or bench.children[1].pause_s != pauses[-1]:
            pauses.append(bench.children[1].pause_s)
        return bench.lines.count("imager") >= 4

    bench.run_until(four_starts)
    assert bench.lines.count("guard") == 1
    assert bench.notes[0] == "imager ended (exit 3), starting it again"
    assert bench.children[1].restarts >= 3
    assert pauses == sorted(pauses)
    assert pauses[-1] == 0.04


def test_a_child_that_ran_well_for_long_is_started_again_soon(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "STEADY_AFTER_S", -1.0)
    monkeypatch.setattr(room, "RESTART_PAUSE_S", 0.01)
    one = bench.over(imager="note('imager')")
    bench.children[0].pause_s = 5.0
    one.start()
    bench.run_until(lambda: bench.lines.count("imager") >= 2)
    assert bench.children[0].pause_s == 0.01


def test_all_are_asked_to_end_in_the_order_of_their_start_and_are_gone(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    one = bench.over(guard=staying("print(1, flush=True)"), imager=staying("print(1, flush=True)"))
    one.start()
    for child in bench.children:
        assert one.wait_line(child.name, PATIENCE_S) == "1"
        assert child.process is not None
        end = child.process.terminate
        monkeypatch.setattr(child.process, "terminate", lambda n=child.name, e=end: (asked.append(n), e()))
    processes = [child.process for child in bench.children]
    one.stop()
    assert asked == ["guard", "imager"]
    assert [process.returncode for process in processes if process is not None] == [0, 0]
    assert bench.notes == []


def test_a_child_that_does_not_listen_is_killed(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "STOP_PATIENCE_S", 0.05)
    deaf = (
        "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(1, flush=True)\nwhile True: signal.pause()"
    )
    one = bench.over(deaf=deaf)
    one.start()
    assert one.wait_line("deaf", PATIENCE_S) == "1"
    process = bench.children[0].process
    assert process is not None
    one.stop()
    assert process.returncode == -signal.SIGKILL
    assert bench.notes == ["deaf did not stop, killing it"]


def test_children_end_with_a_parent_that_was_killed(tmp_path: Path) -> None:
    program = f"""
import sys
from pathlib import Path
from device.supervisor import Child, Supervisor
child = Child("guard", ["-c", {staying("print(1, flush=True)")!r}])
one = Supervisor([child], print, Path({str(tmp_path)!r}))
one.start()
one.wait_line("guard", 20)
print(child.process.pid, flush=True)
one.run()
"""
    with psutil.Popen([sys.executable, "-c", program], stdout=-1) as parent:
        guard = psutil.Process(int(parent.stdout.readline()))
        parent.kill()
        parent.wait(PATIENCE_S)
        psutil.wait_procs([guard], PATIENCE_S)
        assert not guard.is_running() or guard.status() == psutil.STATUS_ZOMBIE
