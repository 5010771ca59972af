"""``recordings check`` and ``recover``: never a success for a file that does not read."""

from __future__ import annotations


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
    assert "not judged yet [good]" in listed.out
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
