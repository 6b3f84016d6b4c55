"""How well photos with known truth are measured: every piece against what it really is.

A photo ``NAME.jpg`` has its truth in ``NAME.json`` beside it (sample_images/README.md tells the form). Found
and true pieces are paired one to one where the centres of their top faces agree. Every pair counts, flagged
or not; pieces that the picture's edge cuts off count neither way. The print check is given as exact.
An error is told in allowances: of a side in the plan the larger of 0.10 mm and 1 % of it, of a height the
larger of 0.20 mm and 3 %.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, NamedTuple

import cv2
import numpy as np
from scipy.optimize import linear_sum_assignment

from cutcheck.camera import Camera
from cutcheck.errors import CutcheckError
from cutcheck.pipeline import chosen_cut, mark, measure_photo
from cutcheck.records import Piece, Result
from cutcheck.settings import Settings
from cutcheck.standards import DEFAULT, Cut

PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic")
PLAN_ALLOWANCE = (0.10, 0.01)  # mm, share
HEIGHT_ALLOWANCE = (0.20, 0.03)
SEEN_PX = 8.0  # a side face at least so high should give a height
PRINTED_EXACTLY = "93.0x66.0"

Truth = Mapping[str, Any]


class SideError(NamedTuple):
    """One measured side: how far off, and how far off it may be, mm."""

    side: Literal["plan", "height"]
    shape: str
    error_mm: float
    u95_mm: float
    allowance_mm: float


@dataclass(frozen=True, slots=True)
class Figures:
    """Errors of some sides, in allowances; ``covered``: the share whose ``u95`` holds the true value."""

    count: int
    mean: float
    median: float
    p95: float
    bias: float
    covered: float
    u95: float

    @classmethod
    def of(cls, sides: Sequence[SideError]) -> Figures | None:
        """None where there are no sides."""
        if not sides:
            return None
        error, u95, allowed = np.array([side[2:] for side in sides], float).T
        off = np.abs(error) / allowed
        return cls(
            count=len(sides),
            mean=float(off.mean()),
            median=float(np.median(off)),
            p95=float(np.percentile(off, 95)),
            bias=float((error / allowed).mean()),
            covered=float((np.abs(error) <= u95).mean()),
            u95=float(np.median(u95 / allowed)),
        )


@dataclass(frozen=True, slots=True)
class Scene:
    """One photo: what was found and how far off. ``refused``: the error, where it could not be measured.

    ``share`` and ``true_share`` are of pieces on size, over the same sides; None without a cut.
    ``suggested`` is judged right where it names the cut or one of the same size; None without a cut.
    """

    name: str
    seconds: float
    true: int
    found: int = 0
    paired: int = 0
    sides: tuple[SideError, ...] = field(default=(), repr=False)
    heights_due: int = 0
    heights_given: int = 0
    cut: str | None = None
    suggested: str | None = None
    suggested_right: bool | None = None
    share: float | None = None
    true_share: float | None = None
    mark: tuple[float, float, float] | None = None  # the mark, its lower and its upper end
    refused: str | None = None

    @property
    def f1(self) -> float:
        """Of pieces found: 2 x paired / (true + found)."""
        return f1([self])

    def figures(self, side: str, shape: str | None = None) -> Figures | None:
        """The errors of the sides in the plan, or of the heights, of all pieces or those of one shape."""
        return Figures.of([s for s in self.sides if s.side == side and shape in (None, s.shape)])


def f1(scenes: Iterable[Scene]) -> float:
    """Of pieces found, over some scenes: 2 x paired / (true + found)."""
    paired, both = 0, 0
    for scene in scenes:
        paired, both = paired + scene.paired, both + scene.true + scene.found
    return 2 * paired / both if both else 1.0


# --- one photo ----------------------------------------------------------------------------------------------


def assess(
    folder: str | Path, workers: int = 1, on_done: Callable[[str], None] = lambda name: None
) -> list[Scene]:
    """Measure all photos of a folder that have their truth beside them; ``on_done`` hears each name.

    ``workers`` processes share the photos. Raises ``bad-option`` where there are none or a truth is no truth.
    """
    photos = photos_with_truth(Path(folder))
    scenes: dict[Path, Scene] = {}
    if workers <= 1:
        for photo in photos:
            scenes[photo] = assess_photo(photo)
            on_done(photo.stem)
    else:
        from concurrent.futures import ProcessPoolExecutor, as_completed
        from multiprocessing import get_context

        with ProcessPoolExecutor(
            workers, get_context("spawn"), initializer=cv2.setNumThreads, initargs=(1,)
        ) as pool:
            jobs = {pool.submit(assess_photo, photo): photo for photo in photos}
            for job in as_completed(jobs):
                scenes[jobs[job]] = job.result()
                on_done(jobs[job].stem)
    return [scenes[photo] for photo in photos]


def photos_with_truth(folder: Path) -> list[Path]:
    """The photos of a folder with a truth beside them, by name."""
    if not folder.is_dir():
        raise CutcheckError(
            "bad-option",
            problem=f"'{folder}' is not a folder.",
            remedy="Name a folder of photos with their truth.",
        )
    photos = [
        path
        for path in sorted(folder.iterdir())
        if path.suffix.lower() in PHOTO_ENDINGS and path.with_suffix(".json").is_file()
    ]
    if not photos:
        raise CutcheckError(
            "bad-option",
            problem=f"There is no photo with its truth in '{folder}'.",
            remedy="Each photo NAME.jpg needs NAME.json beside it: see sample_images/README.md.",
        )
    return photos


def assess_photo(photo: Path) -> Scene:
    """Measure one photo and compare it with the truth beside it."""
    truth = read_truth(photo.with_suffix(".json"))
    thickness = float(truth["card_thickness_mm"])
    settings = Settings(printed=PRINTED_EXACTLY, thickness_mm=thickness or Settings().thickness_mm)
    cut = None
    if truth["cut"] is not None:
        cut = chosen_cut(truth["cut"], default=truth["standard"] or DEFAULT)
    start = time.perf_counter()
    try:
        result = mark(measure_photo(photo, settings=settings), cut)
    except Exception as error:  # whatever went wrong, the scene counts: as one where nothing was found
        why = error.code if isinstance(error, CutcheckError) else type(error).__name__
        whole = sum(not piece["cut_off"] for piece in truth["pieces"])
        return Scene(photo.stem, time.perf_counter() - start, whole, refused=why, cut=truth["cut"])
    return replace(compare(result, truth, cut), name=photo.stem, seconds=time.perf_counter() - start)


def read_truth(path: Path) -> Truth:
    """The truth in a JSON file; ``bad-option`` if it is none."""
    try:
        truth = json.loads(path.read_text(encoding="utf-8"))
        for name in ("camera", "pieces", "cut", "standard", "card_thickness_mm"):
            truth[name]
    except (OSError, UnicodeDecodeError, json.JSONDecodeError, KeyError, TypeError) as error:
        raise CutcheckError(
            "bad-option",
            problem=f"'{path}' does not hold the truth of a photo ({error!r}).",
            remedy="See sample_images/README.md for its form, or move the file away.",
        ) from None
    return dict(truth)


# --- a result against the truth -----------------------------------------------------------------------------


def compare(result: Result, truth: Truth, cut: Cut | None = None) -> Scene:
    """What was measured against what is true; ``cut`` is the one the result was marked by."""
    real, found = truth["pieces"], result.pieces
    pairs = pair(found, truth)
    hidden = {i for i, piece in enumerate(real) if piece["cut_off"]}
    at_edge = {k for i, k in pairs if i in hidden} | _remains(found, [real[i] for i in hidden], pairs)
    counted = [(i, k) for i, k in pairs if i not in hidden]
    due = [k for i, k in counted if real[i]["height_px"] >= SEEN_PX]
    share, true_share = _shares(result, [p for i, p in enumerate(real) if i not in hidden], cut)
    suggested = None if result.suggested is None else result.suggested.name
    score = result.score
    return Scene(
        name=str(truth.get("name", "")),
        seconds=0.0,
        true=len(real) - len(hidden),
        found=len(found) - len(at_edge),
        paired=len(counted),
        sides=tuple(side for i, k in counted for side in side_errors(found[k], real[i])),
        heights_due=len(due),
        heights_given=sum(found[k].height.mm is not None for k in due),
        cut=None if cut is None else cut.name,
        suggested=suggested,
        suggested_right=None if cut is None else _same_size(suggested, cut),
        share=share,
        true_share=true_share,
        mark=None if score is None else (score.mark, score.mark_low, score.mark_high),
    )


def pair(found: Sequence[Piece], truth: Truth) -> list[tuple[int, int]]:
    """Pairs (true, found) whose top faces' centres lie within half the piece's width (or 5 px) of each other.

    One to one, with the least sum of distances.
    """
    real = truth["pieces"]
    if not real or not found:
        return []
    centres = np.array([piece["centre_px"] for piece in real], float)
    width = np.array([piece["width_mm"] for piece in real], float)
    height = np.array([piece["height_mm"] for piece in real], float)
    reach = np.maximum(0.5 * width / camera_of(truth).mm_per_px(centres, height), 5.0)
    apart = np.linalg.norm(centres[:, None] - np.array([piece.centre_px for piece in found])[None], axis=2)
    beyond = 1e6
    rows, columns = linear_sum_assignment(np.where(apart <= reach[:, None], apart, beyond))
    return [(int(i), int(k)) for i, k in zip(rows, columns, strict=True) if apart[i, k] <= reach[i]]


def camera_of(truth: Truth) -> Camera:
    """The camera that took the photo."""
    c = truth["camera"]
    return Camera(
        c["f_px"], c["cx"], c["cy"], c["k1"], c["k2"], np.array(c["R"], float), np.array(c["t"], float)
    )


def side_errors(piece: Piece, real: Truth) -> list[SideError]:
    """The errors of one piece's sides; a height that is not given has none."""
    out = []
    for name, kind, (least, share) in (
        ("length", "plan", PLAN_ALLOWANCE),
        ("width", "plan", PLAN_ALLOWANCE),
        ("height", "height", HEIGHT_ALLOWANCE),
    ):
        measured, true = getattr(piece, name), float(real[f"{name}_mm"])
        if measured.mm is not None:
            allowed = max(least, share * true)
            out.append(SideError(kind, real["shape"], measured.mm - true, measured.u95, allowed))  # type: ignore[arg-type]
    return out


