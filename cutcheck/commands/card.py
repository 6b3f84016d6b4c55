"""``cutcheck card``: draw the reference card, to print."""

from __future__ import annotations

import click


@click.command()
@click.option("--out", required=True, metavar="FILE", help="What to write: its ending says PDF, PNG or SVG.")
@click.option(
    "--number", default=None, metavar="N", help="Card numbers: 7, 1-30 or 1,4,9 (0 to 124; 0 is nobody's)."
)
@click.option("--paper", default="a4", show_default=True, help="a4 or letter.")
@click.option("--mat", metavar="PAPER", help="Also the mat for a whole tray: a4 or letter.")
@click.option("--names", metavar="FILE.csv", help="Card number and name in each row: printed on the backs.")
@click.option(
    "--font", metavar="FILE", help="A TrueType font for names in letters that the built-in one lacks."
)
def card(
    out: str, number: str | None, paper: str, mat: str | None, names: str | None, font: str | None
) -> None:
    """Draw reference cards at true size, six to a page.

    Print at 100 %, measure the squares as the page says, and give the figures once:
    cutcheck check PHOTO --printed 197.4x213.2
    """
    from cutcheck.card_numbers import parse_numbers, read_names
    from cutcheck.card_sheet import draw_cards
    from cutcheck.sheet_files import save_sheets

    people = read_names(names) if names is not None else None
    # Without numbers: those that have names, no card where only a mat is asked for, else nobody's.
    numbers = parse_numbers(number) if number else tuple(people or ()) or (() if mat else (0,))
    sheets = draw_cards(numbers, paper=paper, mat=mat, names=people)
    for path in save_sheets(sheets, out, font=font):
        click.echo(f"Written: {path}")
    click.echo("Print at 100 % (actual size), then check it with a ruler as the page says.")
