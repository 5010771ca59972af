"""``recordings check`` and ``recover``: never a success for a file that does not read."""

from __future__ import annotations

import os
import unicodedata

import pytest


def test_check_says_what_is_there(imufeedback, recording):
    done = imufeedback("recordings", "check", recording)
    assert done.status == 0
    assert "whole:" in done.out
    assert "in 100 % of the time" in done.out


def test_check_fails_for_a_file_that_does_not_read(imufeedback, recording, tmp_path):
    (tmp_path / "a.mcap").write_bytes(b"no recording")
    done = imufeedback("recordings", "check", recording, tmp_path / "a.mcap", tmp_path / "none.mcap")
    assert done.status == 1
    assert "a.mcap\n  cannot be read: this is no recording" in done.out
    assert "no such file" in done.out


def test_recover_makes_a_file_that_analyses(imufeedback, recording, tmp_path):
    torn = tmp_path / "torn.mcap"
    torn.write_bytes(recording.read_bytes()[:200_000])
    assert imufeedback("recordings", "check", torn).status == 1
    done = imufeedback("recordings", "recover", torn)
    assert done.status == 0
    assert "torn-recovered.mcap" in done.out
    assert imufeedback("analyse", tmp_path / "torn-recovered.mcap").status == 0


def test_recover_of_nothing_fails(imufeedback, tmp_path):
    (tmp_path / "a.mcap").write_bytes(b"no recording")
    done = imufeedback("recordings", "recover", tmp_path / "a.mcap")
    assert done.status == 1
    assert "not recovered" in done.err
    assert [one.name for one in tmp_path.iterdir()] == ["a.mcap"]


def test_list_edit_and_delete(imufeedback, recording, tmp_path):
    library = tmp_path / "lib"
    library.mkdir()
    path = library / "one.mcap"
    path.write_bytes(recording.read_bytes())
    edited = imufeedback("recordings", "edit", path, "--player", "Ida", "--tag", "good", "--note", "hm", "--discard", 1)
    assert edited.status == 0
    listed = imufeedback("recordings", "list", "--library", library)
    assert "Ida  one rep: " in listed.out
    assert "not checked yet [good]" in listed.out
    assert imufeedback("recordings", "delete-player", "Bo", "--yes", "--library", library).status == 2
    gone = imufeedback("recordings", "delete-player", "Ida", "--yes", "--library", library)
    assert gone.status == 0
    assert gone.out.count("removed") == 2
    assert not list(library.glob("one*"))


def test_a_report_of_a_player_is_kept_beside_the_recordings(imufeedback, recording, tmp_path):
    library = tmp_path / "lib"
    library.mkdir()
    (library / "one.mcap").write_bytes(recording.read_bytes())
    imufeedback("recordings", "edit", library / "one.mcap", "--player", "Ida <b>")
    done = imufeedback("report", "Ida <b>", "--library", library, "--out", tmp_path / "x.html")
    assert done.status == 0, done.err
    assert "Ida &lt;b&gt;" in (tmp_path / "x.html").read_text(encoding="utf-8")
    assert (library / "one.verdicts.json").exists()
    assert "1 reps" in imufeedback("recordings", "list", "--library", library).out
    unknown = imufeedback("report", "Nobody", "--library", library, "--out", tmp_path / "y.html")
    assert unknown.status == 2
    assert "Ida" in unknown.error


@pytest.mark.skipif(os.name != "posix", reason="needs links and pipes")
def test_list_tells_what_cannot_be_read_beside_the_rest(imufeedback, recording, tmp_path):
    (tmp_path / "one.mcap").write_bytes(recording.read_bytes())
    (tmp_path / "one.verdicts.json").write_text("[" * 100_000, encoding="utf-8")
    (tmp_path / "gone.mcap").symlink_to("nowhere")
    (tmp_path / os.fsdecode(b"\xff\xfe.mcap")).write_bytes(b"x")
    os.mkfifo(tmp_path / "pipe.mcap")
    (tmp_path / "lost.edits.jsonl").write_text("", encoding="utf-8")
    done = imufeedback("recordings", "list", "--library", tmp_path)
    assert done.status == 0, done.err
    assert "not checked yet" in done.out
    assert "! its results: cannot be read" in done.out
    assert done.out.count("CANNOT BE READ") == 3
    assert "lost.edits.jsonl: its recording is not there" in done.out


@pytest.mark.skipif(os.name != "posix", reason="needs such a name")
def test_check_and_recover_of_a_name_that_is_no_utf8(imufeedback, recording, tmp_path):
    path = tmp_path / os.fsdecode(b"\xff.mcap")
    path.write_bytes(recording.read_bytes())
    assert imufeedback("recordings", "check", path).status == 0
    done = imufeedback("recordings", "recover", path)
    assert done.status == 0
    assert r"\xff-recovered.mcap" in done.out


@pytest.mark.parametrize("name", ["", " "])
def test_deleting_without_a_name_is_wrong_usage(imufeedback, recording, tmp_path, name):
    (tmp_path / "one.mcap").write_bytes(recording.read_bytes())
    (tmp_path / "broken.mcap").write_bytes(b"x")
    done = imufeedback("recordings", "delete-player", name, "--yes", "--library", tmp_path)
    assert done.status == 2
    assert "a name is needed" in done.error
    assert len(list(tmp_path.glob("*.mcap"))) == 2


def test_delete_finds_the_name_however_it_is_typed_and_the_whole_data_folder(
    imufeedback, recording, tmp_path, monkeypatch
):
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    (tmp_path / "recordings").mkdir()
    (tmp_path / "players").mkdir()
    one = tmp_path / "recordings" / "one.mcap"
    one.write_bytes(recording.read_bytes())
    (tmp_path / "recordings" / "broken.mcap").write_bytes(b"x")
    (tmp_path / "players" / "x.toml").write_text('name = "José"\nnotes = "hip surgery"\n', encoding="utf-8")
    (tmp_path / "players" / "x.reps.json").write_text("{}", encoding="utf-8")
    imufeedback("recordings", "edit", one, "--player", unicodedata.normalize("NFD", "José"))
    done = imufeedback("recordings", "delete-player", " JOSÉ", "--yes")
    assert done.status == 0, done.err
    assert "stays" in done.out
    assert "broken.mcap: it does not say whose it is" in done.out
    left = {path.name for path in tmp_path.rglob("*") if path.is_file()}
    assert {name for name in left if not name.startswith("index.")} == {"broken.mcap"}
