"""Fit the weights of ``cutcheck.explain`` again, on photos with truth beside them.

    python tests/nightly/weigh_evidence.py FOLDER...

For each separate die, stick or tile of the truth the candidates that the fit tries are compared with it. The
weights are those of a multinomial logistic model whose expected error is least; folds that leave whole photos
out say what they are worth on photos that they have not seen. Prints both, and changes nothing.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from cutcheck import boxes, explain
from cutcheck.accuracy import photos_with_truth, read_truth
from cutcheck.blobs import find_blobs
from cutcheck.camera import Camera
from cutcheck.errors import CutcheckError
from cutcheck.explain import Evidence
from cutcheck.measure import measure
from cutcheck.pipeline import look_at

Floats = NDArray[np.float64]
WORST = 8.0  # allowances: a worse candidate is only wrong
MOST_PIECES = 60  # of a photo count, so that a tray of hundreds does not outweigh the others
RIDGE, FOLDS, ROUNDS = 0.002, 6, 3


@dataclass(frozen=True)
class Photo:
    """The evidence for the candidates of a photo's boxes, and their errors (K, N) in allowances."""

    evidence: Evidence
    error: Floats


def photo_of(path: Path) -> Photo | None:
    """Measure one photo and compare what was tried with the truth; None where nothing can be paired."""
    heard: list[Evidence] = []
    weigh = boxes.weigh

    def listening(evidence: Evidence) -> Floats:
        heard.append(evidence)
        return weigh(evidence)

    boxes.weigh = listening  # type: ignore[assignment]
    try:
        looked = look_at(path)
        camera = looked.located.camera
        found = find_blobs(looked.photo, camera, looked.located.regions_px, area_px=looked.located.surface_px)
        measure(looked.photo.pixels, camera, found.blobs)
    except CutcheckError:
        return None
    finally:
        boxes.weigh = weigh  # type: ignore[assignment]
    if not heard:
        return None
    pieces = read_truth(path.with_suffix(".json"))["pieces"]
    error = errors(camera, heard[-1].boxes, pieces)
    known = np.isfinite(error).all(axis=0)
    kept = Evidence(heard[-1].value[:, known], heard[-1].boxes[:, known])
    return Photo(kept, error[:, known]) if known.sum() >= 5 else None


def errors(camera: Camera, candidates: Floats, pieces: list[dict[str, Any]]) -> Floats:
    """The worse of length's and width's error of candidates (K, N, 9), in allowances; nan where unpaired."""
    places = camera.project_at(candidates[..., :2], candidates[..., 5])
    centres = np.array([piece["centre_px"] for piece in pieces])
    out = np.full(candidates.shape[:2], np.nan)
    for n in range(candidates.shape[1]):
        away = np.linalg.norm(centres - np.median(places[:, n], axis=0), axis=1)
        piece = pieces[int(np.argmin(away))]
        inner = np.linalg.norm(np.subtract(piece["top_outline_px"], piece["centre_px"]), axis=1).min()
        if piece["shape"] != "box" or piece["cut_off"] or piece["touches"] or away.min() > 0.8 * inner + 8.0:
            continue
        sides = np.sort(candidates[:, n, 3:5], axis=1)[:, ::-1]
        true = np.array([piece["length_mm"], piece["width_mm"]])
        out[:, n] = (np.abs(sides - true) / np.maximum(0.1, 0.01 * true)).max(axis=1)
    return out


def best_weights(values: list[Floats], photos: list[Photo]) -> Floats:
    """The weights (F,) whose expected error over the photos is least, with a little ridge."""
    centred = [value - value.mean(axis=0) for value in values]
    size = np.concatenate([value.reshape(-1, value.shape[-1]) for value in centred]).std(axis=0) + 1e-9

    def loss(weights: Floats) -> tuple[float, Floats]:
        total, slope, count = 0.0, np.zeros(len(weights)), 0.0
        for value, photo in zip(centred, photos, strict=True):
            scaled = value / size
            score = scaled @ weights
            chance = np.exp(score - score.max(axis=0))
            chance /= chance.sum(axis=0)
            cost = np.minimum(photo.error, WORST)
            expected = (chance * cost).sum(axis=0)
            share = min(len(expected), MOST_PIECES) / len(expected)
            total, count = total + share * float(expected.sum()), count + share * len(expected)
            slope += share * np.einsum("kn,knf->f", chance * (cost - expected), scaled)
        return total / count + RIDGE * float(weights @ weights), slope / count + 2.0 * RIDGE * weights

    return np.asarray(minimize(loss, np.zeros(len(size)), jac=True, method="L-BFGS-B").x / size)


def fitted(photos: list[Photo]) -> Floats:
    """Weights of all evidence: the tray's usual size is that of the choice before, until that settles."""
    values = [photo.evidence.value for photo in photos]
    weights = best_weights(values, photos)
    for _ in range(ROUNDS):
        values = [
            np.concatenate([photo.evidence.value, usual_of(photo.evidence, first)], axis=-1)
            for photo, first in zip(photos, chosen(values, weights), strict=True)
        ]
        weights = best_weights(values, photos)
    return weights


def usual_of(evidence: Evidence, first: NDArray[np.int_]) -> Floats:
    """How unusual the candidates' sizes are in a tray of those chosen ``first``, (K, N, 3)."""
    return explain.unusual(evidence.boxes, evidence.boxes[first, np.arange(len(first))])


def chosen(values: list[Floats], weights: Floats) -> list[NDArray[np.int_]]:
    """The candidate of each piece that weighs most."""
    return [np.argmax(value @ weights, axis=0) for value in values]


def mean_error(photos: list[Photo], weights: Floats) -> float:
    """The mean error of what is chosen, each photo counting the same."""
    means = []
    for photo in photos:
        first = np.argmax(explain.weigh(photo.evidence, weights), axis=0)
        means.append(np.minimum(photo.error[first, np.arange(len(first))], 15.0).mean())
    return float(np.mean(means))


def main() -> int:
    """Measure, fit, and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    paths = [path for folder in parser.parse_args().folders for path in photos_with_truth(folder)]
    photos = [one for path in paths if (one := photo_of(path)) is not None]
    if len(photos) < FOLDS:
        print(f"{len(photos)} photos with boxes and truth: at least {FOLDS} are needed.")
        return 2
    left_out = []
    for k in range(FOLDS):
        weights = fitted([photo for i, photo in enumerate(photos) if i % FOLDS != k])
        left_out += [mean_error([photo], weights) for photo in photos[k::FOLDS]]
    best = np.mean([np.minimum(photo.error.min(axis=0), 15.0).mean() for photo in photos])
    pieces = sum(photo.error.shape[1] for photo in photos)
    print(f"{len(photos)} photos, {pieces} boxes; mean error in allowances:")
    now, unseen = mean_error(photos, explain.WEIGHTS), np.mean(left_out)
    print(f"weights as they are {now:.2f}, fitted to other photos {unseen:.2f}, best candidate {best:.2f}")
    print("fitted to all:", np.array2string(fitted(photos), precision=2, separator=", ", max_line_width=200))
    return 0


if __name__ == "__main__":
    sys.exit(main())
