"""Verdicts on a recording, beside it: every judgement is kept, so that an old one stands beside today's."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from imufeedback.record.files import whole_file
from imufeedback.record.library.places import verdicts_of

FORMAT = 1


def read_verdicts(recording: Path) -> list[dict[str, Any]]:
    """All verdicts, oldest first: ``judged_utc``, ``version``, ``rules`` (title), ``key``, ``duration_s``,
    ``summary``. Empty when there is no readable file: it can be made again."""
    try:
        document = json.loads(verdicts_of(recording).read_text(encoding="utf-8"))
        if document["imufeedback_verdicts"] > FORMAT:
            return []
        return [one for one in document["verdicts"] if isinstance(one["summary"]["reps"], list)]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def key_of(version: str, rule_set: str, filter_name: str) -> str:
    """Says whether two judgements were made in the same way."""
    return f"{version}/{filter_name}/{zlib.crc32(rule_set.encode()):08x}"


def add_verdict(
    recording: Path, summary: Mapping[str, Any], *, key: str, rules: str, duration_s: float
) -> list[dict[str, Any]]:
    """Keep a verdict as the newest; one made in the same way is replaced. Raises CannotWrite."""
    before = [one for one in read_verdicts(recording) if one["key"] != key]
    new = {
        "judged_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": summary["version"],
        "rules": rules,
        "key": key,
        "duration_s": duration_s,
        "summary": dict(summary),
    }
    document = {"imufeedback_verdicts": FORMAT, "verdicts": [*before, new]}
    with whole_file(verdicts_of(recording), overwrite=True) as file:
        json.dump(document, file, ensure_ascii=False, allow_nan=False)
    return [*before, new]
