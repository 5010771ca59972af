"""The portable firmware's desktop port, on a real stack: `sensors conform` finds every rule kept."""

from __future__ import annotations

from pathlib import Path

from firmware_build import desktop, needs_cc
from guest import Guest

pytestmark = needs_cc


def test_the_firmware_keeps_every_rule(guest: Guest, tmp_path: Path) -> None:
    program = desktop(tmp_path / "sensor", "-O2")
    with guest.fresh("firmware", FIRMWARE=str(program)):
        ended = guest.imufeedback("sensors", "conform", "C0:00:00:00:00:01", status=None, seconds=200)
        wrong = [line for line in ended.out.splitlines() if line.startswith("WRONG")]
        assert not wrong
        assert ended.status == 0
