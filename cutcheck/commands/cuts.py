"""``cutcheck cuts``: look up the cuts, their sizes and where each figure comes from."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from cutcheck.units import Unit


@click.command()
@click.argument("name", required=False)
@click.option("--standard", metavar="NAME", help="metric, inch or a standard file of your own.")
@click.option(
    "--like",
    metavar="SIZE",
    help="The cuts that a size fits, such as 3x3x50 (mm) or 1/4in; else the nearest.",
)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Show lengths in mm or inches.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def cuts(name: str | None, standard: str | None, like: str | None, unit: Unit | None, as_json: bool) -> None:
    """List the cuts, or show one with its sizes and sources."""
    from cutcheck import reference_table, standards

    if like is not None:
        from cutcheck import finding

        found = finding.like(like, standard)
        listed = [{**one.cut.to_dict(), **one.to_dict()} for one in found]
        click.echo(_json(listed) if as_json else reference_table.likes(found, unit))
    elif name is not None:
        cut = standards.find_cut(name, standard, sized=False)
        click.echo(_json(cut.to_dict()) if as_json else reference_table.one(cut, unit))
    else:
        every = standards.cuts(standard)
        click.echo(_json([c.to_dict() for c in every]) if as_json else reference_table.listing(every, unit))


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2)
