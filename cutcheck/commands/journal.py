"""``cutcheck journal``: list, show, correct, remove, export, import and copy what was kept."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cutcheck.commands.keep import journal_option
from cutcheck.commands.written import write_pdf
from cutcheck.errors import CutcheckError

if TYPE_CHECKING:
    from cutcheck.journal import Journal
    from cutcheck.units import Unit

JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
YES = click.option("--yes", is_flag=True, help="Don't ask.")


@click.group(invoke_without_command=True)
@journal_option
@click.option("--cook", metavar="NAME", help="Only this cook's checks.")
@click.option("--cut", metavar="NAME", help="Only checks of this cut.")
@JSON
@click.pass_context
def journal(
    context: click.Context, *, journal: str | None, cook: str | None, cut: str | None, as_json: bool
) -> None:
    """The checks that were kept: without a further word, list them."""
    context.obj = journal
    if context.invoked_subcommand is not None:
        return
    from cutcheck import journal_table

    book = _opened(journal)
    who = None if cook is None else book.cook(cook).number
    entries = book.entries(cook=who, cut=cut)
    if as_json:
        _print_json([journal_table.entry_dict(entry) for entry in entries])
    else:
        click.echo(journal_table.entries(entries, book.path))


@journal.command()
@click.argument("number", type=int)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Show lengths in mm or inches.")
@JSON
@click.pass_obj
def show(path: str | None, number: int, *, unit: Unit | None, as_json: bool) -> None:
    """Show check NUMBER as it was, with all its pieces as --json."""
    from cutcheck import journal_table
    from cutcheck.journal.transfer import check_dict
    from cutcheck.settings import load_settings

    kept = _opened(path).check(number)
    if as_json:
        _print_json(check_dict(kept))
    else:
        click.echo(journal_table.one(kept, unit or load_settings().unit))


@journal.command()
@click.argument("number", type=int)
@click.argument("file")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Show lengths in mm or inches.")
@click.pass_obj
def pdf(path: str | None, number: int, file: str, *, paper: str, unit: Unit | None) -> None:
    """Write check NUMBER as one page to print, with its picture if the photo was kept."""
    from cutcheck.check_sheet import check_pdf
    from cutcheck.photo import read_photo
    from cutcheck.settings import load_settings

    book = _opened(path)
    kept, photo = book.check(number), book.photo(number)
    pixels = None if photo is None else read_photo(photo.data, name=kept.entry.file).pixels
    who = f"{kept.entry.cook.name}, {kept.entry.practised[:10]}"
    data = check_pdf(kept.result, pixels, unit=unit or load_settings().unit, who=who, paper=paper)
    write_pdf(file, data)


@journal.command()
@click.argument("numbers", metavar="NUMBER...", type=int, nargs=-1, required=True)
@click.option("--cut", metavar="NAME", help="It was this cut: mark it anew as that.")
@click.option("--standard", metavar="NAME", help="With --cut: the standard.")
@click.option("--produce", metavar="NAME", help="With --cut: what was cut.")
@click.option("--cook", metavar="NAME", help="It is this cook's.")
@click.option("--date", metavar="DATE", help="When it was cut, as 2026-03-04 or 2026-03-04T10:20.")
@click.option("--note", metavar="TEXT", help="A note; an empty one takes it away.")
@click.pass_obj
def correct(
    path: str | None,
    numbers: tuple[int, ...],
    *,
    cut: str | None,
    standard: str | None,
    produce: str | None,
    cook: str | None,
    date: str | None,
    note: str | None,
) -> None:
    """Put right the cut, cook, date or note of checks. What was measured stays."""
    from dataclasses import replace

    from cutcheck import journal_table
    from cutcheck.journal.keeping import mark_again

    if cut is None and (standard or produce):
        raise _bad("--standard and --produce go with --cut.", "Add --cut NAME.")
    if cut is None and cook is None and date is None and note is None:
        raise _bad("Nothing to correct was named.", "Add --cut, --cook, --date or --note.")
    book = _opened(path)
    who = None if cook is None else book.cook(cook)
    for number in numbers:
        entry = book.entry(number)
        if cut is not None:
            mark_again(book, number, cut, standard, produce)
        extras = None if note is None else replace(entry.extras, note=note)
        entry = book.correct(number, cook=who, practised=date, extras=extras)
        click.echo(journal_table.line(entry))


@journal.command()
@click.argument("numbers", metavar="NUMBER...", type=int, nargs=-1)
@click.option("--cook", metavar="NAME", help="Remove this cook with all checks and photos.")
@YES
@click.pass_obj
def remove(path: str | None, numbers: tuple[int, ...], *, cook: str | None, yes: bool) -> None:
    """Remove checks, or a cook with everything, after asking. It can't be undone."""
    from cutcheck import journal_table, words

    if bool(numbers) == (cook is not None):
        raise _bad("Name what to remove.", "Give the numbers of checks, or --cook NAME.")
    book = _opened(path)
    if cook is not None:
        who = book.cook(cook)
        what = f"{who.label} and {words.count(who.checks, 'check')}"
        if yes or click.confirm(f"Remove {what}, with all photos? This can't be undone."):
            book.remove_cook(who.number)
            click.echo(f"Removed: {what}.")
        return
    for number in numbers:
        click.echo(journal_table.line(book.entry(number)))
    what = words.count(len(numbers), "check")
    if yes or click.confirm(f"Remove {what}, with all photos? This can't be undone."):
        book.remove(numbers)
        click.echo(f"Removed: {what}.")


