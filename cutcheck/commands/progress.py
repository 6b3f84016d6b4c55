"""``cutcheck progress``: what the kept checks of a cook say together."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from cutcheck.commands.keep import journal_option
from cutcheck.commands.written import write_pdf

if TYPE_CHECKING:
    from cutcheck.units import Unit


@click.command()
@click.argument("name")
@click.option("--cut", metavar="NAME", help="Only this cut.")
@click.option("--capability", is_flag=True, help="Also Cp and Cpk with their bounds.")
@click.option("--pdf", metavar="FILE", help="Also write it as a page to print.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Show lengths in mm or inches.")
@journal_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def progress(
    name: str,
    *,
    cut: str | None,
    capability: bool,
    pdf: str | None,
    paper: str,
    unit: Unit | None,
    journal: str | None,
    as_json: bool,
) -> None:
    """Show how NAME is getting on: each cut's mark, and each side's size and steadiness over time."""
    from cutcheck import progress_table
    from cutcheck.journal import Journal
    from cutcheck.progress import progress_of
    from cutcheck.settings import load_settings
    from cutcheck.standards import find_cut

    book = Journal.open(journal)
    wanted = None if cut is None else find_cut(cut, sized=False).name
    found = progress_of(book, book.cook(name), wanted)
    if pdf is not None:
        from cutcheck.term_sheet import term_pdf

        write_pdf(pdf, term_pdf(found, unit=unit or load_settings().unit, paper=paper))
    if as_json:
        click.echo(json.dumps(progress_table.to_dict(found), ensure_ascii=False))
    else:
        click.echo(progress_table.whole(found, unit or load_settings().unit, capability=capability))
