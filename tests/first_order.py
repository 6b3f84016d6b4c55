"""Uncertainty carried to first order from the camera to what is worked out from it (JCGM 100:2008, 5.1.2)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from cutcheck.camera import Camera

Floats = NDArray[np.float64]


def variance(camera: Camera, figures: Callable[[Camera], Floats]) -> Floats:
    """The variance (N,) that the camera's covariance gives to the figures (N,), by numeric derivatives."""
    vector, covariance = camera.vector(), camera.covariance
    assert covariance is not None
    columns = []
    for k in range(len(vector)):
        step = np.zeros(len(vector))
        step[k] = 1e-4 * max(abs(vector[k]), 0.01)
        ahead, behind = Camera.from_vector(vector + step), Camera.from_vector(vector - step)
        columns.append((figures(ahead) - figures(behind)) / (2 * step[k]))
    by = np.stack(columns, axis=1)
    return np.asarray(np.einsum("ni,ij,nj->n", by, covariance, by))
