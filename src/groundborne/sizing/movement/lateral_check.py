"""Wind on a plan with stops: whether the mounts stay free in service, and what the stops take."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive
from groundborne.citation import citation_texts
from groundborne.sizing.loads.factors import PARTIAL_FACTORS, Factors
from groundborne.sizing.movement.lateral import DIRECTIONS, LATERAL_CAUTION, LateralPlan

_MM, _KN = 1e3, 1e-3
_ASIDE = 1e-6
"""Of a force, what its part across an axis may be by rounding."""
NOT_REACHED = "not reached under these loads; no force for design follows from that"
"""Stands beside a force of 0 kN in a stop."""


@checked
def check_lateral(
    plan: LateralPlan,
    wind: xr.Dataset,
    *,
    factors: Factors | None = None,
    friction: Numeric = 0.0,
    most_movement: float | None = None,
) -> xr.Dataset:
    """Hold the movement under service wind against the clearances, and size the stops.

    Parameters
    ----------
    plan : LateralPlan
        Mounts and stops.
    wind : Dataset
        On ``case``: characteristic base shear ``fx``, ``fy`` [N] and the point ``x``, ``y`` [m] in
        plan through which it goes. Every direction of the wind, and either side of the centre
        where gusts are uneven, is a case; from the structural engineer.
    factors : Factors, optional
        ``variable`` (1.5 by EN 1990, Table A1.2(B) [seen second-hand]) is on the wind for the
        force in the stops.
    friction : float or DataArray
        Force [N] that friction takes off the wind in service; not counted unless told, and never
        for the force in the stops.
    most_movement : float, optional
        Largest movement of a mount sideways in service [m].

    Returns
    -------
    xarray.Dataset
        With dim ``case``: all of :meth:`LateralPlan.response` in service, ``mount_movement`` [m],
        the most of any mount; with stops ``clearance_left`` [m] on ``stop``, below 0 by how much
        the building would move on, and ``design_stop_force`` [N], ``design_mount_force`` [N] under
        the factored wind. ``kept`` on ``case``: no stop touched in service, no mount moved too
        far, and the movement limited at all: by `most_movement`, or by a stop for each direction
        in which the wind pushes. The attributes hold ``caution``, ``sentences`` (a tuple; among
        them one for each direction that is open and one on stops that no case reaches) and
        sources.

    Raises
    ------
    ValueError
        Wind that is not complete or not on ``case``.

    Examples
    --------
    >>> from groundborne.sizing.movement.lateral import LateralStops
    >>> at, s = {"column": ["SW", "SE", "NE", "NW"]}, {"stop": ["N"]}
    >>> stops = LateralStops(
    ...     x=xr.DataArray([10.0], coords=s), y=xr.DataArray([10.0], coords=s),
    ...     direction=xr.DataArray(["y+"], coords=s), clearance=0.012, stiffness=5e8)
    >>> plan = LateralPlan(x=xr.DataArray([0.0, 20.0, 20.0, 0.0], coords=at),
    ...     y=xr.DataArray([0.0, 0.0, 10.0, 10.0], coords=at), kx=2e7, ky=2e7, stops=stops)
    >>> wind = xr.Dataset({"fx": ("case", [0.0]), "fy": ("case", [8e5]), "x": ("case", [10.0]),
    ...     "y": ("case", [5.0])}, coords={"case": ["y+"]})
    >>> found = check_lateral(plan, wind)
    >>> left, force = found.clearance_left, found.design_stop_force
    >>> found.kept.item(), left.round(6).item(), force.round().item()
    (True, 0.002, 206897.0)
    """
    where = "check_lateral"
    for name in ("fx", "fy", "x", "y"):
        if name not in wind or wind[name].dims != ("case",) or "case" not in wind.coords:
            raise ValueError(f"{where}: wind needs {name!r} on the dim 'case', with names")
    factors = Factors() if factors is None else factors
    if most_movement is not None:
        positive(where, "most_movement", most_movement, "m")
    at = {name: wind[name] for name in ("x", "y")}
    found = plan.response(fx=wind["fx"], fy=wind["fy"], friction=friction, **at)
    more = factors.variable
    design = plan.response(fx=more * wind["fx"], fy=more * wind["fy"], **at)
    moved = xr.apply_ufunc(np.hypot, found["movement_x"], found["movement_y"]).max("column")
    found["mount_movement"] = moved.assign_attrs(units="m")
    held = xr.apply_ufunc(np.hypot, design["force_x"], design["force_y"])
    found["design_mount_force"] = held.assign_attrs(units="N")
    sentences = []
    kept = xr.ones_like(moved, dtype=bool)
    if plan.stops is not None:
        left: Any = plan.stops.clearance - found["stop_movement"]
        found["clearance_left"] = left.assign_attrs(units="m")
        found["design_stop_force"] = design["stop_force"]
        kept = ~found["touches"].any("stop")
        sentences += _touching(found)
    if most_movement is not None:
        far = moved > most_movement * (1 + 1e-9)
        kept = kept & ~far
        sentences += [
            f"{c}: a mount moves {float(moved.sel(case=c)) * _MM:.1f} mm sideways, "
            f"{most_movement * _MM:g} mm allowed"
            for c in moved["case"].values[far.values].tolist()
        ]
    if plan.stops is not None or most_movement is None:
        pushed = _open(plan, wind, most_movement)
        sentences += pushed[1]
        kept = kept & ~pushed[0] if most_movement is None else kept
    if plan.stops is not None:
        sentences += _never_reached(found)
    found["kept"] = kept
    found.attrs["sentences"] = tuple(sentences)
    found.attrs["variable_factor"] = more
    found.attrs["citations"] = citation_texts((*plan.citations, PARTIAL_FACTORS))
    return found


def _open(
    plan: LateralPlan, wind: xr.Dataset, most_movement: float | None
) -> tuple[xr.DataArray, list[str]]:
    """Cases pushed where no stop works, and one sentence for each such direction."""
    there = [] if plan.stops is None else plan.stops.direction.values.astype(str).tolist()
    force = np.hypot(wind["fx"].values, wind["fy"].values)
    found, said = np.zeros(force.size, bool), []
    for direction, (x, y) in DIRECTIONS.items():
        pushed = x * wind["fx"].values + y * wind["fy"].values > _ASIDE * force
        if direction in there or not pushed.any():
            continue
        found |= pushed
        cases = ", ".join(map(str, wind["case"].values[pushed]))
        limit = (
            "and no most_movement is given; give either"
            if most_movement is None
            else f"only the mounts hold it within {most_movement * _MM:g} mm in service"
        )
        said.append(f"{cases}: open towards {direction}, no stop works there, {limit}")
    return xr.DataArray(found, coords={"case": wind["case"].values}, dims="case"), said


def _touching(found: xr.Dataset) -> list[str]:
    """One sentence for each stop that closes under service wind."""
    said = []
    case, stop = np.nonzero(found["touches"].transpose("case", "stop").values)
    for i, j in zip(case.tolist(), stop.tolist(), strict=True):
        one = found.isel(case=i, stop=j)
        said.append(
            f"{one['case'].item()}: stop {one['stop'].item()} touches in service, with "
            f"{float(one['stop_force']) * _KN:.0f} kN; it bridges the isolation there"
        )
    return said


def _never_reached(found: xr.Dataset) -> list[str]:
    """One sentence for the stops that no case reaches, not under the factored wind either."""
    idle = ~((found["design_stop_force"] > 0) | found["touches"]).any("case")
    names = [str(s) for s in found["stop"].values[idle.values]]
    if not names:
        return []
    return [f"{'stops' if len(names) > 1 else 'stop'} {', '.join(names)}: {NOT_REACHED}"]


@checked
def lateral_table(found: xr.Dataset) -> pd.DataFrame:
    """One row for each case and stop, for those who set the stops.

    Parameters
    ----------
    found : Dataset
        From :func:`check_lateral`, with stops.

    Returns
    -------
    pandas.DataFrame
        ``case``, ``stop``, ``movement_mm`` towards it in service, ``clearance_left_mm``,
        ``touches``, ``service_force_kn``, ``design_force_kn``, ``corner_movement_mm`` (most of the
        corners), ``rotation_mrad``, ``note`` where the factored wind does not reach the stop: 0 kN
        is no force to design it for, as one of the sentences says. ``attrs`` hold ``caution`` and
        ``sentences``.

    Raises
    ------
    ValueError
        A plan without stops.

    Examples
    --------
    >>> at, s = {"column": ["W", "E"]}, {"stop": ["N"]}
    >>> from groundborne.sizing.movement.lateral import LateralStops
    >>> stops = LateralStops(
    ...     x=xr.DataArray([5.0], coords=s), y=xr.DataArray([0.0], coords=s),
    ...     direction=xr.DataArray(["y+"], coords=s), clearance=0.01, stiffness=5e8)
    >>> plan = LateralPlan(x=xr.DataArray([0.0, 10.0], coords=at), y=xr.DataArray([0.0, 0.0],
    ...     coords=at), kx=2e7, ky=2e7, stops=stops)
    >>> wind = xr.Dataset({"fx": ("case", [0.0]), "fy": ("case", [2e5]), "x": ("case", [5.0]),
    ...     "y": ("case", [0.0])}, coords={"case": ["y+"]})
    >>> table = lateral_table(check_lateral(plan, wind))
    >>> table[["stop", "movement_mm", "clearance_left_mm", "touches"]].values.tolist()
    [['N', 5.0, 5.0, False]]
    """
    if "stop_force" not in found:
        raise ValueError("lateral_table: the plan has no stops; give LateralPlan some")
    columns = {
        "movement_mm": found["stop_movement"] * _MM,
        "clearance_left_mm": found["clearance_left"] * _MM,
        "touches": found["touches"],
        "service_force_kn": found["stop_force"] * _KN,
        "design_force_kn": found["design_stop_force"] * _KN,
        "corner_movement_mm": found["corner_movement"].max("corner") * _MM,
        "rotation_mrad": found["rotation"] * 1e3,
    }
    data = xr.Dataset({n: v.drop_attrs() for n, v in columns.items()})
    frame = data.to_dataframe(dim_order=["case", "stop"]).reset_index().round(4)
    numbers = frame.select_dtypes("float").columns
    frame[numbers] += 0.0  # no minus before a zero
    frame["note"] = np.where(frame["design_force_kn"] > 0, "", "not reached: see sentences")
    frame.attrs.update(caution=LATERAL_CAUTION, sentences=found.attrs["sentences"])
    return frame
