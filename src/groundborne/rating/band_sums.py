"""Rules of metrics as sums of bands: what rates many spectra by products of matrices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import checked


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class BandSums:
    """A number that is the largest of some sums of bands, ``max_g (10 lg Σ_f w_fg 10^(L_f/10))/b_g``.

    Parameters
    ----------
    weights : ndarray
        w [-], band by sum.
    slopes : ndarray
        b [dB], above 0, of each sum.

    Examples
    --------
    >>> octave = BandSums(weights=np.ones((3, 1)), slopes=np.ones(1))
    >>> octave.rating(np.array([50.0, 50.0, 50.0])).round(2).tolist()
    54.77
    """  # noqa: E501

    weights: np.ndarray[Any, Any]
    slopes: np.ndarray[Any, Any]

    def rating(self, level: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """Number of spectra.

        Parameters
        ----------
        level : ndarray
            [dB], bands last.
        """
        sums = 10 * np.log10(10 ** (level / 10) @ self.weights)
        found: np.ndarray[Any, Any] = (sums / self.slopes).max(axis=-1)
        return found


@runtime_checkable
class SummedBands(Protocol):
    """A :class:`~groundborne.rating.BandRule` that can also say itself as sums of bands.

    No rule has to: it makes samples of errors faster, and nothing else.
    """

    def sums(self, frequency: xr.DataArray) -> BandSums:
        """The same numbers as those of ``rating``, of thirds on these bands."""
