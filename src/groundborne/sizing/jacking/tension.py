"""Rods and brackets that jacks pull on."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive
from groundborne.citation import DERIVED, citation_texts
from groundborne.sizing.jacking.grid import JackGrid, on_jacks
from groundborne.sizing.jacking.rules import (
    CAUTIONS,
)


@checked
def tension_check(
    *, grid: JackGrid, deflection: xr.DataArray, least: Numeric, largest: Numeric
) -> xr.Dataset:
    """Whether every mount carries: its compression within what it needs and bears.

    Parameters
    ----------
    grid : JackGrid
        Jacks in plan, one mount each.
    deflection : DataArray
        Compression found at each mount [m], on ``jack``; 0 or below is a mount that hangs loose.
    least, largest : float or DataArray
        Between which each mount carries its part [m].

    Returns
    -------
    xarray.Dataset
        On ``jack``: ``deflection``, ``least``, ``largest`` [m], ``loose``, ``overloaded``,
        ``carries``; one sentence per mount that does not in ``attrs["open_items"]``.

    Notes
    -----
    A loose mount leaves its load to its neighbours and stiffens nothing: the slab then spans twice
    as far as was planned. Tighten it until it carries, and survey again.

    References
    ----------
    Derived.

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 1.5, 0.0, 1.5], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 1.5, 1.5], dims="jack", coords=names))
    >>> found = xr.DataArray([5e-3, 4.6e-3, 0.4e-3, 5.5e-3], dims="jack", coords=names)
    >>> tension_check(grid=grid, deflection=found, least=3e-3, largest=7e-3).attrs["open_items"]
    ('mount A2 is loose: compressed by 0.4 mm, it carries from 3 mm; tighten it',)
    """
    where = "tension_check"
    if deflection.ndim == 0:
        raise ValueError(f"{where}: deflection is needed at every mount; give it on 'jack'")
    found = on_jacks(where, "deflection", deflection, grid)
    low = on_jacks(where, "least", least, grid)
    high = on_jacks(where, "largest", largest, grid)
    positive(where, "least", low, "m")
    crossed = (high <= low).values
    if crossed.any():
        raise ValueError(
            f"{where}: largest is {float(high[crossed][0]):g} m at mount "
            f"{grid.names[int(crossed.argmax())]} and least {float(low[crossed][0]):g} m; largest "
            "must be above least"
        )
    loose, over = found < low, found > high
    rows = zip(
        grid.names, *(a.values.tolist() for a in (found, low, high, loose, over)), strict=True
    )
    items = tuple(
        f"mount {n} is loose: compressed by {d * 1e3:.3g} mm, it carries from {a * 1e3:.3g} mm; "
        "tighten it"
        if slack
        else f"mount {n} is overloaded: compressed by {d * 1e3:.3g} mm, it bears {b * 1e3:.3g} mm; "
        "ease it and look for loose neighbours"
        for n, d, a, b, slack, much in rows
        if slack or much
    )
    return xr.Dataset(
        {
            "deflection": found.assign_attrs(units="m"),
            "least": low.assign_attrs(units="m"),
            "largest": high.assign_attrs(units="m"),
            "loose": loose,
            "overloaded": over,
            "carries": ~(loose | over),
        },
        attrs={
            "open_items": items,
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((DERIVED,)),
        },
    )
