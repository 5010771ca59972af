"""Pages from the templates in a room's folder ``templates``; every text in them is escaped."""

from __future__ import annotations

from typing import Any

from imufeedback import __version__


def render(room: str, name: str, **values: Any) -> str:
    """The page `name` of the package `room`, with these values in it; a value that is missing is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # only who makes a page waits for it

    environment = Environment(
        loader=PackageLoader(room),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(name).render(version=__version__, **values)
