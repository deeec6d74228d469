"""Where a rigid body is held, and how stiffly: one entry per column."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._causes import listed
from groundborne._checks import Numeric, finite, not_negative


def named_columns(where: str, name: str, value: Any, *, dim: str = "column") -> xr.DataArray:
    """Refuse what does not hold one entry per named column.

    Parameters
    ----------
    where, name : str
        For the sentence.
    value : DataArray
        On ``column``, whose coordinate names the columns without repeats; other dims may follow.
    dim : str
        Another dim in its place.

    Returns
    -------
    xarray.DataArray
        The value, computed if it was chunked.

    Raises
    ------
    ValueError
        No dim ``column``, no names on it, a name given twice, or no column at all.

    Examples
    --------
    >>> named_columns("here", "x", 3.0)
    Traceback (most recent call last):
    ...
    ValueError: here: x is 3.0; a DataArray with named columns on dim 'column' is needed
    """
    if not isinstance(value, xr.DataArray) or dim not in value.dims:
        raise ValueError(
            f"{where}: {name} is {value if np.ndim(value) == 0 else type(value).__name__}; "
            f"a DataArray with named {dim}s on dim '{dim}' is needed"
        )
    if dim not in value.coords:
        raise ValueError(f"{where}: {name} has dim '{dim}' without names; add the coordinate")
    if value.sizes[dim] == 0:
        raise ValueError(f"{where}: {name} holds no {dim}; at least one is needed")
    names = value.indexes[dim]
    if names.has_duplicates:
        twice = ", ".join(map(str, names[names.duplicated()].unique()))
        raise ValueError(f"{where}: {name} names {dim} {twice} twice; each must occur once")
    return value.compute()


def on_columns(where: str, name: str, value: Any, columns: xr.DataArray) -> xr.DataArray:
    """Put a value on given columns, whatever their order; never drop or invent one.

    Parameters
    ----------
    where, name : str
        For the sentence.
    value : float or DataArray
        One number for all columns, or one per named column; other dims are kept.
    columns : DataArray
        The coordinate ``column`` wanted; its dim may be another, such as ``damper``.

    Returns
    -------
    xarray.DataArray
        On ``column`` in the order wanted.

    Raises
    ------
    ValueError
        A column missing from the value or unknown to the others.

    Examples
    --------
    >>> wanted = xr.DataArray(["A", "B"], dims="column", coords={"column": ["A", "B"]})
    >>> load = xr.DataArray([2.0, 1.0], dims="column", coords={"column": ["B", "A"]})
    >>> on_columns("here", "load", load, wanted.column).values.tolist()
    [1.0, 2.0]
    """
    number = finite(where, name, value)
    dim = str(columns.dims[0])
    if isinstance(number, np.ndarray) and number.ndim:
        raise ValueError(
            f"{where}: {name} is an array without names; a number or a DataArray on dim '{dim}' "
            "is needed"
        )
    if not isinstance(number, xr.DataArray):
        return xr.full_like(columns, float(number), dtype=float).drop_attrs()
    if dim not in number.dims:
        return number.expand_dims({dim: columns.values}).astype(float).compute()
    given = named_columns(where, name, number, dim=dim).indexes[dim]
    wanted = columns.to_index()
    missing, unknown = wanted.difference(given), given.difference(wanted)
    if len(missing) or len(unknown):
        parts = [
            f"{text} {', '.join(map(str, found))}"
            for text, found in (("lacks", missing), ("holds unknown", unknown))
            if len(found)
        ]
        raise ValueError(f"{where}: {name} {' and '.join(parts)}; the {dim}s are {listed(wanted)}")
    return number.sel({dim: wanted}).astype(float).compute()


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Supports:
    """Springs under a rigid body, each holding one point in three directions.

    A support has no rotational stiffness of its own: that of a pack is small beside what the
    distance between packs gives.

    Parameters
    ----------
    x, y : DataArray
        Plan position [m] on ``column``, which names the columns. The order of columns in `x`
        is that of every result; the other arguments may come in any order.
    z : float or DataArray
        Height [m] of the points held, upwards.
    kx, ky, kz : float or DataArray
        Stiffness [N/m], 0 or more: dynamic for natural frequencies, static for deflection.
        Lateral stiffness is that under the working load. Dims beside ``column`` (option, sample)
        are kept.

    Raises
    ------
    ValueError
        Columns without names, that differ between arguments, or a number out of bounds.

    Examples
    --------
    >>> corners = {"column": ["SW", "SE", "NE", "NW"]}
    >>> springs = Supports(
    ...     x=xr.DataArray([-5.0, 5.0, 5.0, -5.0], dims="column", coords=corners),
    ...     y=xr.DataArray([-4.0, -4.0, 4.0, 4.0], dims="column", coords=corners),
    ...     z=0.0, kx=2e7, ky=2e7, kz=3e7)
    >>> float(springs.kz.sum() / 1e6)
    120.0
    """

    x: xr.DataArray
    y: xr.DataArray
    z: Numeric
    kx: Numeric
    ky: Numeric
    kz: Numeric

    def __post_init__(self) -> None:
        where = "Supports"
        x = named_columns(where, "x", self.x)
        finite(where, "x", x)
        object.__setattr__(self, "x", x.astype(float))
        for name in ("y", "z", "kx", "ky", "kz"):
            value = getattr(self, name)
            if name.startswith("k"):
                not_negative(where, name, value, "N/m")
            object.__setattr__(self, name, on_columns(where, name, value, x.column))

    @property
    def column(self) -> xr.DataArray:
        """Names of the columns."""
        return self.x["column"]

    @property
    def position(self) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
        """x, y and z [m] on ``column``."""
        y: Any = self.y
        z: Any = self.z
        return self.x, y, z

    @property
    def stiffness(self) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
        """kx, ky and kz [N/m] on ``column``."""
        kx: Any = self.kx
        ky: Any = self.ky
        kz: Any = self.kz
        return kx, ky, kz

    def scaled(self, factor: xr.DataArray) -> Supports:
        """Supports of which some are lost (factor 0), softened or stiffened.

        Parameters
        ----------
        factor : DataArray
            On ``column``, 0 or more; other dims hold cases.

        Returns
        -------
        Supports
            With all three stiffnesses times the factor.
        """
        where = "Supports.scaled"
        not_negative(where, "factor", factor, "")
        factor = on_columns(where, "factor", factor, self.column)
        kx, ky, kz = (k * factor for k in self.stiffness)
        return replace(self, kx=kx, ky=ky, kz=kz)
