"""Text of a method statement for a release: steps and hold points, one row each."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import not_negative
from groundborne.sizing.movement.column_plan import MovementLimits
from groundborne.sizing.release.frame import ReleaseFrame
from groundborne.sizing.release.stages import CAUTION
from groundborne.sizing.release.task import DIRECTIONS, SLACK
from groundborne.structure.supports import on_columns

_FOUND = {
    "column_least": "column_load_least",
    "column": "column_load_most",
    "lock": "lock_load_most",
    "jack": "jack_load_most",
    "pack": "pack_load_most",
    "travel": "plate_movement_most",
}
"""Of each limit of supports, what an order holds beside it."""
RELEASED_BY = "licensed engineer in charge of the release"

CAUTIONS = (
    CAUTION,
    (
        "This table is a draft for the method statement of the specialist contractor, not the "
        "method statement itself: access, jacks and their stability, safe systems of work, "
        "emergency locking and the people named are not in it."
    ),
    (
        "No step begins before the hold point in front of it is released in writing. Where a "
        "reading is beyond its limit, or off what is expected by more than the tolerance, work "
        "stops, locks are set, and the licensed engineer decides."
    ),
    (
        "Loads are those of an elastic plate on supports, between the rigidities stated; jack "
        "pressures on site are the measurement, these are the expectation. The jack's own lift to "
        "free a lock comes on top."
    ),
)


@checked
def method_statement(
    order: xr.Dataset,
    *,
    frame: ReleaseFrame,
    limits: MovementLimits,
    tolerance: float = 0.5e-3,
) -> pd.DataFrame:
    """Steps and hold points of a release, for print.

    Parameters
    ----------
    order : Dataset
        From :func:`~groundborne.sizing.order_of_release` with `frame`.
    frame : ReleaseFrame
        Whose limits are printed: every step of the order is held against them again.
    limits : MovementLimits
        Of movement, likewise.
    tolerance : float
        By which a survey may be off what is expected before work stops [m], 0 or more; 0.5 mm
        where left out, assumed here.

    Returns
    -------
    pandas.DataFrame
        A hold point before work, then by step a row of work and a hold point: ``step``, ``kind``,
        ``columns``, ``action``, ``let_down_mm`` by column, those that rise marked. Expected over
        all plates and orders of work: ``jack_load_kn`` at most, of each column worked on, at the
        hold point those of the step before it; ``lock_load_kn``, in a row of work at most, of each
        column worked on and of the worst other, at a hold point as it should read then (least and
        most of the plates), of every lock that bears; ``pack_load_kn``, ``column_load_kn``,
        ``column_least_kn`` with the column each is found at; ``movement_mm`` by column after the
        step (least and most of the plates); ``differential_mm``, ``tilt`` of the plates, in a row
        of work on the way and at a hold point after it, to be held against a survey; and
        ``differential_bound_mm``, ``tilt_bound`` where the frame follows, the soft bound that the
        limits are held against as well. ``limits``, ``check`` and ``released_by``. Cautions and
        the proof of the order are in ``attrs``.

    Raises
    ------
    ValueError
        An order without loads, of another frame, or one that does not keep its own limits or those
        given here.

    Notes
    -----
    That work stops at points which an engineer releases is common practice; what is checked there
    is for the project to complete.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> from groundborne.sizing import ColumnPlan, ReleaseWork, order_of_release
    >>> from groundborne.structure import PlateOnSprings, PlatePart
    >>> at = {"column": ["A", "B", "C", "D"]}
    >>> x = xr.DataArray([0.0, 6.0, 0.0, 6.0], dims="column", coords=at)
    >>> y = xr.DataArray([0.0, 0.0, 6.0, 6.0], dims="column", coords=at)
    >>> plate = PlateOnSprings(x=x, y=y, stiffness=4e9,
    ...     parts=[PlatePart(x=(-1.0, 7.0), y=(-1.0, 7.0), rigidity=2e9)])
    >>> frame = ReleaseFrame(plates={"soft": plate}, load=0 * x + 3e6, precompression=2.7e6,
    ...                      stiffness=1e8)
    >>> limits = MovementLimits(differential=4e-3, tilt=1 / 1000)
    >>> order = order_of_release(
    ...     frame.remaining, plan=ColumnPlan(x=x, y=y, neighbour_distance=6.1), limits=limits,
    ...     work=ReleaseWork(at_once=2, steps=4), frame=frame)
    >>> table = method_statement(order, frame=frame, limits=limits)
    >>> table["kind"].tolist()
    ['hold point', 'work', 'hold point', 'work', 'hold point']
    >>> table["jack_load_kn"].tolist()
    ['', 'A 300, D 300', 'A 300, D 300', 'B 512, C 512', 'B 512, C 512']
    """
    where = "method_statement"
    not_negative(where, "tolerance", tolerance, "m")
    lacking = [n for n in ("jack_load_most", "worked_on") if n not in order]
    if lacking:
        raise ValueError(
            f"{where}: order holds no {lacking[0]}; give one from order_of_release with a frame"
        )
    kept = (order["within_limits"] & order["limits_kept"]).values
    if not kept.all():
        raise ValueError(
            f"{where}: step {order['step'].values[~kept][0]} exceeds a limit; no method statement "
            "is made of that"
        )
    _require_kept(where, order, frame, limits)
    said = _limits(frame, limits)
    rows = [_hold(order, 0, tolerance)]
    for step in range(1, order.sizes["step"]):
        rows += [_work(order, step, said), _hold(order, step, tolerance)]
    table = pd.DataFrame(rows)
    table.attrs["cautions"] = CAUTIONS
    table.attrs["proof"] = str(order.attrs["proof"])
    table.attrs["assumption"] = str(order.attrs["assumption"])
    table.attrs["citations"] = str(order.attrs["citations"])
    return table


def _require_kept(
    where: str, order: xr.Dataset, frame: ReleaseFrame, limits: MovementLimits
) -> None:
    """Refuse to print limits that are not those of the order, and that it does not keep."""
    begins = order["column_load"].isel(step=0, drop=True)
    load = on_columns(where, "load of frame", frame.load, order["column"])
    if not np.allclose(begins, load, rtol=1e-6, atol=1e-6 * float(load.max())):
        raise ValueError(f"{where}: order begins with other loads than frame; give its own frame")
    level = float(order["column_load_most"].max())
    checks: list[tuple[str, Any, Any, str, float]] = [
        ("differential", order[n], limits.differential, "mm", 1e3)
        for n in ("differential_on_the_way", "plate_differential")
    ]
    # The tilt on the way is an upper bound over directions, high by the cosine of half a step.
    wide = limits.tilt / np.cos(np.pi / DIRECTIONS)
    checks += [("tilt", order[n], wide, "", 1.0) for n in ("tilt_on_the_way", "plate_tilt")]
    for name, found in _FOUND.items():
        limit = getattr(frame.limits, name)
        if limit is not None:
            limit = on_columns(where, f"limit of {name}", limit, order["column"])
            unit, scale = ("mm", 1e3) if name == "travel" else ("kN", 1e-3)
            sign = -1.0 if name == "column_least" else 1.0
            checks.append((name, sign * order[found], sign * limit, unit, scale))
    for name, value, limit, unit, scale in checks:
        size: Any = level if name == "column_least" else limit
        over = (value - limit > SLACK * size).any([d for d in value.dims if d != "step"])
        if bool(over.any()):
            step = order["step"].values[int(np.argmax(over.values))]
            most = float(np.abs(value.sel(step=step)).max())
            if name == "column_least":
                most = float(order[_FOUND[name]].sel(step=step).min())
            raise ValueError(
                f"{where}: step {step} exceeds the limit of {name} given here, with "
                f"{scale * most:.4g} {unit}".rstrip()
                + "; give the limits that the order was made with, or make an order for these"
            )


def _limits(frame: ReleaseFrame, limits: MovementLimits) -> str:
    parts = [
        f"{1e3 * limits.differential:g} mm between neighbours",
        f"tilt 1 in {1 / limits.tilt:.0f}",
    ]
    for name, value in vars(frame.limits).items():
        if value is None:
            continue
        unit, scale = ("mm", 1e3) if name == "travel" else ("kN", 1e-3)
        low, high = scale * float(np.min(value)), scale * float(np.max(value))
        words = "column at least" if name == "column_least" else name
        parts.append(f"{words} {low:.4g}{'' if low == high else f' to {high:.4g}'} {unit}")
    free = [n for n in ("jack", "lock", "pack") if getattr(frame.limits, n, None) is None]
    if free:
        parts.append(f"NO LIMIT GIVEN for the load on {', '.join(free)}")
    return "; ".join(parts)


def _at(values: xr.DataArray, pick: str = "max") -> str:
    """The largest or least of all plates, and the column it is found at."""
    worst = getattr(values, pick)("rigidity")
    at = worst["column"].values[int(getattr(worst, f"arg{pick}")("column"))]
    return f"{float(getattr(worst, pick)()) / 1e3:.0f} at {at}"


def _by_column(names: Any, values: Any) -> str:
    return ", ".join(f"{n} {v}" for n, v in zip(names, values, strict=True))


def _ends(values: xr.DataArray, digits: int) -> list[str]:
    """Least and most of the plates by column, one number where they read the same."""
    # 0 is added for no minus before a zero.
    low, high = (
        [f"{v + 0.0:.{digits}f}" for v in end.round(digits).values.tolist()]
        for end in (values.min("rigidity"), values.max("rigidity"))
    )
    return [a if a == b else f"{a} to {b}" for a, b in zip(low, high, strict=True)]


def _worked(now: xr.Dataset, name: str) -> str:
    """Most of each column worked on, over the plates [kN]."""
    some = now.isel(column=np.flatnonzero(now["worked_on"].values))
    most = some[name].max("rigidity").values / 1e3
    return _by_column(some["column"].values, [f"{v:.0f}" for v in most.tolist()])


def _locks_on_the_way(now: xr.Dataset) -> str:
    """Most of the lock of each column worked on, and of the worst other [kN]."""
    said = _worked(now, "lock_load_most")
    other = now.isel(column=np.flatnonzero(~now["worked_on"].values))
    if other.sizes["column"] and float(other["lock_load_most"].max()) > 0:
        said += f"; others at most {_at(other['lock_load_most'])}"
    return said


def _locks_at_rest(now: xr.Dataset) -> str:
    """What every lock that bears, or was worked on, should read [kN]."""
    load = abs(now["lock_load"]) / 1e3
    bears = now["worked_on"].values | (load.max("rigidity").values >= 0.5)
    some = load.isel(column=np.flatnonzero(bears))
    return _by_column(some["column"].values, _ends(some, 0)) or "none"


def _mm(values: xr.DataArray) -> float:
    return round(1e3 * float(values.max()), 2)


def _tilt(slope: float) -> str:
    return "level" if slope < 1e-7 else f"1 in {1 / slope:.0f}"


def _work(order: xr.Dataset, step: int, limits: str) -> dict[str, object]:
    now = order.isel(step=step)
    worked = now["worked_on"].values
    names = now["column"].values[worked]
    gone = now["step_movement"].values[worked]
    done = now["share_released"].values[worked] >= 1
    down = [
        f"{'RISES ' if d < 0 else ''}{1e3 * abs(d):.2f}{' (released)' if f else ''}"
        for d, f in zip(gone, done, strict=True)
    ]
    moved = now["plate_movement"].isel(column=np.flatnonzero(worked)) * 1e3
    return {
        "step": int(now["step"]),
        "kind": "work",
        "columns": ", ".join(map(str, names)),
        "action": _action(names, rises=gone < 0, done=done),
        "let_down_mm": _by_column(names, down),
        "jack_load_kn": _worked(now, "jack_load_most"),
        "lock_load_kn": _locks_on_the_way(now),
        "pack_load_kn": _at(now["pack_load_most"]),
        "column_load_kn": _at(now["column_load_most"]),
        "column_least_kn": _at(now["column_load_least"], "min"),
        "movement_mm": _by_column(names, _ends(moved, 2)),
        "differential_mm": _mm(now["plate_differential"]),
        "differential_bound_mm": _mm(now["differential_on_the_way"]),
        "tilt": _tilt(float(now["plate_tilt"].max())),
        "tilt_bound": _tilt(float(now["tilt_on_the_way"])),
        "limits": limits,
        "check": "",
        "released_by": "",
    }


def _action(names: Any, *, rises: Any, done: Any) -> str:
    """What is done in a step: columns that go down, those that rise, and their locks after it."""

    def named(which: Any) -> str:
        return ", ".join(str(n) for n in names[which])

    parts = ["take over the load of the locks with jacks and free the locks"]
    if not rises.all():
        parts.append(
            "let down by the amounts given, in any order (a column may come to rest on its springs "
            "before)"
        )
    if rises.any():
        parts.append(
            f"{named(rises)}: the locks hold compressed springs DOWN and the column RISES by the "
            "amount given; hold it with jacks against the rise and relieve the lock slowly"
        )
    if not done.all():
        parts.append(f"{named(~done)}: set the locks again")
    if done.any():
        parts.append(f"{named(done)}: leave on the springs and remove the lock")
    return "; ".join(parts)


def _hold(order: xr.Dataset, step: int, tolerance: float) -> dict[str, object]:
    now = order.isel(step=step)
    last = step == order.sizes["step"] - 1
    ends = _ends(now["plate_movement"] * 1e3, 2)
    moved = f"all {ends[0]}" if len(set(ends)) == 1 else _by_column(now["column"].values, ends)
    if step == 0:
        check = "survey of all columns as reference; packs, locks and jacks as drawn; gauges read"
    else:
        check = (
            "survey of all columns, each within "
            f"{1e3 * tolerance:g} mm of what is expected; jack loads of the step and locks "
            "beside those expected; packs, bearings and finishes looked at"
        )
        worked = now["worked_on"].values
        least = float(np.abs(now["step_movement"].values[worked]).min())
        if tolerance > least / 4:
            # A survey that is no finer than the step passes a column that never moved.
            check += (
                f"; dial gauges on {', '.join(map(str, now['column'].values[worked]))}, within "
                f"{1e3 * least / 4:.2g} mm, for {1e3 * tolerance:g} mm would not show whether they "
                f"moved by {1e3 * least:.2g} mm"
            )
    if last:
        check += "; all locks removed and recorded, nothing bridges the packs"
    return {
        "step": int(now["step"]),
        "kind": "hold point",
        "columns": "all",
        "action": "record and hand over" if last else "stop; go on only when released",
        "let_down_mm": "",
        "jack_load_kn": _worked(now, "jack_load_most"),
        "lock_load_kn": _locks_at_rest(now),
        "pack_load_kn": _at(now["pack_load"]),
        "column_load_kn": _at(now["column_load"]),
        "column_least_kn": _at(now["column_load"], "min"),
        "movement_mm": moved,
        "differential_mm": _mm(now["plate_differential_after"]),
        "differential_bound_mm": _mm(now["differential"]),
        "tilt": _tilt(float(now["plate_tilt_after"].max())),
        "tilt_bound": _tilt(float(now["tilt"])),
        "limits": "",
        "check": check,
        "released_by": RELEASED_BY,
    }
