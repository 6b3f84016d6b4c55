"""``cutcheck class``: a folder of a class's photos measured, named, graded and written at once."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from cutcheck.classroom.folder_run import Start, Tray


@click.command("class")
@click.argument("photos", metavar="PHOTOS")
@click.option("--roster", required=True, metavar="FILE.csv", help="Name and card number, one student a line.")
@click.option("--cut", required=True, metavar="NAME", help="The cut; 'cutcheck cuts' lists them.")
@click.option("--out", required=True, metavar="FOLDER", help="Where the results go.")
@click.option("--rubric", metavar="FILE.toml", help="How trays are marked; the usual way without one.")
@click.option("--settle", metavar="FILE.csv", help="Photo and number of trays that you name by hand.")
@click.option("--standard", metavar="NAME", help="metric, inch or a standard file of your own.")
@click.option("--produce", metavar="NAME", help="What was cut.")
@click.option("--reference", default="card", show_default=True, metavar="KIND", help="As for 'check'.")
@click.option(
    "--workers", type=click.IntRange(1, 256), help="Photos at a time; as many as there are cores without it."
)
def class_(
    photos: str,
    *,
    roster: str,
    cut: str,
    out: str,
    rubric: str | None,
    settle: str | None,
    standard: str | None,
    produce: str | None,
    reference: str,
    workers: int | None,
) -> int:
    """Mark the trays in the folder PHOTOS, one photo a tray, for the students in a roster.

    The card's number in a photo says whose tray it is. What is not plain (no number, two numbers, two trays
    of one number) is listed in FOLDER/to-settle.csv: write the right number there and run the same command
    again. Stopped, it goes on where it was. Exit status: 0, or 3 if a photo could not be measured.
    """
    from cutcheck.classroom import class_table
    from cutcheck.classroom.asked import Asked
    from cutcheck.classroom.class_run import run_class
    from cutcheck.classroom.grade import Grade, grade
    from cutcheck.classroom.roster import Student, read_roster
    from cutcheck.classroom.rubric import read_rubric, usual_rubric
    from cutcheck.pipeline import chosen_cut
    from cutcheck.settings import load_settings

    students = read_roster(roster)
    for note in students.notes:
        click.echo(note, err=True)
    rules = usual_rubric() if rubric is None else read_rubric(rubric)
    asked = Asked(cut, standard, produce, reference, load_settings())
    chosen = chosen_cut(cut, standard, produce=produce, default=asked.settings.standard)

    def grade_of(tray: Tray, student: Student | None) -> Grade:
        assert tray.result is not None  # only trays with a score are graded
        return grade(tray.result, rules, cut=chosen, scale_u=tray.scale_u)

    with contextlib.ExitStack() as stack:
        bars = []

        def on_start(start: Start) -> None:
            if text := class_table.start_text(start):
                click.echo(text, err=True)
            hidden = not sys.stderr.isatty() or not start.to_do
            bar = click.progressbar(length=start.to_do, label="Measuring", file=sys.stderr, hidden=hidden)
            bars.append(stack.enter_context(bar))

        try:
            done = run_class(
                photos,
                out,
                students,
                asked,
                grade_of,
                settle=settle,
                workers=workers,
                on_start=on_start,
                on_done=lambda photo: bars[0].update(1),
            )
        except KeyboardInterrupt:
            click.echo("\nWhat was measured is kept: the same command goes on from there.", err=True)
            raise
    click.echo(class_table.summary(done))
    return 3 if done.results.failed else 0
