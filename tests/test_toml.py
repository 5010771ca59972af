"""TOML of any kind is a record, or one line that says what is wrong where."""

from __future__ import annotations

import math

import msgspec
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from imufeedback import toml
from imufeedback.errors import BadToml


class Inner(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    limit: float = 0.0


class Outer(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    name: str = ""
    parts: tuple[Inner, ...] = ()
    limits: dict[str, float] = {}


NUMBERS = st.floats(width=64) | st.sampled_from([10**5000, -(10**400), 2**63, 0])


@given(st.text(max_size=200))
@example("a = " + "[" * 100_000)
@example("a = " + "{b=" * 50_000)
@example("[" + "a." * 50_000 + "a]")
@example("a = " + "9" * 5000)
@example("a = 2026-99-99")
@example("\ud800")
@example("name = 'x' # " + "." * 500)
def test_any_text_is_a_record_or_one_line(text: str) -> None:
    said = refusal(text)
    assert said is None or (len(said) < 400 and said.startswith("mine.toml: "))


@given(st.dictionaries(st.from_regex("[a-z-]{1,8}", fullmatch=True), NUMBERS, max_size=4))
def test_limits_are_finite_or_refused_with_their_place(limits: dict[str, float]) -> None:
    with_dots = {key: value if isinstance(value, int) else repr(value) for key, value in limits.items()}
    text = "[limits]\n" + "\n".join(f"{key} = {_digits(value)}" for key, value in with_dots.items())
    said = refusal(text)
    odd = [key for key, value in limits.items() if isinstance(value, float) and not math.isfinite(value)]
    beyond = any(isinstance(one, int) and abs(one) > 10**300 for one in limits.values())
    assert (said is None) == (not odd and not beyond)
    assert beyond or said is None or any(f"limits.{key} = " in said for key in odd)


def refusal(text: str) -> str | None:
    """The line for a text that is no record of ours; None for one that is."""
    try:
        toml.decode(text, Outer, "mine.toml")
    except BadToml as error:
        return str(error)
    return None


def _digits(value: object) -> str:
    """A number's digits, of any length."""
    if isinstance(value, int) and abs(value) > 10**300:
        return ("-" if value < 0 else "") + "1" + "0" * (5000 if value > 0 else 400)
    return str(value)


def test_the_place_is_named_in_a_list_too() -> None:
    with pytest.raises(BadToml, match=r"parts\[1\]\.limit = nan"):
        toml.decode("[[parts]]\nlimit = 1.0\n[[parts]]\nlimit = nan", Outer, "mine.toml")


def test_dots_in_texts_and_comments_are_no_keys() -> None:
    text = f"# {'. ' * 300}\nname = 'one. two.'\n# {'=' * 40} {'.' * 400}\n"
    assert toml.decode(text, Outer, "mine.toml").name == "one. two."
