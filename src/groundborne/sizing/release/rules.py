"""Limits of loads and movements on the plates of a frame, for states and steps of a release."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.sizing.movement.column_plan import ColumnPlan, MovementLimits
from groundborne.sizing.release.frame import ReleaseFrame, states_of
from groundborne.sizing.release.states import Array, Outcome, States
from groundborne.sizing.release.task import SLACK
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

    def most(self, ends: Outcome, movement: Array, worked: Array) -> dict[str, Array]:
        """Largest (or least) of each quantity by column, pair of neighbours, or once (tilt).

        Jacks are those of columns worked on; of pairs the largest is right, others may be 0.
        """
        slopes = movement @ self.slope.T + self.slope @ self.start
        lock = abs(ends.lock).max(axis=0)
        return {
            "column": ends.column.max(axis=0),
            "column_least": ends.column.min(axis=0),
            "lock": lock,
            "jack": np.where(worked, lock, 0.0),
            "pack": ends.pack.max(axis=0),
            "travel": abs(self.start + ends.movement).max(axis=0),
            "differential": self._apart(ends.movement, movement),
            "tilt": np.hypot(*slopes.T).max(keepdims=True),
        }

    def apart(self, movement: Array) -> float:
        """Largest difference of neighbours in one state [m]."""
        moved = self.start + movement
        return float(abs(moved[self.first] - moved[self.second]).max(initial=0.0))

    def slopes(self, movement: Array) -> float:
        """Tilt in one state."""
        return float(np.hypot(*(self.slope @ (self.start + movement))))

    def _apart(self, ends: Array, movement: Array) -> Array:
        """Largest difference of each pair of neighbours in any state; 0 where another's is larger.

        Least and most of the two alone bound it; pairs are looked at while their bound is above
        what was found.
        """
        low, high = self.start + ends.min(axis=0), self.start + ends.max(axis=0)
        i, j = self.first, self.second
        bound = np.maximum(high[i] - low[j], high[j] - low[i])
        found, most = np.zeros(bound.size), 0.0
        for pair in np.argsort(-bound, kind="stable").tolist():
            if bound[pair] < most:
                break
            a, b = i[pair], j[pair]
            between = movement[:, a] - movement[:, b] + (self.start[a] - self.start[b])
            found[pair] = abs(between).max()
            most = max(most, float(found[pair]))
        return found

    def excess(self, most: dict[str, Array]) -> dict[str, Array]:
        """Share by which each quantity that has a limit exceeds it; at 0 or below it is kept."""
        found = {n: most[n] / limit - 1 for n, limit in self.limits.items() if n != "column_least"}
        level = max(float(most["column"].max(initial=0.0)), 1e-30)
        return found | {
            "column_least": (self.limits["column_least"] - most["column_least"]) / level
        }

    def worst(self, most: dict[str, Array], label: str) -> Worst:
        """The limit exceeded most, or nearest to it."""
        excess = {n: e for n, e in self.excess(most).items() if e.size}
        name = max(excess, key=lambda n: float(excess[n].max()))
        at = int(excess[name].argmax())
        words, unit = _WORDS[name]
        if name == "tilt":
            place = ""
        elif name == "differential":
            place = f" from {self.names[self.first[at]]} to {self.names[self.second[at]]}"
        else:
            place = f" at {self.names[at]}"
        limit = float(np.broadcast_to(self.limits[name], excess[name].shape)[at])
        shown, scale = {"N": ("kN", 1e-3), "m": ("mm", 1e3)}.get(unit, (unit, 1.0))
        said = (
            f"the {words}{place}: {f'{scale * most[name][at]:.4g} {shown}'.strip()}, limit "
            f"{f'{scale * limit:.4g} {shown}'.strip()}, plate {label!r}"
        )
        return Worst(excess=float(excess[name][at]), name=words, said=said)

    def step(self, label: str, before: Array, after: Array) -> Step:
        """One step on one plate; kept, as the search and the table ask for the same ones."""
        key = (label, before.tobytes(), after.tobytes())
        if key not in self._kept:
            if len(self._kept) * before.size > 1e6:
                self._kept.clear()
            way = self.states[label].on_the_way(before, after, self.free(before), self.free(after))
            most = self.most(way.ends, way.movement, way.worked)
            self._kept[key] = Step(
                most=most,
                after=way.after,
                imbalance=way.imbalance,
                worst=self.worst(most, label),
            )
        return self._kept[key]

    @cached_property
    def _kept(self) -> dict[tuple[str, bytes, bytes], Step]:
        return {}


@dataclass(frozen=True, kw_only=True, eq=False)
class Worst:
    """A limit: share by which it is exceeded (below 0 kept), its name, and a sentence."""

    excess: float
    name: str
    said: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """A step on one plate: largest values on the way, state after it, balance, worst limit."""

    most: dict[str, Array]
    after: Outcome
    imbalance: float
    worst: Worst


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
            most = rules.most(outcome, outcome.movement, np.ones(way.size, bool))
            for name, excess in rules.excess(most).items():
                if name == "jack":
                    barred |= excess > SLACK
                elif (excess > SLACK).any():
                    return False, barred
        return True, barred

    def step(self, before: Array, after: Array) -> bool:
        """Whether all limits hold on the way, whatever the order of work."""
        return self._worst(before, after).excess <= SLACK

    def why(self, before: Array, after: Array) -> str:
        """The limit exceeded most."""
        return self._worst(before, after).said

    def _worst(self, before: Array, after: Array) -> Worst:
        a, b = self._let_down(before), self._let_down(after)
        found = [self.rules.step(label, a, b).worst for label in self.rules.states]
        return max(found, key=lambda worst: worst.excess)
