"""The prep plan: published yields reproduced, weights that add up, notes where nothing is known."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutcheck.errors import CutcheckError
from cutcheck.needs import Need, read_needs
from cutcheck.plan import Item, Plan, make_plan
from cutcheck.plan_table import duration, plan_text
from cutcheck.produce import find_vegetable, vegetables
from cutcheck.weights import Amount

DATA = Path(__file__).parent / "data"


def afrs() -> list[dict[str, str]]:
    """The factors of the Armed Forces recipe card, as kept in tests/data with their source."""
    lines = [x for x in (DATA / "afrs_a6.csv").read_text("utf-8").splitlines() if not x.startswith("#")]
    return list(csv.DictReader(lines))


def sr28() -> dict[str, tuple[str, float]]:
    """Record number to (description, refuse in per cent), parsed from lines of the food description file."""
    found = {}
    for line in (DATA / "sr28_food_des.txt").read_text("utf-8").splitlines():
        if not line.startswith("#"):
            fields = [field.strip("~") for field in line.split("^")]
            found[fields[0]] = (fields[2], float(fields[8]))
    return found


def sr25() -> dict[str, list[tuple[str, float]]]:
    """Record number to [(measure, grams of one)], parsed from lines of the weight file."""
    found: dict[str, list[tuple[str, float]]] = {}
    for line in (DATA / "sr25_weight.txt").read_text("utf-8").splitlines():
        if not line.startswith("#"):
            fields = [field.strip("~") for field in line.split("^")]
            found.setdefault(fields[0], []).append((fields[3], float(fields[4]) / float(fields[2])))
    return found


def planned(*texts: str, **options: object) -> Plan:
    """A plan of needs in words, all of which must be understood."""
    needs, problems = read_needs(texts)
    assert not problems
    return make_plan(needs, **options)  # type: ignore[arg-type]


def one(text: str, **options: object) -> Item:
    """The one item of a plan."""
    plan = planned(text, **options)
    assert not plan.problems, plan.problems
    return plan.items[0]


@pytest.mark.parametrize("row", afrs(), ids=lambda r: f"{r['produce']}-{r['to']}")
def test_ten_kilograms_reproduce_the_armed_forces_factor(row: dict[str, str]) -> None:
    """For 10 kg ready to use the plan buys 10 kg times the factor of the US Armed Forces card A No. 6."""
    item = one(f"{row['produce']}, {row['to']} 10 kg", yields="AFRS")
    assert item.used is not None
    assert item.used.source.code == "AFRS"
    assert item.buy == pytest.approx(10_000 * float(row["factor"]), rel=1e-12)
    assert 100 * item.used.kept == pytest.approx(float(row["kept_percent"]), abs=0.51)


@pytest.mark.parametrize("record", sorted(sr28()))
def test_ten_kilograms_reproduce_the_refuse_of_sr28(record: str) -> None:
    """For 10 kg edible the plan buys 10 kg / (1 - refuse), with the refuse of USDA SR28 for that record."""
    description, refuse = sr28()[record]
    owners = [(v, y) for v in vegetables().values() for y in v.yields if y.record == record]
    assert owners, f"{record} {description} is in no vegetable"
    vegetable, told = owners[0]
    item = one(f"{vegetable.english}, {told.to} 10 kg", yields="SR28")
    assert item.used is told
    assert item.buy == pytest.approx(10_000 / (1 - refuse / 100), rel=1e-12)


def test_every_sr28_figure_is_in_the_table_that_was_read() -> None:
    """No refuse is retyped wrongly: each with a record number is that of the file; one was read elsewhere."""
    table, without = sr28(), []
    for vegetable in vegetables().values():
        for told in (y for y in vegetable.yields if y.source.code == "SR28"):
            if told.record:
                assert told.printed == f"{table[told.record][1]:g} % refuse", vegetable.name
            else:
                without.append(vegetable.name)
    assert without == ["fennel"]


def test_every_weight_of_one_is_in_the_table_that_was_read() -> None:
    """The weight of each size of vegetable is one that the SR25 weight file has under that record."""
    table = sr25()
    for vegetable in vegetables().values():
        for size in vegetable.sizes:
            if size.source is not None:
                weights = [grams for _, grams in table[size.record]]
                assert any(size.grams == pytest.approx(g) for g in weights), (vegetable.name, size.name)
            else:
                assert size.standing == "common-practice"


@pytest.mark.parametrize(
    ("produce", "size", "low_in", "high_in"),
    [
        # diameters that SR25 prints beside the weights
        ("radish", "medium", 3 / 4, 1),
        ("radish", "large", 1, 5 / 4),
        ("potato", "small", 7 / 4, 5 / 2),
        ("potato", "medium", 9 / 4, 13 / 4),
        ("potato", "large", 3, 17 / 4),
        # US grades of topped carrots, Extra No. 1 and No. 1: 3/4 to 1 1/2 in
        ("carrot", "small", 3 / 4, 3 / 2),
        ("carrot", "medium", 3 / 4, 3 / 2),
        ("carrot", "large", 3 / 4, 3 / 2),
    ],
)
def test_diameters_that_follow_from_weights_are_those_published(
    produce: str, size: str, low_in: float, high_in: float
) -> None:
    """Weight, density and shape give a width within the published diameters, less a peel of 2 mm a side."""
    found = vegetables()[produce].size(size)
    assert found is not None
    assert found.solid is not None
    width = 2 * max(found.solid.half_axes(x * found.solid.length_mm)[0] for x in (0, 0.5))
    peel = 4.0 if vegetables()[produce].prepared == "peeled" else 0.0
    assert low_in * 25.4 - peel <= width <= high_in * 25.4


def test_a_beetroot_of_two_inches_has_its_published_weight() -> None:
    """SR25 prints 82 g for 2 in: the ball of that weight is within 6 % of 50.8 mm."""
    beet = vegetables()["beet"].size()
    assert beet is not None
    assert beet.solid is not None
    assert beet.solid.length_mm == pytest.approx(50.8, rel=0.06)


@pytest.mark.parametrize("text", ["brunoise carrot 500 g", "julienne daikon 2 kg", "paysanne turnip 1 kg"])
def test_what_is_bought_is_what_is_cut_and_what_is_left(text: str) -> None:
    """Each step loses what it says, and pieces and trimmings together are what was bought."""
    item = one(text)
    for before, after in zip(item.steps, item.steps[1:], strict=False):
        assert before.grams - after.grams == pytest.approx(after.lost_grams)
    assert [s.step for s in item.steps] == ["buy", "prepared", "squared", "cut"]
    assert item.steps[-1].grams == pytest.approx(item.need.amount.grams or 0)
    assert item.steps[-1].grams + sum(t.grams for t in item.trims) == pytest.approx(item.buy)


@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(sorted(vegetables())),
    st.sampled_from(
        ["", "brunoise", "julienne", "small dice", "rondelle", "mirepoix", "chiffonade", "chopped"]
    ),
    st.floats(1, 1e6),
    st.sampled_from([None, "AFRS", "SR28", "OWA", "FBG"]),
)
def test_every_plan_adds_up(produce: str, cut: str, grams: float, source: str | None) -> None:
    """Weights never grow from step to step, trimmings account for all, the range holds the plan."""
    plan = make_plan([Need(cut, produce, Amount(grams=grams))], yields=source)
    for item in plan.items:
        weights = [s.grams for s in item.steps]
        assert weights == sorted(weights, reverse=True)
        assert weights[-1] == pytest.approx(grams)
        assert sum(t.grams for t in item.trims) == pytest.approx(item.buy - grams, abs=1e-5 * grams)
        assert item.buy_low * (1 - 1e-9) <= item.buy <= item.buy_high * (1 + 1e-9)
        if item.vegetables is not None and item.unit_size is not None:
            prepared = item.steps[1].grams
            assert (item.vegetables - 1) * item.unit_size.grams < prepared * (1 + 1e-6)
            assert item.vegetables * item.unit_size.grams >= prepared * (1 - 1e-6)


def test_the_plan_scales_with_what_is_needed() -> None:
    """Twice the need is twice the purchase: no size of batch is favoured."""
    small, large = one("brunoise carrot 1 kg"), one("brunoise carrot 2 kg")
    assert large.buy == pytest.approx(2 * small.buy)
    assert large.pieces == pytest.approx(2 * (small.pieces or 0), abs=1)


def test_pieces_are_weight_over_the_weight_of_one() -> None:
    """1 kg of 6.35 mm dice of carrot, density 1.03: 1000 / (0.635^3 x 1.03) pieces."""
    item = one("small dice carrot 1 kg")
    assert item.pieces == round(1000 / (0.635**3 * 1.03))


def test_a_number_of_pieces_is_turned_into_a_weight() -> None:
    """40 small dice of potato weigh 40 times 0.635^3 cm3 times 1.08, and the plan starts from there."""
    item = one("small dice potato 40 pieces")
    assert item.pieces == 40
    assert item.steps[-1].grams == pytest.approx(40 * 0.635**3 * 1.08)


def test_the_sources_stand_side_by_side() -> None:
    """A carrot's four yields (82, 89, 82, 70 %) are all told, none averaged, with what that has one buy."""
    item = one("peeled carrot 10 kg")
    assert [(y.source.code, round(100 * y.kept)) for y in item.yields] == [
        ("AFRS", 82),
        ("SR28", 89),
        ("OWA", 82),
        ("FBG", 70),
    ]
    assert (item.buy_low, item.buy_high) == pytest.approx((10_000 / 0.89, 10_000 / 0.70))
    assert item.sources_differ
    assert "70 % FBG (from memory)" in plan_text(planned("peeled carrot 10 kg"))


