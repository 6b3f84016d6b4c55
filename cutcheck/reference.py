"""Reading a TOML file so that a fault names the file, the line and the field, and what to write instead."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any, NoReturn

from cutcheck.errors import CutcheckError

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"\s*([A-Za-z0-9_.\"'-]+?)\s*=")
_MISSING: Any = object()
MOST_BYTES = 1_000_000  # of a file that somebody wrote; the longest of ours has some 60 kB
_LARGEST = 2**63  # TOML 1.0.0, "Integer": 64 bits with a sign
_MOST_DOTS = 200  # in a line: tomllib's time grows with the square of a dotted key's parts
_TOO_LONG = "a whole number in it has too many digits"
_LONGEST = 60  # of a value that is told, letters


def own_text(source: Path | bytes, what: str) -> str:
    """The text of a user's own TOML file, or of its bytes; UTF-8 with or without a mark. ``what`` is what the
    error ``bad-option`` calls it: "The rubric 'ours.toml'"."""
    try:
        if isinstance(source, bytes):
            data = source
        else:
            with source.open("rb") as file:
                data = file.read(MOST_BYTES + 1)
        if len(data) <= MOST_BYTES:
            return data.decode("utf-8-sig")
        why, remedy = "it is larger than 1 MB", "Is it the right file?"
    except OSError as error:
        why, remedy = f"{error.strerror}", "Look at its permissions."
    except UnicodeDecodeError:
        why, remedy = "it is not in UTF-8", "Save it as UTF-8 in a text editor."
    raise CutcheckError("bad-option", problem=f"{what} can't be read as text: {why}.", remedy=remedy)


def parse_toml(source: str) -> dict[str, Any]:
    """The data in a text; ``ValueError`` for all that is wrong with it, also ``tomllib.TOMLDecodeError``."""
    for number, line in enumerate(source.split("\n"), 1):
        if line.count(".") > _MOST_DOTS:
            raise ValueError(f"line {number} has far too many dots")
    try:
        found = tomllib.loads(source)
    except RecursionError:
        raise ValueError("its brackets are nested far too deep") from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise ValueError(_TOO_LONG) from None
    waiting: list[Any] = [found]  # no recursion: dotted keys nest as deep as the file is long
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict | list):
            waiting += value.values() if isinstance(value, dict) else value
        elif isinstance(value, int) and not -_LARGEST <= value < _LARGEST:
            raise ValueError(_TOO_LONG)
    return found


def shown(value: object) -> str:
    """A value of a TOML file as it is told: short, whatever it holds."""
    if isinstance(value, str | int | float | date | time):
        text = repr(value) if isinstance(value, str | int | float) else str(value)
        return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"
    return "a table" if isinstance(value, dict) else "a list"


@dataclass(frozen=True, slots=True)
class Field:
    """A value in a TOML file, and where it stands: ``path`` as ('sizes', 'julienne', 'length')."""

    file: str
    source: str
    path: tuple[str | int, ...]
    data: Any

    @classmethod
    def parse(cls, file: str, source: str) -> Field:
        """The whole file. What is not TOML at all is told with its line."""
        try:
            return cls(file, source, (), parse_toml(source))
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"line (\d+)", str(error))
            line = found[1] if found else str(source.count("\n") + 1)
            why = re.sub(r"\s*\(at [^)]*\)", "", str(error))
            raise CutcheckError(
                "bad-option",
                problem=f"{file}, line {line}: this is not TOML ({why}).",
                remedy="Look at that line and the one before: a quote, a bracket or an = may be missing.",
            ) from error
        except ValueError as error:
            raise CutcheckError(
                "bad-option", problem=f"{file}: {error}.", remedy="Mend it, or begin with a new one."
            ) from None

    def at(self, key: str | int) -> Field:
        """The field ``key`` inside this one; its data is None where it is not there."""
        here = self.data.get(key) if isinstance(self.data, dict) else self.data[key]
        return Field(self.file, self.source, (*self.path, key), here)

    def table(self) -> dict[str, Any]:
        """The data, which must be a table."""
        if not isinstance(self.data, dict):
            fail(self, "this is no table", "Write it as a [section] or as { key = value }.")
        return self.data

    def only(self, *keys: str) -> None:
        """No other keys than these, so that a slip of the pen is told."""
        for key in self.table():
            if key not in keys:
                fail(self.at(key), f"{shown(key)} is not known here", f"Known are: {', '.join(keys)}.")

    def text(self, key: str, default: str = _MISSING) -> str:
        """The text at ``key``."""
        value = self.table().get(key, default)
        if value is _MISSING:
            fail(self, f"'{key}' is missing", f'Write {key} = "...".')
        if not isinstance(value, str):
            fail(self.at(key), f"{shown(value)} is no text", f'Put text in quotes: {key} = "...".')
        return value

    def texts(self, key: str, default: Any = _MISSING) -> list[str]:
        """The list of texts at ``key``."""
        value = self.table().get(key, default)
        if value is _MISSING:
            fail(self, f"'{key}' is missing", f'Write {key} = ["...", "..."].')
        if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
            fail(self.at(key), "this is no list of texts", f'Write {key} = ["...", "..."].')
        return list(value)

    def choice(self, key: str, allowed: tuple[str, ...], default: str = _MISSING) -> str:
        """The text at ``key``, one of ``allowed``."""
        value = self.text(key, default)
        if value not in allowed:
            fail(
                self.at(key),
                f"{shown(value)} is not known",
                f"Known are: {', '.join(a for a in allowed if a)}.",
            )
        return value

    def number(self, key: str, default: Any = _MISSING) -> float:
        """The number at ``key``, not below zero."""
        value = self.table().get(key, default)
        if value is _MISSING:
            fail(self, f"'{key}' is missing", f"Write {key} = and a number.")
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e6:
            fail(
                self.at(key), f"{shown(value)} is not a number from 0 up", f"Write {key} = and a bare number."
            )
        return float(value)

    def rows(self, key: str) -> list[Field]:
        """The tables of the list at ``key``; none where it is not there."""
        value = self.table().get(key, [])
        if not isinstance(value, list):
            fail(self.at(key), "this is no list", f"Write it as [[{key}]].")
        return [self.at(key).at(i) for i in range(len(value))]


def fail(field: Field, problem: str, remedy: str) -> NoReturn:
    """Stop with the file, the line and the field."""
    name = ".".join(f"{p + 1}" if isinstance(p, int) else p[:_LONGEST] for p in field.path)
    line = _line(field.source, field.path)
    where = ", ".join(p for p in (field.file, f"line {line}" if line else "", name) if p)
    raise CutcheckError("bad-option", problem=f"{where}: {problem}.", remedy=remedy)


def _line(source: str, path: tuple[str | int, ...]) -> int | None:
    """The line where ``path`` stands, or else what is nearest above it. tomllib does not tell, so look."""
    best, depth = None, 0
    table: tuple[str | int, ...] = ()
    counts: dict[str, int] = {}
    for number, line in enumerate(source.splitlines(), 1):
        if header := _HEADER.match(line):
            names = _parts(header[2])
            table = names
            if header[1] == "[[":
                index = counts.get(header[2], -1) + 1
                counts[header[2]] = index
                table = (*names, index)
            here: tuple[str | int, ...] = table
        elif key := _KEY.match(line):
            here = (*table, *_parts(key[1]))
        else:
            continue
        if here == path[: len(here)] and len(here) > depth:
            best, depth = number, len(here)
    return best


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(p.strip().strip("\"'") for p in dotted.split("."))
