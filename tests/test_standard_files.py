"""A standard of the user's own, and what a broken file is told."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.cuts import entries, read_entry, sources
from cutcheck.errors import CutcheckError
from cutcheck.standard_file import new_standard, published_tolerances
from cutcheck.standards import SHIPPED, cuts, find_cut, load_standard, read_standard
from cutcheck.suggest import suggest

OWN = """\
name = "school"
unit = "mm"

[tolerance]
length_percent = 5
bands = [{ under = 4, plus_minus = 0.3 }, { plus_minus = 1 }]

[sizes.brunoise]
edge = 3

[sizes.batonnet]
section = { size = "1/4", unit = "in", plus_minus = "1/32" }
length = [50, 60]
"""


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A small standard of a school's own."""
    path = tmp_path / "school.toml"
    path.write_text(OWN, "utf-8")
    return path


def test_a_standard_of_ones_own_counts(own: Path) -> None:
    """Sizes, ranges, units and tolerances of the file are those the pieces are held to."""
    brunoise, batonnet = find_cut("brunoise", own), find_cut("batonnet", own)
    assert brunoise.standard == "school"
    assert (brunoise.targets[0].low_mm, brunoise.targets[0].high_mm) == pytest.approx((2.7, 3.3))
    assert (batonnet.targets[0].low_mm, batonnet.targets[0].high_mm) == pytest.approx((47.5, 63.0))
    assert batonnet.targets[1].low_mm == pytest.approx(6.35 - 25.4 / 32)
    assert [c.name for c in cuts(own)] == ["brunoise", "batonnet"]
    assert suggest([], find_cut("brunoise", own)) is None


def test_a_cut_that_it_lacks_is_an_error_that_names_who_has_it(own: Path) -> None:
    """The user's file is kept to, as any standard that is named."""
    with pytest.raises(CutcheckError) as caught:
        find_cut("julienne", own)
    assert caught.value.message == "'julienne' is not a cut of the school standard."
    assert "--standard metric" in caught.value.remedy


def test_no_such_standard_names_those_that_there_are(tmp_path: Path) -> None:
    """Neither a name nor a file: the error has both ways out."""
    with pytest.raises(CutcheckError) as caught:
        load_standard(tmp_path / "none.toml")
    assert caught.value.code == "unknown-standard"
    assert "metric" in caught.value.remedy
    assert "inch" in caught.value.remedy


