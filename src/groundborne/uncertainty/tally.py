"""Counts of samples, from which probabilities and intervals are read; in bounded memory."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

STEP = 0.05
"""Width of a class [dB, or NR]: intervals are read to a part of it."""

REACH = 80.0
"""Largest deviation from the answer without errors that is told apart [dB, or NR]."""

_CLASSES = round(2 * REACH / STEP)


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
        [0.03]
        """
        samples, *shape = deviation.shape
        flat = deviation.reshape(samples, -1)
        at = np.floor((flat + REACH) / STEP).clip(0, _CLASSES - 1).astype(np.int64)
        at += np.arange(flat.shape[1]) * _CLASSES
        counts = np.bincount(at.ravel(), minlength=flat.shape[1] * _CLASSES)
        return cls(counts.reshape(*shape, _CLASSES))

    def __add__(self, other: Tally) -> Tally:
        """Both blocks together."""
        return Tally(self.counts + other.counts)

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
        below = np.cumsum(self.counts, axis=-1)
        wanted = share * self.size
        at = (below < wanted).sum(axis=-1)
        here = np.take_along_axis(self.counts, at[..., None], axis=-1)[..., 0]
        before = np.take_along_axis(below, at[..., None], axis=-1)[..., 0] - here
        inside = np.where(here > 0, (wanted - before) / np.maximum(here, 1), 0.5)
        found: np.ndarray[Any, Any] = -REACH + STEP * (at + inside)
        return found

    @property
    def beyond(self) -> int:
        """Samples in the first and last classes: too far off to be told apart."""
        return int(self.counts[..., 0].sum() + self.counts[..., -1].sum())
