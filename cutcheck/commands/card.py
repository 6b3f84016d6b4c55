"""``cutcheck card``: draw the reference card, to print."""

from __future__ import annotations

import click


@click.command()
@click.option("--out", metavar="FILE", help="What to write: its ending says PDF, PNG or SVG.")
@click.option(
    "--verify", metavar="PHOTO", help="Check a print by a photo of it beside a blank card of bank-card size."
)
@click.option(
    "--number", default=None, metavar="N", help="Card numbers: 7, 1-30 or 1,4,9 (0 to 124; 0 is nobody's)."
)
@click.option("--paper", default="a4", show_default=True, help="a4 or letter.")
@click.option("--mat", metavar="PAPER", help="Also the mat for a whole tray: a4 or letter.")
@click.option("--names", metavar="FILE.csv", help="A class's roster: names are printed on the backs.")
@click.option(
    "--font", metavar="FILE", help="A TrueType font for names in letters that the built-in one lacks."
)
def card(
    out: str | None,
    verify: str | None,
    number: str | None,
    paper: str,
    mat: str | None,
    names: str | None,
    font: str | None,
) -> None:
    """Draw reference cards at true size, six to a page.

    Print at 100 %, measure the squares as the page says, and give the figures once:
    cutcheck check PHOTO --printed 197.4x213.2
    """
    if verify is not None:
        _verify(verify)
        return
    if out is None:
        raise click.UsageError("Missing option '--out': the file to write, cards.pdf for example.")
    from cutcheck.card_numbers import parse_numbers
    from cutcheck.card_sheet import draw_cards
    from cutcheck.sheet_files import save_sheets

    people = None if names is None else _people(names)
    # Without numbers: those that have names, no card where only a mat is asked for, else nobody's.
    numbers = parse_numbers(number) if number else tuple(people or ()) or (() if mat else (0,))
    sheets = draw_cards(numbers, paper=paper, mat=mat, names=people)
    for path in save_sheets(sheets, out, font=font):
        click.echo(f"Written: {path}")
    click.echo("Print at 100 % (actual size), then check it with a ruler as the page says.")


def _people(file: str) -> dict[int, str]:
    """The names in a class's roster by card number; what to look at in it is told."""
    from cutcheck.classroom.roster import read_roster

    roster = read_roster(file)
    for note in roster.notes:
        click.echo(note, err=True)
    return {student.number: student.name for student in roster.students}


def _verify(photo: str) -> None:
    """Tell whether the card in a photo was printed at true size, by the ID-1 card beside it."""
    from cutcheck.lens_store import lens_of
    from cutcheck.photo import read_photo
    from cutcheck.settings import load_settings
    from cutcheck.verify_print import verify_print

    image = read_photo(photo)
    found = verify_print(image, thickness_mm=load_settings().thickness_mm, lens=lens_of(image))
    ways = ((found.across, found.across_u, "across"), (found.down, found.down_u, "down"))
    click.echo("Your printer is " + " and ".join(_said(*way) for way in ways) + ".")
    if found.true_size:
        click.echo("That is true size, as far as a photo can tell; a ruler tells more.")
    else:
        click.echo(f"Print again at 100 %, or give --printed {found.printed} with each check.")


def _said(scale: float, u: float, way: str) -> str:
    """A print's scale one way in words: 0.3 % small across, give or take 0.4 %."""
    off = round(100 * (scale - 1), 1)
    size = "right" if off == 0 else f"{abs(off):.1f} % {'large' if off > 0 else 'small'}"
    return f"{size} {way} (give or take {200 * u:.1f} %)"