def test_a_file_that_is_no_text_is_told(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 get an error, not a traceback."""
    path = tmp_path / "broken.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CutcheckError, match="can't be read as text"):
        load_standard(path)


@pytest.mark.parametrize(
    ("before", "after", "line", "field", "words"),
    [
        ("edge = 3", "edge = three", 9, None, "not TOML"),
        ("edge = 3", 'edge = "three"', 9, "sizes.brunoise.edge", "'three' is not a size"),
        ("edge = 3", "edge = -3", 9, "sizes.brunoise.edge", "is not a size"),
        ("edge = 3", "edge = true", 9, "sizes.brunoise.edge", "is not a size"),
        ("edge = 3", "edge = 0.2", 9, "sizes.brunoise.edge", "tolerance is larger"),
        ("edge = 3", "egde = 3", 9, "sizes.brunoise.egde", "'egde' is not known here"),
        ("edge = 3", 'edge = { size = 3, from = "NO" }', 9, "sizes.brunoise.edge.from", "no figure 'NO'"),
        ("edge = 3", 'edge = { sise = 3 }', 9, "sizes.brunoise.edge.sise", "not known"),
        ("edge = 3", 'edge = { size = 3, unit = "ft" }', 9, "sizes.brunoise.edge.unit", "'ft' is not known"),
        ("[sizes.brunoise]", "[sizes.brunoize]", 8, "sizes.brunoize", "not a cut of the reference"),
        ("[50, 60]", "[60, 50]", 13, "sizes.batonnet.length", "runs backwards"),
        ("[50, 60]", "[50, 55, 60]", 13, "sizes.batonnet.length", "two ends"),
        ("length_percent = 5", 'length_percent = "five"', 5, "tolerance.length_percent", "is not a number"),
        ("length_percent = 5", "", 4, "tolerance", "'length_percent' is missing"),
        ("{ plus_minus = 1 }", "{ to = 9, plus_minus = 1 }", 6, "tolerance.bands", "all sizes left"),
        ("bands = [{ under", "bands = [{ above", 6, "tolerance.bands.1.above", "not known"),
        ('unit = "mm"', 'unit = "ell"', 2, "unit", "'ell' is not known"),
        ('name = "school"', "name = 7", 1, "name", "is no text"),
        ("[tolerance]", "[tolerances]", 4, "tolerances", "not known"),
    ],
)  # fmt: skip
def test_a_broken_file_is_told_with_line_and_field(
    before: str, after: str, line: int, field: str | None, words: str
) -> None:
    """The error has the file, the line, the field, what is wrong and what to write."""
    assert OWN.count(before) == 1
    with pytest.raises(CutcheckError) as caught:
        read_standard("school.toml", OWN.replace(before, after))
    assert caught.value.code == "bad-option"
    assert caught.value.message.startswith(f"school.toml, line {line}")
    assert field is None or f", {field}:" in caught.value.message
    assert words in caught.value.message
    assert caught.value.remedy


@settings(deadline=None)
@given(st.integers(0, len(OWN) - 1), st.integers(0, 40), st.text(max_size=3))
def test_any_damage_to_a_file_is_told_or_read(start: int, length: int, put: str) -> None:
    """Cutting out or overwriting any part never ends in a traceback."""
    code = ""
    try:
        read_standard("school.toml", OWN[:start] + put + OWN[start + length :])
    except CutcheckError as error:
        code = error.code
    assert code in ("", "bad-option")


@pytest.mark.parametrize("base", SHIPPED)
def test_a_new_standard_begins_as_its_base(base: str, tmp_path: Path) -> None:
    """Written and read back unchanged, it has the base's sizes and tolerances under its own name."""
    path = tmp_path / "class 3.toml"
    path.write_text(new_standard("class 3", base), "utf-8")
    own, old = load_standard(path), load_standard(base)
    assert own.name == "class 3"
    assert own.sizes == old.sizes
    assert own.tolerance == old.tolerance


def test_a_new_standard_offers_the_published_tolerances_beside_the_house_rule() -> None:
    """The purchase specification's ± figures stand in the file as comment; the house rule says it is one."""
    text = new_standard("x")
    assert "HOUSE RULE" in text
    assert "1/4 ± 1/8 in" in text
    assert {cut for cut, _ in published_tolerances()} >= {"small-dice", "ciseler", "emincer"}
    assert all(f.source.grade == "A" for _, f in published_tolerances())


@settings(deadline=None)
@given(st.text(max_size=40))
def test_a_new_standard_may_have_any_name(name: str) -> None:
    """Quotes and control characters in a name don't break the file."""
    tomllib.loads(new_standard(name))


def test_there_is_no_new_standard_from_an_unknown_one() -> None:
    """Only what ships can be begun from."""
    with pytest.raises(CutcheckError, match="is not a standard"):
        new_standard("x", "roman")


CUT = """\
english = "Own cut"
family = "dice"
scored = ["length", "width"]
square = "cube"
shapes = ["box"]
about = "Invented."
mistakes = ["None."]

[[figure]]
source = "WP"
standing = "published-read"
printed = "1/4 in"
unit = "in"
edge = "1/4"

[[step]]
action = "slab"
hits = "edge"
say = "Slice {size}."

[drawing]
shape = "box"
length = 6
width = 6
height = 6
"""


@pytest.mark.parametrize(
    ("before", "after", "line", "words"),
    [
        ('family = "dice"', 'family = "cube"', 2, "'cube' is not known"),
        ('["length", "width"]', '["length", "depth"]', 3, "'depth' is not a side"),
        ('shapes = ["box"]', 'shapes = ["ball"]', 5, "'ball' is not a shape"),
        ('source = "WP"', 'source = "NOBODY"', 10, "'NOBODY' is not known"),
        ('"published-read"', '"hearsay"', 11, "'hearsay' is not known"),
        ('edge = "1/4"', 'edge = "1/0"', 14, "is not a size"),
        ('edge = "1/4"', 'egde = "1/4"', 14, "'egde' is not known"),
        ('action = "slab"', 'action = "hack"', 17, "'hack' is not known"),
        ('hits = "edge"', 'hits = "corner"', 18, "'corner' is not a size"),
        ('shape = "box"', 'shape = "star"', 22, "'star' is not known"),
        ("length = 6", 'length = "6"', 23, "is not a number"),
        ("[drawing]", "[drawings]", 21, "'drawings' is not known"),
        ('about = "Invented."', "", None, "'about' is missing"),
        ('mistakes = ["None."]', 'mistakes = "None."', 7, "no list of texts"),
    ],
)  # fmt: skip
def test_the_schema_of_a_cut_tells_line_and_field(
    before: str, after: str, line: int | None, words: str
) -> None:
    """A cut's file is checked field by field; the shipped ones all pass (they are read at every start)."""
    assert read_entry("own.toml", CUT, sources()).name == "own"
    with pytest.raises(CutcheckError) as caught:
        read_entry("own.toml", CUT.replace(before, after), sources())
    assert caught.value.message.startswith(f"own.toml, line {line}" if line else "own.toml")
    assert words in caught.value.message


def test_two_figures_of_one_source_need_names() -> None:
    """A standard points to a figure by name, so names within a cut are unique."""
    twice = CUT + '\n[[figure]]\nsource = "WP"\nstanding = "published-read"\nprinted = "6 mm"\nedge = 6\n'
    with pytest.raises(CutcheckError, match="two figures have one name"):
        read_entry("own.toml", twice, sources())
    assert len(entries()) == len({e.name for e in entries().values()})
