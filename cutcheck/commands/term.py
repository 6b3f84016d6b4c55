"""``cutcheck term``: a class over its term, from the gradebook; on the screen, or as pages to print."""

from __future__ import annotations

import json

import click

from cutcheck.commands.keep import journal_option
from cutcheck.commands.written import write_pdf


@click.command()
@click.argument("name", metavar="CLASSNAME")
@click.option("--pdf", metavar="FILE", help="Also write it as PDF: the class, then a page for each student.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@journal_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def term(name: str, *, pdf: str | None, paper: str, journal: str | None, as_json: bool) -> None:
    """Show how the class CLASSNAME gets on: who improves, who needs a look, the weakest cut.

    What is still graded blind is left out. The pages hold names and marks: give each student their own only.
    """
    from cutcheck.classroom import class_words
    from cutcheck.classroom.class_term import overview_called, term_of
    from cutcheck.classroom.gradebook import Gradebook

    with Gradebook.open(journal) as book:
        found = term_of(overview_called(book, name))
    if pdf is not None:
        from cutcheck.classroom.class_sheet import class_pdf

        write_pdf(pdf, class_pdf(found, paper=paper))
    if as_json:
        click.echo(json.dumps(class_words.to_dict(found), ensure_ascii=False))
    else:
        click.echo(class_words.whole(found))
