"""From one entry of the scene table to a photo and its truth: the story of a scene, in order."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from . import boards, card_texture, layout, phone, produce, solids, stage, truth
from .camera import Camera, draw_camera

CARD_THICKNESS_MM = 0.2
SKIN_SHARE = {"courgette": 0.45, "red-pepper": 0.5, "green-pepper": 0.5}


def scene_camera(spec: dict, rng: np.random.Generator, width: int) -> tuple[Camera, int | None]:
    """The camera, moved so that the reference's centre is seen at `reference_at` (shares of the picture)."""
    short = width * 3 // 4
    w, h = (short, width) if spec.get("portrait") else (width, short)
    view = dict(spec["camera"])
    view.setdefault("roll_deg", float(rng.normal(0, 8)))
    lean = view.get("lean_deg", -90 + float(rng.normal(0, 25)))  # in the picture; -90: the top is farther
    view["azimuth_deg"] = lean - view["roll_deg"]
    state = rng.bit_generator.state
    draft, _ = draw_camera({**view, "target_mm": (0.0, 0.0)}, rng, w, h)
    at = spec["reference"].get("at", [0.2, 0.5])
    seen = draft.on_plane(np.array([[at[0] * (w - 1), at[1] * (h - 1)]]))[0]
    rng.bit_generator.state = state
    return draw_camera({**view, "target_mm": (-seen[0], -seen[1])}, rng, w, h)


def make_pieces(kind: dict, rng: np.random.Generator) -> list[solids.Piece]:
    """The pieces of one entry of `pieces`: shape, mm, sd (share), count, bow_mm, bias (share)."""
    made = []
    mm = np.array(kind["mm"], float)
    sd, rough = kind.get("sd", 0.05), kind.get("rough", 1.0)
    bias = 1 + kind.get("bias", float(rng.normal(0, 0.015)))
    for _ in range(kind["count"]):
        size = mm * bias * np.clip(1 + rng.normal(0, sd, len(mm)), 1 - 3 * sd, 1 + 3 * sd)
        shape = kind["shape"]
        if shape == "box":
            low, high = kind.get("bow_mm", [0.0, 0.0])
            bow = float(rng.uniform(low, high) * rng.choice([-1, 1]))
            made.append(solids.box((size[0], size[1], size[2]), rng, bow, rough))
        elif shape == "disc":
            made.append(solids.disc(size[0], size[1], rng, float(rng.uniform(-0.05, 0.05)), rough))
        elif shape == "ribbon":
            made.append(solids.ribbon(size[0], size[1], size[2], rng))
        elif shape == "chunk":
            made.append(solids.chunk(size[0], size[1], rng))
        else:
            raise ValueError(f"shape {shape!r}: choose box, disc, ribbon or chunk")
    return made


def place_reference(spec: dict, camera: Camera, ground: layout.Ground) -> tuple[list[tuple], float, dict]:
    """Put the cards or the mat on the stage: [(outline, picture)], thickness, entry for the truth."""
    reference = spec["reference"]
    if reference["kind"] == "mat":
        size = card_texture.MATS[reference["paper"]][0]
        free = {"a4": (144.0, 231.0), "letter": (150.0, 213.4)}[reference["paper"]]
        outline = layout.card_outline(size, (0, 0, 0))
        ground.keep_only(layout.card_outline((free[0] - 6, free[1] - 6), (0, 0, 0)))
        stage.put_paper(card_texture.soften(card_texture.mat(reference["paper"])), outline, 0.0)
        return [(outline, None)], 0.0, {"kind": "mat", "numbers": [], "paper": reference["paper"],
                                        "pose_mm": [[0.0, 0.0, 0.0]]}
    poses = [(0.0, 0.0, 0.0)]
    for at in reference.get("more", []):  # further cards: [share of width, share of height, degrees]
        x, y = camera.on_plane(np.array([[at[0] * (camera.width - 1), at[1] * (camera.height - 1)]]))[0]
        poses.append((float(x), float(y), float(at[2])))
    done = []
    for number, pose in zip(reference["numbers"], poses, strict=True):
        outline = layout.card_outline(card_texture.CARD_MM, pose)
        stage.put_paper(card_texture.soften(card_texture.pocket_card(number)), outline, CARD_THICKNESS_MM)
        ground.block(outline, 4.0)
        done.append((outline, number))
    return done, CARD_THICKNESS_MM, {"kind": "card", "numbers": reference["numbers"], "paper": "pocket",
                                     "pose_mm": [list(p) for p in poses]}


