"""One bad file never hides the others, and is never read wrongly without a word."""

from __future__ import annotations

import json
import os
import shutil
import zlib
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import structs

from imufeedback.document import Document, RuleFinding
from imufeedback.measure.archive import make_rep
from imufeedback.measure.edges import bad
from imufeedback.measure.edges.library import library_cases, make_session
from imufeedback.record.library import Library, places
from imufeedback.record.library.edits import add_edit, read_edits
from imufeedback.record.library.verdicts import KeptVerdict, add_verdict, look
from imufeedback.records import Verdict

ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(bad.WORDS), inner, max_size=5),
    max_leaves=12,
)
MANY = settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(name="session")
def one_session(tmp_path: Path) -> Path:
    return make_session(tmp_path / "Ida" / "0.mcap", "Ida", 0, np.random.default_rng(1))


def listed(root: Path) -> tuple[list[Any], list[str]]:
    with Library(root) as library:
        return library.sessions(), library.troubles


def test_every_kind_of_bad_file_once() -> None:
    found = library_cases(np.random.default_rng(7), len(bad.PLACES))
    assert (found.tracebacks, found.silent, found.hidden, found.slow) == (0, 0, 0, 0), found.said


@MANY
@given(ANY)
def test_verdicts_of_any_structure(session: Path, document: Any) -> None:
    path = places.verdicts_of(session)
    for text in (document, {"imufeedback_verdicts": 1, "verdicts": document}):
        path.write_text(json.dumps(text), encoding="utf-8", errors="surrogatepass")
        rows, _ = listed(session.parents[1])
        told = look(session)
        assert [row.trouble for row in rows] == [""]
        assert bool(rows[0].beside) == bool(told.trouble)
        assert told.trouble or told.all == msgspec.convert(document, list[KeptVerdict])
        assert rows[0].reps is None or told.all


@MANY
@given(st.dictionaries(st.sampled_from(["verb", "text", "rep", "offset_s", "at"]), ANY), st.booleans())
def test_edits_of_any_types_change_nothing_or_are_what_they_say(session: Path, line: Any, known: bool) -> None:
    path = places.edits_of(session)
    whole = path.read_bytes()
    if known:
        line["verb"] = "discard"
    try:
        crc = zlib.crc32(json.dumps(line, sort_keys=True, ensure_ascii=False).encode())
    except ValueError:
        return  # such a line was never written
    path.write_bytes(whole + json.dumps({**line, "crc": f"{crc:08x}"}, ensure_ascii=False).encode() + b"\n")
    rows, _ = listed(session.parents[1])
    edits = read_edits(session)
    path.write_bytes(whole)
    before = read_edits(session)
    assert len(rows) == 1
    if edits.damaged or edits.unknown:
        assert rows[0].beside
        assert edits.discarded == before.discarded
    elif line.get("verb") == "discard":
        assert edits.discarded == before.discarded | {line["rep"]}


def test_verdicts_with_one_flipped_bit_are_never_used(session: Path) -> None:
    path = places.verdicts_of(session)
    good, before = path.read_bytes(), look(session).all
    rng = np.random.default_rng(3)
    for at in rng.integers(len(good), size=300):
        data = bytearray(good)
        data[at] ^= 1 << int(rng.integers(8))
        path.write_bytes(data)
        found = look(session)
        assert (found.all, bool(found.trouble)) == ([], True), at
    path.write_bytes(good)
    assert look(session).all == before


def test_verdicts_of_the_first_format_are_still_read(session: Path) -> None:
    path = places.verdicts_of(session)
    kept = look(session).all
    path.write_text(json.dumps({"imufeedback_verdicts": 1, "verdicts": msgspec.to_builtins(kept)}), encoding="utf-8")
    assert look(session).all == kept


@pytest.mark.parametrize("text", ["{", '{"imufeedback_verdicts": 9, "verdicts": []}'])
def test_a_file_that_cannot_be_used_is_put_aside_when_it_is_judged_again(session: Path, text: str) -> None:
    path = places.verdicts_of(session)
    path.write_text(text, encoding="utf-8")
    rep = make_rep(0, np.random.default_rng(1))
    add_verdict(session, Document(version="2", reps=[rep]), key="2", rules="Swing", duration_s=1.0)
    assert path.with_name(f"{path.name}.bak").read_text(encoding="utf-8") == text
    assert [one.key for one in look(session).all] == ["2"]


def test_numbers_that_json_does_not_have_are_not_known(session: Path) -> None:
    findings = [RuleFinding(rule="r", verdict=Verdict.FAULT, t_s=1.0, value=float("inf"), limit=float("inf"))]
    rep = structs.replace(make_rep(0, np.random.default_rng(1)), features={"x_deg": float("nan")}, findings=findings)
    add_verdict(session, Document(version="2", reps=[rep]), key="2", rules="Swing", duration_s=1.0)
    found = look(session)
    assert found.trouble == ""
    kept = found.all[-1].summary.reps[0]
    assert "x_deg" not in kept.features
    assert kept.findings[0].limit is None


