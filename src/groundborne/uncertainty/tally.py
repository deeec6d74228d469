"""Counts of samples, from which probabilities and intervals are read; in bounded memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne._arguments import checked

STEP = 0.05
"""Width of a class [dB, or NR]: intervals are read to a part of it."""

REACH = 80.0
"""Largest deviation from the answer without errors that is told apart [dB, or NR]."""

_CLASSES = round(2 * REACH / STEP)
_AT_ONCE = 32  # places that are counted at once: their classes fit into a cache
_WIDE = np.int32


@checked
@dataclass(frozen=True, eq=False)
class Tally:
    """How many samples lie in each class of deviations, for many places at once.

    Whole numbers add up to the same in whatever order blocks are counted.

    Parameters
    ----------
    counts : ndarray of int
        Dims of places, then classes; the first and the last hold all beyond.
    """

    counts: np.ndarray[Any, Any]

    @classmethod
    def of(cls, deviation: np.ndarray[Any, Any]) -> Tally:
        """Count a block.

        Parameters
        ----------
        deviation : ndarray
            Samples first, then places [dB, or NR].

        Examples
        --------
        >>> Tally.of(np.array([[0.0], [0.3], [-0.2]])).quantile(0.5).round(2).tolist()
        [0.0]
        """
        samples, *shape = deviation.shape
        places = np.moveaxis(deviation, 0, -1).reshape(-1, samples)
        counts = np.empty((len(places), _CLASSES), np.min_scalar_type(samples))
        rows = np.arange(_AT_ONCE)[:, None] * _CLASSES
        for start in range(0, len(places), _AT_ONCE):
            here = places[start : start + _AT_ONCE]
            # All is positive before it is cut to a whole number, or lies in the first class.
            at = ((here + (REACH + STEP / 2)) / STEP).clip(0, _CLASSES - 1).astype(np.int64)
            at += rows[: len(here)]
            found = np.bincount(at.ravel(), minlength=len(here) * _CLASSES)
            counts[start : start + _AT_ONCE] = found.reshape(-1, _CLASSES)
        return cls(counts.reshape(*shape, _CLASSES))

    def __add__(self, other: Tally) -> Tally:
        """Both blocks together."""
        return Tally(np.add(self.counts, other.counts, dtype=_WIDE))

    def taking(self, other: Tally) -> Tally:
        """Both together in the memory of this one, which is given up where it is wide enough.

        Parameters
        ----------
        other : Tally
            Of another block.
        """
        if self.size + other.size > np.iinfo(self.counts.dtype).max:
            return self + other
        np.add(self.counts, other.counts, out=self.counts, casting="unsafe")  # no sum is larger
        return self

    @property
    def size(self) -> int:
        """Samples counted."""
        flat = self.counts.reshape(-1, self.counts.shape[-1])
        return int(flat[0].sum()) if len(flat) else 0

    def quantile(self, share: float) -> np.ndarray[Any, Any]:
        """Deviation that this share of the samples does not exceed; linear within a class.

        Parameters
        ----------
        share : float
            0 to 1, both excluded.
        """
        found: np.ndarray[Any, Any] = self.quantiles([share])[0]
        return found

    def quantiles(self, shares: Sequence[float]) -> np.ndarray[Any, Any]:
        """Several quantiles at once, on a first dim.

        Parameters
        ----------
        shares : sequence of float
            0 to 1, both excluded.
        """
        *shape, _ = self.counts.shape
        places = self.counts.reshape(-1, _CLASSES)
        found = np.empty((len(shares), len(places)))
        wanted = np.asarray(shares) * self.size
        for row, counts in enumerate(places):
            below = np.cumsum(counts)
            at = below.searchsorted(wanted)
            here = counts[at]
            inside = np.where(here > 0, (wanted - (below[at] - here)) / np.maximum(here, 1), 0.5)
            found[:, row] = -REACH + STEP * (at - 0.5 + inside)  # 0 lies amid a class
        by_share: np.ndarray[Any, Any] = found.reshape(len(shares), *shape)
        return by_share

    @property
    def beyond(self) -> int:
        """Samples in the first and last classes: too far off to be told apart."""
        return int(self.counts[..., 0].sum() + self.counts[..., -1].sum())
