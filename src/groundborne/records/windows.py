"""Maxima, sums and spans of values in many windows at once."""

from __future__ import annotations

from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]


def window_maximum(values: Array, starts: Array, ends: Array) -> Array:
    """Largest value along the last axis in each window [start, end), none of them empty."""
    if starts.size == 0:
        return np.empty((*values.shape[:-1], 0))
    # reduceat needs every bound inside the array: one value more, never the largest, does it.
    low = -np.inf if values.dtype.kind == "f" else 0
    padded = np.concatenate([values, np.full((*values.shape[:-1], 1), low, values.dtype)], axis=-1)
    bounds = np.stack([starts, ends], axis=1).ravel()
    found: Array = np.maximum.reduceat(padded, bounds, axis=-1)[..., ::2]
    return found


def window_sum(values: Array, starts: Array, ends: Array) -> Array:
    """Sum along the last axis in each window [start, end), none of them empty."""
    if starts.size == 0:
        return np.empty((*values.shape[:-1], 0))
    padded = np.concatenate([values, np.zeros((*values.shape[:-1], 1))], axis=-1)
    found: Array = np.add.reduceat(padded, np.stack([starts, ends], axis=1).ravel(), axis=-1)
    return found[..., ::2]


def window_span(values: Array, least: Array, starts: Array, ends: Array) -> tuple[Array, Array]:
    """First and last index in each window at which the values reach `least`, given per window.

    Values have any shape before the last axis; `least` must be reached somewhere in each window.
    """
    if starts.size == 0:
        none = np.empty((*values.shape[:-1], 0), dtype=int)
        return none, none
    count = ends - starts
    owner = np.repeat(np.arange(starts.size), count)
    offset = np.cumsum(count) - count
    index = np.arange(count.sum()) - offset[owner] + starts[owner]
    hit = values[..., index] >= least[..., owner]
    first = np.where(hit, index, values.shape[-1])
    last = np.where(hit, index, -1)
    return np.minimum.reduceat(first, offset, axis=-1), np.maximum.reduceat(last, offset, axis=-1)
