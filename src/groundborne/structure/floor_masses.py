"""Column lines that weigh, floor by floor, what the loads of their columns say."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known
from groundborne.structure.column_line import ColumnLine

_ROUNDING = 1e-9


@checked(own_labels=["mass"])  # of more floors than have slabs
def weighed(*, line: ColumnLine, mass: xr.DataArray) -> ColumnLine:
    """Return the same line with slabs that carry what is missing to a mass of each floor.

    Parameters
    ----------
    line : ColumnLine
        Slabs that may carry a ``superimposed_mass``; that which they have is left out.
    mass : DataArray
        Mass of each floor [kg], on ``floor`` and any dims of the line such as ``column``: of its
        slab, of what rests on it, and of the column segment that stands on it.

    Returns
    -------
    ColumnLine
        With ``superimposed_mass = (mass - slab - segment above) / area`` at every floor, so that
        :meth:`ColumnLine.mass_from` is the sum of `mass` from that floor up.

    Raises
    ------
    ValueError
        A floor has no mass, or less than slab and column weigh by themselves; a slab that takes
        no superimposed mass.

    Examples
    --------
    >>> from groundborne.structure import FlatSlab, SpringFoundation, Storey
    >>> slab = FlatSlab(span_x=8.0, span_y=7.5, thickness=0.3, youngs_modulus=38e9,
    ...                 density=2400.0, poisson=0.2, loss_factor=0.05)
    >>> storey = Storey(floor="1", height=3.6, area=0.25, youngs_modulus=35e9, density=2450.0,
    ...                 loss_factor=0.02, slab=slab)
    >>> line = ColumnLine(storeys=(storey, replace(storey, floor="2")),
    ...                   foundation=SpringFoundation(stiffness=1e9, loss_factor=0.1))
    >>> mass = xr.DataArray([60e3, 50e3], coords={"floor": ["1", "2"]})
    >>> found = weighed(line=line, mass=mass)
    >>> float(found.mass_from("1")), round(float(found.storeys[0].slab.superimposed_mass), 2)
    (110000.0, 243.25)
    """
    labels = mass["floor"].values.tolist() if "floor" in mass.coords else []
    above: list[Any] = [*(s.column_mass for s in line.storeys[1:]), 0.0]
    storeys = []
    for storey, standing in zip(line.storeys, above, strict=True):
        where = f"floor {storey.floor!r}"
        known(where, "its mass on 'floor'", str(storey.floor), [str(n) for n in labels])
        slab: Any = storey.slab
        if not hasattr(slab, "superimposed_mass"):
            raise ValueError(
                f"{where}: a {type(slab).__name__} takes no superimposed mass; a slab that states "
                "one is needed"
            )
        total = mass.sel(floor=storey.floor, drop=True).reset_coords(drop=True)
        bare = replace(slab, superimposed_mass=0.0)
        own = xr.DataArray(bare.mass + standing).reset_coords(drop=True).drop_attrs(deep=False)
        rest = total.drop_attrs(deep=False) - own
        if (rest < -_ROUNDING * own).any():
            raise ValueError(f"{where}{_lightest(rest, total, own)}")
        area = slab.span_x * slab.span_y * slab.panel_share
        carried = np.maximum(rest, 0.0) / area
        storeys.append(replace(storey, slab=replace(bare, superimposed_mass=carried)))
    return replace(line, storeys=tuple(storeys))


def _lightest(rest: xr.DataArray, total: xr.DataArray, own: xr.DataArray) -> str:
    """Where loads and structure differ most, in words."""
    at = np.unravel_index(int(np.argmin(rest.values)), rest.shape)
    here = dict(zip(rest.dims, at, strict=True))
    column = f", column {str(rest['column'].values[here['column']])!r}" if "column" in here else ""
    said, weighs = (
        float(x.isel({d: i for d, i in here.items() if d in x.dims})) / 1e3 for x in (total, own)
    )
    return (
        f"{column}: by its loads it weighs {said:.1f} t, and slab and column alone weigh "
        f"{weighs:.1f} t, which leaves a negative superimposed mass; check thickness, spans and "
        "panel_share against the permanent load of the floor, which holds its slab and the column "
        "that stands on it"
    )
