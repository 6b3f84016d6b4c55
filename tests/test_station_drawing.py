"""The drawing of the station: valid SVG, mirrored for a left-hander, words inside the picture."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from cutcheck.station_drawing import BENCH_MM, station_svg

SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> dict[str, tuple[float, float, str]]:
    """Each text with its x, y and anchor."""
    return {
        "".join(e.itertext()): (float(e.attrib["x"]), float(e.attrib["y"]), e.attrib["text-anchor"])
        for e in ElementTree.fromstring(svg).iter(f"{SVG}text")
    }


def places(svg: str, tag: str) -> list[tuple[float, ...]]:
    """Rectangles as (left, top, right, bottom), lines as (x1, y1, x2, y2)."""
    found = []
    for e in ElementTree.fromstring(svg).iter(f"{SVG}{tag}"):
        if tag == "rect":
            x, y, w, h = (float(e.attrib[k]) for k in ("x", "y", "width", "height"))
            found.append((x, y, x + w, y + h))
        else:
            found.append(tuple(float(e.attrib[k]) for k in ("x1", "y1", "x2", "y2")))
    return found


@pytest.mark.parametrize(
    ("left_handed", "order"), [(False, ["Raw", "Waste", "Finished"]), (True, ["Finished", "Waste", "Raw"])]
)
def test_the_containers_stand_in_the_way_of_the_work(left_handed: bool, order: list[str]) -> None:
    """Left to right raw, waste, finished; for a left-hander the other way."""
    at = texts(station_svg(left_handed))
    assert sorted(("Raw", "Waste", "Finished"), key=lambda label: at[label][0]) == order


def test_every_place_is_mirrored_and_no_word_is() -> None:
    """Rectangles of the left-hander's drawing are those of the right-hander's, mirrored about the middle;
    words keep their reading direction: no mirroring transform is used."""
    right, left = station_svg(False), station_svg(True)
    mirrored = [(BENCH_MM[0] - b, t, BENCH_MM[0] - a, u) for a, t, b, u in places(right, "rect")]
    assert np.allclose(places(left, "rect"), mirrored)
    assert "scale(-1" not in left
    shared = set(texts(right)) & set(texts(left))
    assert {"Raw", "Waste", "Finished", "Board", "Knife", "Peeler"} <= shared
    for word in shared:
        assert texts(left)[word][0] == pytest.approx(BENCH_MM[0] - texts(right)[word][0])


def test_the_knife_lies_on_the_side_of_the_cutting_hand() -> None:
    """Right of the board for a right-hander, left for a left-hander, and the words say which hand."""
    right, left = texts(station_svg(False)), texts(station_svg(True))
    assert right["Knife"][0] > right["Board"][0]
    assert left["Knife"][0] < left["Board"][0]
    assert "right hand cuts" in right
    assert "left hand cuts" in left


def test_all_that_is_drawn_is_inside_the_picture() -> None:
    """No rectangle or line leaves the bench; a word has room at six tenths of its size a letter."""
    for left_handed in (False, True):
        svg = station_svg(left_handed, raw=["carrot"] * 9, finished=["Jerusalem artichoke, large dice"] * 4)
        for x1, y1, x2, y2 in places(svg, "rect") + places(svg, "line"):
            assert 0 <= min(x1, x2) <= max(x1, x2) <= BENCH_MM[0]
            assert 0 <= min(y1, y2) <= max(y1, y2) <= BENCH_MM[1]
        for e in ElementTree.fromstring(svg).iter(f"{SVG}text"):
            wide = 0.6 * float(e.attrib["font-size"]) * len("".join(e.itertext()))
            x = float(e.attrib["x"])
            start = {"start": x, "middle": x - wide / 2, "end": x - wide}[e.attrib["text-anchor"]]
            assert start >= 0
            assert start + wide <= BENCH_MM[0]


def test_names_are_written_into_the_containers_and_counted_when_too_many() -> None:
    """What is to be prepared stands in the raw container; beyond three lines the rest is counted."""
    few = texts(station_svg(raw=["carrot", "onion"]))
    assert "carrot, onion" in few
    many = texts(station_svg(raw=["carrot", "onion", "celeriac", "potato", "parsnip", "beetroot", "leek"]))
    assert "and 3 more" in many


def test_names_with_markup_are_shown_as_they_are() -> None:
    """A name with signs of markup is text, not markup."""
    assert "<b>&" in texts(station_svg(raw=["<b>&"]))


def test_the_drawing_says_what_it_shows() -> None:
    """A title and a description for who can't see it, and a role that makes them read."""
    root = ElementTree.fromstring(station_svg(True))
    assert root.attrib["role"] == "img"
    assert root.find(f"{SVG}title").text == "Station for a left-hander"  # type: ignore[union-attr]
    assert "finished, waste, raw" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
