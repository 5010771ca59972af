"""A real browser without a window: what it cuts of a page at a width, and how many A4 pages it prints."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Sequence
from html import escape, unescape
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome")
LOOK = """<script>addEventListener("load", () => {
  const cut = [];
  for (const frame of document.querySelectorAll("iframe")) {
    const page = frame.contentDocument, width = page.documentElement.clientWidth;
    page.querySelectorAll("details").forEach(one => one.open = true);
    const outside = (one, box) => {
      const at = one.getBoundingClientRect();
      return at.width && (at.left < box.left - 1 || at.right > box.right + 1);
    };
    const say = one => cut.push(`${width} px: ${one.tagName} ${one.textContent.trim().slice(0, 60)}`);
    page.querySelectorAll("body *").forEach(one => {
      if (!one.closest(".scroll") && outside(one, {left: 0, right: width})) say(one);
    });
    page.querySelectorAll("svg text").forEach(one => {
      if (outside(one, one.ownerSVGElement.getBoundingClientRect())) say(one);
    });
  }
  document.getElementById("cut").textContent = JSON.stringify(cut);
});</script>"""


def browser() -> str | None:
    """Path of one that is installed."""
    return next((path for path in map(shutil.which, NAMES) if path), None)


def _run(program: str, folder: Path, *arguments: str) -> str:
    command = [program, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}"]
    return subprocess.run([*command, *arguments], capture_output=True, text=True, timeout=120, check=True).stdout


def cut(program: str, page: str, widths: Sequence[int], folder: Path) -> list[str]:
    """What sticks out of the page or of a picture, every fold open, at each width in pixels."""
    frames = "".join(
        f'<iframe style="border: 0; width: {width}px" scrolling="no" srcdoc="{escape(page)}"></iframe>'
        for width in widths
    )
    around = folder / "around.html"
    around.write_text(f'<!doctype html><body>{frames}<pre id="cut"></pre>{LOOK}</body>', encoding="utf-8")
    seen = _run(program, folder, "--virtual-time-budget=4000", "--dump-dom", str(around))
    found = re.search(r'<pre id="cut">(.*?)</pre>', seen, re.DOTALL)
    assert found is not None
    return [str(one) for one in json.loads(unescape(found[1]))]


def printed_pages(program: str, page: str, folder: Path) -> int:
    """How many sheets it prints, folds as they are."""
    text, pdf = folder / "page.html", folder / "page.pdf"
    text.write_text(page, encoding="utf-8")
    _run(program, folder, f"--print-to-pdf={pdf}", "--no-pdf-header-footer", str(text))
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes()))
