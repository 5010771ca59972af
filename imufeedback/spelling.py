"""The known word that a misspelt one is nearest to."""

from __future__ import annotations

from collections.abc import Iterable

FURTHEST_SHARE = 0.34
"""Of a word's letters may be wrong for it to be taken for a misspelling. Chosen: one in three."""
LONGEST = 100
"""Longer words are no misspellings, and would take long to compare."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that takes the fewest letters added, left out or replaced; None when none is near."""
    if len(word) > LONGEST:
        return None
    distances = sorted((_distance(word.casefold(), one.casefold()), one) for one in known)
    if not distances:
        return None
    least, found = distances[0]
    return found if least <= max(FURTHEST_SHARE * max(len(word), len(found)), 1) else None


def meant(word: str, known: Iterable[str]) -> str:
    """A hint for a word that is not known: the nearest one, else all of them."""
    known = tuple(known)
    found = nearest(word, known)
    return f"is {found!r} meant?" if found else f"choose one of {', '.join(known)}"


def _distance(one: str, other: str) -> int:
    """Levenshtein's distance, row by row."""
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        before, row = row, [i]
        for j, b in enumerate(other, 1):
            row.append(min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b)))
    return row[-1]