def test_too_many_verdicts_lose_the_oldest(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    size = places.verdicts_of(session).stat().st_size
    monkeypatch.setattr("imufeedback.record.library.verdicts.BYTES_MAX", size + 1500)
    rng = np.random.default_rng(1)
    for version in ("2", "3"):
        summary = Document(version=version, reps=[make_rep(k, rng) for k in range(3)])
        add_verdict(session, summary, key=version, rules="Swing", duration_s=1.0)
    assert [one.key for one in look(session).all][-1] == "3"
    assert "0" not in [one.key for one in look(session).all]


def test_what_the_tables_do_not_take_is_told(session: Path) -> None:
    rep = structs.replace(make_rep(0, np.random.default_rng(1)), features={f"f{k}_deg": 1.0 for k in range(1001)})
    add_verdict(session, Document(version="2", reps=[rep]), key="2", rules="Swing", duration_s=1.0)
    twice = structs.replace(make_rep(0, np.random.default_rng(1)), features={"a_deg": 1.0, "A_deg": 2.0})
    other = make_session(session.with_name("1.mcap"), "Ida", 1, np.random.default_rng(2))
    add_verdict(other, Document(version="2", reps=[twice]), key="2", rules="Swing", duration_s=1.0)
    rows, _ = listed(session.parents[1])
    assert ["cannot be listed" in row.beside for row in rows] == [True, True]


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such names, links or pipes")
def test_names_links_and_pipes_are_listed_with_their_reason(session: Path) -> None:
    root = session.parents[1]
    shutil.copy(session, root / os.fsdecode(b"caf\xe9.mcap"))
    (root / "gone.mcap").symlink_to("nowhere")
    (root / "round.mcap").symlink_to("round.mcap")
    (root / "elsewhere").symlink_to("/")
    (root / "lost.edits.jsonl").write_text("", encoding="utf-8")
    os.mkfifo(root / "pipe.mcap")
    rows, troubles = listed(root)
    why = {row.path.name: row.trouble for row in rows}
    assert why["0.mcap"] == why[os.fsdecode(b"caf\xe9.mcap")] == ""
    assert "leads nowhere" in why["gone.mcap"]
    assert "leads nowhere" in why["round.mcap"]
    assert "a pipe" in why["pipe.mcap"]
    assert any("elsewhere: a link to a folder" in line for line in troubles)
    assert any("lost.edits.jsonl: its recording is not there" in line for line in troubles)
    (root / "gone.mcap").unlink()
    shutil.copy(session, root / "gone.mcap")
    assert {row.path.name: row.trouble for row in listed(root)[0]}["gone.mcap"] == ""


@pytest.mark.skipif(os.name != "posix", reason="needs a pipe")
def test_an_edit_is_not_written_into_a_pipe_or_a_device(session: Path) -> None:
    from imufeedback.errors import CannotWrite

    path = places.edits_of(session)
    path.unlink()
    os.mkfifo(path)
    with pytest.raises(CannotWrite):
        add_edit(session, "note", text="lost")
    path.unlink()
    path.symlink_to("/dev/null")
    with pytest.raises(CannotWrite, match="no ordinary file"):
        add_edit(session, "note", text="lost")


def test_a_verdict_that_stays_is_written_as_it_stood(session: Path) -> None:
    """With what an older or newer version wrote and this one does not know, to the last digit."""
    path = places.verdicts_of(session)
    path.write_text(
        '{"imufeedback_verdicts": 1, "verdicts": [{"judged_utc": "2025-01-01T10:00:00+00:00", "version": "0.1",'
        ' "rules": "Swing", "key": "old",   "duration_s": 1e1, "mood": "good", "summary": {"version": "0.1", "wind": 3,'
        ' "reps": [{"index": 0, "kind": "swing", "start_s": 1, "end_s": 0.30000000000000004, "positions": {},'
        ' "features": {"a_deg": 1}, "findings": [{"rule": "r", "verdict": "fault", "t_s": null, "value": 1.0,'
        ' "limit": 2}], "cues": []}]}}]}',
        encoding="utf-8",
    )
    (old,) = look(session).all
    assert (old.summary.reps[0].end_s, old.summary.reps[0].features) == (0.30000000000000004, {"a_deg": 1.0})
    before = path.read_bytes()
    kept = add_verdict(session, Document(version="2", reps=[]), key="2", rules="Swing", duration_s=1.0)
    assert kept[0] == old
    assert before[before.index(b'[{"judged') + 1 : -2] in path.read_bytes()
    assert look(session).all == kept


def test_what_is_no_text_is_told_also_where_it_is_passed_over(session: Path) -> None:
    path = places.verdicts_of(session)
    path.write_bytes(b'{"imufeedback_verdicts": 1, "verdicts": [], "mood": "\xff"}')
    assert "cannot be read" in look(session).trouble


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        ((b'"verdict": "fault"', b'"verdict": "felt"'), "felt"),
        ((b'"index": 0', b'"index": -1'), "index"),
        ((b'"start_s": 0.0', b'"start_s": null'), "start_s"),
        ((b'"reps": [', b'"reps": [3, '), "reps"),
    ],
)
def test_a_malformed_verdict_is_listed_with_what_is_wrong(session: Path, spoil: tuple[bytes, bytes], why: str) -> None:
    rep = make_rep(0, np.random.default_rng(1))
    finding = RuleFinding(rule="r", verdict=Verdict.FAULT, t_s=1.0, value=1.0, limit=2.0)
    whole = Document(version="2", reps=[structs.replace(rep, findings=[finding])])
    add_verdict(session, whole, key="2", rules="Swing", duration_s=1.0)
    path = places.verdicts_of(session)
    kept = path.read_bytes()
    rest = kept[kept.index(b'"verdicts": ') + len(b'"verdicts": ') :].replace(*spoil)
    assert rest not in kept
    path.write_bytes(b'{"imufeedback_verdicts": 2, "crc32": "%08x", "verdicts": ' % zlib.crc32(rest) + rest)
    (row,), _ = listed(session.parents[1])
    assert (row.trouble, row.reps) == ("", None)
    assert "its results: cannot be read" in row.beside
    assert why in row.beside
