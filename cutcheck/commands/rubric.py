"""``cutcheck rubric``: write a rubric to edit, or read one back in words."""

from __future__ import annotations

from pathlib import Path

import click


@click.group()
def rubric() -> None:
    """How a tray is marked: sample, weights, pass mark, penalties, the school's scale."""


@rubric.command()
@click.argument("file", type=click.Path(path_type=Path))
def new(file: Path) -> None:
    """Write the usual rubric to FILE; change it in a text editor."""
    from dataclasses import replace

    from cutcheck.classroom.rubric import usual_rubric, write_rubric

    write_rubric(replace(usual_rubric(), name=file.stem or "own"), file)
    click.echo(f"Written: {file}. Change it, then look at it with: cutcheck rubric show {file}")


@rubric.command()
@click.argument("file")
def show(file: str) -> None:
    """Say in words what the rubric in FILE does; every mistake in it is named."""
    from cutcheck.classroom.rubric import read_rubric
    from cutcheck.classroom.rubric_words import rubric_lines

    click.echo("\n".join(rubric_lines(read_rubric(file))))
