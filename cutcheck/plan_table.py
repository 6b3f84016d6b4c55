"""The prep plan as plain text for a terminal: buy, weigh, order of work."""

from __future__ import annotations

from collections.abc import Sequence

from cutcheck.plan import Item, Plan
from cutcheck.table import columns, wrapped
from cutcheck.weights import WeightUnit, show_weight

__all__ = [
    "cautions",
    "duration",
    "notes",
    "order",
    "plan_text",
    "problem_text",
    "shopping",
    "sources",
    "trimmings",
    "weighing",
    "yields",
]


def plan_text(plan: Plan, unit: WeightUnit = "auto") -> str:
    """The whole plan."""
    parts = []
    if plan.items:
        parts += [
            f"Prep plan, {plan.standard} standard",
            "Buy\n" + shopping(plan, unit),
            "Weigh after each step\n" + weighing(plan.items, unit),
            "Trimmings\n" + trimmings(plan, unit),
            "For each\n" + "\n".join(notes(item, unit) for item in plan.items),
            "Order of work\n" + order(plan),
            _time(plan),
            "Mind\n" + cautions(plan),
            wrapped(f"Yields: {sources(plan)}", ""),
            wrapped(plan.defer, ""),
        ]
    return "\n\n".join(part for part in parts if part)


def problem_text(plan: Plan) -> str:
    """What could not be planned, a line for what is wrong and one for what to do."""
    return "\n".join(f"Line {p.line}: {p.message}\n  {p.remedy}" for p in plan.problems)


def shopping(plan: Plan, unit: WeightUnit) -> str:
    """The shopping list."""
    rows = [["vegetable", "French", "weight", "how many, about"]]
    for line in plan.shopping:
        count = str(line.vegetables) if line.vegetables else "-"
        rows.append([line.vegetable.english, line.vegetable.french, show_weight(line.grams, unit), count])
    return columns(rows)


def weighing(items: Sequence[Item], unit: WeightUnit) -> str:
    """One row for each item: what the scale should show after each step."""
    rows = [["item", "as purchased", "peeled, trimmed", "squared off", "cut", "pieces"]]
    for item in items:
        at = {step.step: show_weight(step.grams, unit) for step in item.steps}
        cells = [at.get(step, "-") for step in ("buy", "prepared", "squared", "cut")]
        rows.append([item.title, *cells, "-" if item.pieces is None else f"{item.pieces:,}"])
    return columns(rows)


def trimmings(plan: Plan, unit: WeightUnit) -> str:
    """What is left of each vegetable, and what it is good for."""
    return "\n".join(
        wrapped(f"{vegetable.english}, {trim.part}, {show_weight(trim.grams, unit)}: {trim.use}")
        for vegetable, trim in plan.trims
    )


def notes(item: Item, unit: WeightUnit) -> str:
    """Where the figures of one item come from, and what to know."""
    lines = [f"{item.title}{f' ({item.sizes})' if item.sizes else ''}: {item.yield_text}"]
    if item.sources_differ:
        lines.append(yields(item, unit))
    if item.kept_share is not None and item.squared_share is not None and item.squared_share < 1:
        lines.append(
            f"squared off {100 * item.squared_share:.0f} % of the {item.state} weight is left, "
            f"as whole pieces {100 * item.kept_share:.0f} % ({item.pieces_each:,} from one)"
        )
    return "\n".join([wrapped(lines[0]), *(wrapped(line, "    ") for line in (*lines[1:], *item.notes))])


def yields(item: Item, unit: WeightUnit) -> str:
    """What each source says is kept, and what that would have one buy."""
    told = (
        f"{100 * y.kept:.0f} % {y.source.code}{' (from memory)' if y.standing == 'from-memory' else ''}"
        for y in item.yields
    )
    low, high = show_weight(item.buy_low, unit), show_weight(item.buy_high, unit)
    return f"Sources differ on what is kept: {', '.join(told)}; buy {low} to {high}. Weigh yours once."


def sources(plan: Plan) -> str:
    """The sources of the yields, their codes written out."""
    titles = {y.source.code: y.source.title for item in plan.items for y in item.yields}
    return "; ".join(f"{code}: {title}" for code, title in sorted(titles.items())) + "."


def order(plan: Plan) -> str:
    """The order of work, numbered, each step with its reason."""
    return "\n".join(
        wrapped(f"{number}. {step.statement.text} ({step.why})") for number, step in enumerate(plan.order, 1)
    )


def cautions(plan: Plan) -> str:
    """The cautions that these vegetables bring; the usual ones by their names."""
    usual = ", ".join(c.topic for c in plan.cautions if not c.produce and not c.allergens)
    own = [wrapped(f"{c.topic}: {c.statement.text}") for c in plan.cautions if c.produce or c.allergens]
    return "\n".join([*own, wrapped(f"As always: {usual}. 'cutcheck safety' has them in full.")])


def duration(minutes: float) -> str:
    """``12 min``, ``1 h 5 min``; never less than a minute."""
    whole = max(1, round(minutes))
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60} min"


def _time(plan: Plan) -> str:
    known = [(i.title, i.minutes) for i in plan.items if i.minutes is not None]
    if not known:
        return ""
    lines = [f"  {title}: {duration(minutes)}" for title, minutes in known]
    if plan.minutes is not None and len(known) > 1:
        lines.append(f"  together: {duration(plan.minutes)}")
    return "\n".join(["Cutting time, at your own pace", *lines])
