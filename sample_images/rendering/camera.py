"""The camera: a pinhole with radial distortion, and its place above the board.

Board frame: (x, y, h) in mm, origin at the reference's centre, x right and y down as printed, h up.
Inside, p = (x, y, -h) is right-handed and X_cam = R @ p + t, the camera looking along +z.
Image: px of the upright photo, x right, y down, centre of the top-left pixel at (0, 0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FULL_FRAME_DIAGONAL_MM = 43.266615  # of 36 x 24 mm; CIPA DCG-001 takes the 35 mm equivalent by the diagonal


@dataclass(frozen=True)
class Camera:
    """width, height, f, cx, cy in px; k1, k2 without unit; R (3, 3); t (3,) mm."""

    width: int
    height: int
    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    R: np.ndarray
    t: np.ndarray

    def distort(self, ab: np.ndarray) -> np.ndarray:
        """(N, 2) ideal image coordinates X/Z, Y/Z to (N, 2) px."""
        r2 = (ab**2).sum(-1, keepdims=True)
        return ab * (1 + self.k1 * r2 + self.k2 * r2**2) * self.f + np.array([self.cx, self.cy])

    def undistort(self, uv: np.ndarray) -> np.ndarray:
        """(N, 2) px to (N, 2) ideal image coordinates, by Newton's method on the radius."""
        d = (np.asarray(uv, float) - np.array([self.cx, self.cy])) / self.f
        rd = np.sqrt((d**2).sum(-1, keepdims=True))
        r = rd.copy()
        for _ in range(12):
            error = r * (1 + self.k1 * r**2 + self.k2 * r**4) - rd
            r = r - error / (1 + 3 * self.k1 * r**2 + 5 * self.k2 * r**4)
        return d * np.where(rd > 1e-12, r / np.maximum(rd, 1e-12), 1.0)

    def project(self, xyh: np.ndarray) -> np.ndarray:
        """(N, 3) mm in the board frame to (N, 2) px."""
        p = np.asarray(xyh, float).reshape(-1, 3) * np.array([1.0, 1.0, -1.0])
        q = p @ self.R.T + self.t
        return self.distort(q[:, :2] / q[:, 2:3])

    def on_plane(self, uv: np.ndarray, h: float = 0.0) -> np.ndarray:
        """(N, 2) px to (N, 2) mm, where the rays meet the plane at height h."""
        ab = self.undistort(uv)
        rays = np.column_stack([ab, np.ones(len(ab))]) @ self.R
        centre = -self.R.T @ self.t
        s = (-h - centre[2]) / rays[:, 2]
        return centre[:2] + s[:, None] * rays[:, :2]


def rotation(axis: np.ndarray, angle: float) -> np.ndarray:
    """(3, 3) rotation by `angle` rad about the unit vector `axis` (Rodrigues)."""
    x, y, z = axis
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * (k @ k)


def looking_at(target_mm: tuple[float, float], height_mm: float, tilt_deg: float, azimuth_deg: float,
               roll_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """R, t of a camera `height_mm` above the board whose axis meets the board at `target_mm`.

    `tilt_deg` lies between the axis and straight down; `azimuth_deg` says which way it leans.
    """
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    axis = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
    centre = np.array([target_mm[0], target_mm[1], 0.0]) - axis * height_mm / np.cos(tilt)
    lean = np.array([np.sin(azimuth), -np.cos(azimuth), 0.0])  # axis x e_z / sin(tilt)
    R = rotation(np.array([0.0, 0.0, 1.0]), np.radians(roll_deg)) @ rotation(lean, tilt)
    return R, -R @ centre


def draw_camera(spec: dict, rng: np.random.Generator, width: int, height: int) -> tuple[Camera, int | None]:
    """Camera of a scene's table and the focal length for EXIF (None where the photo has none).

    Keys of `spec`: lens ("main" | "ultrawide"), above_mm, tilt_deg, azimuth_deg, roll_deg, target_mm,
    corner_distortion (share of the radius, at the picture's corner), exif (bool).
    """
    wide = spec.get("lens", "main") == "ultrawide"
    f35 = float(spec.get("f35") or (rng.uniform(13.8, 16.2) if wide else rng.uniform(23.7, 28.3)))
    diagonal = float(np.hypot(width, height))
    f = f35 / FULL_FRAME_DIAGONAL_MM * diagonal
    corner = (diagonal / 2 / f) ** 2  # r2 at the corner
    total = spec.get("corner_distortion", float(rng.uniform(-0.03, 0.02)))
    share = float(rng.uniform(0.7, 1.2))  # most in k1, the rest in k2
    k1, k2 = total * share / corner, total * (1 - share) / corner**2
    off = rng.uniform(-1, 1, 2) * spec.get("centre_off_px", 15.0) * diagonal / 5000 / np.sqrt(2)
    R, t = looking_at(tuple(spec["target_mm"]), spec["above_mm"], spec["tilt_deg"], spec["azimuth_deg"],
                      spec["roll_deg"])
    camera = Camera(width, height, f, (width - 1) / 2 + off[0], (height - 1) / 2 + off[1], k1, k2, R, t)
    return camera, (round(f35) if spec.get("exif", not wide) else None)
