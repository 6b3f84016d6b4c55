"""``cutcheck standard``: write a standard of one's own, to edit."""

from __future__ import annotations

from pathlib import Path

import click

from cutcheck.whole_file import write_whole


@click.group()
def standard() -> None:
    """The sizes and tolerances that count: make your own."""


@standard.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--from", "base", default="metric", show_default=True, help="Start from this one: metric or inch."
)
def new(file: Path, base: str) -> None:
    """Write a standard to FILE; change the sizes in a text editor and use it with --standard FILE.

    It is called as the file is.
    """
    from cutcheck.standard_file import new_standard

    write_whole(file, new_standard(file.stem, base).encode(), over=False)
    click.echo(f"Written: {file}. Change the sizes, then: cutcheck check PHOTO --standard {file}")
