"""Loads and movements at every step of a release, and whether all limits are kept on the way."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite
from groundborne.citation import DERIVED, citation_texts
from groundborne.sizing.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.release_frame import Array, Outcome, ReleaseFrame, States, states_of
from groundborne.sizing.release_task import SLACK
from groundborne.sizing.stages import CAUTION
from groundborne.structure.plate_on_springs import PlateOnSprings
from groundborne.structure.supports import on_columns

_WORDS = {
    "column": ("load of a column", "N"),
    "column_least": ("least load of a column", "N"),
    "lock": ("load of a lock", "N"),
    "jack": ("load of a jack", "N"),
    "pack": ("load of a pack", "N"),
    "travel": ("travel", "m"),
    "differential": ("differential between neighbours", "m"),
    "tilt": ("tilt", ""),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Rules:
    """All limits in plain arrays, and what states and steps make of them.

    ``names`` are those of the columns, ``start`` is what they moved before work [m].
    """

    states: dict[str, States]
    limits: dict[str, Any]
    first: Array
    second: Array
    slope: Array
    start: Array
    remaining: Array
    names: list[str]

    @classmethod
    def of(
        cls, frame: ReleaseFrame, plan: ColumnPlan, limits: MovementLimits, start: Array
    ) -> Rules:
        """From the model objects, with columns in the order of the plan."""
        where = "release"
        columns = plan.column
        i, j = np.nonzero(np.triu(plan.adjacent))
        states = states_of(frame, columns)
        for label, one in states.items():
            place = np.stack([plan.x.values, plan.y.values])
            off = abs(one.place - place).max(axis=0) > 1e-6
            if off.any():
                raise ValueError(
                    f"{where}: column {columns.values[off][0]} lies elsewhere in plate {label!r} "
                    "than in the plan"
                )
        borne: dict[str, Any] = {"differential": limits.differential, "tilt": limits.tilt}
        for name in ("column_least", "column", "lock", "jack", "pack", "travel"):
            given = getattr(frame.limits, name)
            if given is not None:
                borne[name] = on_columns(where, name, given, columns).values
        return cls(
            states=states,
            limits=borne,
            first=i,
            second=j,
            slope=plan.slope_operator,
            start=start,
            remaining=on_columns(where, "remaining", frame.remaining, columns).values,
            names=[str(n) for n in columns.values],
        )

    @cached_property
    def tiny(self) -> float:
        """A let-down below which nothing has moved [m]."""
        return float(1e-9 * abs(self.remaining).max(initial=0.0))

    def free(self, let_down: Array) -> Array:
        """Who is released: whoever has come all the way."""
        return np.asarray(abs(self.remaining - let_down) <= self.tiny)

    def values(self, outcome: Outcome, worked: Array) -> dict[str, Array]:
        """Each limited quantity, (states, columns, pairs or 1); jacks of columns worked on."""
        moved = self.start + outcome.movement
        found = {
            "column": outcome.column,
            "column_least": outcome.column,
            "lock": abs(outcome.lock),
            "jack": np.where(worked, abs(outcome.lock), 0.0),
            "pack": outcome.pack,
            "travel": abs(moved),
            "differential": abs(moved[:, self.first] - moved[:, self.second]),
            "tilt": np.hypot(*(self.slope @ moved.T))[:, None],
        }
        return {name: value for name, value in found.items() if name in self.limits}

    def excess(self, name: str, value: Array, outcome: Outcome) -> Array:
        """Share by which a quantity exceeds its limit; at 0 or below it is kept."""
        if name == "column_least":
            level = max(float(outcome.column.max(initial=0.0)), 1e-30)
            return np.asarray((self.limits[name] - value) / level)
        return np.asarray(value / self.limits[name] - 1)

    def worst(self, outcome: Outcome, worked: Array, label: str) -> tuple[float, str, str]:
        """By how much the worst limit is exceeded, which it is, and where."""
        found = (-np.inf, "", "")
        for name, value in self.values(outcome, worked).items():
            excess = self.excess(name, value, outcome)
            if excess.size == 0 or float(excess.max()) <= found[0]:
                continue
            state, at = np.unravel_index(int(excess.argmax()), excess.shape)
            words, unit = _WORDS[name]
            if name == "tilt":
                place = ""
            elif name == "differential":
                place = f" from {self.names[self.first[at]]} to {self.names[self.second[at]]}"
            else:
                place = f" at {self.names[at]}"
            limit = float(np.broadcast_to(self.limits[name], excess.shape)[state, at])
            said = (
                f"the {words}{place}: {f'{value[state, at]:.4g} {unit}'.strip()}, limit "
                f"{f'{limit:.4g} {unit}'.strip()}, plate {label!r}"
            )
            found = (float(excess[state, at]), words, said)
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class FrameBearing:
    """Limits of a frame for the search, which knows ways and no directions."""

    rules: Rules
    down: Array

    def _let_down(self, way: Array) -> Array:
        gone = self.down * way
        return np.asarray(np.where(self.rules.free(gone), self.rules.remaining, gone))

    def state(self, way: Array) -> tuple[bool, Array]:
        """Whether all limits hold in a state, and for whom the lock's load is too much to jack."""
        rules = self.rules
        let_down = self._let_down(way)
        barred = np.zeros(way.size, bool)
        for states in rules.states.values():
            outcome = states.state(let_down, rules.free(let_down))
            for name, value in rules.values(outcome, np.ones(way.size, bool)).items():
                over = rules.excess(name, value, outcome) > SLACK
                if name == "jack":
                    barred |= over[0]
                elif over.any():
                    return False, barred
        return True, barred

    def step(self, before: Array, after: Array) -> bool:
        """Whether all limits hold on the way, whatever the order of work."""
        return self._worst(before, after)[0] <= SLACK

    def why(self, before: Array, after: Array) -> str:
        """The limit exceeded most."""
        return self._worst(before, after)[2]

    def _worst(self, before: Array, after: Array) -> tuple[float, str, str]:
        rules = self.rules
        a, b = self._let_down(before), self._let_down(after)
        found = (-np.inf, "", "")
        for label, states in rules.states.items():
            outcome, some = states.on_the_way(a, b, rules.free(a), rules.free(b))
            worked = np.isin(np.arange(a.size), some)
            found = max(found, rules.worst(outcome, worked, label), key=lambda f: f[0])
        return found


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
        ``plate_movement_most`` [m], down or up. On
        ``rigidity, step``: ``plate_differential``, ``plate_tilt`` on the way; ``imbalance``, force
        and moments out of balance over the load; ``lifts_off`` where a column would lift on the
        way. On ``step``: ``limits_kept``, ``exceeded`` (a sentence) and ``closest`` (the limit
        used most).

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
    found = {label: _plate_steps(rules, label, gone, plan, frame) for label in rules.states}
    return _dataset(found, let_down["step"].values, columns)


