"""``cutcheck accuracy``: how well photos whose truth is known are measured."""

from __future__ import annotations

import json
import sys

import click


@click.command()
@click.argument("folder", metavar="FOLDER")
@click.option("--workers", type=click.IntRange(1, 64), default=1, show_default=True, help="Photos at a time.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def accuracy(folder: str, workers: int, as_json: bool) -> None:
    """Measure the photos in FOLDER and compare each piece with the truth beside them.

    Each photo NAME.jpg has its truth in NAME.json. The table tells how many pieces were found, how far off
    their sides are and how often 'give or take' holds.
    """
    from pathlib import Path

    from cutcheck import accuracy_table
    from cutcheck.accuracy import assess, photos_with_truth

    count = len(photos_with_truth(Path(folder)))
    with click.progressbar(
        length=count, label="Measuring", file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:
        scenes = assess(folder, workers, on_done=lambda name: bar.update(1))
    if as_json:
        click.echo(json.dumps(accuracy_table.to_dict(scenes), ensure_ascii=False, indent=2))
    else:
        click.echo(accuracy_table.text(scenes))
