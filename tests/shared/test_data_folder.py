"""A folder in which nothing can be written is refused before anything is measured for it."""

import os
from pathlib import Path

import pytest

from shared.data_folder import writable
from shared.errors import Refused


def test_a_folder_is_made_and_may_be_there(tmp_path: Path) -> None:
    for _ in range(2):
        assert writable(tmp_path / "calibration" / "camera").is_dir()


def test_where_it_cannot_be_written_it_says_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "calibration").write_text("a file where a folder should be")
    with pytest.raises(Refused, match=r"cannot be written.*as the user the device runs as"):
        writable(tmp_path / "calibration" / "camera")


def test_a_folder_of_someone_else_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda _path, _mode: False)  # root may write anywhere
    with pytest.raises(Refused, match="Permission denied"):
        writable(tmp_path)
