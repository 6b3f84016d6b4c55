"""One word for each thing: every text that a user may read, searched for the words that we do not use."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from cutcheck.page.wording import on_page
from cutcheck.terms import TERMS, unused

ROOT = Path(__file__).parents[1]
CODE = ROOT / "cutcheck"
UNUSED = re.compile(rf"\b(?:{'|'.join(unused())})\b", re.IGNORECASE)
# Never shown: faults inside a photo's file, which become 'not a photo' first; and the list itself.
NOT_READ = {"photo_copy.py", "terms.py"}
COMMAND = re.compile(r"(?:^|[\s'`(])--[a-z]|[`']cutcheck [a-z]|[`']check --|CUTCHECK_")


def texts(path: Path) -> Iterator[tuple[int, str]]:
    """The strings of a file with their lines; what is filled in is 'X'. Docstrings only where they are a
    command's help."""
    tree = ast.parse(path.read_text("utf-8"))
    skip: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef) and ast.get_docstring(node):
            decorated = " ".join(ast.unparse(d) for d in getattr(node, "decorator_list", []))
            if "command" not in decorated and "group" not in decorated:
                skip.add(node.body[0].value)  # type: ignore[attr-defined]
        if isinstance(node, ast.JoinedStr):
            skip.update(ast.walk(node))
            skip.discard(node)
            yield (
                node.lineno,
                "".join(str(v.value) if isinstance(v, ast.Constant) else "X" for v in node.values),
            )
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in skip:
            yield node.lineno, node.value


def read_by_users(text: str) -> bool:
    """Whether a string is a sentence or a label, rather than a name, a pattern or a drawing."""
    return " " in text.strip() and "<svg" not in text and "points=" not in text and "marker-end" not in text


@pytest.mark.parametrize("path", sorted(CODE.rglob("*.py")), ids=lambda p: str(p.relative_to(CODE)))
def test_no_text_uses_a_word_that_is_not_ours(path: Path) -> None:
    """Labels, messages, errors and help use the words of the list, and none of those beside it."""
    if path.name in NOT_READ:
        return
    found = [(line, m[0]) for line, text in texts(path) if read_by_users(text) and (m := UNUSED.search(text))]
    assert found == []


def test_the_readme_uses_the_words_of_the_list() -> None:
    """The README's prose, without its code, has none of the words that are not used."""
    prose = re.sub(r"```.*?```|`[^`]*`", "", (ROOT / "README.md").read_text("utf-8"), flags=re.DOTALL)
    assert UNUSED.findall(prose) == []


def test_the_readme_has_the_list_as_it_is() -> None:
    """The README's table of words is the list (docs/make_pictures.py pastes it)."""
    readme = (ROOT / "README.md").read_text("utf-8")
    assert [term.word for term in TERMS if f"| {term.word} | {term.means} |" not in readme] == []


def test_the_search_finds_what_it_looks_for() -> None:
    """The patterns find the words, whole and in either case, and leave others alone."""
    for bad in ("The Homography failed", "give or take (u95)", "two markers", "Upload your image"):
        assert UNUSED.search(bad), bad
    for good in ("the mark", "remarkable", "point", "the squares"):
        assert not UNUSED.search(good), good


def test_nothing_has_two_names_and_no_name_two_things() -> None:
    """No word of the list is among the words that are not used, and none is there twice."""
    words = [term.word for term in TERMS]
    assert len(set(words)) == len(words)
    assert [word for word in words if UNUSED.search(word)] == []


# On paper and on the command line options are right; so is the word on how to start the page.
ELSEWHERE = {
    "cli.py",
    "card_sheet.py",
    "table.py",
    "journal_table.py",
    "standard_file.py",
    "terms.py",
    "wording.py",
}
# What only the command line can do is told on the page as such, with the command and no option.
ONLY_THERE = re.compile(r"cutcheck (?:journal (?:copy|export)|lens|standard new|serve)\b")
NAMES = re.compile(r"CUTCHECK_[A-Z]+")  # a variable's name alone is no message


@pytest.mark.parametrize(
    "path",
    [
        p
        for p in sorted(CODE.rglob("*.py"))
        if p.name not in ELSEWHERE and not {"commands", "classroom"} & set(p.relative_to(CODE).parts)
    ],
    ids=lambda p: str(p.relative_to(CODE)),
)
def test_no_message_shows_an_option_on_the_page(path: Path) -> None:
    """Whatever a room below says of commands and options, the page says what to press instead."""
    shown = [
        on_page(text)
        for _, text in texts(path)
        if COMMAND.search(text) and not NAMES.fullmatch(text) and not ONLY_THERE.search(text)
    ]
    assert [text for text in shown if COMMAND.search(text)] == []


def test_the_page_s_words_are_sentences() -> None:
    """Messages with a command in them are still sentences; others stay as they are."""
    said = "The photo of check 3 was not kept. Keep photos with 'check --keep --keep-photo'."
    assert on_page(said) == "The photo of check 3 was not kept. Keep the next ones with their photo."
    said = "The inch standard has it: add --standard inch."
    assert on_page(said) == "The inch standard has it: choose the inch standard."
    assert on_page("Lay the card flat.") == "Lay the card flat."
