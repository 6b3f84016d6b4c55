"""Results as JSON: the fields of schema 1, and nothing lost on the way there and back."""

from __future__ import annotations

import json
from typing import Any

import pytest
import trays
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.records import (
    BudgetLine,
    CutName,
    Measure,
    PhotoInfo,
    Piece,
    Result,
    Scale,
    Score,
    ShapeFigure,
    SideScore,
    Suggestion,
)
from cutcheck.serialise import from_dict, from_json, to_dict, to_json

# Every field that schema 1 promises, by the table in DEVELOPERS.md, "The JSON of a check".
PROMISED: dict[str, Any] = {
    "schema": None,
    "photo": {"file", "sha256", "width_px", "height_px", "taken"},
    "scale": {"reference", "numbers", "mm_per_px", "tilt_deg", "residual_px", "focal_px", "focal_from"},
    "pieces": {
        "number",
        "centre_px",
        "outline_px",
        "shape",
        "length",
        "width",
        "height",
        "verdict",
        "conformity",
        "flags",
    },
    "cut": {"name", "standard"},
    "suggested": {"name", "probability"},
    "score": {
        "mark",
        "mark_low",
        "mark_high",
        "on_size",
        "evenness",
        "squareness",
        "counted",
        "sides",
    },
    "advice": None,
    "warnings": None,
}

mm = st.floats(0.0, 500.0)
share = st.floats(0.0, 1.0)
px = st.floats(-100.0, 20_000.0)
points = st.lists(st.tuples(px, px), max_size=5).map(tuple)
texts = st.text(max_size=12)
lines = st.lists(texts, max_size=3).map(tuple)
seen = st.builds(Measure, mm, mm)
measures = seen | st.just(Measure(None, None, False))
side_names = st.sampled_from(["length", "width", "height"])
pieces = st.builds(
    Piece,
    number=st.integers(1, 999),
    centre_px=st.tuples(px, px),
    outline_px=points,
    shape=st.sampled_from(["box", "disc", "ribbon", "irregular"]),
    length=seen,
    width=seen,
    height=measures,
    verdict=st.sampled_from(["in", "out", "unsure", "offcut", None]),
    conformity=st.none() | share,
    flags=lines,
    figures=st.lists(st.builds(ShapeFigure, texts, mm, texts, mm), max_size=2).map(tuple),
    budget=st.lists(st.builds(BudgetLine, side_names, texts, mm), max_size=3).map(tuple),
    top_px=points,
)
side_scores = st.builds(
    SideScore,
    side=side_names,
    target_mm=st.tuples(mm, mm),
    mean_mm=st.none() | mm,
    sd_mm=st.none() | mm,
    seen=st.integers(0, 999),
    share_on_size=st.none() | share,
    label=texts,
)
marks = st.floats(0.0, 100.0)
results = st.builds(
    Result,
    photo=st.builds(PhotoInfo, texts, texts, st.integers(1, 9999), st.integers(1, 9999), st.none() | texts),
    scale=st.builds(
        Scale,
        reference=st.sampled_from(["card", "mat", "id1", "sheet", "disc", "square"]),
        numbers=st.lists(st.integers(0, 124), max_size=3).map(tuple),
        mm_per_px=st.floats(0.001, 10),
        tilt_deg=st.floats(0, 55),
        residual_px=st.floats(0, 10),
        focal_px=st.floats(100, 10_000),
        focal_from=st.sampled_from(["exif", "solved", "lens"]),
        regions_px=st.lists(points, max_size=2).map(tuple),
    ),
    pieces=st.lists(pieces, max_size=3).map(tuple),
    cut=st.none() | st.builds(CutName, texts, texts),
    suggested=st.none() | st.builds(Suggestion, texts, share),
    score=st.none()
    | st.builds(
        Score,
        mark=marks,
        mark_low=marks,
        mark_high=marks,
        on_size=share,
        evenness=st.none() | share,
        squareness=st.none() | share,
        counted=st.integers(0, 999),
        sides=st.lists(side_scores, max_size=3).map(tuple),
        sampling=st.none() | share,
    ),
    advice=lines,
    warnings=lines,
)


@settings(max_examples=60, deadline=None)
@given(results)
def test_a_result_survives_the_way_to_json_and_back(result: Result) -> None:
    """Written, read and written again, a result gives the same line, whatever is in it."""
    line = to_json(result, with_budget=True)
    assert "\n" not in line
    back = from_json(line)
    assert to_json(back, with_budget=True) == line
    assert [p.number for p in back.pieces] == [p.number for p in result.pieces]
    assert back.photo == result.photo


@settings(max_examples=40, deadline=None)
@given(results)
def test_no_figure_moves_by_more_than_its_last_digit(result: Result) -> None:
    """Rounding keeps lengths to 0.1 micrometre and pixels to 0.01."""
    back = from_json(to_json(result))
    for before, after in zip(result.pieces, back.pieces, strict=True):
        for side in ("length", "width", "height"):
            old, new = getattr(before, side), getattr(after, side)
            assert (old.mm is None) == (new.mm is None)
            if old.mm is not None:
                assert abs(old.mm - new.mm) <= 0.51e-4
        for old_point, new_point in zip(before.outline_px, after.outline_px, strict=True):
            assert max(abs(a - b) for a, b in zip(old_point, new_point, strict=True)) <= 0.51e-2


def test_every_promised_field_is_there() -> None:
    """The fields of schema 1 are all written, under their names."""
    data = json.loads(to_json(trays.tray()))
    assert data["schema"] == 1
    for name, fields in PROMISED.items():
        assert name in data
        value = data[name][0] if name == "pieces" else data[name]
        if fields is not None:
            assert fields <= set(value)
    piece = data["pieces"][0]
    assert set(piece["length"]) == {"mm", "u95"}
    assert set(piece["height"]) == {"mm", "u95", "seen"}
    assert {"side", "target_mm", "mean_mm", "sd_mm", "seen"} <= set(data["score"]["sides"][0])


def test_what_was_not_measured_is_null() -> None:
    """A height that can't be seen is null and says so; no cut and no mark are null too."""
    one = trays.piece(1, 0, 0, 0.3, (6.0, 6.0, 6.0), None, height_seen=False)
    whole = trays.tray()
    bare = Result(photo=whole.photo, scale=whole.scale, pieces=(one,))
    data = json.loads(to_json(bare))
    assert data["pieces"][0]["height"] == {"mm": None, "u95": None, "seen": False}
    assert data["cut"] is None
    assert data["score"] is None
    assert from_dict(data).pieces[0].height == Measure(None, None, False)


def test_a_later_version_may_add_fields() -> None:
    """Fields that this version does not know are passed over."""
    data = to_dict(trays.tray())
    data["scale"]["added"] = data["photo"]["added"] = data["score"]["added"] = data["added"] = 1
    assert from_dict(data) == from_dict(to_dict(trays.tray()))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("nonsense", "not JSON"),
        ("[]", "schema None"),
        ('{"schema": 2}', "schema 2: this version reads schema 1"),
        ('{"schema": 1}', "not a result of schema 1"),
    ],
)
def test_what_is_no_result_is_told(text: str, told: str) -> None:
    """Another file than a result's is refused with a word on why."""
    with pytest.raises(ValueError, match=told):
        from_json(text)
