"""A sound server of our own for tests that really play and record."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from imufeedback.measure import sound_server


@pytest.fixture(name="server", scope="module")
def own_sound_server() -> Iterator[None]:
    """PulseAudio with a null sink; skips where it is not installed, fails where it is required."""
    if not sound_server.installed():
        reason = "no PulseAudio here: install pulseaudio and pulseaudio-utils"
        if os.environ.get("IMUFEEDBACK_REQUIRE_SOUND") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    with sound_server.null_sink():
        yield
