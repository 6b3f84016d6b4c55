"""``cutcheck settings``: see and change what need not be said each time."""

from __future__ import annotations

from dataclasses import fields

import click

from cutcheck.settings import Settings, changed, load_settings, save_settings, settings_path

ABOUT = {
    "printed": "what the ruler said on the print, across x down (mm); 'forget' clears it",
    "thickness_mm": "how thick the card is: 0.2 for paper, 0.5 laminated",
    "standard": "the standard that counts unless one is named",
    "unit": "mm or in",
    "max_megapixels": "larger photos are refused",
    "max_megabytes": "larger files are refused",
    "journal": "the journal's file; 'forget' goes back to the usual place",
    "keep_photo": "yes or no: whether a tray is kept with a copy of its photo",
    "graded_days": "how many days graded work is kept",
}

NOT_SET = {"printed": "not measured", "journal": "the usual place"}


@click.command()
@click.argument("name", required=False)
@click.argument("value", required=False)
def settings(name: str | None, value: str | None) -> None:
    """Show the settings, or change one: cutcheck settings unit in."""
    from cutcheck import table

    now = load_settings()
    if value is not None:
        now = changed(now, name or "", value)
        save_settings(now)
    elif name is not None:
        changed(now, name, getattr(now, name, None))  # an unknown name is told
    shown = [field.name for field in fields(Settings) if name in (None, field.name)]
    rows = [[one, _text(one, getattr(now, one)), ABOUT[one]] for one in shown]
    click.echo(table.columns(rows))
    if name is None:
        click.echo(f"\nKept in {settings_path()}")


def _text(name: str, value: object) -> str:
    if value is None:
        return NOT_SET[name]
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