def _plate_steps(
    rules: Rules, label: str, gone: Array, plan: ColumnPlan, frame: ReleaseFrame
) -> dict[str, list[Any]]:
    states = rules.states[label]
    rows: dict[str, list[Any]] = {}

    def keep(**values: Any) -> None:
        for name, value in values.items():
            rows.setdefault(name, []).append(value)

    for step, after in enumerate(gone):
        before = gone[max(step - 1, 0)]
        way, some = states.on_the_way(before, after, rules.free(before), rules.free(after))
        worked = np.isin(np.arange(after.size), some)
        end = Outcome(**{n: v[-1:] for n, v in vars(way).items()})
        balance = float(states.imbalance(way).max())
        excess, name, said = rules.worst(way, worked, label)
        lifts = way.column < -1e-9 * states.load.max(initial=0.0)
        if lifts[-1].any():
            end = _lifted(states, frame.plates[label], after, rules.free(after), plan)
            balance = max(balance, float(states.imbalance(end).max()))
        moved = rules.start + way.movement
        apart = abs(moved[:, rules.first] - moved[:, rules.second])
        keep(
            column_load=end.column[0],
            pack_load=end.pack[0],
            lock_load=end.lock[0],
            plate_movement=rules.start + end.movement[0],
            column_load_most=way.column.max(axis=0),
            column_load_least=way.column.min(axis=0),
            pack_load_most=way.pack.max(axis=0),
            lock_load_most=abs(way.lock).max(axis=0),
            jack_load_most=np.where(worked, abs(way.lock).max(axis=0), 0.0),
            plate_movement_most=abs(moved).max(axis=0),
            plate_differential=apart.max(initial=0.0),
            plate_tilt=np.hypot(*(rules.slope @ moved.T)).max(),
            imbalance=balance,
            lifts_off=lifts.any(),
            excess=excess,
            name=name,
            said=said,
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
