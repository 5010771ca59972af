"""``validate``: every line is honest, also the one that does not hold."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from commands import Commands

from imufeedback.errors import BadFile
from imufeedback.measure import sets
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.optics import Parts
from imufeedback.measure.rows import add_row
from imufeedback.measure.run import run_sets


def steps(**values: float) -> tuple[SetPart, ...]:
    return tuple(
        SetPart(name, lambda context, name=name, value=value: [Measured(name, value, at_most(1.0), "deg")])
        for name, value in values.items()
    )


@pytest.fixture(name="made_up")
def use_made_up_sets(monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[SetPart, ...]]:
    """Sets to be filled by the test, in place of the real ones."""
    found: dict[str, tuple[SetPart, ...]] = {}
    monkeypatch.setattr(sets, "available", lambda: tuple(found))
    monkeypatch.setattr(sets, "steps", lambda name: found[name])
    return found


def test_all_lines_hold(imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path) -> None:
    made_up["one"] = steps(tilt=0.5, turn=1.0)
    ended = imufeedback("validate", "--json", tmp_path / "a.json", "--seed", "7", "--quick")
    assert ended.status == 0
    assert "DOES NOT HOLD" not in ended.out
    document = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert (document["ok"], document["seed"], document["quick"]) == (True, 7, True)
    line = {"set": "one", "check": "tilt", "value": 0.5, "limit": [None, 1.0], "unit": "deg", "ok": True}
    assert document["checks"][0] == line
    assert document["left_out"] == []


def test_a_line_that_does_not_hold_is_shown_and_fails(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    made_up["one"] = steps(tilt=0.5, turn=1.1)
    ended = imufeedback("validate", "--json", tmp_path / "a.json")
    assert ended.status == 1
    assert "DOES NOT HOLD" in ended.out
    assert "1 of them" in ended.out
    assert [one["ok"] for one in json.loads((tmp_path / "a.json").read_text("utf-8"))["checks"]] == [True, False]


def test_what_could_not_be_measured_does_not_hold(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    made_up["one"] = steps(tilt=float("nan"))
    assert imufeedback("validate", "--json", tmp_path / "a.json").status == 1
    assert json.loads((tmp_path / "a.json").read_text("utf-8"))["checks"][0]["value"] is None


def test_what_is_left_out_is_said(imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]]) -> None:
    def missing(context: Context) -> list[Measured]:
        raise LeftOut("no recordings here")

    made_up["one"] = (*steps(tilt=0.5), SetPart("a person", missing))
    ended = imufeedback("validate")
    assert ended.status == 0
    assert "left out: one: a person: no recordings here" in ended.err


def test_nothing_measured_is_no_success(imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]]) -> None:
    def missing(context: Context) -> list[Measured]:
        raise LeftOut("no recordings here")

    made_up["one"] = (SetPart("a person", missing),)
    assert imufeedback("validate").status == 1


def test_a_step_that_fails_is_a_line_and_the_others_are_measured(
    made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    def broken(context: Context) -> list[Measured]:
        raise BadFile("torn", where="a.csv")

    made_up["one"] = (SetPart("a person", broken), *steps(tilt=0.5))
    told: list[str] = []
    report = run_sets(["one"], Context(tmp_path, None), told.append)
    assert told == ["a person", "tilt"]
    assert [line.ok for _, line in report.lines] == [False, True]
    assert "a.csv: torn" in report.lines[0][1].check


@pytest.mark.parametrize(
    "raised",
    [
        ValueError("operands could not be broadcast\ntogether"),
        IndexError("list[3] [/b] is out of range"),
        ZeroDivisionError(),
        KeyError("hip"),
        AssertionError("zero steps"),
        MemoryError(),
        OSError(28, "No space left on device"),
        RuntimeError("a loop"),
        RecursionError("too deep"),
        ImportError("no module"),
        TimeoutError("late"),
        SystemExit(3),
    ],
    ids=lambda one: type(one).__name__,
)
def test_a_step_costs_its_own_lines_only_whatever_it_raises(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path, raised: BaseException
) -> None:
    """The line it gave before stays, one that does not hold says what happened, and the others are measured."""

    def broken(context: Context) -> Iterator[Measured]:
        yield Measured("before", 0.5, at_most(1.0), "deg")
        raise raised

    made_up["one"] = (SetPart("a person", broken), *steps(tilt=0.5))
    ended = imufeedback("validate", "--json", tmp_path / "a.json", "--html", tmp_path / "a.html")
    assert ended.status == 1
    document = json.loads((tmp_path / "a.json").read_text("utf-8"))
    before, failed, after = document["checks"]
    assert [before["ok"], failed["ok"], after["ok"]] == [True, False, True]
    assert failed["check"].startswith(f"a person: {type(raised).__name__}")
    assert "\n" not in failed["check"]
    assert all(word in failed["check"] for word in str(raised).split())
    (told,) = document["tracebacks"]
    assert told.startswith("one: a person\nTraceback")
    assert "in broken" in told
    assert "in broken" in ended.err
    assert "in broken" in (tmp_path / "a.html").read_text("utf-8")


def test_ctrl_c_ends_it_with_what_was_measured(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    def stopped(context: Context) -> Iterator[Measured]:
        yield Measured("half", 0.5, at_most(1.0), "deg")
        raise KeyboardInterrupt

    made_up["one"] = (*steps(tilt=0.5), SetPart("a person", stopped), *steps(turn=0.5))
    ended = imufeedback("validate", "--json", tmp_path / "a.json")
    assert ended.status not in (0, 2)
    document = json.loads((tmp_path / "a.json").read_text("utf-8"))
    assert [one["check"] for one in document["checks"]] == ["tilt", "half"]
    assert not document["ok"]
    assert "tilt" in ended.out
    assert "stopped at one: a person" in ended.err


def test_every_set_has_steps_with_names_of_their_own() -> None:
    assert "main" in sets.available()
    for name in sets.available():
        titles = [step.title for step in sets.steps(name)]
        assert titles
        assert len(set(titles)) == len(titles)


def test_without_the_data_the_persons_lines_are_left_out(tmp_path: Path) -> None:
    for step in sets.steps("main"):
        if step.title in ("a person sitting, walking and standing", "segment tilt against qmt"):
            with pytest.raises(LeftOut, match="--data"):
                list(step.measure(Context(tmp_path, None)))


def test_the_quick_lines_about_joint_angles_hold(tmp_path: Path) -> None:
    (step,) = (one for one in sets.steps("main") if one.title == "joint angles")
    lines = list(step.measure(Context(tmp_path, None, quick=True)))
    assert len(lines) == 3
    assert all(line.ok for line in lines)


@pytest.mark.parametrize(
    ("band", "inside", "outside", "text"),
    [
        (Band(50, 90), [50, 70, 90], [49.9, 90.1, float("nan")], "50 to 90"),
        (at_most(2), [-5, 2], [2.001, float("nan"), float("inf")], "≤ 2"),
        (Band(3, None), [3, 9], [2.9, float("nan")], "≥ 3"),
        (exactly(0), [0], [1, -1, float("nan")], "0"),
    ],
)
def test_a_band(band: Band, inside: list[float], outside: list[float], text: str) -> None:
    assert all(band.holds(one) for one in inside)
    assert not any(band.holds(one) for one in outside)
    assert str(band) == text


# ── the page ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_the_page_is_written_also_when_a_line_does_not_hold(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    made_up["one"] = steps(tilt=0.5, turn=1.1)
    ended = imufeedback("validate", "--html", tmp_path / "a.html", "--json", tmp_path / "a.json")
    assert ended.status == 1
    text = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<strong>1 of 2</strong> promises hold" in text
    assert (tmp_path / "a.json").is_file()


def test_no_page_is_overwritten_unless_asked(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    made_up["one"] = steps(tilt=0.5)
    (tmp_path / "a.html").write_text("mine", encoding="utf-8")
    ended = imufeedback("validate", "--html", tmp_path / "a.html")
    assert ended.status == 1
    assert "--overwrite" in ended.error
    assert (tmp_path / "a.html").read_text(encoding="utf-8") == "mine"
    assert imufeedback("validate", "--html", tmp_path / "a.html", "--overwrite").status == 0
    assert (tmp_path / "a.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_page_and_json_in_one_file_is_misuse(imufeedback: Commands, tmp_path: Path) -> None:
    ended = imufeedback("validate", "--html", tmp_path / "a", "--json", tmp_path / "a")
    assert ended.status == 2
    assert "the same file" in ended.error


def test_means_of_the_methods_are_printed(imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]]) -> None:
    def measured(context: Context) -> list[Measured]:
        for trial, total in (("a", 1.0), ("b", 2.0)):
            add_row(context, "joint3d", trial, "vqf", Parts(total, None, None), 0.25, None)
        return [Measured("tilt", 0.5, at_most(1.0), "deg")]

    made_up["one"] = (SetPart("tilt", measured),)
    out = imufeedback("validate").out
    (line,) = (one for one in out.splitlines() if "vqf" in one)
    assert [cell.strip() for cell in line.split("│")[1:-1]] == ["joint3d", "2", "vqf", "1.50", "–", "–", "–", "0.25"]


# ── where the recordings are ─────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(name="seen_folder")
def the_folder_that_a_step_sees(made_up: dict[str, tuple[SetPart, ...]]) -> list[Path | None]:
    seen: list[Path | None] = []

    def look(context: Context) -> list[Measured]:
        seen.append(context.data)
        return [Measured("looked", 0, exactly(0), "times")]

    made_up["one"] = (SetPart("look", look),)
    return seen


def test_data_comes_before_the_environment(
    imufeedback: Commands, seen_folder: list[Path | None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    named, other = tmp_path / "named", tmp_path / "other"
    named.mkdir()
    other.mkdir()
    monkeypatch.setenv("IMUFEEDBACK_DATA", str(other))
    assert imufeedback("validate", "--data", named).status == 0
    assert imufeedback("validate").status == 0
    assert seen_folder == [named, other]


def test_the_folder_beside_the_checkout_is_found(
    imufeedback: Commands, seen_folder: list[Path | None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "checkout").mkdir()
    monkeypatch.chdir(tmp_path / "checkout")
    monkeypatch.delenv("IMUFEEDBACK_DATA", raising=False)
    assert imufeedback("validate").status == 0
    (tmp_path / "shared" / "data").mkdir(parents=True)
    assert imufeedback("validate").status == 0
    assert [one and one.resolve() for one in seen_folder] == [None, tmp_path / "shared" / "data"]


@pytest.mark.parametrize("empty", [False, True])
def test_an_environment_that_names_no_folder_is_said_and_the_rest_is_measured(
    imufeedback: Commands,
    seen_folder: list[Path | None],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    empty: bool,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("IMUFEEDBACK_DATA", "" if empty else str(tmp_path / "gone"))
    ended = imufeedback("validate")
    assert ended.status == 0
    assert seen_folder == [None]
    assert ("IMUFEEDBACK_DATA" in ended.err) is not empty


def test_data_that_is_no_folder_is_misuse_before_any_work(
    imufeedback: Commands, seen_folder: list[Path | None], tmp_path: Path
) -> None:
    ended = imufeedback("validate", "--data", tmp_path / "gone")
    assert ended.status == 2
    assert "--data" in ended.error
    assert seen_folder == []


def test_without_data_the_accuracy_set_runs_the_synthetic_part_and_says_what_it_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All its steps but the long ones, whose turn comes in the command itself."""
    wanted = {
        "a ball joint against optics",
        "tilt against optics",
        "a walker beside the well-known filters",
        "players beside the well-known filters",
        "a knock",
    }
    some = tuple(step for step in sets.steps("accuracy") if step.title in wanted)
    assert len(some) == len(wanted)
    monkeypatch.setattr(sets, "steps", lambda name: some)
    report = run_sets(["accuracy"], Context(tmp_path, None, quick=True))
    assert [one.split(": ")[1] for one in report.left_out] == [step.title for step in some[:3]]
    assert all("--data" in one for one in report.left_out)
    assert {row["set"] for row in report.to_dict()["rows"]} == {"synthetic"}
    assert [line.check.split(":")[0] for _, line in report.lines] == ["knock", "knock"]
    assert report.ok