def put_board(spec: dict, camera: Camera, ground: layout.Ground, rng: np.random.Generator,
              cards: list[tuple]) -> None:
    """The board: without an edge in sight, or one that ends within the picture, on a table."""
    material = boards.material(spec["board"], rng)
    under = -0.21 if spec["reference"]["kind"] == "mat" else 0.0
    view = layout.seen_board(camera, 0)
    middle = view.mean(0)
    if not spec.get("edges"):
        stage.put_slab("board", layout.card_outline((2400, 2400), (*middle, float(rng.uniform(-10, 10)))),
                       under, 12, material)
        return
    size = spec.get("board_mm", [340, 250])
    everything = np.concatenate([outline for outline, _ in cards])
    card_middle = everything.mean(0)
    toward = middle - card_middle
    poses = []
    for _ in range(600):  # the card must lie on the board, the board as much in view as that allows
        centre = card_middle + toward * rng.uniform(0.2, 1.0) + rng.normal(0, 15, 2)
        pose = (float(centre[0]), float(centre[1]), float(rng.uniform(-9, 9)))
        inner = layout.card_outline((size[0] - 12, size[1] - 12), pose)
        if all(_inside(inner, corner) for corner in everything):
            poses.append((float(np.linalg.norm(centre - middle)), pose))
    if not poses:
        raise ValueError("the card does not fit on the board: make board_mm larger")
    pose = min(poses)[1]
    stage.put_slab("board", layout.card_outline((size[0], size[1]), pose), under, 14, material, 3.0)
    stage.put_slab("table", layout.card_outline((3000, 3000), pose), under - 14, 20, boards.table(rng))
    ground.keep_only(layout.card_outline((size[0] - 14, size[1] - 14), pose))


def _inside(polygon: np.ndarray, point: np.ndarray) -> bool:
    d, e = np.roll(polygon, -1, 0) - polygon, point - polygon
    cross = d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0]
    return bool((cross > 0).all() or (cross < 0).all())


def put_distractors(spec: dict, camera: Camera, ground: layout.Ground, rng: np.random.Generator) -> list[str]:
    """Knife and cloth where there is room, partly out of the picture if need be. Crumbs come last."""
    done = []
    view = layout.seen_board(camera, 0)
    low, high = view.min(0), view.max(0)
    for name in spec.get("distractors", []):
        for _ in range(3000):
            if name == "crumbs":
                break
            x, y = rng.uniform(low, high)
            angle = float(rng.uniform(0, 360))
            outlines = list(stage.knife_outline(x, y, angle)) if name == "knife" else \
                [layout.card_outline((180, 116), (x, y, angle))]
            cells = np.concatenate(outlines)
            seen = camera.project(np.column_stack([cells, np.zeros(len(cells))]))
            share = ((seen > 0) & (seen < [camera.width, camera.height])).all(1).mean()
            if not 0.3 <= share <= 0.65 or not all(ground.fits(outline) for outline in outlines):
                continue
            for outline in outlines:
                ground.block(outline, 12.0)
            (stage.put_knife if name == "knife" else stage.put_cloth)(float(x), float(y), angle, rng)
            done.append(name)
            break
    return done


