"""Record of a lifted floor for handover: what was done, found, and is still open."""

from __future__ import annotations

import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import finite
from groundborne.citation import citation_texts
from groundborne.sizing.correction.blunders import marked
from groundborne.sizing.jacking.grid import JackGrid, on_jacks
from groundborne.sizing.jacking.rules import CAUTIONS, JACK_PRACTICE


@checked
def handover_record(
    *,
    grid: JackGrid,
    lift: xr.Dataset,
    turned: xr.DataArray,
    judged: xr.Dataset,
    tension: xr.Dataset,
) -> xr.Dataset:
    """Everything a floor is handed over with, and whether anything is open.

    Parameters
    ----------
    grid : JackGrid
        Jacks in plan.
    lift : Dataset
        From :func:`~groundborne.sizing.plan_lift`.
    turned : DataArray
        Turns made in all corrections [turns], on ``jack``, up positive.
    judged : Dataset
        The last survey, after every correction.
    tension : Dataset
        From :func:`~groundborne.sizing.tension_check`, after every correction.

    Returns
    -------
    xarray.Dataset
        On ``jack``: ``x``, ``y`` [m], ``planned_turns``, ``correction_turns``, ``total_turns``,
        ``mount_deflection`` [m], ``carries``; on ``point``: ``point_x``, ``point_y``,
        ``deviation`` [m], ``within_aim``, ``within_limit``, ``blunder``. ``attrs["open_items"]``
        has a sentence on each thing open, ``attrs["complete"]`` whether there is none.

    Notes
    -----
    A record, no acceptance: that is signed by the engineer and the contractor.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> import numpy as np
    >>> from groundborne.sizing import plan_lift, tension_check
    >>> from groundborne.sizing.jacking.rules import LiftRules, lifting_strength
    >>> from groundborne.sizing.correction.survey import Survey
    >>> from groundborne.sizing.correction.blunders import judge_survey
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 2.0, 0.0, 2.0], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 2.0, 2.0], dims="jack", coords=names))
    >>> lift = plan_lift(grid=grid, gap=0.05, pitch=3e-3, rules=LiftRules(kind="rubber"),
    ...                  strength=lifting_strength(cubes=(24.1,)))
    >>> points = xr.Dataset({"x": ("point", [0.0, 2.0, 0.0, 2.0, 1.0]),
    ...     "y": ("point", [0.0, 0.0, 2.0, 2.0, 1.0]),
    ...     "height": ("point", [0.050, 0.050, 0.049, 0.038, 0.047])},
    ...     coords={"point": ["P1", "P2", "P3", "P4", "P5"]})
    >>> record = handover_record(
    ...     grid=grid, lift=lift, turned=xr.zeros_like(grid.x),
    ...     judged=judge_survey(survey=Survey(data=points, quantity="gap"), target=0.05),
    ...     tension=tension_check(grid=grid, deflection=xr.full_like(grid.x, 5e-3), least=3e-3,
    ...                           largest=7e-3))
    >>> record.attrs["open_items"]
    ('point P4 at (2, 2) m is 12 mm below its target, the limit is 10 mm',)
    """
    where = "handover_record"
    finite(where, "turned", turned)
    corrections = on_jacks(where, "turned", turned, grid)
    planned = on_jacks(where, "lift", lift["total_turns"], grid)
    deflection = on_jacks(where, "tension", tension["deflection"], grid)
    carries = tension["carries"].sel(jack=grid.jack.values)
    limit = float(judged.attrs["limit"])
    believed = ~marked(where, judged, "blunder")
    out = judged.isel(point=~marked(where, judged, "within_limit") & believed)
    rows = zip(
        out["point"].values.tolist(),
        *(out[n].values.tolist() for n in ("x", "y", "deviation")),
        strict=True,
    )
    items = (
        *judged.attrs["missing"],
        *judged.attrs["blunders"],
        *(
            f"point {n} at ({x:g}, {y:g}) m is {abs(d) * 1e3:.3g} mm "
            f"{'above' if d > 0 else 'below'} its target, the limit is {limit * 1e3:g} mm"
            for n, x, y, d in rows
        ),
        *tension.attrs["open_items"],
    )
    return xr.Dataset(
        {
            "x": grid.x.reset_coords(drop=True),
            "y": grid.y.reset_coords(drop=True),
            "planned_turns": planned.reset_coords(drop=True),
            "correction_turns": corrections.reset_coords(drop=True),
            "total_turns": (planned + corrections).reset_coords(drop=True),
            "mount_deflection": deflection.reset_coords(drop=True),
            "carries": carries.reset_coords(drop=True),
            "point_x": judged["x"],
            "point_y": judged["y"],
            "deviation": judged["deviation"],
            "within_aim": judged["within_aim"],
            "within_limit": judged["within_limit"],
            "blunder": judged["blunder"],
        },
        attrs={
            "complete": not items,
            "open_items": items,
            "strength": lift.attrs["verdict"],
            "quantity": judged.attrs["quantity"],
            "limit": limit,
            "aim": float(judged.attrs["aim"]),
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((JACK_PRACTICE,)),
        },
    )


@checked
def handover_tables(result: xr.Dataset) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Jacks and points of :func:`handover_record`, for print.

    Parameters
    ----------
    result : Dataset
        From :func:`handover_record`.

    Returns
    -------
    tuple of pandas.DataFrame
        One row per jack, and one per point; cautions and open items stand in ``attrs`` of both.

    Examples
    --------
    >>> record = xr.Dataset({
    ...     "x": ("jack", [0.0]), "y": ("jack", [0.0]), "planned_turns": ("jack", [20.0]),
    ...     "correction_turns": ("jack", [0.5]), "total_turns": ("jack", [20.5]),
    ...     "mount_deflection": ("jack", [5e-3]), "carries": ("jack", [True]),
    ...     "point_x": ("point", [0.0]), "point_y": ("point", [0.0]),
    ...     "deviation": ("point", [1e-3]), "within_aim": ("point", [True]),
    ...     "within_limit": ("point", [True]), "blunder": ("point", [False])},
    ...     coords={"jack": ["A1"], "point": ["P1"]}, attrs={"cautions": "", "open_items": ()})
    >>> handover_tables(record)[1]["deviation_mm"].tolist()
    [1.0]
    """
    jacks = pd.DataFrame(
        {
            "jack": result["jack"].values.astype(object),
            "x_m": result["x"].values,
            "y_m": result["y"].values,
            "planned_turns": result["planned_turns"].values,
            "correction_turns": result["correction_turns"].values,
            "total_turns": result["total_turns"].values,
            "mount_deflection_mm": (result["mount_deflection"].values * 1e3).round(2),
            "carries": result["carries"].values,
        }
    )
    points = pd.DataFrame(
        {
            "point": result["point"].values.astype(object),
            "x_m": result["point_x"].values,
            "y_m": result["point_y"].values,
            "deviation_mm": (result["deviation"].values * 1e3).round(2),
            "within_aim": result["within_aim"].values,
            "within_limit": result["within_limit"].values,
            "blunder": result["blunder"].values,
        }
    )
    kept = {name: result.attrs[name] for name in ("cautions", "open_items")}
    jacks.attrs.update(kept)
    points.attrs.update(kept)
    return jacks, points
