"""From outlines to measured pieces: which solid each one is, its sides, and how sure they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cutcheck.blobs import Blob
from cutcheck.boxes import Made, measure_boxes
from cutcheck.camera import Camera
from cutcheck.classify import classify
from cutcheck.discs import measure_rounds
from cutcheck.outlines import resample, sharpen
from cutcheck.records import Piece
from cutcheck.rough import measure_rough
from cutcheck.seams import contacts
from cutcheck.strips import measure_strips


def measure(
    pixels: NDArray[np.uint8], camera: Camera, blobs: Sequence[Blob], *, scale_u: float = 0.0
) -> tuple[Piece, ...]:
    """Measure the pieces of a photo, (H, W, 3) BGR, seen by ``camera``.

    ``scale_u`` is the relative standard uncertainty of all lengths at once, from the card's print.
    """
    if not blobs:
        return ()
    outlines = sharpen(pixels, np.stack([resample(blob.outline_px) for blob in blobs]))
    shaped = classify(camera, outlines, contacts(outlines))
    made: Made = []
    round_ones = (shaped.kind == "disc").any()
    done: set[int] = set()
    if round_ones:
        made, done = measure_rounds(pixels, camera, shaped, scale_u)
    left = np.array([i not in done for i in range(len(blobs))])
    # A rough outline may be a box or a row of boxes; only what is none is measured from the outline alone.
    boxlike = np.nonzero(left & (shaped.kind != "ribbon"))[0]
    if len(boxlike):
        made += measure_boxes(pixels, camera, shaped, boxlike, scale_u)
    boxed = {source for source, _ in made}
    slender = np.isfinite(shaped.bow)
    rest = np.array([i for i in boxlike if i not in boxed], int)
    made += measure_rough(pixels, camera, shaped, rest[~slender[rest]], scale_u)
    strips = np.concatenate([rest[slender[rest]], np.nonzero(left & (shaped.kind == "ribbon"))[0]])
    made += measure_strips(pixels, camera, shaped, strips, scale_u)
    made.sort(key=lambda item: item[0])
    touching = {int(i) for i in np.nonzero(~np.isnan(shaped.seams).all(axis=(1, 2)))[0]}
    return tuple(
        _numbered(piece, number, blobs[source], source in touching)
        for number, (source, piece) in enumerate(made, start=1)
    )


def _numbered(piece: Piece, number: int, blob: Blob, touching: bool) -> Piece:
    flags = {*piece.flags, *blob.flags} | ({"touching"} if touching else set())
    if "touching" in flags:
        flags.discard("cluster")
    return replace(piece, number=number, flags=tuple(sorted(flags)))
