"""Check rendered photos against their truth: the squares and checkerboard corners, found by OpenCV.

    python sample_images/check_truth.py FOLDER [--picture FOLDER]

Prints for each photo the mean and the root mean square of (found - projected), px. A convention that is
wrong by half a pixel shows as a mean of 0.5. With --picture also draws the outlines of the pieces.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageOps

sys.path.insert(0, str(Path(__file__).resolve().parent))

from rendering import card_texture
from rendering.camera import Camera


def camera_of(truth: dict) -> Camera:
    c = truth["camera"]
    return Camera(truth["width_px"], truth["height_px"], c["f_px"], c["cx"], c["cy"], c["k1"], c["k2"],
                  np.array(c["R"]), np.array(c["t"]))


def targets(truth: dict) -> tuple[dict[int, np.ndarray], np.ndarray]:
    """Corners (4, 2) mm of each square by its id, and inner corners (N, 2) mm of the checkerboards."""
    reference = truth["reference"]
    squares: dict[int, np.ndarray] = {}
    boards = []
    if reference["kind"] == "mat":
        _, first, centres = card_texture.MATS[reference["paper"]]
        return {first + k: card_texture.tag_corners(c) for k, c in enumerate(centres)}, np.zeros((0, 2))
    for number, (x, y, angle) in zip(reference["numbers"], reference["pose_mm"], strict=True):
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        turn = np.array([[c, s], [-s, c]])
        for k, centre in enumerate(card_texture.CARD_TAGS):
            squares[4 * number + k] = card_texture.tag_corners(centre) @ turn + [x, y]
        grid = np.array([[-18 + 6 * i, -24 + 6 * j] for j in range(1, 8) for i in range(1, 6)], float)
        boards.append(grid @ turn + [x, y])
    return squares, np.concatenate(boards)


def refine(light: np.ndarray, spots: np.ndarray, share: float) -> np.ndarray:
    """(N, 2) px, corners found near `spots`; the window is a share of the distance of the first two."""
    ends = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    win = max(3, int(share * np.linalg.norm(spots[1] - spots[0])))
    start = np.ascontiguousarray(spots, np.float32).reshape(-1, 1, 2).copy()
    return cv2.cornerSubPix(light, start, (win, win), (-1, -1), ends)[:, 0]


def check(path: Path, pictures: Path | None) -> None:
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    upright = np.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGB"))
    if upright.shape[:2] != (truth["height_px"], truth["width_px"]):
        print(f"{path.name}: the photo is {upright.shape[1::-1]}, its truth says otherwise")
        return
    camera, h = camera_of(truth), truth["card_thickness_mm"]
    grey = cv2.cvtColor(upright, cv2.COLOR_RGB2GRAY)
    light = ((grey / 255.0) ** 2.2).astype(np.float32)  # blur happens in the light
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11))
    corners, ids, _ = detector.detectMarkers(grey)
    squares, grid = targets(truth)
    found = 0
    off = []
    for corner, tag in zip(corners, [] if ids is None else ids.ravel(), strict=False):
        if int(tag) in squares:
            found += 1
            true = camera.project(np.column_stack([squares[int(tag)], np.full(4, h)]))
            if np.abs(corner[0] - true).max() > 3:
                print(f"{path.name}: square {tag} is not where its truth says")
            off.append(refine(light, true, 0.07) - true)
    text = f"{path.stem:44} squares {found}/{len(squares)}"
    if off:
        d = np.concatenate(off)
        text += f" mean {d[:, 0].mean():+.3f} {d[:, 1].mean():+.3f} rms {np.sqrt((d**2).sum(1).mean()):.3f}"
    if len(grid):
        spots = camera.project(np.column_stack([grid, np.full(len(grid), h)]))
        refined = refine(light, spots, 0.3)
        d = refined - spots
        text += f" | board mean {d[:, 0].mean():+.3f} {d[:, 1].mean():+.3f}" \
                f" rms {np.sqrt((d**2).sum(1).mean()):.3f}"
    n = len(truth["pieces"])
    text += f" | {n} pieces, {sum(p['cut_off'] for p in truth['pieces'])} cut off, " \
            f"{sum(p['height_px'] >= 8 for p in truth['pieces'])} sides seen"
    print(text, flush=True)
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
        drawn = upright[..., ::-1].copy()
        for p in truth["pieces"]:
            for key, colour in [("bottom_outline_px", (255, 255, 0)), ("top_outline_px", (255, 0, 255))]:
                ring = np.round(np.array(p[key]) * 16).astype(np.int32)
                cv2.polylines(drawn, [ring], True, colour, 1, cv2.LINE_AA, 4)
        cv2.imwrite(str(pictures / f"{path.stem}.png"), drawn)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--picture", type=Path, help="folder for pictures with the true outlines")
    options = parser.parse_args()
    for path in sorted(options.folder.glob("*.jpg")):
        if path.with_suffix(".json").is_file():
            check(path, options.picture)
    return 0


if __name__ == "__main__":
    sys.exit(main())
