"""A camera of known pose above the board: pinhole with radial distortion.

Board frame, mm: origin at the reference's centre, x right and y down as printed, and ``h`` the height above
the board, towards the camera. Photo frame, px: x right, y down, the centre of the top-left pixel at (0, 0).

With X = R (x, y, -h) + t, a = X/Z, b = Y/Z and r2 = a^2 + b^2, a point is seen at
(cx, cy) + f (1 + k1 r2 + k2 r2^2) (a, b): the model of Brown (1966), radial terms only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PARAMETERS = ("f", "cx", "cy", "k1", "k2", "rx", "ry", "rz", "tx", "ty", "tz")


@dataclass(frozen=True)
class Camera:
    """A camera and where it stood. ``covariance`` is that of ``PARAMETERS``, (11, 11)."""

    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    rotation: Floats
    translation: Floats
    covariance: Floats | None = None

    @classmethod
    def from_vector(cls, vector: Floats, covariance: Floats | None = None) -> Camera:
        """A camera from its ``PARAMETERS``; rx, ry, rz is a rotation vector, rad."""
        f, cx, cy, k1, k2 = (float(v) for v in vector[:5])
        rotation = cv2.Rodrigues(np.asarray(vector[5:8], float))[0]
        return cls(f, cx, cy, k1, k2, np.asarray(rotation), np.asarray(vector[8:11], float), covariance)

    def vector(self) -> Floats:
        """The ``PARAMETERS``, (11,) float."""
        rotation = cv2.Rodrigues(self.rotation)[0].ravel()
        return np.concatenate(([self.f, self.cx, self.cy, self.k1, self.k2], rotation, self.translation))

    @property
    def centre_mm(self) -> Floats:
        """Where the camera stood: (3,) mm, (x, y, h)."""
        return np.asarray(-self.rotation.T @ self.translation * np.array([1.0, 1.0, -1.0]))

    @property
    def tilt_deg(self) -> float:
        """The angle between the optical axis and the board's vertical, degrees."""
        return float(np.degrees(np.arccos(np.clip(self.rotation[2, 2], -1.0, 1.0))))

    def project(self, points: Floats) -> Floats:
        """Where points (..., 3) mm (x, y, h) are seen: (..., 2) px."""
        m = self.rotation * np.array([1.0, 1.0, -1.0])
        # Coordinates apart: sums over pairs, and small products one by one, take several times as long.
        x, y, z = (points.reshape(-1, 3) @ m.T + self.translation).T
        a, b = x / z, y / z
        r2 = a * a + b * b
        bent = 1.0 + r2 * (self.k1 + self.k2 * r2)
        px = np.stack([a * bent * self.f + self.cx, b * bent * self.f + self.cy], axis=-1)
        return np.asarray(px.reshape(*points.shape[:-1], 2))

    def project_at(self, xy: Floats, h: float | Floats) -> Floats:
        """Where points (..., 2) mm at height ``h`` (scalar or (...)) are seen: (..., 2) px."""
        height = np.broadcast_to(np.asarray(h, float), xy.shape[:-1])
        return self.project(np.concatenate([xy, height[..., None]], axis=-1))

    def to_height(self, px: Floats, h: float | Floats = 0.0) -> Floats:
        """The points of the plane at height ``h`` that are seen at ``px`` (..., 2): (..., 2) mm."""
        ab = self._undistort((px - np.array([self.cx, self.cy])) / self.f)
        ray = np.concatenate([ab, np.ones_like(ab[..., :1])], axis=-1) @ self.rotation
        origin = -self.translation @ self.rotation
        scale = (-np.asarray(h, float) - origin[2]) / ray[..., 2]
        return np.asarray(origin[:2] + ray[..., :2] * np.asarray(scale)[..., None])

    def mm_per_px(self, px: Floats, h: float | Floats = 0.0) -> Floats:
        """The local scale at ``px`` (..., 2) on the plane at height ``h``: geometric mean, mm per px."""
        dx = self.to_height(px + np.array([0.5, 0.0]), h) - self.to_height(px - np.array([0.5, 0.0]), h)
        dy = self.to_height(px + np.array([0.0, 0.5]), h) - self.to_height(px - np.array([0.0, 0.5]), h)
        area = np.abs(dx[..., 0] * dy[..., 1] - dx[..., 1] * dy[..., 0])
        return np.asarray(np.sqrt(area))

    def scaled(self, factor: float) -> Camera:
        """The same camera for the photo resized by ``factor`` (pixel centres keep their meaning)."""
        return replace(
            self,
            f=self.f * factor,
            cx=(self.cx + 0.5) * factor - 0.5,
            cy=(self.cy + 0.5) * factor - 0.5,
            covariance=None,
        )

    def raised(self, lift_mm: float) -> Camera:
        """The same camera over a board whose plane h = 0 lies ``lift_mm`` lower than before."""
        return replace(self, translation=self.translation + self.rotation[:, 2] * lift_mm)

    def _undistort(self, seen: Floats) -> Floats:
        if self.k1 == 0.0 and self.k2 == 0.0:
            return seen
        # Newton on the radius; radial distortion moves points along it only.
        rd = np.sqrt((seen * seen).sum(axis=-1, keepdims=True))
        r = rd.copy()
        for _ in range(6):
            r2 = r * r
            value = r * (1.0 + r2 * (self.k1 + self.k2 * r2)) - rd
            slope = 1.0 + r2 * (3.0 * self.k1 + 5.0 * self.k2 * r2)
            r = r - value / np.where(np.abs(slope) < 0.1, 0.1, slope)
        return np.asarray(seen * (r / np.maximum(rd, 1e-12)))