def _remains(found: Sequence[Piece], hidden: list[Truth], pairs: list[tuple[int, int]]) -> set[int]:
    """Found pieces without a pair that are what is seen of a piece that the picture's edge cuts off."""
    left = set(range(len(found))) - {k for _, k in pairs}
    outlines = [np.array([*p["top_outline_px"], *p["bottom_outline_px"]], np.float32) for p in hidden]
    hulls = [cv2.convexHull(outline) for outline in outlines]
    return {
        k for k in left if any(cv2.pointPolygonTest(hull, found[k].centre_px, False) >= 0 for hull in hulls)
    }


def _shares(result: Result, real: list[Truth], cut: Cut | None) -> tuple[float | None, float | None]:
    """The reported and the true share on size, over the sides that were seen."""
    if result.score is None or cut is None or not real:
        return None, None
    seen = {side.side for side in result.score.sides if side.seen}
    sides = [target for target in cut.targets if target.side in seen]
    right = [all(t.low_mm <= piece[f"{t.side}_mm"] <= t.high_mm for t in sides) for piece in real]
    return result.score.on_size, sum(right) / len(right)


def _same_size(name: str | None, cut: Cut) -> bool:
    """Is this the cut, or one with the same sizes in its standard?"""
    if name is None or name == cut.name:
        return name is not None
    other = chosen_cut(name, default=cut.standard or DEFAULT)
    return _sizes(other) == _sizes(cut)


def _sizes(cut: Cut) -> set[tuple[str, float, float]]:
    return {(t.side, round(t.size_mm[0], 1), round(t.size_mm[1], 1)) for t in cut.targets}
