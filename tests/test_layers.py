"""Data flows one way: the layers are those of the table in DEVELOPERS.md, and no room knows a later one."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CODE = ROOT / "cutcheck"
ROOMS = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(CODE.rglob("*.py"))
}
FRONT_DOOR = "cutcheck"  # names what others give and the version; it imports nothing before it is used
# The libraries of one layer alone, so that what a script calls needs neither a terminal nor a browser.
ONLY_IN = {"click": ("the command line",), "streamlit": ("the page", "the command line")}


@cache
def layers() -> dict[str, tuple[str, ...]]:
    """The layers in their order, each with its files and folders, from the table in DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    table = text.split("<!-- layers -->")[1].split("<!-- end of layers -->")[0]
    rows = re.findall(r"^\| ([^|`-][^|]*) \| (.*) \|$", table, re.MULTILINE)
    found = {name: tuple(re.findall(r"`(\w+(?:\.py|/))`", rooms)) for name, rooms in rows}
    return {name: rooms for name, rooms in found.items() if rooms}


@cache
def layer_of(room: str) -> int:
    """The place of a room's layer, from 0; -1 where it is in none."""
    head = room.split(".")[1]
    name = f"{head}/" if (CODE / head).is_dir() else f"{head}.py"
    return next((at for at, rooms in enumerate(layers().values()) if name in rooms), -1)


@cache
def imports(room: str) -> frozenset[str]:
    """The modules that a room imports, wherever in its text; of ours the rooms, of others the package."""
    path = ROOMS[room]
    package = room if path.name == "__init__.py" else room.rpartition(".")[0]
    return frozenset(_imported(ast.parse(path.read_text("utf-8")), package)) - {room, FRONT_DOOR}


def _imported(tree: ast.Module, package: str) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name if alias.name in ROOMS else alias.name.split(".")[0]
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            if base not in ROOMS:
                yield base.split(".")[0]
                continue
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                yield inner if inner in ROOMS else base


def test_every_room_is_in_one_layer() -> None:
    """Each file and folder of the package stands once in the table, and the table names no other."""
    listed = [room for rooms in layers().values() for room in rooms]
    there = {f"{path.name}/" for path in CODE.iterdir() if (path / "__init__.py").exists()}
    there |= {path.name for path in CODE.glob("*.py")}
    assert sorted(listed) == sorted(there - {"__init__.py", "fonts/"})


@pytest.mark.parametrize("room", [r for r in ROOMS if r.count(".") and r != "cutcheck.fonts"])
def test_no_room_knows_a_later_one(room: str) -> None:
    """What a room imports is of its own layer or an earlier one."""
    mine, known = layer_of(room), imports(room)
    assert [one for one in known if one in ROOMS and layer_of(one) > mine] == []
    layer = list(layers())[mine]
    assert [one for one, homes in ONLY_IN.items() if one in known and layer not in homes] == []


def test_no_two_rooms_know_each_other() -> None:
    """Following imports never leads back to where one began."""
    done: set[str] = set()

    def follow(room: str, way: tuple[str, ...]) -> None:
        assert room not in way, " -> ".join([*way[way.index(room) :], room])
        if room not in done:
            for one in imports(room) & ROOMS.keys():
                follow(one, (*way, room))
            done.add(room)

    for room in ROOMS:
        follow(room, ())


@pytest.mark.parametrize("room", [r for r in ROOMS if ".migrations" not in r and "__main__" not in r])
def test_every_room_can_be_imported(room: str) -> None:
    """A room is there when it is asked for, whoever asks first; the journal's steps are Alembic's to run."""
    assert importlib.import_module(room).__doc__ is not None
