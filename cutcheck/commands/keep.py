"""The options of ``check`` that keep what was measured in the journal, and the keeping itself."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import click

from cutcheck.errors import CutcheckError

if TYPE_CHECKING:
    from cutcheck.journal import Cook, Entry, Extras, Journal
    from cutcheck.pipeline import Measured
    from cutcheck.records import Result
    from cutcheck.settings import Settings

_EXTRAS = ("raw_g", "finished_g", "waste_g", "minutes", "note")
_OPTIONS = (
    click.option("--keep", is_flag=True, help="Keep the check in the journal; needs --cook."),
    click.option("--cook", metavar="NAME", help="Whose tray it is: NAME, or NAME#NUMBER for namesakes."),
    click.option(
        "--keep-photo", is_flag=True, help="Keep a copy of the photo, too, without place and serial numbers."
    ),
    click.option("--raw", "raw_g", type=float, metavar="G", help="With --keep: grams before peeling."),
    click.option("--finished", "finished_g", type=float, metavar="G", help="With --keep: grams cut."),
    click.option("--waste", "waste_g", type=float, metavar="G", help="With --keep: grams of waste."),
    click.option("--minutes", type=float, metavar="MIN", help="With --keep: how long the cutting took."),
    click.option("--note", metavar="TEXT", help="With --keep: anything worth remembering."),
)


def journal_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """The option that names the journal."""
    return click.option(
        "--journal", metavar="PATH", help="Another journal than your own (or set CUTCHECK_JOURNAL)."
    )(command)


def keep_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """All options of keeping, for ``check``."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return journal_option(command)


class Keeper:
    """Keeps the checks of one command for one cook."""

    def __init__(self, journal: Journal, name: str, extras: Extras, *, with_photo: bool) -> None:
        self.journal = journal
        self.name = name
        journal.cook_called(name)  # namesakes are told before minutes are spent on a photo
        self.extras = extras
        self.with_photo = with_photo

    def keep(
        self,
        measured: Measured,
        result: Result,
        *,
        settings: Settings,
        reference: str,
        produce: str | None,
        photo_bytes: bytes,
    ) -> None:
        """Keep one check, and say where."""
        from cutcheck.journal.keeping import keep_measured

        before = self.journal.with_photo(result.photo.sha256)
        if before is not None:
            self._told(before, new=False)
            return
        entry, new = keep_measured(
            self.journal,
            find_or_add(self.journal, self.name),  # now: a photo that fails leaves no cook behind
            measured,
            result,
            settings=settings,
            reference=reference,
            extras=self.extras,
            produce=produce,
            photo_bytes=photo_bytes if self.with_photo else None,
        )
        self._told(entry, new=new)

    def _told(self, entry: Entry, *, new: bool) -> None:
        if new:
            click.echo(f"Kept as check {entry.number} of {entry.cook.label}.", err=True)
            return
        click.echo(
            f"That photo was kept before, as check {entry.number} of {entry.cook.label} "
            f"({entry.cut or 'no cut'}); nothing was changed. "
            f"'cutcheck journal correct {entry.number}' changes its cut or cook.",
            err=True,
        )


def keeper(options: Mapping[str, Any], *, several: bool) -> Keeper | None:
    """What keeps the checks of this command, None if nothing is; wrong options are told at once."""
    given = [
        name for name in (*_EXTRAS, "cook", "keep_photo", "journal") if options[name] not in (None, False)
    ]
    if not options["keep"]:
        if given:
            names = {"raw_g": "raw", "finished_g": "finished", "waste_g": "waste", "keep_photo": "keep-photo"}
            named = ", ".join(f"--{names.get(name, name)}" for name in given)
            raise _bad(f"{named} goes with --keep.", "Add --keep, or leave it out.")
        return None
    if options["cook"] is None:
        raise _bad("--keep needs to know whose tray it is.", "Add --cook NAME.")
    figures = {name: options[name] for name in _EXTRAS if options[name] is not None}
    if several and set(figures) - {"note"}:
        raise _bad(
            "Weights and minutes belong to one tray, and there are several photos.",
            "Check the photos one by one, or leave the weights and minutes out.",
        )
    from cutcheck.journal import Extras, Journal
    from cutcheck.settings import load_settings

    journal = Journal.open(options["journal"])
    extras = Extras(**figures)
    with_photo = options["keep_photo"] or load_settings().keep_photo
    return Keeper(journal, options["cook"], extras, with_photo=with_photo)


def find_or_add(journal: Journal, name: str) -> Cook:
    """The cook of that name; one that is not there yet is added, and that is told."""
    cook = journal.cook_called(name)
    if cook is not None:
        return cook
    near = difflib.get_close_matches(name, [one.name for one in journal.cooks()], 1, 0.8)
    cook = journal.add_cook(name)
    hint = f" (was {near[0]} meant? 'cutcheck journal correct' puts it right)" if near else ""
    click.echo(f"New in the journal: {cook.label}{hint}.", err=True)
    return cook


def _bad(problem: str, remedy: str) -> CutcheckError:
    return CutcheckError("bad-option", problem=problem, remedy=remedy)
