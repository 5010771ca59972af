"""The report: complete in itself, escaped, small, and telling what is so."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import msgspec
import numpy as np
import pytest
from judged_sessions import finding, rep, session, summary

from imufeedback import resources, shipped
from imufeedback.document import UnjudgedRule
from imufeedback.records import Hand
from imufeedback.report import story
from imufeedback.report.page import player_page, session_page
from imufeedback.report.session import DrillWords, Frame, Frames, RepCurve, SessionReport
from imufeedback.rules import parse_rule_set

EVIL = "<script>alert('x')</script> & \"Ø\" 日本"


class Text(HTMLParser):
    """Tags in order, attributes and the text between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def test_everything_is_inside_the_file():
    page = session_page(session(rep(0), curves={0: RepCurve(*(np.arange(9.0) for _ in range(3)))}))
    parsed = Text(page)
    assert not {"script", "link", "img", "iframe", "object"} & set(parsed.tags)
    assert not [value for name, value in parsed.attributes if name in ("src", "href", "xlink:href")]
    assert "url(" not in page
    assert "http" not in page
    assert "svg" in parsed.tags


@pytest.mark.parametrize("field", ["player", "title", "notes", "tags"])
def test_names_and_notes_are_escaped(field):
    value = (EVIL,) if field in ("notes", "tags") else EVIL
    page = session_page(session(rep(0), **{field: value}))
    assert "<script" not in page
    assert EVIL in Text(page).text


def test_texts_of_rules_blocks_and_reasons_are_escaped():
    evil = finding(EVIL, 9.0, text=EVIL)
    told = summary(rep(0, evil), blocks=[{"name": EVIL, "reps": 1}], notes=[EVIL], reason=EVIL)
    page = session_page(SessionReport(told, rule_title=EVIL))
    assert "<script" not in page
    assert Text(page).text.count(EVIL) >= 4


def test_best_and_worst_with_their_reasons():
    reps = [
        rep(0, finding("a", 40.0)),
        rep(1),
        rep(2, finding("a", 5.0)),
        rep(3, flat=0.1),
        rep(4, finding("a", 4.0, "unsure")),
    ]
    assert [one.rep.index for one in story.best(reps)] == [3, 1, 4]
    assert [one.rep.index for one in story.worst(reps)] == [0, 2]
    assert "40.0°, limit 3.0°" in story.worst(reps)[0].reason
    assert "unsure" in story.best(reps)[2].reason


def test_rules_that_could_not_be_judged_are_told_once_and_are_not_clean():
    still_open = UnjudgedRule(rule="lead-hip-turns-in", lack="no limit yet", text="Hit a <baseline> block.")
    reps = [msgspec.structs.replace(rep(k), unjudged=[still_open]) for k in range(3)]
    page = session_page(session(*reps))
    assert page.count("No limit yet: lead hip turns in. Hit a &lt;baseline&gt; block.") == 1
    assert page.count("none (1 not checked)") == 3
    assert "Rules without a result" not in session_page(session(rep(0)))


def test_the_next_drill_follows_the_most_common_fault():
    often = [rep(k, finding("lead-hip-turns-in", 5.0)) for k in range(3)] + [rep(3, finding("turns-in-the-hips", 0.1))]
    following = story.next_drill(often)
    assert following is not None
    assert following.drill == story.USUAL_DRILL, "every rule leads to a drill"
    usual = story.next_drill(often, lambda rule: shipped.words_of(rule).drill)
    assert usual is not None
    assert usual.drill == "hip-turn-lead", "what an older finding does not say, the rules that ship do"
    named = story.next_drill(
        [rep(0, msgspec.structs.replace(finding("lead-hip-turns-in", 5.0), drill="of-my-own"))], lambda rule: "usual"
    )
    assert named is not None
    assert named.drill == "of-my-own"
    assert story.next_drill([rep(k) for k in range(4)]) == story.FASTER
    own = story.next_drill([rep(0, finding("a-coachs-own", 9.0))])
    assert own is not None
    assert (own.drill, own.text) == (story.USUAL_DRILL, "do better at a-coachs-own")
    assert story.next_drill([]) is None


def test_every_drill_that_may_come_next_is_there():
    for kind in ("rules", "drills"):
        for name in resources.available(kind):
            rules = parse_rule_set(resources.text(kind, name), name).rules
            assert {rule.drill for rule in rules} - {None} <= set(resources.available("drills"))


