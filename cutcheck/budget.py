"""How sure a side is: the uncertainty budget by JCGM 100:2008, in standard uncertainties, mm.

Each side of a piece has its causes: the edges in the photo, the height that the photo may not show, the
camera's pose and lens, the print of the card, and what the piece's own roughness leaves open.
"""

from __future__ import annotations

import numpy as np

from cutcheck.camera import Camera, Floats

CAUSES = ("edges", "height", "camera", "print", "roughness", "reading")
ROUGHNESS_MM = 0.03  # what is left of a cut face's bumps once a whole edge is averaged
UNEVEN_SHARE = 0.006  # the same of its unevenness, which grows with the piece: in parts of the side
TURN_SHARE = 0.1  # what edges out of parallel leave open of the side between them, in parts of their turn


def camera_part(camera: Camera, ends: Floats, h: Floats) -> Floats:
    """What the camera's uncertainty makes of distances: (N, S) mm standard uncertainty.

    ``ends`` (N, S, 2, 2) px are the two ends of S distances each, seen at heights ``h`` (N, S) mm.
    """
    if camera.covariance is None:
        return np.zeros(ends.shape[:2])
    values, vectors = np.linalg.eigh(camera.covariance)
    centre = camera.vector()
    base = _distance(camera, ends, h)
    total = np.zeros(ends.shape[:2])
    for value, vector in zip(values, vectors.T, strict=True):
        if value > 0.0:
            moved = Camera.from_vector(centre + np.sqrt(value) * vector)
            total += (_distance(moved, ends, h) - base) ** 2
    return np.sqrt(total)


def _distance(camera: Camera, ends: Floats, h: Floats) -> Floats:
    flat = camera.to_height(ends, h[..., None])
    return np.asarray(np.linalg.norm(flat[..., 1, :] - flat[..., 0, :], axis=-1))


def height_part(camera: Camera, foot: Floats, top: Floats, height: Floats) -> Floats:
    """The same for heights: ``foot`` and ``top`` (N, 2) px are the ends of an upright edge; (N,) mm."""
    if camera.covariance is None:
        return np.zeros(len(foot))
    values, vectors = np.linalg.eigh(camera.covariance)
    centre = camera.vector()
    total = np.zeros(len(foot))
    base = _rise(camera, foot, top)
    for value, vector in zip(values, vectors.T, strict=True):
        if value > 0.0:
            moved = Camera.from_vector(centre + np.sqrt(value) * vector)
            total += (height * (_rise(moved, foot, top) / np.maximum(base, 1e-9) - 1.0)) ** 2
    return np.sqrt(total)


def _rise(camera: Camera, foot: Floats, top: Floats) -> Floats:
    """The height over ``foot`` at which the line of sight through ``top`` passes nearest, (N,) mm."""
    below = camera.to_height(foot, 0.0)
    at0, at1 = camera.to_height(top, 0.0), camera.to_height(top, 1.0)
    drift = at1 - at0
    return np.asarray(((below - at0) * drift).sum(-1) / np.maximum((drift**2).sum(-1), 1e-9))
