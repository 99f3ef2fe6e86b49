"""No single broken part, open or short, lets the ring stay lit when the beats have stopped."""

import csv

import pytest

from tests.hardware.circuits import bench
from tests.hardware.circuits.faults import TABLE, Fault, row, single_faults, verdict

LATEST_MS = 250
WORST_LED_A = 1.7
"""Most that any single fault drives through an LED while lit; README.md says what that means."""

FAULTS = {(fault.part, fault.what): fault for fault in single_faults()}
TELLING = [
    ("Q01", "drain to source"),
    ("Q02", "drain to source"),
    ("R108", "open"),
    ("C202", "short"),
    ("U101b", "out to ground"),
    ("U201b", "plus to ground"),
    ("U02", "out to ground"),
    ("Q03", "drain open, drifts low"),
    ("Q301", "drain to source"),
    ("R301", "short"),
    ("U03a", "out to supply"),
    ("U01", "cathode open, drifts high"),
    ("lines", "heartbeat bridged to pulses"),
    ("lines", "ground wire open"),
]


def table():
    with TABLE.open() as file:
        return {(line["part"], line["fault"]): line for line in csv.DictReader(file)}


def test_every_part_has_its_faults_in_the_table():
    assert table().keys() == FAULTS.keys()
    parts = {part.designator for part in bench.BOARD.elements if part.designator[1:-2] not in ("4", "5", "6")}
    assert {name.rstrip("abcd") for name, _what in FAULTS} == parts | {"lines"}


def test_the_table_says_that_every_single_fault_goes_dark():
    for key, line in table().items():
        assert float(line["dark_after_last_edge_ms"]) < LATEST_MS, key
        assert float(line["brightest_led_a"]) < WORST_LED_A, key


def test_an_unbroken_ring_obeys_every_line(tmp_path):
    found = verdict(tmp_path, Fault("none", "none", bench.BOARD.elements))
    assert found.lights
    assert found.enable_darkens
    assert found.pulses_darken
    assert 80 < found.dark_ms < LATEST_MS


@pytest.mark.parametrize("key", TELLING, ids=" ".join)
def test_a_telling_fault_is_as_the_table_says(tmp_path, key):
    assert row(FAULTS[key], verdict(tmp_path, FAULTS[key])) == list(table()[key].values())


def test_two_faults_one_in_each_channel_do_stay_lit(tmp_path):
    """Why a channel must be tested by itself now and then; and proof that this test would see light that stays."""
    switch, wish = ("Rone supply fused 10m", "Rtwo allowed fused 10m")
    found = verdict(tmp_path, Fault("Q01 and Q02", "both shorted", (*bench.BOARD.elements, switch, wish)))
    assert found.dark_ms < 0


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_the_whole_table_is_what_the_simulation_gives(tmp_path):
    assert {key: row(fault, verdict(tmp_path, fault)) for key, fault in FAULTS.items()} == {
        key: list(line.values()) for key, line in table().items()
    }
