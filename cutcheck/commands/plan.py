"""``cutcheck plan``: what to buy, weigh and cut, in which order, and a page of it to pin up."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from cutcheck.errors import CutcheckError

if TYPE_CHECKING:
    from cutcheck.weights import WeightUnit


@click.command()
@click.argument("file", metavar="LIST.csv", required=False)
@click.option(
    "--need", "needs", multiple=True, metavar="WORDS", help="As 'brunoise carrot 500 g'; may be repeated."
)
@click.option("--standard", metavar="NAME", help="metric, inch or a standard file of your own.")
@click.option("--yields", metavar="SOURCE", help="Whose yields to prefer: AFRS, SR28, OWA or FBG.")
@click.option("--unit", type=click.Choice(["auto", "g", "kg", "oz", "lb"]), default="auto", show_default=True)
@click.option(
    "--pace", "paces", multiple=True, metavar="CUT=N", help="Your own pieces a minute, as brunoise=120."
)
@click.option("--pdf", metavar="FILE", help="Also write a page to pin up.")
@click.option("--paper", default="a4", show_default=True, help="a4 or letter.")
@click.option("--heading", default="", metavar="TEXT", help="A line for that page: a date, a class.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON: weights in grams, sizes in mm.")
def plan(
    file: str | None,
    *,
    needs: tuple[str, ...],
    standard: str | None,
    yields: str | None,
    unit: WeightUnit,
    paces: tuple[str, ...],
    pdf: str | None,
    paper: str,
    heading: str,
    as_json: bool,
) -> int:
    """Plan the preparation of what is on LIST.csv (columns cut, produce, amount) or named by --need.

    Exit status: 0 all planned, 2 a line that could not be planned (it is told, the rest is planned).
    """
    from cutcheck.needs import read_list, read_needs
    from cutcheck.plan import make_plan
    from cutcheck.plan_table import plan_text, problem_text
    from cutcheck.settings import load_settings

    if file is None and not needs:
        raise CutcheckError(
            "bad-option",
            problem="There is nothing to plan.",
            remedy="Name a list, or say what you need: cutcheck plan --need 'brunoise carrot 500 g'",
        )
    listed, wrong = read_list(file) if file is not None else ((), ())
    spoken, misheard = read_needs(needs)
    made = make_plan(
        (*listed, *spoken),
        standard,
        default=load_settings().standard,
        yields=yields,
        pace=_pace(paces),
        problems=(*wrong, *misheard),
    )
    if as_json:
        click.echo(json.dumps(made.to_dict(), ensure_ascii=False, indent=2))
    elif made.items:
        click.echo(plan_text(made, unit))
    if made.problems and not as_json:
        click.echo(("\n" if made.items else "") + problem_text(made), err=True)
    if pdf is not None and made.items:
        from cutcheck.plan_sheet import save_plan  # here: it brings reportlab

        click.echo(f"Written: {save_plan(made, pdf, unit, paper, heading)}", err=True)
    return 2 if made.problems else 0


def _pace(texts: Sequence[str]) -> dict[str, float]:
    """Pieces a minute by cut name."""
    from cutcheck.standards import find_cut

    found = {}
    for text in texts:
        name, _, number = text.partition("=")
        try:
            pieces = float(number)
        except ValueError:
            pieces = 0.0
        if not 0 < pieces <= 10_000:
            raise CutcheckError(
                "bad-option",
                problem=f"'{text}' is not a pace.",
                remedy="Write the cut and your pieces a minute: --pace brunoise=120",
            )
        found[find_cut(name, sized=False).name] = pieces
    return found
