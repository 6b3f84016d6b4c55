"""Results as text for a terminal, and the words they are told in."""

from __future__ import annotations

from dataclasses import replace

import pytest
import trays
from hypothesis import given
from hypothesis import strategies as st

from cutcheck import table, words
from cutcheck.records import Measure

cells = st.text("abc 1.", max_size=8)


@given(
    st.integers(1, 4).flatmap(
        lambda n: st.lists(st.lists(cells, min_size=n, max_size=n), min_size=1, max_size=6)
    )
)
def test_columns_line_up(rows: list[list[str]]) -> None:
    """Each column starts and ends at one place in every line, and no cell is cut."""
    lines = table.columns(rows).split("\n")
    assert len(lines) == len(rows)
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for line, row in zip(lines, rows, strict=True):
        at = 2
        for width, cell in zip(widths, row, strict=True):
            assert line.ljust(200)[at : at + width].strip() == cell.strip()
            at += width + 3


def test_a_tray_tells_mark_sides_advice_and_warnings_in_that_order() -> None:
    """What matters most comes first: the mark, then the sides, what to do, and what is good to know."""
    text = table.tray(trays.tray())
    places = [text.index(part) for part in ("Mark 72", "length", "What to do", "Good to know")]
    assert places == sorted(places)
    assert "(68 to 77 with what measuring leaves open)" in text
    assert "on size 66 %, evenness 81 %, squareness 90 %, 11 pieces counted" in text


def test_the_spread_is_the_standard_deviation_of_what_is_seen() -> None:
    """Without a cut the table gives mean and sample standard deviation: 6, 7, 8 mm have 7.00 and 1.00."""
    pieces = tuple(
        trays.piece(n, 0, 0, 0, (mm, 5.0, 4.0), None, height_seen=False)
        for n, mm in enumerate((6.0, 7.0, 8.0), 1)
    )
    text = table.side_table(replace(trays.tray(), pieces=pieces, cut=None, score=None))
    row = next(line for line in text.splitlines() if "length" in line)
    assert row.split() == ["length", "7.00", "1.00", "6.00", "8.00", "3"]
    assert "height" not in text


def test_a_spread_that_measuring_explains_is_told_as_none_seen() -> None:
    """A spread of which the measuring noise leaves nothing is no figure: nobody cuts without any."""
    result = trays.tray()
    assert result.score is not None
    side = replace(result.score.sides[0], sd_mm=0.0)
    text = table.side_table(replace(result, score=replace(result.score, sides=(side,))))
    assert "none seen" in text.splitlines()[-1]
    assert "0.00" not in text


def test_a_side_that_is_not_seen_is_said_so() -> None:
    """An unseen height is told in words, never as a figure."""
    piece = trays.piece(4, 0, 0, 0, (6.0, 6.0, 6.0), "unsure", height_seen=False, flags=("touching",))
    text = table.explain(piece)
    assert "not seen in this photo" in text
    assert "touches another piece" in text
    assert table.side_words(Measure(6.35, 0.12), "mm") == "6.35 mm, give or take 0.12"
    assert table.side_words(Measure(6.35, 0.254), "in") == "0.250 in, give or take 0.010"


def test_several_trays_have_a_row_each_and_failures_below() -> None:
    """Photos that failed are told after the table, with what to do."""
    good = trays.tray()
    text = table.trays([("a.jpg", good), ("b.jpg", "It is dark. Switch on a light."), ("c.jpg", good)])
    assert text.index("c.jpg") < text.index("b.jpg: It is dark.")
    assert text.count("72 (68 to 77)") == 2


@pytest.mark.parametrize(
    ("probability", "said"),
    [(0.999, "more than 99 %"), (0.99, "99 %"), (0.5, "50 %"), (0.001, "less than 1 %")],
)
def test_no_chance_is_told_as_certain(probability: float, said: str) -> None:
    """0 and 100 % are never claimed of a chance."""
    assert words.chance(probability) == said
