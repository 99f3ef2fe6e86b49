"""A small sample of the trials, and of what they are judged by. ``make faults`` runs hundreds."""

import contextlib
import random
from collections.abc import Iterator

import pytest

from shared.protocol.light import Lease
from tests.faults.bench import Bench
from tests.faults.catalogue import FAULTS, Blow
from tests.faults.distribution import p95, table
from tests.faults.fault import Fault
from tests.faults.house import House
from tests.faults.lies import Lie, packets
from tests.faults.trial import Outcome, Rig, tried

BY_NAME = {fault.name: fault for fault in FAULTS}


@pytest.fixture(scope="module")
def bench(tmp_path_factory) -> Iterator[Bench]:
    with contextlib.closing(Bench(tmp_path_factory.mktemp("bench"))) as rig:
        yield rig


@pytest.fixture(scope="module")
def board(tmp_path_factory) -> Iterator[Bench]:
    with contextlib.closing(Bench(tmp_path_factory.mktemp("board"), board=True)) as rig:
        yield rig


@pytest.fixture(scope="module")
def house(tmp_path_factory) -> Iterator[House]:
    with contextlib.closing(House(tmp_path_factory.mktemp("house"))) as rig:
        yield rig


def trial(rig: Rig, *names: str) -> Outcome:
    blow = Blow(tuple(BY_NAME[name] for name in names), 20.0, "", 50.0)
    return tried(rig, blow, 0, random.Random(1))


@pytest.mark.parametrize(
    "names",
    [
        ("imager killed",),
        ("imager stopped 150-1500 ms", "guard's clock ahead 1-40 ms"),
        ("imager replays a lease",),
        ("imager level is nan",),
        ("guard's clock back 30 ms to 1 h",),
        ("guard killed",),
    ],
)
def test_on_the_bench(bench: Bench, names: tuple[str, ...]) -> None:
    assert not trial(bench, *names).violations


def test_on_the_board(board: Bench) -> None:
    assert not trial(board, "enable pin and every file refuse, let go").violations


@pytest.mark.parametrize("name", ["house: camera goes back", "house: supervisor killed"])
def test_in_the_house(house: House, name: str) -> None:
    assert not trial(house, name).violations


def test_a_guard_with_too_long_a_lease_is_found_out(tmp_path) -> None:
    with contextlib.closing(Bench(tmp_path, settings="[light]\nlease_ms = 400\n")) as slow:
        # Frames of a busy machine may be late by themselves, and then the ring is dark before the imager is stopped.
        found = next(one for _ in range(9) if (one := trial(slow, "imager stopped 150-1500 ms")).lit_at_it)
    assert "bound 150 ms" in found.violations[0]


def fault(bound_ms: float | None, guard_ends: bool = False, rig: str = "bench") -> Fault:
    return Fault("one", rig, lambda *_: 0, bound_ms, guard_ends=guard_ends)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("faults", "struck_ms", "allowed_ms"),
    [
        ((fault(150),), [0], 150),
        ((fault(None),), [0], None),
        ((fault(None), fault(150)), [0, 80], 150),  # counted from the one that must darken
        ((fault(150), fault(150)), [0, 80], 150),  # the first bound counts
        ((fault(150), fault(250, guard_ends=True)), [0, 80], 330),  # the guard died before it had to darken
        ((fault(150), fault(250, guard_ends=True)), [0, 200], 150),  # it had to before
        ((fault(250, guard_ends=True), fault(150)), [0, 10], 250),
        ((fault(150, rig="board"), fault(300, rig="board")), [0, 10], 310),
    ],
)
def test_what_two_faults_at_once_are_allowed(faults, struck_ms, allowed_ms) -> None:
    assert Blow(faults, 0.0, "", 0.0).deadline_ms(struck_ms) == allowed_ms


def test_every_fault_has_a_name_of_its_own_and_every_lie_words() -> None:
    assert len(BY_NAME) == len(FAULTS)
    honest = Lease(7, 10**9, 33_333.0, 15_000.0)
    for lie in set(Lie) - {Lie.NONE, Lie.SAYS_NOTHING}:
        assert packets(lie, honest, 8, 2 * 10**9, random.Random(2)), lie


def test_the_table_counts_trials_darks_and_violations() -> None:
    blow = Blow((fault(150),), 0.0, "", 0.0)
    took = [Outcome(n, blow, 150.0, float(n), float(n) + 1, lit_at_it=True) for n in range(1, 101)]
    went_on = Outcome(0, blow, violations=["light for ever"], lit_at_it=True)
    row = next(line for line in table([*took, went_on]).splitlines() if line.startswith("| one"))
    assert row == "| one | 101 | 101 | 100 | 50.5 | 95.0 | 100.0 | 101.0 | 150 | 67 % | 1 |"
    assert p95([3.0]) == 3.0
