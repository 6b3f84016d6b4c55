"""Gestures, washing, station, order of work, cautions and vegetables: what the data must hold."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest

from cutcheck import preparation
from cutcheck.cuts import STANDINGS, sources
from cutcheck.errors import CutcheckError
from cutcheck.preparation import (
    Statement,
    cautions,
    find_gesture,
    gestures,
    gestures_for,
    order_of_work,
    read_cautions,
    read_gestures,
    read_station,
    read_washing,
    station,
    washing,
)
from cutcheck.produce import read_vegetables, vegetables


def statements() -> list[Statement]:
    """Every statement of the four files."""
    found = [s for g in gestures().values() for s in g.says]
    found += [*washing().advice, *washing().vinegar]
    found += [p.statement for p in station().places] + [s.statement for s in station().order]
    return found + [c.statement for c in cautions()]


def test_no_statement_is_without_its_standing() -> None:
    """What has no source is common practice and says so; what was published and read names its source."""
    assert len(statements()) > 60
    for statement in statements():
        assert statement.standing in STANDINGS
        if statement.source is None:
            assert statement.standing == "common-practice", statement.text


def test_the_gestures_asked_of_a_cook_are_there_with_both_meanings() -> None:
    """Éplucher, peler, écosser, effiler, équeuter, monder; where sources differ, both are told (a French
    culinary dictionary, a handbook of classic cuisine, a French teaching page)."""
    for name in ("éplucher", "peler", "écosser", "effiler", "équeuter", "monder", "ébouter", "parer"):
        gesture = find_gesture(name)
        assert gesture.steps
        assert gesture.says
    assert {s.source.code for s in find_gesture("effiler").says if s.source} == {"GASTRO", "FCI", "FR-EDU"}
    assert find_gesture("effiler").differ
    assert find_gesture("éplucher").differ


@pytest.mark.parametrize(
    ("typed", "name"),
    [("EPLUCHER", "eplucher"), ("émonder", "monder"), ("shell", "ecosser"), ("Top and tail", "ebouter")],
)
def test_a_gesture_is_found_by_any_name(typed: str, name: str) -> None:
    """French or English, accents and case forgiven, other words for the same too."""
    assert find_gesture(typed).name == name


def test_a_slip_of_the_pen_is_pointed_to_the_gesture_meant() -> None:
    """An unknown gesture names the nearest."""
    with pytest.raises(CutcheckError) as caught:
        find_gesture("eplucer")
    assert "éplucher" in caught.value.remedy


def test_gestures_go_with_the_vegetables_that_they_apply_to() -> None:
    """A tomato is scalded, a pea is shelled, an onion is not."""
    names = {n: {g.name for g in gestures_for(vegetables()[n])} for n in ("tomato", "pea", "onion")}
    assert "monder" in names["tomato"]
    assert names["pea"] == {"ecosser"}
    assert "ecosser" not in names["onion"]


def test_washing_keeps_both_sides_of_what_is_disputed() -> None:
    """Tap and bowl, washed bags, and vinegar: advice, tests for and against, claims, and a summing up."""
    moot = {s.differs for s in washing().advice if s.differs}
    assert moot == {"tap or bowl", "bags of washed salad"}
    for point in moot:
        assert sum(s.differs == point for s in washing().advice) >= 2
    assert {s.kind for s in washing().vinegar} == {"advised", "against", "for", "claimed", "sum"}


def test_each_part_defers_to_the_local_code_and_the_instructor() -> None:
    """Washing, station and cautions each say who comes first."""
    for text in (washing().defer, station().defer, preparation.defer_text()):
        assert "instructor" in text


def test_the_usual_cautions_are_there() -> None:
    """Claw grip, sharp knife, board, carrying, gloves, raw meat apart, allergens."""
    topics = {c.topic for c in cautions()}
    wanted = {
        "claw grip",
        "sharp knife",
        "board that can't slip",
        "carrying",
        "gloves",
        "raw meat apart",
        "allergens",
    }
    assert wanted <= topics
    glove = next(c for c in cautions() if c.topic == "gloves")
    assert "not cut-proof" in glove.statement.text


def test_the_station_has_three_containers_in_the_way_of_the_work() -> None:
    """Raw, waste, finished, each with why it stands there; mirrored the order is turned round."""
    assert [c.name for c in station().containers] == ["raw", "waste", "finished"]
    assert all(c.why for c in station().containers)
    assert station().to_dict(left_handed=True)["left_to_right"] == ["finished", "waste", "raw"]


def test_the_order_of_work_names_each_vegetable_once_and_leaves_out_empty_steps() -> None:
    """Each vegetable is cut at one step only, an allergen at the last; steps about none of them are gone."""
    chosen = [vegetables()[n] for n in ("carrot", "onion", "beet", "celeriac", "carrot", "lettuce")]
    steps = {s.when: s.statement.text for s in order_of_work(chosen)}
    cutting = [steps[w] for w in ("mild", "strong", "staining", "allergen")]
    for vegetable in chosen:
        assert sum(vegetable.english in text for text in cutting) == 1, vegetable.english
    assert "celeriac" in steps["allergen"]
    assert {s.when for s in order_of_work([vegetables()["carrot"]])} == {"always", "peeled", "mild"}


def test_washing_comes_before_peeling_before_cutting() -> None:
    """The dirty work is done before the board is used, and what has least soil is washed first."""
    texts = [s.statement.text for s in order_of_work([vegetables()[n] for n in ("potato", "lettuce")])]
    wash, peel, cut = (
        next(i for i, t in enumerate(texts) if t.startswith(w)) for w in ("Wash e", "Peel", "Cut")
    )
    assert wash < peel < cut
    assert "lettuce, potato" in texts[wash]


def test_allergens_are_those_of_the_european_list() -> None:
    """Celery, stalk and root, and mustard leaves (Regulation (EU) 1169/2011, Annex II, items 9 and 10)."""
    found = {v.name: v.allergen for v in vegetables().values() if v.allergen}
    assert found == {"celery": "celery", "celeriac": "celery", "mustard-greens": "mustard"}


def test_there_are_enough_vegetables_and_each_has_a_source() -> None:
    """At least forty vegetables, each with a yield from a table that was read, and a use for trimmings."""
    assert len(vegetables()) >= 40
    for vegetable in vegetables().values():
        assert any(y.standing == "published-read" for y in vegetable.yields), vegetable.name
        assert vegetable.trimmings, vegetable.name
        assert all(0 < y.kept <= 1 for y in vegetable.yields)


READERS: dict[str, Callable[[str, str], Any]] = {
    "gestures.toml": read_gestures,
    "washing.toml": read_washing,
    "station.toml": read_station,
    "cautions.toml": read_cautions,
    "produce.toml": lambda file, text: read_vegetables(file, text, sources()),
}


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("gestures.toml", 'where = "waste"', 'where = "floor"', "'floor' is not known"),
        ("gestures.toml", 'source = "GASTRO"', 'source = "HEARSAY"', "'HEARSAY' is not known"),
        ("gestures.toml", '"carrot", "potato"', '"carot", "potato"', "'carot' is not in produce.toml"),
        ("gestures.toml", 'tool = "the thumbs"', 'tools = "the thumbs"', "'tools' is not known here"),
        ("washing.toml", 'kind = "claimed"', 'kind = "hoped"', "'hoped' is not known"),
        ("washing.toml", 'standing = "from-memory"', 'standing = "sure"', "'sure' is not known"),
        ("station.toml", 'name = "waste"', 'name = "raw"', "the containers are raw, waste, finished"),
        ("station.toml", 'when = "strong"', 'when = "noon"', "'noon' is not known"),
        ("cautions.toml", '["celery", "mustard"]', '["celery", "fish"]', "'fish' is not known"),
        (
            "cautions.toml",
            'standing = "common-practice"',
            'standing = "published-read"',
            "there is no source for it",
        ),
        ("produce.toml", "factor = 1.89", "factor = 0.89", "more is kept than was bought"),
        ("produce.toml", "refuse = 47", "refuse = 100", "more is kept than was bought, or nothing"),
        (
            "produce.toml",
            "refuse = 47",
            "refuse = 47, kept = 53",
            "a yield is one of refuse, factor and kept",
        ),
        ("produce.toml", 'board = "staining"', 'board = "purple"', "'purple' is not known"),
        ("produce.toml", "density = 1.04\n", "", "a shape needs a density"),
        ("produce.toml", 'part = "offcuts"', 'part = "bits"', "what is squared off leaves offcuts"),
        ("produce.toml", "soil = true", 'soil = "yes"', "is neither true nor false"),
        ("produce.toml", ", ratio = 4.75", "", "neither its length nor a ratio is known"),
    ],
)
def test_a_broken_file_is_told_with_file_line_and_remedy(file: str, old: str, new: str, said: str) -> None:
    """One slip in a file of the reference stops its reading, and the message says where and what to write."""
    text = files("reference_dims").joinpath(file).read_text("utf-8")
    assert old in text
    with pytest.raises(CutcheckError, match=said) as caught:
        READERS[file](file, text.replace(old, new, 1))
    assert caught.value.message.startswith(f"{file}, line ")
    assert caught.value.remedy


@pytest.mark.parametrize("file", sorted(READERS))
def test_a_file_that_is_no_toml_is_told_with_its_line(file: str) -> None:
    """A missing quote is told with the line it stands in."""
    text = files("reference_dims").joinpath(file).read_text("utf-8")
    with pytest.raises(CutcheckError, match=r"line \d+: this is not TOML"):
        READERS[file](file, text.replace('= "', "= ", 1))
