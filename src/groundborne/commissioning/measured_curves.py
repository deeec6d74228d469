"""What a measured level change by band must be before anything is fitted to it or told from it."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import BandError

Array = np.ndarray[Any, Any]
_FAR_BETTER = 4.0  # times smaller is the chi-square of the other sign


def require_sign(where: str, chi_square: float, turned: float) -> None:
    """Refuse a level change that fits poorly, and far better with the opposite sign.

    Raises
    ------
    ValueError
        It does: a loss was given for a level change.
    """
    if turned < chi_square / _FAR_BETTER:
        raise ValueError(
            f"{where}: with the opposite sign the measured values fit far better (chi-square "
            f"{turned:.3g} against {chi_square:.3g}); a level change is negative where isolation "
            "lowers the level, so give minus the insertion loss or level difference"
        )


def require_levels(where: str, measured: xr.DataArray) -> None:
    """Refuse bands in which isolation does what was measured, or more: they are no values.

    Raises
    ------
    BandError
        Names them.
    """
    for name in ("at_least", "upper_limit"):
        if name in measured.coords and bool(measured[name].any()):
            bands = measured["frequency"].values[measured[name].values.astype(bool)]
            listed = ", ".join(f"{f:g}" for f in bands)
            raise BandError(
                f"{where}: at {listed} Hz the quieter side is background, so that isolation may do "
                f"more than was measured; leave these bands out, by the coordinate {name!r}"
            )


def whitening(where: str, covariance: xr.DataArray, like: xr.DataArray) -> Array:
    """Matrix W with ``W C Wᵀ`` the unit matrix.

    Raises
    ------
    ValueError
        Other bands, or a matrix that is no covariance.
    """
    if set(covariance.dims) != {"frequency", "other"}:
        raise ValueError(
            f"{where}: covariance has the dims {covariance.dims}; frequency and other are needed"
        )
    values = covariance.transpose("frequency", "other").values
    bands = like["frequency"].values.tolist()
    if any(covariance[d].values.tolist() != bands for d in ("frequency", "other")):
        raise ValueError(f"{where}: covariance has other bands than the levels")
    if not np.allclose(values, values.T, rtol=1e-9, atol=1e-12):
        raise ValueError(f"{where}: covariance is not symmetric")
    try:
        lower = np.linalg.cholesky(values)
    except np.linalg.LinAlgError:
        raise ValueError(
            f"{where}: covariance is none: some sum of bands would have no variance, or less"
        ) from None
    found: Array = np.linalg.inv(lower)
    return found
