"""Medians and lengths of very many short rows, several times as fast as numpy's own, made for long ones."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Real = TypeVar("Real", np.float32, np.float64)


def medians(values: NDArray[Real]) -> NDArray[Real]:
    """The medians of rows (..., S), without nan: (...)."""
    # A short row is sorted in a few vector instructions; partitioning it, as numpy's median does, takes more.
    ordered = np.sort(values, axis=-1)
    half = values.shape[-1] // 2
    if values.shape[-1] % 2:
        return np.asarray(ordered[..., half])
    return np.asarray((ordered[..., half - 1] + ordered[..., half]) / 2)


def squares(vectors: NDArray[Real]) -> NDArray[Real]:
    """The squared lengths of vectors (..., 2 or 3): (...)."""
    out = vectors[..., 0] ** 2
    for i in range(1, vectors.shape[-1]):
        out += vectors[..., i] ** 2
    return np.asarray(out)


def lengths(vectors: NDArray[Real]) -> NDArray[Real]:
    """The lengths of vectors (..., 2 or 3): (...)."""
    return np.sqrt(squares(vectors))
