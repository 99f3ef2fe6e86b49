"""The file of a light output measurement: what is kept, found again, refused."""

import errno
import json
import os
from dataclasses import replace

import pytest

from shared.bounded import plain
from shared.errors import Refused
from shared.optics.light_output import FOLDER, LevelOutput, LightOutput, former_again, keep, newest

DROOPING = tuple(
    LevelOutput(level, level * (1 - 0.15 * level) / 0.85, 1e-4, 300 * level, 300 * level) for level in (0.25, 0.5, 1.0)
)
MEASURED = LightOutput(
    made_at="2026-11-25T10:00:00Z",
    ring="handheld",
    camera="fake",
    exposure_us=15_000.0,
    gain=1.0,
    region="middle:10,10,10,10",
    recording="2026-11-25T09-59-50Z_light-output",
    levels=DROOPING,
)


def test_the_one_before_the_newest_is_kept_once_more_with_its_evidence(tmp_path):
    keep(tmp_path, MEASURED, "sequence,counts\n1,2\n")
    with pytest.raises(Refused, match="before the newest"):
        former_again(tmp_path, "handheld", "2026-11-27T10:00:00Z")
    keep(tmp_path, replace(MEASURED, made_at="2026-11-26T10:00:00Z", gain=2.0), "")
    keep(tmp_path, replace(MEASURED, made_at="2026-11-26T11:00:00Z", ring="another"), "")
    path = former_again(tmp_path, "handheld", "2026-11-27T10:00:00Z")
    assert newest(tmp_path, "handheld") == replace(MEASURED, made_at="2026-11-27T10:00:00Z")
    assert path.with_suffix(".csv").read_text() == "sequence,counts\n1,2\n"


def test_what_is_kept_is_found_again_with_its_evidence_beside_it(tmp_path):
    path = keep(tmp_path, MEASURED, "sequence,counts\n1,2\n")
    assert path == tmp_path / FOLDER / "2026-11-25T10-00-00Z.json"
    assert path.with_suffix(".csv").read_text() == "sequence,counts\n1,2\n"
    assert newest(tmp_path, "handheld") == MEASURED
    assert sorted(file.name for file in path.parent.iterdir()) == [f"{path.stem}.csv", f"{path.stem}.json"]


def test_the_newest_of_the_right_ring_counts_and_taking_it_away_goes_back(tmp_path):
    keep(tmp_path, MEASURED, "")
    later = keep(tmp_path, replace(MEASURED, made_at="2027-01-02T10:00:00Z"), "")
    keep(tmp_path, replace(MEASURED, made_at="2027-02-02T10:00:00Z", ring="simulated, droop 0.15"), "")
    assert newest(tmp_path, "handheld").made_at == "2027-01-02T10:00:00Z"
    assert newest(tmp_path, "another") is None
    later.unlink()
    assert newest(tmp_path, "handheld") == MEASURED
    assert newest(tmp_path / "nowhere", "handheld") is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"version": 2}, "version must be from 1 to 1: 2"),
        ({"levels": [plain(DROOPING[0])]}, "levels must have 2 to 100"),
        ({"levels": [plain(one) for one in reversed(DROOPING)]}, "does not rise from level 1 to 0.5"),
        ({"colour": "red"}, "unknown key: colour"),
    ],
)
def test_a_damaged_or_foreign_file_is_refused_by_name(tmp_path, change, words):
    path = keep(tmp_path, MEASURED, "")
    path.write_text(json.dumps({**plain(MEASURED), **change}))
    with pytest.raises(Refused, match=words) as refused:
        newest(tmp_path, "handheld")
    assert path.name in refused.value.line


def test_the_table_begins_in_the_dark_and_rises():
    assert MEASURED.table[0] == (0.0, 0.0)
    assert list(MEASURED.table) == sorted(MEASURED.table, key=lambda pair: pair[1])
    assert MEASURED.table[2] == pytest.approx((0.5, 0.54412), abs=1e-5)


def test_a_file_cut_off_is_refused(tmp_path):
    path = keep(tmp_path, MEASURED, "")
    path.write_text(path.read_text()[:40])
    with pytest.raises(Refused, match=r"cannot be read.*measure again"):
        newest(tmp_path, "handheld")


def test_a_disk_that_takes_nothing_is_said(tmp_path, monkeypatch):
    def full(_path, _content):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("shared.optics.light_output.replace_file", full)
    with pytest.raises(Refused, match=r"No space left.*see that there is room"):
        keep(tmp_path, MEASURED, "")
