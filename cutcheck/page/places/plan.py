"""Plan the preparation: say what is needed, see what to buy and weigh and in which order, print a page."""

from __future__ import annotations

import streamlit as st

from cutcheck import plan_table
from cutcheck.errors import CutcheckError
from cutcheck.needs import parse_list, read_needs
from cutcheck.page import keys, panels
from cutcheck.page.remember import start
from cutcheck.plan import Plan, make_plan
from cutcheck.produce import YIELD_SOURCES
from cutcheck.settings import load_settings
from cutcheck.weights import UNITS, WeightUnit, show_weight

# Something to see at once; it is replaced by what the cook types.
SAMPLE = "brunoise carrot 500 g\nmirepoix celery 300 g\njulienne leek 200 g\nsmall dice potato 1 kg"
UNIT_NAMES = {"auto": "g and kg", "g": "g", "kg": "kg", "oz": "oz", "lb": "lb and oz"}
ANY = "any"


def show() -> None:
    """Draw the place."""
    st.title("Prep plan")
    st.html(
        "<p class='cc-lead'>Say what you need once it is cut. You get what to buy, what to weigh after each "
        "step, and an order of work that keeps the board clean.</p>"
    )
    try:
        plan, unit = _ask()
    except CutcheckError as error:
        st.html(panels.fault_panel(error))
        st.stop()
    if plan.problems:
        lines = [f"Line {p.line}: {p.message} {p.remedy}" for p in plan.problems]
        st.html(panels.list_panel("Not planned", lines))
    if plan.items:
        _draw(plan, unit)
    st.html(panels.caution())


def _ask() -> tuple[Plan, WeightUnit]:
    """The needs and how to reckon; the plan of them."""
    words = st.text_area(
        "What you need, one line each: cut, vegetable, amount",
        height=150,
        help="As 'brunoise carrot 500 g' or 'peeled onion 2 lb'. English or French, in either order.",
        key=start(keys.NEEDS, SAMPLE),
    )
    with st.expander("Or a list from a spreadsheet (CSV)"):
        listed = st.file_uploader(
            "A file with the columns cut, produce, amount; size and yield may follow",
            type=["csv", "txt"],
            key=keys.NEEDS_FILE,
        )
    left, right = st.columns(2, vertical_alignment="bottom")
    with left:
        unit = st.selectbox("Weights in", UNITS, format_func=UNIT_NAMES.__getitem__, key=keys.WEIGHT_UNIT)
    with right:
        source = st.selectbox(
            "Yields of",
            (ANY, *YIELD_SOURCES),
            format_func=lambda s: "the first source that has one" if s == ANY else s,
            help="What is kept when peeled and trimmed. Sources differ; all of them are shown.",
            key=keys.YIELDS,
        )
    if listed is not None:
        needs, problems = parse_list(listed.name, listed.getvalue())
    else:
        needs, problems = read_needs([line for line in words.splitlines() if line.strip()])
    yields = None if source == ANY else source
    plan = make_plan(needs, default=load_settings().standard, yields=yields, problems=problems)
    return plan, unit


def _draw(plan: Plan, unit: WeightUnit) -> None:
    st.subheader("Weigh after each step")
    st.html(panels.table([_weighing(plan, number, unit) for number in range(len(plan.items))]))
    _take(plan, unit)
    st.subheader("Order of work")
    st.markdown("\n".join(f"{n}. {s.statement.text} *{s.why}*" for n, s in enumerate(plan.order, 1)))
    left, right = st.columns(2)
    with left:
        st.subheader("Buy")
        st.html(
            panels.table(
                [
                    {
                        "vegetable": f"{p.vegetable.english} ({p.vegetable.french})",
                        "weight": show_weight(p.grams, unit),
                        "about": str(p.vegetables or "-"),
                    }
                    for p in plan.shopping
                ]
            )
        )
    with right:
        st.subheader("Trimmings")
        st.html(
            panels.table(
                [
                    {
                        "part": f"{v.english}, {t.part}",
                        "weight": show_weight(t.grams, unit),
                        "good for": t.use,
                    }
                    for v, t in plan.trims
                ]
            )
        )
    with st.expander("Where the figures come from"):
        for item in plan.items:
            notes = [plan_table.yields(item, unit)] if item.sources_differ else []
            st.markdown(f"**{item.title}**: {item.yield_text}. {item.sizes}")
            if small := panels.small_print([*notes, *item.notes]):
                st.html(small)
        st.caption(f"Yields: {plan_table.sources(plan)}")
    special = [f"{c.topic}: {c.statement.text}" for c in plan.cautions if c.produce or c.allergens]
    if special:
        st.html(panels.list_panel("Mind", special))
    st.caption(plan.defer)


def _weighing(plan: Plan, number: int, unit: WeightUnit) -> dict[str, str]:
    item = plan.items[number]
    at = {step.step: show_weight(step.grams, unit) for step in item.steps}
    return {
        "": item.title if item.pieces is None else f"{item.title}, {item.pieces:,} pieces",
        "buy": at["buy"],
        "peeled, trimmed": at["prepared"],
        "squared off": at.get("squared", "-"),
        "cut": at.get("cut", "-"),
    }


def _take(plan: Plan, unit: WeightUnit) -> None:
    """The page to pin up, drawn only when it is asked for."""

    def pdf() -> bytes:
        from cutcheck.plan_sheet import plan_pdf  # here: it brings reportlab

        return plan_pdf(plan, unit)

    st.download_button(
        "A page to pin up (PDF)",
        pdf,
        file_name="prep-plan.pdf",
        mime="application/pdf",
        type="primary",
        icon=":material/print:",
        on_click="ignore",
    )
