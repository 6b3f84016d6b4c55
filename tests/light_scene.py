"""Drawn scenes with exact truth: a tray of pieces beside a card, as a phone would photograph it.

A light renderer for tests, quick where path tracing takes minutes; the truth has the form of the path-traced
scenes' (sample_images/rendering/truth.py), and ``drawn`` holds what is needed to see the same tray again.
The trays are invented.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from drawing import camera_over
from light import ground, pieces
from light.lamp import BOARDS, PAPER, Light
from light.phone import Phone, develop
from light.room import Room, distractors, visible
from light.solids import Floats, Solid
from numpy.typing import NDArray
from PIL import Image

from cutcheck.camera import Camera
from cutcheck.card import CardLayout, mat, pocket_card

Truth = dict[str, Any]

DEFAULTS: Truth = {
    "name": "tray", "size": (4000, 3000), "cut": None, "standard": None, "produce": "carrot", "wet": 0.2,
    "board": "white", "light": "soft", "distractors": (),
    "pieces": ({"shape": "box", "mm": (6.35, 6.35, 6.35), "count": 30},),
    "card": "pocket", "number": 0, "card_at": (0.2, 0.5), "card_thickness_mm": 0.2,
    "above_mm": 340.0, "tilt_deg": 12.0, "lean_deg": None, "roll_deg": None, "f35": None,
    "corner_distortion": None, "exif": True,
    "bevel_mm": None, "noise": None, "blur_px": None, "sharpen": None,
}  # fmt: skip


def scene(seed: int, **options: Any) -> tuple[NDArray[np.uint8], Truth]:
    """A photo, (H, W, 3) uint8 BGR, and its truth; ``options`` are those of ``DEFAULTS``.

    ``size`` is (width, height) px; ``card`` is pocket, a4 or letter; ``card_at`` are shares of the picture.
    A kind of pieces: see ``light.solids.make``; also ``gap_mm``, and ``row`` (least, most) for touching rows.
    """
    unknown = options.keys() - DEFAULTS.keys()
    if unknown:
        raise ValueError(f"no option {', '.join(sorted(unknown))}: take some of {', '.join(DEFAULTS)}")
    spec = {**DEFAULTS, **options}
    rng = np.random.default_rng(seed)
    layout = _layout(spec["card"], spec["number"])
    camera = _camera(spec, rng)
    tray = Room(camera, spec["size"], layout)
    solids: list[Solid] = []
    for kind in spec["pieces"]:
        solids += tray.rows(kind, rng, solids) if "row" in kind else tray.scatter(kind, rng, solids)
    others = distractors(spec["distractors"], tray, rng)
    slope = rng.uniform(-0.0012, 0.0012, 2)
    light = Light.of(spec["light"], float(rng.uniform(0, 360)), slope)
    return _photograph(camera, spec, solids, others, light, seed, seed)


def same_tray_again(truth: Truth, seed: int, **options: Any) -> tuple[NDArray[np.uint8], Truth]:
    """The same pieces on such a board in the same light, seen by the same phone from another place.

    The tray is in the middle of the picture. ``options`` say from where (``tilt_deg``, ``lean_deg``, ...).
    """
    drawn, rng = truth["drawn"], np.random.default_rng(seed)
    above = drawn["spec"]["above_mm"] * float(rng.uniform(0.95, 1.15))
    moved = {"tilt_deg": float(rng.uniform(5, 30)), "lean_deg": float(rng.uniform(0, 360)), "roll_deg": None}
    spec = {**DEFAULTS, **drawn["spec"], "above_mm": above, **moved, **options}
    old = truth["camera"]
    k = (old["f_px"], old["k1"], old["k2"])
    solids = [_solid(piece) for piece in drawn["solids"]]
    outline = _layout(spec["card"], spec["number"]).outline
    everything = np.concatenate(
        [np.column_stack([outline, np.zeros(4)]), *[np.concatenate([s.top, s.bottom]) for s in solids]]
    )
    size, at = np.array(spec["size"]), np.array(spec["card_at"])
    while True:  # the whole tray to the middle of the picture, then up until it is in it
        for _ in range(4):
            spec["card_at"] = (float(at[0]), float(at[1]))
            camera = _camera(spec, np.random.default_rng(seed), lens=k)
            seen = camera.project(everything)
            at = at + 0.5 - (seen.min(axis=0) + seen.max(axis=0)) / 2 / size
        if (seen > 20).all() and (seen < size - 21).all():
            break
        spec["above_mm"] *= 1.02
    direct, ambient, towards, half_width, slope = drawn["light"]
    light = Light(direct, ambient, np.array(towards), half_width, np.array(slope))
    others = [(name, _solid(piece)) for name, piece in drawn["others"]]
    return _photograph(camera, spec, solids, others, light, seed, truth["seed"])


def save(path: Path, photo: NDArray[np.uint8], truth: Truth, quality: int = 92) -> None:
    """The photo as a phone stores it, with the truth beside it as JSON."""
    options: dict[str, Any] = {"quality": quality}
    if truth["exif_focal_35mm"] is not None:
        exif = Image.Exif()
        exif[0x010F], exif[0x0110], exif[0x0112] = "Invented Phones", "Invented Phone 2", 1
        exif[0x0132] = "2026:03:04 10:20:30"
        exif.get_ifd(0x8769)[0xA405] = truth["exif_focal_35mm"]
        options["exif"] = exif
    Image.fromarray(np.ascontiguousarray(photo[..., ::-1])).save(path, "JPEG", **options)
    path.with_suffix(".json").write_text(json.dumps(truth), encoding="utf-8")


def camera_of(truth: Truth) -> Camera:
    """The camera of a truth."""
    c = truth["camera"]
    return Camera(c["f_px"], c["cx"], c["cy"], c["k1"], c["k2"], np.array(c["R"]), np.array(c["t"]))


# --- the camera and where things lie ------------------------------------------------------------------------


def _layout(card: str, number: int) -> CardLayout:
    return pocket_card(number) if card == "pocket" else mat(card)


def _camera(spec: Truth, rng: np.random.Generator, lens: tuple[float, float, float] | None = None) -> Camera:
    """A camera that sees the card's centre, the board's origin, at ``card_at``."""
    wide, high = spec["size"]
    roll = spec["roll_deg"] if spec["roll_deg"] is not None else float(rng.normal(0, 8))
    lean = spec["lean_deg"] if spec["lean_deg"] is not None else -90.0 + float(rng.normal(0, 25))
    bend = spec["corner_distortion"]
    view = {
        "f35": spec["f35"] or float(rng.uniform(23.7, 28.3)),
        "above_mm": spec["above_mm"], "tilt_deg": spec["tilt_deg"], "lean_deg": lean, "roll_deg": roll,
        "corner_distortion": float(rng.uniform(-0.03, 0.02)) if bend is None else bend,
        "off_px": tuple(rng.uniform(-1, 1, 2) * 15.0 * np.hypot(wide, high) / 5000 / np.sqrt(2)),
    }  # fmt: skip

    def over(target: tuple[float, float]) -> Camera:
        camera = camera_over(spec["size"], **view, target_mm=target)
        return camera if lens is None else replace(camera, f=lens[0], k1=lens[1], k2=lens[2])

    at = np.array(spec["card_at"]) * (np.array([wide, high]) - 1)
    seen = over((0.0, 0.0)).to_height(at[None])[0]
    return over((-float(seen[0]), -float(seen[1])))


# --- the photo and its truth --------------------------------------------------------------------------------


def _photograph(
    camera: Camera,
    spec: Truth,
    solids: list[Solid],
    others: list[tuple[str, Solid]],
    light: Light,
    seed: int,
    board_seed: int,
) -> tuple[NDArray[np.uint8], Truth]:
    rng = np.random.default_rng([seed, 1])
    everything = solids + [solid for _, solid in others]
    view = visible(camera, spec["size"], -30)
    area = (view.min(axis=0), view.max(axis=0))
    middle = (np.array(spec["size"]) - 1) / 2
    cells_per_mm = float(np.clip(0.5 / camera.mm_per_px(middle[None])[0], 2.0, 4.0))
    board = ground.ground(spec["board"], area, cells_per_mm, light, everything, board_seed)
    canvas, lit = ground.lay_board(camera, spec["size"], board)
    layout = _layout(spec["card"], spec["number"])
    thickness = 0.0 if layout.kind == "mat" else spec["card_thickness_mm"]
    ground.lay_card(canvas, lit, camera, layout, (0.0, 0.0, 0.0), thickness)
    white = layout.kind == "mat"
    around = np.full(3, PAPER) if white else BOARDS[spec["board"]][0]
    made_of = [spec["produce"]] * len(solids) + [name or spec["produce"] for name, _ in others]
    for i in pieces.far_to_near(everything, camera):
        beside = [solids[k] for k in everything[i].touches]
        own = np.random.default_rng([board_seed, i])
        bevel = spec["bevel_mm"]
        if bevel is None:  # what a sharp knife leaves
            bevel = min(float(own.uniform(0.04, 0.12)), 0.02 * (everything[i].width or 5.0))
        look = pieces.Look(made_of[i], spec["wet"], around, bevel)
        pieces.paint(canvas, camera, everything[i], light, look, beside, own)
    dim = spec["light"] == "dim"
    noise = rng.uniform(0.014, 0.020) if dim else rng.uniform(0.004, 0.008)
    given = {"blur_px": rng.uniform(0.6, 0.95), "noise": noise, "sharpen": rng.uniform(0.2, 0.6)}
    given.update({key: spec[key] for key in given if spec[key] is not None})
    phone = Phone(
        paper=rng.uniform(0.25, 0.35) if dim else rng.uniform(0.62, 0.8),
        vignette=rng.uniform(0.05, 0.22),
        balance=tuple(1.0 + rng.uniform(-0.05, 0.05, 3)),
        **given,
    )
    photo = develop(canvas, phone, seed)
    return photo, _truth(camera, spec, solids, others, light, board_seed)


def _truth(
    camera: Camera, spec: Truth, solids: list[Solid], others: list[tuple[str, Solid]], light: Light, seed: int
) -> Truth:
    wide, high = spec["size"]
    f35 = camera.f * 43.266615 / float(np.hypot(wide, high))  # CIPA DCG-001: by the diagonal
    pocket = spec["card"] == "pocket"
    return {
        "name": spec["name"], "seed": seed, "rendered": False, "width_px": wide, "height_px": high,
        "camera": {"f_px": camera.f, "cx": camera.cx, "cy": camera.cy, "k1": camera.k1, "k2": camera.k2,
                   "R": camera.rotation.tolist(), "t": camera.translation.tolist()},
        "exif_focal_35mm": round(f35) if spec["exif"] else None,
        "cut": spec["cut"], "standard": spec["standard"],
        "produce": spec["produce"], "board": spec["board"], "light": spec["light"],
        "tilt_deg": spec["tilt_deg"], "above_mm": spec["above_mm"], "wet": spec["wet"],
        "reference": {"kind": "card" if pocket else "mat", "numbers": [spec["number"]] if pocket else [],
                      "paper": spec["card"], "pose_mm": [[0.0, 0.0, 0.0]]},
        "card_thickness_mm": spec["card_thickness_mm"] if pocket else 0.0,
        "pieces": [_of_piece(solid, camera, (wide, high)) for solid in solids],
        "distractors": list(spec["distractors"]),
        "drawn": {
            "spec": {key: spec[key] for key in DEFAULTS if key != "pieces"},
            "light": [light.direct, light.ambient, light.towards.tolist(), light.half_width,
                      light.slope.tolist()],
            "solids": [_kept(solid) for solid in solids],
            "others": [(name, _kept(solid)) for name, solid in others],
        },
    }  # fmt: skip


def _of_piece(solid: Solid, camera: Camera, size: tuple[int, int]) -> Truth:
    top, foot = camera.project(solid.top), camera.project(solid.bottom)
    both = np.concatenate([top, foot])
    inside = bool(((both > -0.5) & (both < np.array(size) - 0.5)).all())
    _, turned = pieces.side_faces(solid, camera)
    base = sum(np.linalg.norm(np.roll(ring, -1, 0) - ring, axis=1) for ring in (top, foot))
    return {
        "shape": solid.shape, "length_mm": round(solid.length, 4), "width_mm": round(solid.width, 4),
        "height_mm": round(solid.height, 4), "centre_px": _rounded(camera.project(solid.centre), 2),
        "centre_mm": _rounded(solid.centre[:2], 3), "angle_deg": round(solid.angle_deg, 2),
        "bow_mm": round(solid.bow, 3),
        "top_outline_px": _rounded(top, 2), "bottom_outline_px": _rounded(foot, 2),
        "height_px": round(float(max(0.0, (turned / np.maximum(base / 2, 1e-9)).max())), 2),
        "cut_off": not inside, "touches": list(solid.touches), "group": solid.group,
    }  # fmt: skip


def _kept(solid: Solid) -> Truth:
    return {
        "shape": solid.shape, "mm": [solid.length, solid.width, solid.height], "bow": solid.bow,
        "strip": solid.strip, "angle_deg": solid.angle_deg, "group": solid.group,
        "touches": list(solid.touches), "top": _rounded(solid.top, 5), "bottom": _rounded(solid.bottom, 5),
        "centre": _rounded(solid.centre, 5),
    }  # fmt: skip


def _solid(kept: Truth) -> Solid:
    top, bottom, centre = (np.array(kept[key]) for key in ("top", "bottom", "centre"))
    more = {key: kept[key] for key in ("bow", "strip", "angle_deg", "group")}
    return Solid(kept["shape"], *kept["mm"], top, bottom, centre, **more, touches=tuple(kept["touches"]))


def _rounded(values: Floats, digits: int) -> list[Any]:
    return list(np.round(np.asarray(values, float), digits).tolist())
