"""Meshes, lights and the render: the scene handed to Blender's Cycles, a linear picture handed back."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import bpy
import cv2
import numpy as np

from . import boards
from .camera import Camera
from .nodes import srgb
from .solids import Piece

# name: [(size across mm, size along mm, distance mm, elevation deg, share of the light, colour)], sky's share
Lamp = tuple[float, float, float, float, float, tuple[float, float, float]]
LIGHTS: dict[str, tuple[list[Lamp], float]] = {
    "soft": ([(1100, 1100, 1000, 75, 1.0, (1, 0.98, 0.95))], 0.45),
    "window": ([(900, 1100, 1500, 34, 1.0, (0.92, 0.96, 1.0))], 0.22),
    "hard": ([(28, 28, 800, 48, 1.0, (1, 0.93, 0.84))], 0.20),
    "dim": ([(260, 260, 1100, 60, 1.0, (1, 0.82, 0.62))], 0.25),
    "two-lamps": ([(140, 500, 900, 58, 0.65, (1, 0.96, 0.9)), (140, 500, 900, 65, 0.35, (1, 0.96, 0.9))],
                  0.22),
}


def empty_stage(threads: int, samples: int) -> None:
    """A new scene that renders on the CPU with the denoiser."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    cycles = scene.cycles
    cycles.device = "CPU"
    cycles.samples = samples
    cycles.use_adaptive_sampling = False
    cycles.use_denoising = True
    cycles.denoiser = "OPENIMAGEDENOISE"
    cycles.denoising_input_passes = "RGB_ALBEDO_NORMAL"
    cycles.denoising_prefilter, cycles.denoising_quality = "FAST", "BALANCED"
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 2, 1, 1
    cycles.transmission_bounces, cycles.transparent_max_bounces = 0, 0
    cycles.caustics_reflective = cycles.caustics_refractive = False
    cycles.sample_clamp_indirect = 4.0
    scene.render.threads_mode = "FIXED"
    scene.render.threads = threads
    scene.render.use_persistent_data = False
    scene.view_settings.view_transform = "Raw"


def put_mesh(name: str, vertices: np.ndarray, faces: Sequence[Sequence[int]], materials: list[Any],
             face_material: np.ndarray | None = None, smooth: bool = False,
             root: np.ndarray | None = None) -> Any:
    """A mesh given in the board frame (x, y down, h) mm, faces turned outwards as seen there."""
    mesh = bpy.data.meshes.new(name)
    points = np.asarray(vertices, float) * np.array([1.0, -1.0, 1.0])
    mesh.from_pydata(points.tolist(), [], [tuple(face)[::-1] for face in faces])
    for material in materials:
        mesh.materials.append(material)
    if face_material is not None:
        mesh.polygons.foreach_set("material_index", face_material.astype(np.int32))
    if smooth:
        mesh.polygons.foreach_set("use_smooth", np.ones(len(faces), bool))
    if root is not None:
        mesh.attributes.new("root", "FLOAT_VECTOR", "POINT").data.foreach_set(
            "vector", root.astype(np.float32).ravel())
    mesh.update()
    thing = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(thing)
    return thing


def put_piece(piece: Piece, number: int, materials: list[Any], rng: np.random.Generator,
              skin_share: float) -> None:
    """The piece with its flesh, and skin on one side for a share of the pieces (on each round's rim)."""
    side = piece.face_side
    skin = np.zeros(len(side), int)
    if skin_share > 0:
        if piece.shape == "disc":
            skin[side == 2] = 1
        elif rng.random() < skin_share:
            skin[side == int(rng.choice(np.unique(side[side > 0])))] = 1
    q = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    middle = piece.vertices.mean(0)
    if piece.shape == "disc":
        root = piece.vertices - middle + np.array([0, 0, 50.0 * number])
    else:
        root = (piece.vertices - middle) @ q + np.array([*rng.uniform(-9, 9, 2), 50.0 * number])
    put_mesh(f"piece{number}", piece.vertices, piece.faces, materials, skin, piece.smooth, root)


