"""Arguments of a plate on springs, laid out as cases in rows; results back on their dims."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, finite

Array = np.ndarray[Any, Any]


def on_springs(where: str, name: str, value: Any, springs: xr.DataArray) -> xr.DataArray:
    """A number for all springs, or one for each by name; other dims are kept.

    Parameters
    ----------
    where, name : str
        For the sentence.
    value : float or DataArray
        On the dim of the springs, in any order, or without it.
    springs : DataArray
        On the dim that names the springs, in the order wanted.

    Raises
    ------
    ValueError
        An array without names, a spring missing, unknown or named twice.
    """
    dim = str(springs.dims[0])
    if not isinstance(value, xr.DataArray):
        if np.ndim(value):
            raise ValueError(f"{where}: {name} must be a number or a DataArray on {dim!r}")
        return xr.full_like(springs, float(value)).drop_attrs()
    array: xr.DataArray = value.astype(float).compute()
    if dim not in array.dims:
        return array.expand_dims({dim: springs[dim].values}, axis=-1)
    if dim not in array.coords:
        raise ValueError(f"{where}: {name} does not name its springs; give {dim!r} labels")
    given, wanted = array.indexes[dim], springs.indexes[dim]
    missing, unknown = wanted.difference(given), given.difference(wanted)
    if len(missing) or len(unknown) or given.has_duplicates:
        raise ValueError(
            f"{where}: {name} does not fit the springs: missing "
            f"{', '.join(map(str, missing)) or 'none'}, unknown "
            f"{', '.join(map(str, unknown)) or 'none'}, and each must occur once"
        )
    found: xr.DataArray = array.sel({dim: wanted})
    return found


def on_parts(where: str, pressure: Numeric, count: int) -> xr.DataArray:
    """Pressure [Pa] of each part, by number on ``part``."""
    if isinstance(pressure, np.ndarray) and pressure.ndim:
        raise ValueError(f"{where}: pressure must be a number or a DataArray on 'part'")
    value = xr.DataArray(pressure).astype(float).compute()
    if "part" not in value.dims:
        return value.expand_dims(part=max(count, 1), axis=-1)
    if value.sizes["part"] != count:
        raise ValueError(
            f"{where}: pressure has {value.sizes['part']} entries on 'part'; the plate has {count}"
        )
    return value


def on_points(where: str, point_load: xr.DataArray | None) -> xr.DataArray:
    """Loads [N] on ``load_point``; one of nought where there are none."""
    if point_load is None:
        return xr.DataArray([0.0], dims="load_point")
    if "load_point" not in point_load.dims:
        raise ValueError(f"{where}: point_load has dims {point_load.dims}; 'load_point' is needed")
    return point_load.astype(float).compute()


def places(where: str, name: str, given: Any) -> tuple[Array, Array]:
    """Positions of points from variables or coordinates ``x`` and ``y`` [m]."""
    if any(k not in given for k in "xy"):
        raise ValueError(f"{where}: {name} needs x and y [m] of its points")
    x, y = given["x"], given["y"]
    if x.ndim != 1 or x.dims != y.dims:
        raise ValueError(f"{where}: x and y of {name} must have one dim, the same")
    finite(where, f"x of {name}", x)
    finite(where, f"y of {name}", y)
    return np.asarray(x.values, float), np.asarray(y.values, float)


@dataclass(frozen=True)
class Cases:
    """Dims beside those of springs, parts and points: each combination of them is one case."""

    dims: tuple[Any, ...]
    shape: tuple[int, ...]
    labels: dict[Any, Any]

    @classmethod
    def of(cls, where: str, arrays: dict[str, xr.DataArray], own: set[str]) -> Cases:
        """Cases of several arrays; `own` are the dims that are none."""
        sizes: dict[Any, int] = {}
        labels: dict[Any, Any] = {}
        for name, array in arrays.items():
            for dim, size in array.sizes.items():
                if dim in own:
                    continue
                if sizes.setdefault(dim, size) != size:
                    raise ValueError(
                        f"{where}: {name} has {size} entries along {dim!r} and others {sizes[dim]}"
                    )
                if dim in array.coords:
                    labels[dim] = array[dim].values
        return cls(dims=tuple(sizes), shape=tuple(sizes.values()), labels=labels)

    def rows(self, array: xr.DataArray, own: set[str]) -> Array:
        """The array with its cases in rows, shape (cases, entries of its own dim)."""
        last = next(d for d in array.dims if d in own)
        missing = {d: n for d, n in zip(self.dims, self.shape, strict=True) if d not in array.dims}
        full = array.drop_vars(list(array.coords)).expand_dims(missing)
        values = full.transpose(*self.dims, last).values
        return np.asarray(values.reshape(-1, array.sizes[last]), dtype=float)

    def spread(self, rows: Array, last: xr.DataArray, units: str, words: str) -> xr.DataArray:
        """Rows back on the dims of the cases and on that of `last`."""
        dim = last.dims[0]
        return xr.DataArray(
            rows.reshape(*self.shape, -1),
            dims=(*self.dims, dim),
            coords=self.labels | {c: last[c] for c in last.coords if last[c].dims == (dim,)},
            attrs={"units": units, "long_name": words},
        )

    def said(self, number: int) -> str:
        """One case in words."""
        place = np.unravel_index(number, self.shape) if self.shape else ()
        return ", ".join(
            f"{d} {self.labels[d][i] if d in self.labels else i}"
            for d, i in zip(self.dims, place, strict=True)
        )