def test_sources_that_agree_are_not_made_much_of() -> None:
    """An onion's yields are within a few per cent: no warning."""
    assert not one("peeled onion 1 kg").sources_differ


def test_the_preferred_source_is_used_or_said_to_be_missing() -> None:
    """--yields picks the source; a vegetable that it lacks takes another and says so."""
    assert one("peeled carrot 1 kg", yields="sr28").buy == pytest.approx(1000 / 0.89)
    item = one("peeled turnip 1 kg", yields="AFRS")
    assert item.used is not None
    assert item.used.source.code == "SR28"
    assert any("AFRS has no yield" in note for note in item.notes)
    with pytest.raises(CutcheckError, match="'XYZ' is not a source of yields"):
        planned("carrot 1 kg", yields="XYZ")


def test_a_cooks_own_yield_comes_first() -> None:
    """Who has weighed his own trim plans with that; the published ones are still told."""
    need = Need("", "carrot", Amount(grams=1000.0), own_yield=0.8)
    item = make_plan([need]).items[0]
    assert item.buy == pytest.approx(1250)
    assert "your own" in item.yield_text
    assert len(item.yields) == 4


def test_a_cut_that_the_vegetable_is_too_small_for_is_told_and_the_rest_is_planned() -> None:
    """3/4 in dice do not come out of a carrot 27 mm thick, largest cube 18.4 mm; the onion is planned."""
    plan = planned("large dice carrot 1 kg", "brunoise onion 100 g")
    assert [i.vegetable.name for i in plan.items] == ["onion"]
    (problem,) = plan.problems
    assert "too small for large-dice" in problem.message
    assert "18.4 mm" in problem.message
    assert problem.remedy == "Take a smaller cut."


