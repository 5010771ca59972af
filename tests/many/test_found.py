"""Which recordings are meant."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.errors import NoRecording
from imufeedback.record.library import Library
from imufeedback.review.many import indexes, recordings


def test_folders_are_searched_and_each_recording_is_taken_once(archive: Path) -> None:
    found = recordings([archive, archive / "b.mcap", archive / "not-there.mcap"])
    assert found == [archive / "ana" / "a.mcap", archive / "b.mcap", archive / "c.mcap", archive / "not-there.mcap"]


def test_a_folder_without_recordings_is_told(tmp_path: Path) -> None:
    with pytest.raises(NoRecording, match="in this folder"):
        recordings([tmp_path])


def test_the_librarys_index_and_a_folders_own(archive: Path, tmp_path: Path) -> None:
    found = recordings([archive])
    assert indexes([archive], found, tmp_path) == [tmp_path]
    assert indexes([archive], found, tmp_path / "elsewhere") == []
    Library(archive).close()
    assert indexes([archive], found, tmp_path / "elsewhere") == [archive]
    assert indexes([archive], found, archive) == [archive]
