"""The cuts, their published figures and the two standards."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.cuts import CLASSES, FAMILIES, SIZE_SIDES, STANDINGS, entries, plain_name, sources
from cutcheck.errors import CutcheckError
from cutcheck.standards import SHIPPED, cuts, figure_of, find_cut, layered, load_standard
from cutcheck.units import read_size, to_mm

HERE = Path(__file__).parent
PUBLISHED = [
    row
    for row in csv.reader((HERE / "data/published_cuts.tsv").read_text("utf-8").splitlines(), delimiter="\t")
    if not row[0].startswith("#")
]
STANDING = {"R": "published-read", "M": "from-memory", "C": "common-practice"}


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: "-".join(row[:4]).replace(" ", ""))
def test_every_published_size_is_in_the_reference_as_printed(row: list[str]) -> None:
    """Each line of the table typed from the sources is a figure of its cut: size, mm and standing."""
    cut, source, key, printed, mm, standing = row
    ends, unit = printed.rsplit(" ", 1)
    low, _, high = ends.partition("-")
    wanted = (to_mm(read_size(low), unit), to_mm(read_size(high or low), unit))
    of_source = [f for f in entries()[cut].figures if f.source.code == source]
    known = [f for f in of_source if f.standing == STANDING[standing]]
    found = [(f, size) for f in known for size in f.sizes if size.key == key and size.mm == wanted]
    assert len(found) == 1, f"{cut}: {source} prints {key} {printed}"
    by_hand = [float(part) for part in mm.split("-")]
    # worked out by hand to 0.1 mm; the small slack is for halves such as 19.05
    assert found[0][1].mm == pytest.approx([by_hand[0], by_hand[-1]], abs=0.051)


def test_there_are_the_cuts_that_a_course_teaches() -> None:
    """At least 32 cuts in five families, and the fifteen that every course has among them."""
    assert len(entries()) >= 32
    assert {e.family for e in entries().values()} == set(FAMILIES)
    taught = "brunoise fine-brunoise small-dice medium-dice large-dice julienne fine-julienne allumette"
    taught += " batonnet jardiniere macedoine paysanne mirepoix rondelle chiffonade"
    assert set(taught.split()) <= {c.name for c in cuts() if c.targets}


@pytest.mark.parametrize("name", entries())
def test_every_figure_has_a_source_a_class_and_a_standing(name: str) -> None:
    """No dimension is without a standing, and its source says what it is and where it stands."""
    entry = entries()[name]
    assert entry.figures
    for figure in entry.figures:
        assert figure.standing in STANDINGS
        assert figure.source.grade in CLASSES
        assert figure.source.title
        assert figure.source.address
        assert figure.printed
        if figure.standing == "common-practice":
            assert figure.source.grade in "CE"
        for size in figure.sizes:
            assert 0.5 <= size.mm[0] <= size.mm[1] <= 120.0


@pytest.mark.parametrize("name", entries())
def test_figures_stand_in_the_order_of_their_sources(name: str) -> None:
    """Standards and handbooks come before courseware, courseware before the web."""
    grades = [f.source.grade for f in entries()[name].figures]
    assert grades == sorted(grades)


@pytest.mark.parametrize("name", entries())
def test_every_cut_has_steps_and_usual_mistakes(name: str) -> None:
    """Steps in order, at least one mistake with what to do, and a step for each size that a standard has."""
    entry = entries()[name]
    assert len(entry.steps) >= 2
    assert len(entry.mistakes) >= 2
    hit = {key for step in entry.steps for key in step.hits}
    for standard in SHIPPED:
        for size in load_standard(standard).sizes_of(name):
            assert size.key in hit, f"no step of {name} hits its {size.key}"


def test_every_source_says_what_it_is_and_where_it_stands() -> None:
    """A title, a class of A to E and an address, for each source of the list."""
    assert len(sources()) > 30
    for source in sources().values():
        assert source.title
        assert source.grade in CLASSES
        assert source.address


@pytest.mark.parametrize("standard", SHIPPED)
def test_each_size_of_a_standard_is_its_figure_unchanged(standard: str) -> None:
    """Nothing is averaged: a standard's size is exactly what the figure it names prints."""
    for cut in cuts(standard):
        for size in cut.sizes:
            figure = figure_of(cut, size)
            assert figure is not None, f"{cut.name} {size.key}"
            printed = {s.key: s for s in figure.sizes}
            assert printed[size.key].mm == size.printed.mm, f"{cut.name} {size.key} is not {figure.name}'s"
            if not size.house_rule:
                assert size.plus_minus_mm[0] == figure.plus_minus_mm