def test_a_larger_vegetable_is_offered_where_it_would_do() -> None:
    """A small potato that gives no pont-neuf of 65 mm points to a larger one, a wasteful one too."""
    plan = planned("pont-neuf small potato 1 kg")
    assert not plan.items
    assert "A medium one does" in plan.problems[0].remedy
    wasteful = one("pont-neuf medium potato 1 kg")
    assert any("Of a large one" in note for note in wasteful.notes)


def test_layers_and_unknown_shapes_count_no_loss_and_say_so() -> None:
    """Nothing is made up: onion and leek are cut along layers, so that no loss from squaring is given."""
    for text in ("brunoise onion 100 g", "julienne leek 100 g", "small dice aubergine 100 g"):
        item = one(text)
        assert item.squared_share is None
        assert any("not counted" in note for note in item.notes)


def test_what_is_seeded_is_no_solid_any_more() -> None:
    """A seeded cucumber is hollow: geometry for a full one would be wrong, so none is used."""
    item = one("small dice, cucumber peeled and seeded 1 kg".replace("dice,", "dice"))
    assert item.kept_share is None
    assert any("hollow" in note for note in item.notes)


def test_time_comes_only_from_the_cooks_own_pace() -> None:
    """Without a pace there is no time; with one it is pieces over pace."""
    assert planned("brunoise carrot 50 g").minutes is None
    item = one("brunoise carrot 50 g", pace={"brunoise": 100.0})
    assert item.minutes == pytest.approx((item.pieces or 0) / 100)
    mixed = planned("brunoise carrot 50 g", "brunoise onion 50 g", pace={"brunoise": 100.0})
    assert mixed.minutes is None
    assert "Cutting time" in plan_text(mixed)