def put_slab(name: str, outline: np.ndarray, top: float, thick: float, material: Any,
             bevel: float = 0.0) -> None:
    """A flat slab over `outline` (4, 2) mm (clockwise as seen, y down), its top at height `top`."""
    v = np.concatenate([np.column_stack([outline, np.full(4, top - thick)]),
                        np.column_stack([outline, np.full(4, top)])])
    faces = [(3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    slab = put_mesh(name, v, faces, [material])
    if bevel > 0:
        modifier = slab.modifiers.new("bevel", "BEVEL")
        modifier.width, modifier.segments = bevel, 3


def put_paper(picture: np.ndarray, outline: np.ndarray, top: float) -> None:
    """A printed sheet; `outline` (4, 2) mm runs from its top-left corner, clockwise as printed."""
    image = bpy.data.images.new("print", picture.shape[1], picture.shape[0], alpha=False)
    image.colorspace_settings.name = "sRGB"
    pixels = np.ones((*picture.shape, 4), np.float32)
    pixels[..., :3] = (picture[::-1].astype(np.float32) / 255)[..., None]  # Blender's rows run upwards
    image.pixels.foreach_set(pixels.ravel())
    image.update()
    corners = np.column_stack([outline, np.full(4, top)])
    mesh = put_mesh("paper", np.concatenate([corners, corners - [0, 0, 0.19]]),
                    [(0, 1, 2, 3), (7, 6, 5, 4), (0, 4, 5, 1), (1, 5, 6, 2), (2, 6, 7, 3), (3, 7, 4, 0)],
                    [boards.paper(image), boards.plain("edge", (0.8, 0.8, 0.8), 0.9)],
                    np.array([0, 1, 1, 1, 1, 1])).data
    uv = mesh.uv_layers.new(name="uv")
    place = {0: (0.0, 1.0), 1: (1.0, 1.0), 2: (1.0, 0.0), 3: (0.0, 0.0)}
    for loop in mesh.polygons[0].loop_indices:
        uv.data[loop].uv = place[mesh.loops[loop].vertex_index]


def put_crumbs(spots: np.ndarray, rng: np.random.Generator, material: Any) -> None:
    """Crumbs of 0.3 to 0.9 mm at `spots` (N, 2) mm, all in one mesh."""
    shape = np.array([[1, 0, 0], [-0.7, 0.7, 0], [-0.6, -0.8, 0], [0.1, 0.1, 0.9]])
    faces: list[tuple[int, ...]] = []
    vertices = []
    for k, spot in enumerate(spots):
        angle = rng.uniform(0, 6.28)
        turn = np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
        grain = (shape * rng.uniform(0.6, 1.2, (4, 1))) @ turn * rng.uniform(0.15, 0.45)
        vertices.append(grain + np.array([*spot, 0.0]))
        faces += [tuple(4 * k + i for i in face) for face in [(2, 1, 0), (0, 1, 3), (1, 2, 3), (2, 0, 3)]]
    put_mesh("crumbs", np.concatenate(vertices), faces, [material])


def knife_outline(x: float, y: float, angle_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Blade and handle (N, 2) mm of a cook's knife lying flat, its middle at (x, y)."""
    s = np.linspace(0, 1, 20)
    edge = np.column_stack([170 * s, 21 - 21 * s**3])
    back = np.column_stack([170 * s[::-1], -20 + 20 * s[::-1] ** 4])
    blade = np.concatenate([edge, back[1:]]) - [20, 0]
    handle = np.array([[-125, -16], [-20, -14], [-20, 12], [-125, 14]], float)
    c, sn = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    turn = np.array([[c, sn], [-sn, c]])
    return blade @ turn + [x, y], handle @ turn + [x, y]


def put_knife(x: float, y: float, angle_deg: float, rng: np.random.Generator) -> None:
    blade, handle = knife_outline(x, y, angle_deg)
    n = len(blade)
    v = np.concatenate([np.column_stack([blade, np.full(n, 0.3)]), np.column_stack([blade, np.full(n, 2.2)])])
    faces: list[tuple[int, ...]] = [tuple(range(n)), tuple(range(n, 2 * n))[::-1]]
    faces += [(i, n + i, n + (i + 1) % n, (i + 1) % n) for i in range(n)]
    put_mesh("blade", v, faces, [boards.plain("blade", (0.62, 0.62, 0.64), 0.28, 1.0)])
    tone = [srgb(24, 24, 26), srgb(70, 40, 24), srgb(210, 208, 200)][int(rng.integers(0, 3))]
    put_slab("handle", handle, 17.0, 16.5, boards.plain("handle", tone, 0.4), 4.0)


def put_cloth(x: float, y: float, angle_deg: float, rng: np.random.Generator) -> None:
    """A folded cloth of 170 x 110 mm, some 5 mm high and wavy."""
    nx, ny = 60, 40
    u, w = np.meshgrid(np.linspace(-85, 85, nx), np.linspace(-55, 55, ny), indexing="ij")
    h = 4 + 1.2 * np.sin(u / 23 + rng.uniform(0, 6)) * np.cos(w / 17) + 0.8 * np.sin(w / 9 + u / 31)
    rim = np.minimum(1, np.minimum(85 - np.abs(u), 55 - np.abs(w)) / 4)
    h = h * np.sqrt(np.clip(rim, 0, 1)) + 0.1
    u = u + 2.5 * np.sin(w / 25)
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    v = np.column_stack([(c * u - s * w + x).ravel(), (s * u + c * w + y).ravel(), h.ravel()])
    faces = [(i * ny + j, (i + 1) * ny + j, (i + 1) * ny + j + 1, i * ny + j + 1)
             for i in range(nx - 1) for j in range(ny - 1)]
    put_mesh("cloth", v, faces, [boards.cloth(rng)], smooth=True,
             root=np.column_stack([u.ravel(), w.ravel(), h.ravel()]))


def put_lights(name: str, target: np.ndarray, rng: np.random.Generator) -> None:
    """Lamps of the kind `name` round `target` (2,) mm, and a grey room that shines back."""
    lamps, sky = LIGHTS[name]
    azimuth = rng.uniform(0, 2 * np.pi)
    for k, (across, along, distance, elevation, share, colour) in enumerate(lamps):
        e = np.radians(elevation + rng.uniform(-5, 5))
        a = azimuth + k * rng.uniform(1.4, 2.6)
        way = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
        place = np.array([target[0], -target[1], 0]) + way * distance
        light = bpy.data.lights.new(f"lamp{k}", "AREA")
        light.shape, light.size, light.size_y = "RECTANGLE", across, along
        light.color = colour
        light.energy = share * np.pi**2 * distance**2 / max(np.sin(e), 0.3)  # about pi W/mm2 on the board
        lamp = bpy.data.objects.new(f"lamp{k}", light)
        lamp.location = place
        lamp.rotation_euler = bpy_vector(way).to_track_quat("Z", "Y").to_euler()
        bpy.context.scene.collection.objects.link(lamp)
    world = bpy.data.worlds.new("room")
    world.use_nodes = True
    world.node_tree.nodes["Background"].inputs["Color"].default_value = (sky, sky, sky * 1.03, 1)
    bpy.context.scene.world = world


def bpy_vector(v: np.ndarray) -> Any:
    from mathutils import Vector
    return Vector([float(c) for c in v])


def render(camera: Camera, seed: int) -> np.ndarray:
    """(height, width, 3) float32 linear picture as `camera` sees the stage, its distortion included.

    Cycles renders an ideal pinhole picture wide enough; it is then resampled by the exact lens model.
    """
    right, low = camera.width + 1, camera.height + 1
    edge = np.concatenate([[[x, y] for x in np.linspace(-2, right, 60) for y in (-2, low)],
                           [[x, y] for y in np.linspace(-2, low, 60) for x in (-2, right)]])
    reach = np.abs(camera.undistort(edge)).max(0) * camera.f
    wide, high = (2 * int(np.ceil(r)) + 8 for r in reach)
    scene = bpy.context.scene
    lens = bpy.data.cameras.new("camera")
    lens.sensor_fit, lens.sensor_width = "HORIZONTAL", 36.0
    lens.lens = camera.f * 36.0 / wide
    lens.clip_start, lens.clip_end = 1.0, 10000.0
    eye = bpy.data.objects.new("camera", lens)
    flip = np.diag([1.0, -1.0, -1.0])  # the board's (x, y, -h) and the picture's axes to Blender's
    turn = (flip @ camera.R @ flip).T
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = turn, -turn @ flip @ camera.t
    from mathutils import Matrix
    eye.matrix_world = Matrix(pose.tolist())
    scene.collection.objects.link(eye)
    scene.camera = eye
    scene.cycles.seed = seed
    scene.render.resolution_x, scene.render.resolution_y, scene.render.resolution_percentage = wide, high, 100
    settings = scene.render.image_settings
    settings.file_format, settings.color_mode, settings.color_depth = "OPEN_EXR", "RGB", "32"
    settings.exr_codec = "ZIP"
    with tempfile.TemporaryDirectory() as folder:
        scene.render.filepath = str(Path(folder) / "ideal.exr")
        bpy.ops.render.render(write_still=True)
        picture = bpy.data.images.load(scene.render.filepath)
        picture.colorspace_settings.name = "Non-Color"
        flat = np.empty(wide * high * 4, np.float32)
        picture.pixels.foreach_get(flat)
    ideal = flat.reshape(high, wide, 4)[::-1, :, :3]
    ideal = np.ascontiguousarray(np.minimum(ideal, 8.0))
    out = np.empty((camera.height, camera.width, 3), np.float32)
    for y0 in range(0, camera.height, 250):  # in strips, to spare memory
        y1 = min(y0 + 250, camera.height)
        x, y = np.meshgrid(np.arange(camera.width), np.arange(y0, y1))
        ab = camera.undistort(np.column_stack([x.ravel(), y.ravel()]))
        place = (ab * camera.f + [(wide - 1) / 2, (high - 1) / 2]).astype(np.float32).reshape(*x.shape, 2)
        out[y0:y1] = cv2.remap(ideal, place[..., 0], place[..., 1], cv2.INTER_LANCZOS4,
                               borderMode=cv2.BORDER_REPLICATE)
    return np.maximum(out, 0)