def test_a_drill_is_told_with_when_to_stop_and_escaped():
    drill = DrillWords(EVIL, [EVIL, "slowly"], "stop when it hurts")
    page = session_page(session(rep(0, finding("turns-in-the-hips", 0.1)), drill=drill))
    assert "<script" not in page
    assert "stop when it hurts" in page
    assert "Why this drill: do better at turns-in-the-hips" in page


def test_what_is_not_known_is_not_made_up():
    text = Text(session_page(SessionReport(summary(rep(0), rep(1), calibration=None)))).text
    assert "There is no calibration, so there are no angles." in text
    assert "date not known" in text
    assert "Whether tones sounded was not recorded" in text
    assert story.number(None, "deg") == "not known"
    assert story.number(float("nan"), "deg") == "not known"


def test_how_sure_the_numbers_are():
    lines = " ".join(story.certainty(summary(rep(0, finding("a", 4.0, "unsure")))))
    for words in ("fair", "bow more", "±1.5°", "estimate", "1 rep something is called unsure", "1.0 % of the samples"):
        assert words in lines


def test_with_and_without_tones_are_kept_apart():
    text = session_page(session(rep(0, tones=True), rep(1, tones=False), rep(2, tones=True)))
    assert "with tones" in text
    assert "Reps without tones show what has stuck" in text
    assert len(re.findall('class="line quiet"', text)) == 2


def test_discarded_reps_count_nowhere():
    text = Text(session_page(session(rep(0, finding("a", 9.0)), rep(1), discarded=frozenset([0])))).text
    assert "1 of 1 reps without a fault" in text
    assert "counted nowhere: 1 rep." in text


def test_h112_h113_the_session_stands_in_its_own_zone():
    assert "2025-07-01 10:00 (UTC+05:45)" in session_page(session(rep(0)))


def test_an_empty_session_has_a_report():
    assert "No rep was found" in session_page(session())


def test_a_player_over_many_sessions():
    text = Text(player_page("Ida", [session(rep(0), rep(1, finding("a", 9.0))), session(rep(0))])).text
    assert "2 sessions" in text
    assert "1 of 2 reps without a fault" in text
    assert "1 of 1 reps without a fault" in text


def test_a_hundred_reps_stay_small():
    curve = RepCurve(np.linspace(-45, 90, 800), np.linspace(22, -5, 800), np.full(800, 1.5))
    reps = [rep(k, finding("a", 5.0 + k)) if k % 3 else rep(k) for k in range(100)]
    assert len(session_page(session(*reps, curves=dict.fromkeys(range(100), curve)))) < 500_000


def test_no_minus_before_nothing():
    assert story.minus(-0.04, 1) == "0.0"
    assert story.minus(-1.25, 1) == "\N{MINUS SIGN}1.2"


def test_what_to_take_along_comes_first_and_the_table_is_folded():
    pose = np.array([-40.0, -8.0, 20.0, 5.0, 3.0, -5.0, 23.0, 3.0, 5.0, np.nan, np.nan])
    frames = Frames(0, Hand.LEFT, [Frame("top", pose, 1.5, 4.0), Frame("<b>", pose)], 2.0)
    page = session_page(session(rep(0), positions=frames))
    heads = [
        "In short",
        "<h2>Next",
        "Rep 1 at its positions",
        "Best and worst reps",
        "How sure",
        "<details>",
        "All reps",
    ]
    places = [page.index(one) for one in heads]
    assert places == sorted(places)
    assert page[: page.index("<details>")].count('class="body"') == 4, "two views of each position"
    assert "target 2°" in page
    assert "40° turned" in page
    assert "<figcaption><b>" not in page
    assert page.index("<table") > page.index("<details>")


def test_homework_and_the_explanations_are_in_the_report():
    page = session_page(session(rep(0), homework=("Half swings: 12 reps on 5 days, given on 01 May. Not done yet.",)))
    assert "Half swings: 12 reps on 5 days" in page
    assert "<h2>Homework</h2>" not in session_page(session(rep(0)))
    for title in ("What the two hips do", "Why a face-on film cannot show it", "What each number means"):
        assert f"<summary>{title}</summary>" in page
