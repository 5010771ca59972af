"""What the import linter cannot see: pure code imports only what is listed, and opens and draws nothing."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import imufeedback

ROOT = Path(imufeedback.__file__).parent
STAGES = ("conduct", "packets", "timing", "fusion", "body", "motion", "rules", "cues")
BASE = (
    *("records.py", "errors.py", "constants.py", "foreign_text.py", "sounds.py", "spelling.py"),
    *("stage.py", "settings.py", "toml.py", "commands.py", "pipeline.py"),
)
PURE = [ROOT / one for one in BASE] + [path for one in STAGES for path in sorted((ROOT / one).rglob("*.py"))]

OUTSIDE = {"numpy", "scipy", "vqf", "ahrs", "msgspec"}
STANDARD = {
    *("__future__", "abc", "bisect", "collections", "copy", "dataclasses", "enum", "functools", "heapq", "importlib"),
    "json",
    *("itertools", "math", "operator", "pkgutil", "re", "statistics", "struct", "types", "typing", "uuid"),
}
"""Of the standard library: nothing here reads a clock, a file, a device or chance. `importlib` and `pkgutil` find the
plug-ins of a folder; `uuid` reads the text of one, and making one is looked for below."""


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imported(tree: ast.AST) -> set[str]:
    out: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            out |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            out.add(node.module or "")
    return out


@pytest.mark.parametrize("path", PURE, ids=name_of)
def test_pure_code_imports_only_what_is_listed(path: Path) -> None:
    roots = {one.split(".")[0] for one in imported(ast.parse(path.read_text(encoding="utf-8")))}
    assert roots <= OUTSIDE | STANDARD | {"imufeedback"}


@pytest.mark.parametrize("path", PURE, ids=name_of)
def test_pure_code_opens_no_file_prints_nothing_and_draws_nothing(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    assert not called & {"open", "print", "input", "eval", "exec", "__import__"}
    attributes = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    assert not attributes & {"random", "uuid1", "uuid4"}


def test_the_linters_contracts_are_kept() -> None:
    """As ``lint-imports`` on the command line; a changed contract file is read anew."""
    folder = ROOT.parent
    program = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([program, "--no-cache"], cwd=folder, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout
