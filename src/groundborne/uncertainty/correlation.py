"""How the errors of neighbouring bands go together."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne.bands import exact

BANDS_CORRELATED = 3.0
"""One-third octaves over which a correlation of errors falls to 1/e; common practice. Residuals of
the models of this library against published means of buildings fall by 1/e in about two; three is
the cautious side for sums over bands."""

_SLIGHT = 1e-9


@checked(infinite=("length",))
def band_correlation(frequency: Frequency, *, length: float = BANDS_CORRELATED) -> xr.DataArray:
    """Correlation of the errors of bands, ``exp(−|i − j|/n)`` with i in one-third octaves.

    Parameters
    ----------
    frequency : DataArray
        Nominal bands [Hz].
    length : float
        n, above 0; infinite for bands that err together.

    Returns
    -------
    xarray.DataArray
        On ``frequency`` and ``other``, with ones on the diagonal.

    References
    ----------
    Common practice; the exponential is the correlation of a first-order Markov process.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> band_correlation(third_octaves(50, 80)).round(3).values.tolist()
    [[1.0, 0.717, 0.513], [0.717, 1.0, 0.717], [0.513, 0.717, 1.0]]
    """
    if not length > 0:
        raise ValueError(f"band_correlation: length is {length:g}; it must be above 0")
    steps = np.round(10 * np.log10(np.asarray(exact(frequency), float)))
    apart = abs(steps[:, None] - steps)
    labels = frequency["frequency"].values
    return xr.DataArray(
        np.exp(-apart / length),
        dims=("frequency", "other"),
        coords={"frequency": labels, "other": labels},
        attrs={"long_name": "correlation of errors of bands"},
    )


@checked
def correlation_root(correlation: xr.DataArray) -> np.ndarray[Any, Any]:
    """Matrix that makes correlated errors of independent ones: ``W`` with ``W Wᵀ`` the correlation.

    Parameters
    ----------
    correlation : DataArray
        Square, as :func:`band_correlation` gives it.

    Returns
    -------
    ndarray
        Principal components, largest first.

    Raises
    ------
    ValueError
        It is no correlation: not square, not symmetric, no ones on the diagonal, an entry beyond 1,
        or a combination of bands would have a negative variance.

    Examples
    --------
    >>> both = xr.DataArray([[1.0, 0.5], [0.5, 1.0]], dims=("frequency", "other"))
    >>> root = correlation_root(both)
    >>> (root @ root.T).round(12).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    where = "correlation_root: the correlation"
    values = np.asarray(correlation.values, float)
    if values.ndim != 2 or values.shape[0] != values.shape[1]:
        raise ValueError(f"{where} has the shape {values.shape}; it must be square")
    if abs(values - values.T).max() > _SLIGHT:
        raise ValueError(f"{where} is not symmetric; bands i and j go together as j and i do")
    if abs(np.diag(values) - 1).max() > _SLIGHT:
        raise ValueError(f"{where} has other values than 1 on its diagonal")
    if abs(values).max() > 1 + _SLIGHT:
        raise ValueError(
            f"{where} holds {values.flat[abs(values).argmax()]:g}; -1 to 1 is possible"
        )
    found, vectors = np.linalg.eigh(values)
    if found[0] < -_SLIGHT * len(values):
        raise ValueError(
            f"{where} has the eigenvalue {found[0]:.3g}: some sum of errors would have a negative "
            "variance, so that no errors go together like that"
        )
    order = np.argsort(found)[::-1]
    root: np.ndarray[Any, Any] = vectors[:, order] * np.sqrt(found[order].clip(min=0.0))
    return root
