"""The house's rules that a program can read: tests say what they hold, and nothing is left for later."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
TESTS = sorted((ROOT / "tests").rglob("test_*.py"))
SOURCES = [
    file
    for folder in ("cutcheck", "tests", "docs", "sample_images")
    for file in (ROOT / folder).rglob("*.py")
]
# Put together here, so that this file does not hold them itself.
LEFT_FOR_LATER = re.compile(r"\b(" + "|".join(("TO" + "DO", "FIX" + "ME", "X" * 3)) + r")\b")
SKIPPED = re.compile(
    r"\b(" + "|".join(("skip" + "if", "mark" + r"\.skip", "x" + "fail", "importor" + "skip")) + r")\b"
)


def functions_of(file: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_"):
            yield node


def found_in(files: list[Path], pattern: re.Pattern[str]) -> list[str]:
    return [str(file.relative_to(ROOT)) for file in files if pattern.search(file.read_text(encoding="utf-8"))]


def test_each_test_says_what_it_holds() -> None:
    """Each test has a docstring that begins with a sentence and ends as one."""
    said = {
        f"{file.relative_to(ROOT)}::{each.name}": " ".join((ast.get_docstring(each) or "").split())
        for file in TESTS
        for each in functions_of(file)
    }
    assert said
    assert [name for name, text in said.items() if not text.endswith((".", "?", "!"))] == []


def test_no_test_is_skipped() -> None:
    """No test is skipped or expected to fail."""
    assert found_in(TESTS, SKIPPED) == []


def test_nothing_is_left_for_later() -> None:
    """No file holds a note to its authors about work that is not done."""
    assert found_in(SOURCES, LEFT_FOR_LATER) == []