def test_the_metric_standard_takes_a_book_that_was_read_before_the_web() -> None:
    """Where a French or Italian handbook that was read prints a size, none of lesser class is taken."""
    for cut in cuts("metric"):
        for size in cut.sizes:
            figure = figure_of(cut, size)
            assert figure is not None
            # not TN11: it prints the inch family in rounded mm
            books = [f for f in cut.entry.figures if f.source.code in ("ESC", "BOC", "GIU")]
            printed = [s for f in books for s in f.sizes if s.key == size.key and s.unit != "in"]
            assert not printed or figure.source.grade == "B", f"{cut.name} {size.key}"


@pytest.mark.parametrize(
    ("name", "standard", "side", "low", "high"),
    # worked out by hand from the printed sizes and the house rule (±0.5 under 4 mm, ±1 to 13, ±2 above, 10 %)
    [
        ("brunoise", "metric", "width", 1.5, 3.5),
        ("macedoine", "metric", "height", 3.0, 6.0),
        ("small-dice", "inch", "length", 5.35, 7.35),
        ("medium-dice", "inch", "length", 11.7, 13.7),
        ("large-dice", "inch", "length", 17.05, 21.05),
        ("julienne", "metric", "length", 36.0, 55.0),
        ("julienne", "metric", "height", 1.5, 2.5),
        ("batonnet", "inch", "length", 45.72, 69.85),
        ("pont-neuf", "metric", "width", 12.0, 17.0),
        ("rondelle", "inch", "height", 2.675, 3.675),
        ("ciseler", "inch", "width", 1.5875, 4.7625),  # the purchase specification's own ± 1/16 in
    ],
)
def test_target_intervals_follow_from_size_and_tolerance(
    name: str, standard: str, side: str, low: float, high: float
) -> None:
    """A range is widened by each end's tolerance; a published tolerance replaces the house rule."""
    target = next(t for t in find_cut(name, standard).targets if t.side == side)
    assert (target.low_mm, target.high_mm) == pytest.approx((low, high))


@pytest.mark.parametrize(
    ("size", "tolerance"),
    [(1.6, 0.5), (3.99, 0.5), (4.0, 1.0), (12.7, 1.0), (13.0, 1.0), (13.01, 2.0), (20.0, 2.0)],
)
def test_the_house_rule_goes_by_size(size: float, tolerance: float) -> None:
    """Half a mm under 4 mm, 1 mm up to and with 13 mm, 2 mm above; and it is marked as a house rule."""
    rule = load_standard("metric").tolerance
    assert rule.plus_minus("edge", size) == tolerance
    assert rule.plus_minus("length", size) == pytest.approx(size / 10)
    assert rule.house_rule
    assert "House rule" in rule.note


@pytest.mark.parametrize(
    ("name", "sides"),
    [("rondelle", ["height"]), ("chiffonade", ["width"]), ("small-dice", ["length", "width", "height"]),
     ("julienne", ["length", "width", "height"]), ("paysanne", ["length", "width", "height"])],
)  # fmt: skip
def test_each_cut_lists_the_sides_that_are_the_cooks(name: str, sides: list[str]) -> None:
    """A round's diameter is the carrot's, a ribbon's length the leaf's: only what the knife made counts."""
    assert [t.side for t in find_cut(name).targets] == sides


@pytest.mark.parametrize("produce", ["onion", "Oignon", "celery", "céleri branche", "bell pepper"])
def test_the_layer_of_layered_produce_does_not_count(produce: str) -> None:
    """Diced onion, pepper and celery are held to the sides the knife made, and the reason is told."""
    cut = find_cut("small-dice", produce=produce)
    assert [t.side for t in cut.targets] == ["length", "width"]
    assert cut.not_scored_because
    assert plain_name(produce) in layered()
    assert [t.side for t in find_cut("small-dice", produce="carrot").targets] == ["length", "width", "height"]


