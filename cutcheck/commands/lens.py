"""``cutcheck lens``: calibrate a phone's lens once, and keep it."""

from __future__ import annotations

import re

import click


@click.command()
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True)
@click.option(
    "--board", metavar="CxR", help="The photos show a checkerboard with so many inner corners: 9x6."
)
@click.option("--forget", is_flag=True, help="Forget the kept lens of these photos' camera instead.")
def lens(photos: tuple[str, ...], *, board: str | None, forget: bool) -> None:
    """Calibrate the lens that took the PHOTOs, and use it from then on for photos of the same camera.

    Take three to eight, without zoom, of the printed card (or of a checkerboard): lying flat, near each
    corner of the picture and in the middle, straight from above and at a slant.
    """
    from cutcheck.calibrate import calibrate
    from cutcheck.card import PrintCheck
    from cutcheck.errors import CutcheckError
    from cutcheck.lens_store import forget_lens, save_lens
    from cutcheck.photo import read_photo
    from cutcheck.settings import load_settings

    if forget:
        for path in sorted({path for photo in photos if (path := forget_lens(read_photo(photo)))}):
            click.echo(f"Forgotten: {path}")
        return
    corners = None
    if board is not None:
        numbers = re.fullmatch(r"(\d+)\s*[x×]\s*(\d+)", board.strip().lower())
        if not numbers or min(int(numbers[1]), int(numbers[2])) < 3:
            raise CutcheckError(
                "bad-option",
                problem=f"'{board}' is not a checkerboard's number of inner corners.",
                remedy="Give both numbers, 3 or more, as 9x6: a chessboard of 8 x 8 fields is 7x7.",
            )
        corners = (int(numbers[1]), int(numbers[2]))
    printed = load_settings().printed
    found = calibrate(
        [read_photo(photo) for photo in photos],
        board=corners,
        printed=None if printed is None else PrintCheck.parse(printed),
    )
    for line in found.lens.in_words():
        click.echo(line)
    click.echo(f"The edges agree to {max(found.residuals_px):.2f} pixels or better in each photo.")
    if found.lens.camera_name:
        click.echo(f"Kept: {save_lens(found.lens)}")
    else:
        click.echo("Not kept: the photos do not say which camera took them. Give the camera's own files.")
