"""How many files a new rule, a new kind of rule and a new sound are: one, one, and two."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from commands import Commands

import imufeedback
from imufeedback import resources
from imufeedback.app.next_words import next_words
from imufeedback.app.palette import PanelState
from imufeedback.app.tracks import RepEntry
from imufeedback.records import Finding, Rep
from imufeedback.rules import Rules, parse_rule_set

RULE = """
[[rules]]
id = "downswing-takes-its-time"
kind = "at-least"
feature = "downswing_s"
limit = 30.0
unit = "s"
text = "Half a minute is the least that a downswing may take."
short = "Half a minute down"
drill = "shaft-across-the-hips"
"""
KIND = '''
"""A feature is a whole number."""

from imufeedback.rules.rule import PositionedRule


class Kind(PositionedRule, frozen=True, kw_only=True, tag="is-whole"):
    counted_in: str = "degrees"

    def check(self, rep):
        value = rep.features.get(self.feature)
        return None if value is None else self.judged(rep, value, abs(value - round(value)) - self.limit, 0.0)
'''


@pytest.fixture(name="the_command")
def commands(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Commands:
    return Commands(monkeypatch, capfd)


def test_a_rule_is_one_file(the_command: Commands, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Added to a copy of the swing set, it is judged, told and led to its drill: in table, summary, report, window."""
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    (tmp_path / "rules").mkdir()
    own = tmp_path / "rules" / "swing.toml"
    own.write_text(resources.text("rules", "swing") + RULE, encoding="utf-8")

    said = the_command("demo", "--headless", "--no-realtime", "--reps", 1, "--pace", "full", "--flaw", "none")
    assert said.status == 0, said.err
    assert "not met: downswing takes its time" in said.out
    assert "- Half a minute is the least that a downswing may take. Drill: shaft across the hips." in said.out

    (recording,) = (tmp_path / "recordings").glob("*.mcap")
    page = tmp_path / "report.html"
    assert the_command("report", recording, "--out", page).status == 0
    text = page.read_text(encoding="utf-8")
    assert "Half a minute is the least that a downswing may take." in text
    assert "<b>Shaft across the hips</b>" in text, "the drill against it comes next"

    rep = Rep(0, "swing", 1.0, 4.0, {}, (), {"downswing_s": 0.3})
    told = Rules(parse_rule_set(own.read_text(encoding="utf-8"), "own")).feed(rep)
    entry = RepEntry(rep, None, findings=[one for one in told if isinstance(one, Finding)])
    assert next_words(PanelState.WAITING, entry) == "Half a minute down"


@pytest.fixture(name="copy")
def package_copied(tmp_path: Path) -> Path:
    """The package once more, to add to."""
    copy = tmp_path / "imufeedback"
    shutil.copytree(Path(imufeedback.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    return copy


def said_by(copy: Path, script: str) -> list[str]:
    """What a program says that finds this copy of the package first."""
    done = subprocess.run([sys.executable, "-c", script], cwd=copy.parent, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_a_kind_is_one_file(copy: Path) -> None:
    (copy / "rules" / "kinds" / "is_whole.py").write_text(KIND, encoding="utf-8")
    script = f"""
from imufeedback import resources
from imufeedback.errors import BadToml
from imufeedback.records import Finding, Rep
from imufeedback.rules import Rules, parse_rule_set
text = resources.text("rules", "swing") + '''{RULE}'''.replace("at-least", "is-whole").replace("30.0", "0.1")
told = Rules(parse_rule_set(text, "own")).feed(Rep(0, "swing", 1.0, 4.0, {{}}, (), {{"downswing_s": 1.3}}))
(found,) = [one for one in told if isinstance(one, Finding)]
print(found.rule, found.verdict)
try:
    parse_rule_set(text + 'counted_inn = "s"', "own")
except BadToml as error:
    print(error)
"""
    judged, refused = said_by(copy, script)
    assert judged == "downswing-takes-its-time fault"
    assert refused.endswith("a rule of the kind 'is-whole' has no counted_inn – is 'counted_in' meant?")


def test_a_sound_is_two_files(copy: Path) -> None:
    """A rule may use it, it is made, it can be heard, and the windows have a word for it."""
    for file, before, added in (
        ("sounds.py", '    BATTERY_LOW = "battery-low"', '    GONG = "gong", 1, "gong of the temple"\n'),
        (
            "cues/waveforms.py",
            '    "battery-low": Waveform(',
            '    "gong": Waveform((Pitch(-9, 0.4),), "it is time"),\n',
        ),
    ):
        text = (copy / file).read_text(encoding="utf-8")
        assert text.count(before) == 1
        (copy / file).write_text(text.replace(before, added + before), encoding="utf-8")
    script = f"""
from imufeedback import resources
from imufeedback.app import words
from imufeedback.audio import rendered
from imufeedback.cues.schedule import Cueing
from imufeedback.cues.waveforms import MEANINGS
from imufeedback.rules import parse_rule_set
rule = parse_rule_set(resources.text("rules", "swing") + '''{RULE}''' + 'cue = "gong"', "own").rules[-1]
(cue,) = Cueing()._cue(rule.cue, 1.0, 1.0)
print(cue.sound, cue.priority, words.sound_word("gong"), rendered()["gong"].size > 0, MEANINGS["gong"])
"""
    assert said_by(copy, script) == ["gong 1 gong of the temple True it is time"]
