"""The fault script that an option names."""

from __future__ import annotations

from pathlib import Path

from imufeedback.cli.output import given_text


def radio_script(name: str | None) -> tuple[str, str] | None:
    """The fault script's text and its name: a file, or one of those that ship with the package. Raises UsageError,
    BadToml."""
    if name is None:
        return None
    from imufeedback import resources
    from imufeedback.ble.virtual import parse_faults

    file = Path(name)
    if not file.suffix and name in resources.available("radio"):
        text = resources.text("radio", name)
    else:
        text = given_text(file, "--radio", f"or use {', '.join(resources.available('radio'))}")
    parse_faults(text, name)  # before anything is opened
    return text, name
