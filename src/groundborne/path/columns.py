"""What a room hears of many columns: the energy mean of what each brings, by its weight."""

from __future__ import annotations

from collections.abc import Mapping

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import PathError
from groundborne.levels import decibel, energy

COLUMN_DIM = "column"
_TOLERANCE = 1e-9  # of a sum of a few hundred shares


@checked
def require_weights(where: str, weights: xr.DataArray) -> xr.DataArray:
    """Refuse weights over columns that are no shares.

    Parameters
    ----------
    where : str
        For the message.
    weights : DataArray
        On ``column``, with or without ``room`` and other dims.

    Raises
    ------
    PathError
        No dim ``column``, a negative weight, or weights that do not add up to 1.

    Examples
    --------
    >>> shares = xr.DataArray([0.5, 0.4], coords={"column": ["A1", "A2"]})
    >>> require_weights("here", shares)
    Traceback (most recent call last):
    ...
    groundborne._checks.PathError: here: weights over columns add up to 0.9; they must add up to 1
    """
    if COLUMN_DIM not in weights.dims:
        raise PathError(
            f"{where}: weights over columns lack the dim 'column'; they have {list(weights.dims)}"
        )
    if bool((weights < 0).any()):
        low = float(weights.min())
        raise PathError(f"{where}: a weight of {low:g} over columns; 0 or more is needed")
    total = weights.sum(COLUMN_DIM, skipna=False)
    off = abs(total - 1) > _TOLERANCE
    if bool(off.any()):
        odd = float(total.values[off.values].ravel()[0]) if total.ndim else float(total)
        raise PathError(f"{where}: weights over columns add up to {odd:g}; they must add up to 1")
    return weights


@checked
def heard(changes: Mapping[str, xr.DataArray], weights: xr.DataArray) -> dict[str, xr.DataArray]:
    """Level changes of stages that vary by column, as a room hears them.

    Parameters
    ----------
    changes : mapping of str to DataArray
        Level change of each stage in order [dB], some with ``column``.
    weights : DataArray
        Share of each column in what a room hears [-], on ``column``; with ``room`` where rooms
        have places.

    Returns
    -------
    dict of str to DataArray
        The same stages without ``column``. Their sum is ``10 lg Σ_c w_c 10^(Σ_k L_kc/10)``, and a
        stage is what it adds to that of the stages before it, so that stages add up to the whole.

    Raises
    ------
    LabelError
        Weights and changes name other columns.

    Notes
    -----
    All that follows the columns is linear in energy, so that the mean may be taken at the end.

    Examples
    --------
    >>> at = {"column": ["A1", "A2"]}
    >>> ground = xr.DataArray([0.0, -20.0], coords=at)
    >>> climb = xr.DataArray([-10.0, 10.0], coords=at)
    >>> half = xr.DataArray([0.5, 0.5], coords=at)
    >>> found = heard({"ground": ground, "storeys": climb}, half)
    >>> {name: round(change.item(), 2) for name, change in found.items()}
    {'ground': -2.97, 'storeys': -7.03}
    """
    found: dict[str, xr.DataArray] = {}
    total, before = xr.DataArray(0.0), xr.DataArray(0.0)  # by column, and as rooms hear it
    for name, change in changes.items():
        total = total + change
        if COLUMN_DIM not in change.dims:
            # The same for every column: the mean moves by just that.
            found[name], before = change, before + change
            continue
        now = heard_sum(total, weights)
        found[name] = (now - before).assign_attrs(change.attrs)
        before = now
    return found


@checked
def weighted_mean(values: xr.DataArray, weights: xr.DataArray) -> xr.DataArray:
    """Sum over columns of values times shares, both on the same columns.

    Parameters
    ----------
    values : DataArray
        Mean squares or ratios of them, on ``column``.
    weights : DataArray
        As for :func:`heard`.

    Examples
    --------
    >>> at = {"column": ["B2", "A1"]}
    >>> shares = xr.DataArray([0.8, 0.2], coords=at)
    >>> weighted_mean(xr.DataArray([1.0, 6.0], coords=at), shares).item()
    2.0
    """
    values, weights = xr.align(values, weights, join="exact", copy=False)
    mean: xr.DataArray = xr.dot(values, weights, dim=COLUMN_DIM)
    return mean


@checked
def heard_sum(change: xr.DataArray, weights: xr.DataArray) -> xr.DataArray:
    """Level change that varies by column, as a room hears it.

    Parameters
    ----------
    change : DataArray
        [dB], of all stages together; without ``column`` it is returned as it is.
    weights : DataArray
        As for :func:`heard`.

    Returns
    -------
    DataArray
        ``10 lg Σ_c w_c 10^(L_c/10)`` [dB].

    Examples
    --------
    >>> at = {"column": ["A1", "A2"]}
    >>> level = xr.DataArray([0.0, -20.0], coords=at)
    >>> heard_sum(level, xr.DataArray([0.5, 0.5], coords=at)).round(2).item()
    -2.97
    """
    if COLUMN_DIM not in change.dims:
        return change
    mean = weighted_mean(energy(change), weights)
    return decibel(mean.transpose(..., *(d for d in change.dims if d == "frequency")))
