"""``cutcheck check``: measure the pieces in photos and mark them."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from cutcheck.commands.keep import keep_options, keeper
from cutcheck.commands.written import check_places, picture_place, write_pdf
from cutcheck.errors import CutcheckError
from cutcheck.settings import Settings, changed, load_settings, save_settings
from cutcheck.whole_file import write_whole

if TYPE_CHECKING:
    from cutcheck.pipeline import Measured
    from cutcheck.records import Piece, Result
    from cutcheck.units import Unit


@click.command()
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True)
@click.option("--cut", metavar="NAME", help="The cut the pieces are meant to be; 'cutcheck cuts' lists them.")
@click.option("--standard", metavar="NAME", help="metric, inch or a standard file of your own.")
@click.option(
    "--produce", metavar="NAME", help="What was cut: of an onion the layer's thickness does not count."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON, one line for each photo.")
@click.option(
    "--picture", metavar="FILE", help="Write the photo with the pieces marked; a folder for several photos."
)
@click.option("--printed", metavar="WxH", help="What the ruler said on the print (mm); kept until 'forget'.")
@click.option(
    "--reference",
    default="card",
    show_default=True,
    metavar="KIND",
    help="What gives the scale: card, id1, sheet:WxH, disc:MM, disc:MM@X,Y or square:DICT:ID:MM.",
)
@click.option(
    "--thickness", type=float, metavar="MM", help="How thick the card is: 0.2 paper, 0.5 laminated."
)
@click.option("--unit", type=click.Choice(["mm", "in"]), help="Show lengths in mm or inches.")
@click.option(
    "--explain", type=int, metavar="N", help="Tell all of piece N, and where its give or take comes from."
)
@click.option("--same-tray", is_flag=True, help="The photos are of one tray: together they make one result.")
@click.option("--pdf", metavar="FILE", help="Write one page to print; a folder for several photos.")
@keep_options
def check(
    photos: tuple[str, ...],
    *,
    cut: str | None,
    standard: str | None,
    produce: str | None,
    reference: str,
    picture: str | None,
    printed: str | None,
    thickness: float | None,
    unit: Unit | None,
    as_json: bool,
    explain: int | None,
    pdf: str | None,
    same_tray: bool,
    **keeping: Any,
) -> int:
    """Measure the pieces in each PHOTO ('-' reads standard input) and mark them.

    Lay the printed card beside the pieces. Exit status: 0 measured, 2 a wrong command, 3 a photo that
    can't be measured.
    """
    from cutcheck.photo import Limits, read_bytes
    from cutcheck.pipeline import chosen_cut, mark, measure_photo
    from cutcheck.standards import load_standard

    kept = _remembered(load_settings(), printed, thickness)
    if same_tray and len(photos) < 2:
        raise CutcheckError(
            "bad-option",
            problem="--same-tray needs two photos or more.",
            remedy="Name the photos of the tray one after the other, or leave out --same-tray.",
        )
    several = len(photos) > 1 and not same_tray
    check_places(photos, picture=picture, pdf=pdf, together=same_tray)
    # A wrong name is told before minutes are spent on many photos.
    if standard is not None:
        load_standard(standard)
    chosen = None if cut is None else chosen_cut(cut, standard, produce=produce, default=kept.standard)
    book = keeper(keeping, several=several)

    def measure(photo: str) -> tuple[Measured, bytes]:
        # read once, so that what is kept is what was measured
        name = "standard input" if photo == "-" else photo
        limits = Limits(kept.max_megapixels, kept.max_megabytes)
        data = read_bytes(sys.stdin.buffer if photo == "-" else photo, name, limits)
        return measure_photo(data, name=name, reference=reference, settings=kept), data

    def one(photo: str) -> Result:
        return told(*measure(photo))

    def told(measured: Measured, data: bytes) -> Result:
        result = mark(measured, chosen, standard=standard, unit=unit or kept.unit)
        if book is not None:
            book.keep(measured, result, settings=kept, reference=reference, produce=produce, photo_bytes=data)
        if pdf is not None:
            from cutcheck.check_sheet import check_pdf

            who = keeping["cook"] or ""
            page = check_pdf(result, measured.photo.pixels, unit=unit or kept.unit, who=who)
            write_pdf(pdf, page, measured.photo.info.file)
        if picture is not None:
            from cutcheck.picture import draw, encode

            place = picture_place(picture, measured.photo.info.file)
            write_whole(place, encode(draw(measured.photo.pixels, result), place.suffix))
        return result

    if same_tray:
        from cutcheck.same_tray import together

        (first, data), *others = [measure(photo) for photo in photos]
        first = replace(first, pieces=together([first, *(other for other, _ in others)]))
        click.echo(_text(told(first, data), as_json, explain, unit or kept.unit))
        return 0
    if len(photos) == 1:
        click.echo(_text(one(photos[0]), as_json, explain, unit or kept.unit))
        return 0
    return _several(photos, one, as_json, unit or kept.unit)


def _remembered(settings: Settings, printed: str | None, thickness: float | None) -> Settings:
    """The settings with what this command says; the print check is kept for the next one."""
    if printed is not None:
        settings = changed(settings, "printed", printed)
        save_settings(settings)
        click.echo(
            "Print check forgotten."
            if settings.printed is None
            else f"Print check kept: {settings.printed} mm.",
            err=True,
        )
    return settings if thickness is None else changed(settings, "thickness_mm", thickness)


def _text(result: Result, as_json: bool, explain: int | None, unit: Unit) -> str:
    from cutcheck import serialise, table

    piece = None if explain is None else _piece(result, explain)
    if as_json:
        return serialise.to_json(result, with_budget=piece is not None)
    return table.tray(result, unit) if piece is None else table.explain(piece, unit)


def _piece(result: Result, number: int) -> Piece:
    for piece in result.pieces:
        if piece.number == number:
            return piece
    raise CutcheckError(
        "bad-option",
        problem=f"There is no piece {number} in this photo.",
        remedy=f"The pieces are numbered 1 to {len(result.pieces)}; --picture shows which is which.",
    )


def _several(photos: Sequence[str], one: Callable[[str], Result], as_json: bool, unit: Unit) -> int:
    """Each photo on its own: one that fails is told and the others go on."""
    from cutcheck import serialise, table
    from cutcheck.printable import printable

    rows: list[tuple[str, Result | str]] = []
    failed = False
    with click.progressbar(photos, label="Measuring", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        for photo in bar:
            try:
                result = one(photo)
            except CutcheckError as error:
                failed = True
                rows.append((printable(photo), f"{error.message} {error.remedy}"))
                told = {"photo": {"file": printable(photo)}, **error.to_dict()}
                line = json.dumps(told, ensure_ascii=False)
            else:
                rows.append((result.photo.file, result))
                line = serialise.to_json(result)
            if as_json:
                click.echo(line)
    if not as_json:
        click.echo(table.trays(rows, unit))
    return 3 if failed else 0
