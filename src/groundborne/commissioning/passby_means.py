"""Energy means of passbys with the mix of trains of a prediction, and how sure they are."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from groundborne._checks import counted
from groundborne.levels import decibel, energy

TYPE = "train_type"
_FEWEST = 2
_DECIBEL = 10 / np.log(10)

Array = np.ndarray[Any, Any]


class Mean(NamedTuple):
    """Energy mean over passbys [dB], and its standard deviation by their number [dB]."""

    level: xr.DataArray
    error: xr.DataArray


def shares_of(level: xr.DataArray) -> dict[str, float]:
    """Share of the passbys that each type of train has; one without a name where none is told."""
    if TYPE not in level.coords:
        return {"": 1.0}
    names, count = np.unique(level[TYPE].values.astype(str), return_counts=True)
    return {str(n): float(c) / level.sizes["passby"] for n, c in zip(names, count, strict=True)}


def members(where: str, name: str, level: xr.DataArray) -> dict[str, Array]:
    """Places of the passbys of each type.

    Raises
    ------
    ValueError
        A type of one passby, whose scatter nothing tells.
    """
    kinds = (
        level[TYPE].values.astype(str)
        if TYPE in level.coords
        else np.full(level.sizes["passby"], "")
    )
    found = {str(k): np.flatnonzero(kinds == k) for k in np.unique(kinds)}
    for kind, places in found.items():
        if len(places) < _FEWEST:
            of = f" of the type {kind!r}" if kind else ""
            raise ValueError(
                f"{where}: {name} holds {counted(len(places), 'passby', 'passbys')}{of}; two at "
                "least are needed to tell how they scatter"
            )
    return found


def mean_of(where: str, name: str, level: xr.DataArray, shares: dict[str, float]) -> Mean:
    """Energy mean with given shares of the types.

    Parameters
    ----------
    where, name : str
        For sentences.
    level : DataArray
        With ``passby``.
    shares : dict of str to float
        Of each type; they add up to 1.

    Raises
    ------
    ValueError
        Types that differ, or one passby of a type.

    Notes
    -----
    The standard deviation is that of a mean of energies to first order,
    ``4.34 √(Σ w_k² s_k²/n_k)/Σ w_k m_k`` dB with mean and standard deviation of each type.
    """
    each = members(where, name, level)
    if set(each) != set(shares):
        told, wanted = (
            ", ".join(map(repr, sorted(k))) if set(k) != {""} else "none told apart"
            for k in (each, shares)
        )
        raise ValueError(
            f"{where}: {name} has the train types {told}, the other side {wanted}; both must tell "
            "the same types, or none"
        )
    power = energy(level.reset_coords(drop=True))
    mean: Any = 0.0
    variance: Any = 0.0
    for kind, places in each.items():
        of = power.isel(passby=places)
        mean = mean + shares[kind] * of.mean("passby", skipna=False)
        variance = variance + shares[kind] ** 2 * of.var("passby", ddof=1, skipna=False) / len(
            places
        )
    return Mean(decibel(mean), _DECIBEL * np.sqrt(variance) / mean)