def render_scene(name: str, spec: dict, out: Path, width: int, samples: int, threads: int) -> dict:
    """Render the scene `name` to out/name.jpg and out/name.json; gives the truth back."""
    rng = np.random.default_rng(spec["seed"])
    camera, focal_35mm = scene_camera(spec, rng, width)
    stage.empty_stage(threads, samples)
    ground = layout.Ground()
    cards, thickness, reference = place_reference(spec, camera, ground)
    put_board(spec, camera, ground, rng, cards)
    distractors = put_distractors(spec, camera, ground, rng)
    margin = -25.0 if spec.get("cut_off") else 40.0
    ground.keep_only(layout.seen_board(camera, margin * width / 4000, 0.0))
    ground.keep_only(layout.seen_board(camera, margin * width / 4000, 12.0))
    pieces: list[solids.Piece] = []
    wet = spec.get("wet", 0.3)
    for kind in spec["pieces"]:
        made = make_pieces(kind, rng)
        gap = kind.get("gap_mm", 2.5)
        if "rows" in kind:
            placed = layout.rows(made, tuple(kind["rows"]), ground, rng, gap)
        else:
            spread = kind.get("spread")
            near = None
            if spread:
                w, h = camera.width - 1, camera.height - 1
                near = (*camera.on_plane(np.array([[spread[0] * w, spread[1] * h]]))[0], spread[2])
            placed = layout.scatter(made, ground, rng, gap, near)
        first, groups = len(pieces), 1 + max((p.group for p in pieces), default=-1)
        placed = [replace(p, group=p.group + groups, touches=[t + first for t in p.touches]) for p in placed]
        name_of = kind.get("produce", spec["produce"])
        flesh = produce.materials(name_of, wet, spec["seed"])
        for piece in placed:
            stage.put_piece(piece, len(pieces), flesh, rng, SKIN_SHARE.get(name_of, 0.0))
            pieces.append(piece)
    if "crumbs" in spec.get("distractors", []):
        spots = ground.places()
        spots = spots[rng.choice(len(spots), min(len(spots), 90), replace=False)]
        stage.put_crumbs(spots, rng, produce.materials(spec["produce"], 0.0, spec["seed"])[0])
        distractors.append("crumbs")
    middle = layout.seen_board(camera, 0).mean(0)
    stage.put_lights(spec["light"], middle, rng)
    linear = stage.render(camera, spec["seed"])
    white = _paper_level(linear, camera, reference, thickness)
    picture = phone.develop(linear, white, spec.get("phone", {}), rng)
    out.mkdir(parents=True, exist_ok=True)
    with_exif = spec["camera"].get("exif", True) and spec["camera"].get("lens", "main") == "main"
    if "messenger" in spec:
        with_exif = False
        picture, camera = phone.through_messenger(picture, camera, spec["messenger"]["crop"],
                                                  round(spec["messenger"]["width"] * width / 4000))
    taken = f"2026:0{rng.integers(1, 7)}:{rng.integers(1, 28):02d} {rng.integers(8, 18):02d}:" \
            f"{rng.integers(0, 60):02d}:{rng.integers(0, 60):02d}"
    phone.write_jpeg(out / f"{name}.jpg", picture, spec.get("quality", int(rng.integers(88, 96))),
                     bool(spec.get("portrait")), focal_35mm, with_exif, taken)
    record = {
        "name": name, "seed": spec["seed"], "rendered": True,
        "width_px": camera.width, "height_px": camera.height,
        "camera": truth.of_camera(camera), "exif_focal_35mm": focal_35mm if with_exif else None,
        "cut": spec.get("cut"), "standard": spec.get("standard"), "produce": spec["produce"],
        "board": spec["board"], "light": spec["light"], "tilt_deg": spec["camera"]["tilt_deg"],
        "above_mm": spec["camera"]["above_mm"], "wet": wet, "samples": samples, "reference": reference,
        "card_thickness_mm": thickness, "pieces": [truth.of_piece(piece, camera) for piece in pieces],
        "distractors": distractors,
    }
    (out / f"{name}.json").write_text(json.dumps(record) + "\n", encoding="utf-8")
    return record


def _paper_level(linear: np.ndarray, camera: Camera, reference: dict, thickness: float) -> float:
    """Median brightness of the bare paper between the squares at the sides."""
    places = [(-34.5, -2), (-34.5, 2), (34.5, -2), (34.5, 2)] if reference["kind"] == "card" else \
        [(-87, -85), (87, -85), (-87, 85), (87, 85), (-45, -125), (45, 125)]
    spots = camera.project(np.array([[x, y, thickness] for x, y in places]))
    spots = spots[(spots > 3).all(1) & (spots < [camera.width - 4, camera.height - 4]).all(1)]
    levels = [np.median(linear[int(y) - 2:int(y) + 3, int(x) - 2:int(x) + 3].mean(-1)) for x, y in spots]
    return float(np.median(levels))