@pytest.mark.parametrize(("minutes", "text"), [(0.2, "1 min"), (12.4, "12 min"), (65.0, "1 h 5 min")])
def test_durations_are_said_in_hours_and_minutes(minutes: float, text: str) -> None:
    """Minutes up to an hour, then hours and minutes."""
    assert duration(minutes) == text


def test_the_shopping_list_adds_up_each_vegetable() -> None:
    """Two cuts of carrot are one line to buy, and one line of peel."""
    plan = planned("brunoise carrot 100 g", "julienne carrot 200 g", "brunoise onion 50 g")
    assert [p.vegetable.name for p in plan.shopping] == ["carrot", "onion"]
    assert plan.shopping[0].grams == pytest.approx(plan.items[0].buy + plan.items[1].buy)
    assert [(v.name, t.part) for v, t in plan.trims][:2] == [("carrot", "peel"), ("carrot", "offcuts")]


def test_the_order_keeps_the_board_clean() -> None:
    """Mild before strong before staining before allergens, washing and peeling before all cutting."""
    plan = planned(
        "brunoise beetroot 100 g", "mirepoix celery 100 g", "brunoise onion 100 g", "julienne carrot 100 g"
    )
    steps = [s.when for s in plan.order]
    assert [s for s in steps if s != "always"] == ["peeled", "mild", "strong", "staining", "allergen"]
    by = {s.when: s.statement.text for s in plan.order}
    assert "carrot" in by["mild"]
    assert "onion" in by["strong"]
    assert "beetroot" in by["staining"]
    assert "celery" in by["allergen"]
    assert any(c.allergens for c in plan.cautions)


def test_cautions_of_allergens_show_only_where_they_apply() -> None:
    """A plan without celery or mustard has no allergen line of theirs; mustard greens have one."""
    assert not any(c.allergens for c in planned("brunoise carrot 10 g").cautions)
    assert any(c.allergens for c in planned("mustard greens 100 g").cautions)


def test_a_standard_that_is_named_must_have_the_cut() -> None:
    """Without a standard the inch one lends its small dice, and says so; metric named, it is a problem."""
    assert any("inch standard" in note for note in one("small dice carrot 100 g").notes)
    plan = planned("small dice carrot 100 g", standard="metric")
    assert "not a cut of the metric standard" in plan.problems[0].message
    assert "--standard inch" in plan.problems[0].remedy


def test_a_standard_that_does_not_exist_stops_the_plan() -> None:
    """What holds for the whole plan is an error, not a problem of each line."""
    with pytest.raises(CutcheckError) as caught:
        planned("carrot 1 kg", standard="nowhere")
    assert caught.value.code == "unknown-standard"


def test_a_brunoise_loses_more_than_half_of_the_peeled_carrot() -> None:
    """Of a tapering root less than 2/pi is squared off, and less again is whole pieces."""
    item = one("brunoise carrot 500 g")
    assert item.squared_share is not None
    assert item.kept_share is not None
    assert item.kept_share < item.squared_share < 2 / math.pi
    assert item.buy == pytest.approx(500 / item.kept_share * 1.22)


def test_the_same_vegetable_in_two_languages_is_the_same_plan() -> None:
    """Navet and turnip are one."""
    assert find_vegetable("navets")[0] is find_vegetable("turnip")[0]
    assert one("paysanne navet 100 g").buy == one("paysanne turnip 100 g").buy