def test_a_step_tells_what_it_is_at(imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]]) -> None:
    """It goes to the bar, on stderr, and never into the results."""

    def long(context: Context) -> list[Measured]:
        context.say("player 3 of 50")
        return [Measured("tilt", 0.5, at_most(1.0), "deg")]

    made_up["one"] = (SetPart("players", long),)
    ended = imufeedback("validate")
    assert ended.status == 0
    assert "player 3" not in ended.out


def test_figures_of_another_kind_do_not_disturb_the_comparison(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    def measure(context: Context) -> list[Measured]:
        context.rows.append({"set": "one", "trial": "frames", "median_ms": 5.0})
        add_row(context, "one", "a", "vqf", Parts(1.0, 2.0, 3.0), 0.5, None)
        return [Measured("tilt", 0.5, at_most(1.0), "deg")]

    made_up["one"] = (SetPart("mixed", measure),)
    ended = imufeedback("validate", "--html", tmp_path / "a.html", "--json", tmp_path / "a.json")
    assert ended.status == 0, ended.err
    assert "vqf" in ended.out
    assert len(json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["rows"]) == 2


def test_speed_is_short_for_its_set(
    imufeedback: Commands, made_up: dict[str, tuple[SetPart, ...]], tmp_path: Path
) -> None:
    made_up["speed"], made_up["other"] = steps(fast=0.5), steps(tilt=0.5)
    assert imufeedback("validate", "--speed", "--json", tmp_path / "a.json").status == 0
    document = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert [one["set"] for one in document["checks"]] == ["speed"]
    assert imufeedback("validate", "--speed", "--set", "speed").status == 0
    refused = imufeedback("validate", "--speed", "--set", "other")
    assert refused.status != 0
    assert "two sets" in refused.err