@journal.command()
@click.argument("numbers", metavar="NUMBER...", type=int, nargs=-1)
@click.option("--all", "every", is_flag=True, help="All photos that were kept.")
@click.pass_obj
def again(path: str | None, numbers: tuple[int, ...], *, every: bool) -> int:
    """Measure kept photos again with this version of the program."""
    from cutcheck import journal_table
    from cutcheck.journal.keeping import measure_again

    if bool(numbers) == every:
        raise _bad("Name what to measure again.", "Give the numbers of checks, or --all.")
    book = _opened(path)
    chosen = [e.number for e in book.entries() if e.has_photo] if every else list(numbers)
    failed = 0
    for number in chosen:
        before = book.entry(number)
        try:
            after = measure_again(book, number)
        except CutcheckError as error:
            failed += 1
            click.echo(f"Check {number} stays as it was. {error}", err=True)
        else:
            click.echo(journal_table.change(before, after))
    return 3 if failed else 0


@journal.command()
@click.option("--add", metavar="NAME", help="A new person, even if somebody of that name is there already.")
@click.option("--rename", nargs=2, metavar="WHO NAME", help="Write a cook's name otherwise.")
@JSON
@click.pass_obj
def cooks(path: str | None, *, add: str | None, rename: tuple[str, str] | None, as_json: bool) -> None:
    """List the cooks, add one or rename one."""
    from cutcheck import journal_table

    book = _opened(path)
    if add is not None:
        click.echo(f"New in the journal: {book.add_cook(add).label}.", err=True)
    if rename is not None:
        book.rename_cook(book.cook(rename[0]).number, rename[1])
    every = book.cooks()
    if as_json:
        _print_json([journal_table.cook_dict(cook) for cook in every])
    else:
        click.echo(journal_table.cooks(every))


@journal.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--cook", metavar="NAME", help="Only what is this cook's, to take away.")
@click.pass_obj
def export(path: str | None, file: Path, *, cook: str | None) -> None:
    """Write everything to one zip: JSON Lines, CSV for a spreadsheet, photos."""
    from cutcheck.journal.transfer import export_journal

    book = _opened(path)
    moved = export_journal(book, file, cook=None if cook is None else book.cook(cook).number)
    click.echo(f"Written to {file}: {moved.told}.")


@journal.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.pass_obj
def bring_in(path: str | None, file: Path) -> None:
    """Bring in what 'export' wrote; what is there already is not doubled."""
    from cutcheck.journal.transfer import import_journal

    moved = import_journal(_opened(path), file)
    click.echo(
        f"Brought in: {moved.told}."
        + (f" {moved.there} of the file's checks had been there." if moved.there else "")
    )


@journal.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.pass_obj
def copy(path: str | None, file: Path) -> None:
    """Make a safe copy of the journal, even while it is in use."""
    from cutcheck.journal.transfer import copy_journal

    click.echo(f"Copied to {copy_journal(_opened(path), file)}.")


def _opened(path: str | None) -> Journal:
    from cutcheck.journal import Journal

    return Journal.open(path)


def _print_json(data: Any) -> None:
    click.echo(json.dumps(data, ensure_ascii=False, indent=2))


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=problem, remedy=remedy)
