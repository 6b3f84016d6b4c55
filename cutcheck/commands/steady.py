"""``cutcheck steady``: is the tool itself fair? A study of several photos of several trays."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from cutcheck.classroom.gauge_study import Interaction
    from cutcheck.classroom.steady_plan import By


@click.command()
@click.argument("photos", nargs=-1, required=True, metavar="PHOTOS...")
@click.option("--cut", required=True, metavar="NAME", help="The cut; 'cutcheck cuts' lists them.")
@click.option(
    "--by",
    type=click.Choice(["folder", "name", "one"]),
    help="Who took a photo: its folder, the word its name begins with, or one person took all. Without it: "
    "the folder, where there are several.",
)
@click.option("--plan", metavar="FILE.csv", help="Photo, tray and by, one photo a line; goes before --by.")
@click.option("--standard", metavar="NAME", help="metric, inch or a standard file of your own.")
@click.option("--produce", metavar="NAME", help="What was cut.")
@click.option("--reference", default="card", show_default=True, metavar="KIND", help="As for 'check'.")
@click.option(
    "--together",
    type=click.Choice(["by-p", "kept", "pooled"]),
    default="by-p",
    show_default=True,
    help="What people see differently in single trays: kept apart, pooled with photo to photo, or pooled "
    "where chance would look so more than 5 times in 100.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def steady(
    photos: tuple[str, ...],
    *,
    cut: str,
    by: By | None,
    plan: str | None,
    standard: str | None,
    produce: str | None,
    reference: str,
    together: Interaction,
    as_json: bool,
) -> int:
    """See how far photos of the same tray differ, and what part comes from the photo, the person, the tray.

    PHOTOS are photos or folders of them: several trays, each photographed several times with nothing moved
    between, by one person or several. The card's number says which tray it is. Exit status: 0, or 3 if a
    photo could not be used.
    """
    from cutcheck.classroom import steady_table
    from cutcheck.classroom.asked import Asked
    from cutcheck.classroom.steady import run_steady
    from cutcheck.classroom.steady_plan import shots
    from cutcheck.settings import load_settings

    wanted = shots(photos, by, plan)
    asked = Asked(cut, standard, produce, reference, load_settings())
    hidden = as_json or not sys.stderr.isatty()
    with click.progressbar(length=len(wanted), label="Measuring", file=sys.stderr, hidden=hidden) as bar:
        found = run_steady(wanted, asked, interaction=together, on_done=lambda photo: bar.update(1))
    if as_json:
        click.echo(json.dumps(steady_table.to_dict(found), ensure_ascii=False, allow_nan=False))
    else:
        click.echo(steady_table.whole(found))
    return 3 if found.failed else 0
