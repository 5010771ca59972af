"""Fits of players, kept between sessions: one small JSON file a player in the data folder's ``fits``.

Straps are taken off in the evening, so a fit from an earlier day is not what it was: it is given back only together
with words that say so.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from imufeedback.commands import Malformed, SetFit, args_of, stored_fit
from imufeedback.errors import BadFile
from imufeedback.record.files import cannot_write, make_folder, safe_stem, whole_file
from imufeedback.records import Fit
from imufeedback.texts import read_json

FOLDER = "fits"
FORMAT = 1
_HINT = "remove the file, and calibrate again"


@dataclass(frozen=True, slots=True)
class StoredFit:
    """A fit, whose and of which day."""

    player: str
    day: date
    fit: Fit

    def caution(self, today: date) -> str | None:
        """What has to be said before this fit is used; None on the day it was made."""
        if self.day == today:
            return None
        days = (today - self.day).days
        when = "yesterday" if days == 1 else f"{days} days ago" if days > 0 else f"on {self.day.isoformat()}"
        whose = self.player or "the player"
        return f"this calibration of {whose} was made {when}: straps have been off since – calibrate again"

    def command(self, today: date) -> SetFit:
        """What puts it in use; the caution goes with it, so every replay says it too."""
        return SetFit.of(self.fit, self.caution(today))


def store(folder: Path, one: StoredFit) -> Path:
    """Keep a fit as the player's last one. Raises CannotWrite."""
    place = folder / FOLDER
    try:
        make_folder(place)
    except OSError as error:
        raise cannot_write(place, error) from None
    path = place / f"{safe_stem(one.player or 'player')}.json"
    document = {"format": FORMAT, "player": one.player, "day": one.day.isoformat(), "fit": args_of(SetFit.of(one.fit))}
    with whole_file(path, overwrite=True) as file:
        json.dump(document, file, indent=1, ensure_ascii=False)
        file.write("\n")
    return path


def last(folder: Path, player: str) -> StoredFit | None:
    """The player's last fit; None when there is none. Raises BadFile when the file is not what it should be."""
    path = folder / FOLDER / f"{safe_stem(player or 'player')}.json"
    try:
        document: dict[str, Any] = read_json(path, hint=_HINT)
        if document["player"] != player:
            return None  # two names, one file name
        found = stored_fit(document["fit"])
        if isinstance(found, Malformed):
            raise ValueError(found.wrong)
        return StoredFit(document["player"], date.fromisoformat(document["day"]), found.fit())
    except FileNotFoundError:
        return None
    except BadFile as error:
        raise BadFile(f"no stored calibration ({error.what})", where=str(path), hint=_HINT) from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError) as error:
        raise BadFile(f"no stored calibration ({error})", where=str(path), hint=_HINT) from error
