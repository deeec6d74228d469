"""Loads and movements at every step of a release, and whether all limits are kept on the way."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite
from groundborne.citation import DERIVED, citation_texts
from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.release.frame import ReleaseFrame
from groundborne.sizing.release.rules import Rules
from groundborne.sizing.release.stages import CAUTION
from groundborne.sizing.release.states import Array, Outcome, States
from groundborne.sizing.release.task import SLACK
from groundborne.structure.plate_on_springs import PlateOnSprings
from groundborne.structure.supports import on_columns


@checked
def release_loads(
    let_down: xr.DataArray,
    *,
    frame: ReleaseFrame,
    plan: ColumnPlan,
    limits: MovementLimits,
    already_moved: Numeric = 0.0,
) -> xr.Dataset:
    """Loads and movements at every step of a release, for every order of work within a step.

    Parameters
    ----------
    let_down : DataArray
        How far each column has been let down since work began [m], downwards, on ``step, column``;
        the first entry of ``step`` is the state before the first step. Released is whoever has
        come all of ``frame.remaining``.
    frame : ReleaseFrame
        The building, and what its supports bear.
    plan : ColumnPlan
        Positions and neighbours.
    limits : MovementLimits
        Of the movements as the plate makes them.
    already_moved : float or DataArray
        Movement before work [m], which counts towards movements.

    Returns
    -------
    xarray.Dataset
        On ``rigidity`` (names of the plates)``, step, column``, after the step: ``column_load``,
        ``pack_load`` of the springs, ``lock_load`` [N], above 0 where the lock holds the springs
        down and below 0 where it carries the column, and ``plate_movement`` [m] since locking. On
        the way: ``column_load_most``, ``column_load_least``, ``pack_load_most``,
        ``lock_load_most``, either way, and ``jack_load_most``, of columns worked on [N], and
        ``plate_movement_most`` [m], down or up. On ``rigidity, step``: ``plate_differential``,
        ``plate_tilt`` on the way, and with ``_after`` after the step; ``imbalance``, force and
        moments out of balance over the load; ``lifts_off`` where a column would lift on the way.
        On ``step``: ``limits_kept``, ``exceeded`` (a sentence) and ``closest`` (the limit used
        most).

    Raises
    ------
    ValueError
        Let-downs that go back or beyond what remains, more than 12 columns in one step.
    TippingError
        Columns that lift off so that the rest does not hold the building.

    Notes
    -----
    A column that would be pulled lifts off: loads after the step are then those of the plate
    without it (springs push only); those on the way are given as if it were held down, with its
    pull as a load below 0, and the step counts as beyond limits.

    References
    ----------
    Derived; see :class:`ReleaseFrame`.

    Examples
    --------
    >>> from groundborne.structure import PlatePart
    >>> at = {"column": ["A", "B", "C", "D"]}
    >>> x = xr.DataArray([0.0, 6.0, 0.0, 6.0], dims="column", coords=at)
    >>> y = xr.DataArray([0.0, 0.0, 6.0, 6.0], dims="column", coords=at)
    >>> plate = PlateOnSprings(x=x, y=y, stiffness=4e9,
    ...     parts=[PlatePart(x=(-1.0, 7.0), y=(-1.0, 7.0), rigidity=2e9)])
    >>> frame = ReleaseFrame(plates={"soft": plate}, load=0 * x + 3e6, precompression=2.7e6,
    ...                      stiffness=1e8)
    >>> order = xr.concat([0 * x, frame.remaining * [1, 0, 0, 0], frame.remaining], "step")
    >>> found = release_loads(order, frame=frame,
    ...     plan=ColumnPlan(x=x, y=y, neighbour_distance=6.1),
    ...     limits=MovementLimits(differential=4e-3, tilt=1 / 1000))
    >>> (found.column_load.isel(rigidity=0, step=1) / 1e3).round().values.tolist()
    [2832.0, 3168.0, 3168.0, 2832.0]
    >>> (found.column_load.isel(rigidity=0, step=2) / 1e3).round().values.tolist()
    [3000.0, 3000.0, 3000.0, 3000.0]
    """
    where = "release_loads"
    if set(let_down.dims) != {"step", "column"}:
        raise ValueError(f"{where}: let_down must be a DataArray with dims 'step' and 'column'")
    if "step" not in let_down.coords:
        let_down = let_down.assign_coords(step=np.arange(let_down.sizes["step"]))
    finite(where, "let_down", let_down)
    columns = plan.column
    gone = on_columns(where, "let_down", let_down, columns).transpose("step", "column").values
    start = on_columns(where, "already_moved", already_moved, columns)
    if start.dims != ("column",):
        raise ValueError(f"{where}: already_moved must have dim 'column' only")
    rules = Rules.of(frame, plan, limits, start.values)
    gone = np.where(rules.free(gone), rules.remaining, gone)
    down = np.where(rules.remaining < 0, -1.0, 1.0)
    off = (down * gone < -rules.tiny) | (down * (rules.remaining - gone) < -rules.tiny)
    off[1:] |= down * np.diff(gone, axis=0) < -rules.tiny
    if off.any():
        step, at = (int(k[0]) for k in np.nonzero(off))
        raise ValueError(
            f"{where}: let_down of {rules.names[at]} is {gone[step, at]:g} m at step "
            f"{let_down['step'].values[step]}; it must go from 0 to the {rules.remaining[at]:g} m "
            "that remain and never back"
        )
    return table_of_loads(rules, gone, let_down["step"].values, plan, frame)


def table_of_loads(
    rules: Rules, gone: Array, steps: Array, plan: ColumnPlan, frame: ReleaseFrame
) -> xr.Dataset:
    """The table of :func:`release_loads`, of let-downs that are known to be right."""
    found = {label: _plate_steps(rules, label, gone, plan, frame) for label in rules.states}
    return _dataset(found, steps, plan.column)


def _plate_steps(
    rules: Rules, label: str, gone: Array, plan: ColumnPlan, frame: ReleaseFrame
) -> dict[str, list[Any]]:
    states = rules.states[label]
    rows: dict[str, list[Any]] = {}

    def keep(**values: Any) -> None:
        for name, value in values.items():
            rows.setdefault(name, []).append(value)

    level = states.load.max(initial=0.0)
    for number, after in enumerate(gone):
        step = rules.step(label, gone[max(number - 1, 0)], after)
        end, most, balance = step.after, step.most, step.imbalance
        if (end.column < -1e-9 * level).any():
            end = _lifted(states, frame.plates[label], after, rules.free(after), plan)
            balance = max(balance, states.imbalance(end.column - states.load))
        keep(
            column_load=end.column[0],
            pack_load=end.pack[0],
            lock_load=end.lock[0],
            plate_movement=rules.start + end.movement[0],
            column_load_most=most["column"],
            column_load_least=most["column_least"],
            pack_load_most=most["pack"],
            lock_load_most=most["lock"],
            jack_load_most=most["jack"],
            plate_movement_most=most["travel"],
            plate_differential=most["differential"].max(initial=0.0),
            plate_tilt=most["tilt"][0],
            plate_differential_after=rules.apart(end.movement[0]),
            plate_tilt_after=rules.slopes(end.movement[0]),
            imbalance=balance,
            lifts_off=(most["column_least"] < -1e-9 * level).any(),
            excess=step.worst.excess,
            name=step.worst.name,
            said=step.worst.said,
        )
    return rows


def _lifted(
    states: States, plate: PlateOnSprings, let_down: Array, free: Array, plan: ColumnPlan
) -> Outcome:
    """The state with springs that only push, from the plate itself."""
    at = {"column": plan.column.values}

    def named(values: Array) -> xr.DataArray:
        return xr.DataArray(values, dims="column", coords=at)

    held = states.load / states.locked - let_down
    raised = np.where(free, states.precompression / states.stiffness, held)
    found = plate.response(
        named(states.load),
        raised=named(raised),
        factor=named(np.where(free, states.stiffness / states.locked, 1.0)),
    ).sel(column=plan.column.values)
    column, movement = found["reaction"].values, found["deflection"].values
    # Under a column that has left it a released pack is slack; a locked one stays as locked.
    lying = np.where(column > 0, movement, np.where(free, 0.0, let_down))
    pack = states.precompression + states.stiffness * lying
    pack = np.where((column <= 0) & free, 0.0, pack)
    lock = np.where(free, 0.0, pack - column)
    return Outcome(column=column[None], pack=pack[None], lock=lock[None], movement=movement[None])


def _dataset(found: dict[str, dict[str, list[Any]]], steps: Array, columns: Any) -> xr.Dataset:
    rows = {n: np.array([plate[n] for plate in found.values()]) for n in next(iter(found.values()))}
    excess = rows.pop("excess")
    worst = excess.argmax(axis=0)
    number = np.arange(excess.shape[1])
    kept = excess.max(axis=0) <= SLACK
    names, said = rows.pop("name")[worst, number], rows.pop("said")[worst, number]
    result = xr.Dataset(
        coords={"rigidity": list(found), "step": steps, "column": columns.values},
        attrs={"citations": citation_texts([DERIVED]), "caution": CAUTION},
    )
    for name, values in rows.items():
        dims = ("rigidity", "step", "column")[: values.ndim]
        result[name] = (dims, values)
        if name.startswith(("plate_movement", "plate_differential")):
            result[name].attrs["units"] = "m"
        elif "_load" in name:
            result[name].attrs["units"] = "N"
    result["limits_kept"] = ("step", kept & ~rows["lifts_off"].any(axis=0))
    result["exceeded"] = ("step", np.where(kept, "", said))
    result["closest"] = ("step", names)
    return result
