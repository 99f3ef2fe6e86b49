"""Recordings of commissioning are told from a patient's by their case codes."""

from pathlib import Path

import pytest

from device.commissioning.cases import CHECK, LIGHT_OUTPUT, case_of, of_a_patient
from shared.recording.names import checked_case

STEPS = ("dark", "gain", "sensitivity")


@pytest.mark.parametrize("case", [CHECK, LIGHT_OUTPUT, *map(case_of, STEPS), "check-2"])
def test_those_of_commissioning_are_no_patients(case):
    assert checked_case(case) == case
    assert of_a_patient(Path(f"/d/2026-11-25T10-00-00Z_{case}.zarr")) is None


@pytest.mark.parametrize("name", ["2026-11-25T10-00-00Z", "2026-11-25T10-00-00Z_K7", "2026-11-25T10-00-00Z_K-check"])
def test_all_others_are(name):
    path = Path(f"/d/{name}.zarr")
    assert of_a_patient(path) == path
    assert of_a_patient(None) is None