@pytest.mark.parametrize(
    ("asked", "found"),
    [("batonnet", "batonnet"), ("bâtonnet", "batonnet"), ("BÂTONNET", "batonnet"), ("haché", "chopped"),
     ("Small Dice", "small-dice"), ("small_dice", "small-dice"), ("matchstick", "allumette"),
     ("Macédoine", "macedoine"), ("macedoine", "macedoine"), ("pommes pont-neuf", "pont-neuf"),
     ("diamond", "lozenge"), ("roll cut", "oblique"), ("pommes à l'anglaise", "vapeur"),
     ("brunoises", "brunoise"), ("jardiniere", "jardiniere")],
)  # fmt: skip
def test_a_cut_is_found_by_any_of_its_names(asked: str, found: str) -> None:
    """French, English and other names find it; accents, case and punctuation are forgiven."""
    assert find_cut(asked, sized=False).name == found


def test_no_two_cuts_share_a_name() -> None:
    """A name leads to one cut, so that finding never guesses."""
    owners: dict[str, set[str]] = {}
    for entry in entries().values():
        for name in entry.names:
            owners.setdefault(plain_name(name), set()).add(entry.name)
    assert {name: cuts for name, cuts in owners.items() if len(cuts) > 1} == {}


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_text_finds_a_cut_or_says_that_there_is_none(text: str) -> None:
    """No name makes the look-up fall over."""
    code, remedy = "", ""
    try:
        found = find_cut(text).name
    except CutcheckError as error:
        found, code, remedy = "", error.code, error.remedy
    assert found in entries() or (code == "unknown-cut" and remedy)


def test_a_cut_that_the_default_lacks_comes_from_the_other_and_says_so() -> None:
    """Small dice is a name of the inch family; asked for without a standard it is found there, and marked."""
    cut = find_cut("small-dice")
    assert (cut.standard, cut.asked, cut.borrowed) == ("inch", "metric", True)
    assert not find_cut("brunoise").borrowed


def test_with_the_standard_named_a_missing_cut_is_an_error_that_names_who_has_it() -> None:
    """``--standard metric`` never quietly takes inch sizes."""
    with pytest.raises(CutcheckError) as caught:
        find_cut("small dice", "metric")
    assert caught.value.code == "unknown-cut"
    assert caught.value.message == "'small-dice' is not a cut of the metric standard."
    assert "inch" in caught.value.remedy
    assert "--standard inch" in caught.value.remedy


def test_a_slip_of_the_pen_is_met_with_a_suggestion() -> None:
    """An unknown name that is near a known one asks whether that was meant."""
    with pytest.raises(CutcheckError) as caught:
        find_cut("julliene")
    assert caught.value.code == "unknown-cut"
    assert "Did you mean" in caught.value.remedy
    assert "julienne" in caught.value.remedy


def test_a_cut_without_any_size_can_be_shown_but_not_marked() -> None:
    """Wedges have no size in any source: shown as they are, and refused where a size is needed."""
    assert find_cut("wedge", sized=False).sizes == ()
    with pytest.raises(CutcheckError) as caught:
        find_cut("wedge")
    assert "No source gives it a size" in caught.value.remedy


def test_named_standards_list_only_what_they_have() -> None:
    """Without a standard all cuts are listed, with one only its own."""
    assert {c.name for c in cuts()} == set(entries())
    for standard in SHIPPED:
        listed = cuts(standard)
        assert {c.name for c in listed} == {name for name, _ in load_standard(standard).sizes}
        assert all(c.standard == standard for c in listed)


@pytest.mark.parametrize("name", entries())
def test_the_steps_say_the_size_that_they_must_hit(name: str) -> None:
    """A step that hits a size names it, in the unit that is asked for; none is left with a placeholder."""
    for standard in SHIPPED:
        cut = find_cut(name, None, sized=False)
        if not load_standard(standard).sizes_of(name):
            continue
        cut = find_cut(name, standard)
        for unit in ("mm", "in"):
            for step, text in cut.steps(unit):  # type: ignore[arg-type]
                assert "{" not in text
                sized = [key for key in step.hits if cut.size(key)]
                assert not sized or cut.size_text(sized[0], unit) in text  # type: ignore[arg-type]


def test_a_cut_as_json_holds_its_sizes_sources_and_steps() -> None:
    """``to_dict`` is plain data with mm as numbers and the printed unit kept."""
    data = find_cut("julienne", "inch").to_dict()
    assert data["sizes"][0]["printed"] == "1/8 in"
    assert data["sizes"][0]["mm"] == [3.175, 3.175]
    assert data["sizes"][0]["sides"] == list(SIZE_SIDES["section"])
    assert {"source", "class", "standing", "printed"} <= set(data["figures"][0])
    assert data["house_rule"] is True
    assert data["steps"][0]["text"]
