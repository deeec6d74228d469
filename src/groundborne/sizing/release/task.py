"""A release in plain arrays: what a column may do in a step, and how few steps can do at all."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from groundborne.sizing.programs import solve_program

Array = np.ndarray[Any, Any]

DONE = 1e-9
"""Share of a movement below which it counts as finished."""
SLACK = 1e-5
"""Share by which a limit may be exceeded: rounding of sums, of the fan and of a solver."""
DIRECTIONS = 720
_NODES = 200
NEVER = 10**6
"""Steps where no number of them does."""


class Bearing(Protocol):
    """Limits of loads: what the frame says of a state and of a step."""

    def state(self, way: Array) -> tuple[bool, Array]:
        """Whether the state is borne, and which columns no jack may work on in it."""
        ...

    def step(self, before: Array, after: Array) -> bool:
        """Whether all is borne on the way, whatever the order of work."""
        ...

    def why(self, before: Array, after: Array) -> str:
        """Which limit a step exceeds, and where."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Task:
    """What is to be released, in plain arrays over the columns.

    Parameters
    ----------
    start, remaining : ndarray
        Movement before release and what each column has still to move [m].
    largest_step : ndarray
        Most one column moves in a step [m].
    increment : float or None
        Whole parts in which a column moves [m], but for what is left at its last.
    first, second : ndarray
        Columns of each pair of neighbours.
    slope : ndarray
        (2, columns): from movement to the slopes of the plane.
    centre_distance : ndarray
        From the middle of the plan [m].
    differential, tilt : float
        Limits.
    at_once : int
        Columns in one step.
    bearing : Bearing, optional
        Limits of loads.
    """

    start: Array
    remaining: Array
    largest_step: Array
    increment: float | None
    first: Array
    second: Array
    slope: Array
    centre_distance: Array
    differential: float
    tilt: float
    at_once: int
    bearing: Bearing | None = None

    @cached_property
    def down(self) -> Array:
        """1 where a column goes down, −1 where it rises."""
        return np.where(self.remaining < 0, -1.0, 1.0)

    @cached_property
    def size(self) -> Array:
        """How far each column has to go, either way [m]."""
        return abs(self.remaining)

    @cached_property
    def tiny(self) -> float:
        """A way below which nothing has moved [m]."""
        return float(DONE * self.size.max(initial=0.0))

    @cached_property
    def fan(self) -> Array:
        """Slopes in a fan of directions (directions, columns)."""
        angle = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
        rows: Array = np.stack([np.cos(angle), np.sin(angle)], axis=-1) @ self.slope
        return rows

    @cached_property
    def most(self) -> Array:
        """Most that one visit can bring a column [m], whatever the others do.

        A column with a neighbour passes from one limit below it to one limit above it at most,
        and in no direction through more than the tilt to either side.
        """
        coupled = np.zeros(self.size.size, bool)
        coupled[np.concatenate([self.first, self.second])] = True
        wide = 1 + SLACK
        turned = np.hypot(*self.slope)
        found: Array = np.minimum.reduce(
            [
                self.largest_step,
                np.where(coupled, 2 * self.differential * wide, np.inf),
                2 * self.tilt * wide / np.maximum(turned, 1e-300),
            ]
        )
        return found

    def left(self, way: Array) -> Array:
        """What each column has still to go [m], 0 where finished."""
        left = self.size - way
        return np.where(left > self.tiny, left, 0.0)

    def whole(self, amount: Array, left: Array) -> Array:
        """Amounts a site can make: whole increments, or all that is left."""
        if self.increment is not None:
            parts = np.floor(np.minimum(amount, left) / self.increment * (1 + DONE))
            part = parts * self.increment
        else:
            part = amount
        found: Array = np.where(amount >= left - self.tiny, left, np.maximum(part, 0.0))
        return found

    def visits(self, way: Array | float = 0.0) -> Array:
        """Least number of steps in which each column must still be worked on."""
        left = self.left(np.broadcast_to(way, self.size.shape))
        whole = self.whole(np.minimum(self.most, left), left)
        stuck = (left > 0) & (whole <= self.tiny)
        beyond = np.maximum(left - self.most, 0.0) / np.where(whole > 0, whole, 1.0)
        least = np.where(left > 0, 1 + np.ceil(beyond * (1 - DONE) - DONE), 0)
        found: Array = np.where(stuck, NEVER, least).astype(int)
        return found

    def farthest(self, way: Array, others: Array, column: Array, other: Array) -> Array:
        """Farthest way of columns with each beside another at its way, both in one direction."""
        ahead = self.down[column] * (self.start[other] - self.start[column])
        reach = others + self.differential * (1 + SLACK) + ahead
        left = self.size[column] - way
        amount = np.minimum(np.minimum(self.largest_step[column], reach - way), left)
        gone = way + self.whole(np.maximum(amount, 0.0), left)
        return np.asarray(np.minimum(gone, self.size[column]))

    def least_steps(self) -> tuple[int, str]:
        """Least number of steps that any order takes, and what it follows from.

        The largest of four bounds. *Columns at once*: visits that each column needs, raised by
        what two neighbours need together (least sum over the plan), over
        columns at once. *A column*: the visits of one. *Neighbours*: with as many jacks as
        columns, everybody going as far as the neighbours' last places allow; where all go one
        way, farther is never worse for the differential, so that no order is ahead of this one.
        *Tilt*: a step that brings P to one side and N to the other needs room for both,
        P + N ≤ 2 T in every direction.
        """
        visits = self.visits()
        if (visits >= NEVER).any():
            return NEVER, "the least a column can move at a time is beyond a limit"
        total = self._visits_together(visits)
        swing = (abs(self.fan) @ self.size).max(initial=0.0) / (2 * self.tilt * (1 + SLACK))
        bounds = {
            "columns at once": -(-total // self.at_once),
            "visits of one column": int(visits.max(initial=0)),
            "the differential between neighbours": self._steps_of_neighbours(),
            "the tilt": int(np.ceil(swing * (1 - DONE) - DONE)),
        }
        name = max(bounds, key=lambda n: bounds[n])
        return int(bounds[name]), name

    def _same_way(self) -> Array:
        return np.asarray(self.down[self.first] == self.down[self.second])

    def _steps_of_neighbours(self) -> int:
        keep = self._same_way()
        a = np.concatenate([self.first[keep], self.second[keep]])
        b = np.concatenate([self.second[keep], self.first[keep]])
        way, steps = np.zeros(self.size.size), 0
        while (self.left(way) > 0).any():
            left = self.left(way)
            free = way + self.whole(np.minimum(self.most, left), left)
            np.minimum.at(free, a, self.farthest(way[a], way[b], a, b))
            if (free <= way + self.tiny).all():
                return NEVER
            way, steps = free, steps + 1
        return steps

    def _visits_together(self, visits: Array) -> int:
        """Least sum of visits, each column and each pair of neighbours having theirs."""
        from scipy.optimize import LinearConstraint
        from scipy.sparse import csr_array

        keep = self._same_way()
        pairs = [
            (a, b, need)
            for a, b in zip(self.first[keep].tolist(), self.second[keep].tolist(), strict=True)
            if (need := self._visits_of_pair(a, b)) > visits[a] + visits[b]
        ]
        if not pairs:
            return int(visits.sum())
        ends, least = np.array([p[:2] for p in pairs]), np.array([p[2] for p in pairs])
        entries = (np.ones(ends.size), (np.repeat(np.arange(least.size), 2), ends.ravel()))
        matrix = csr_array(entries, shape=(least.size, visits.size))
        found = solve_program(
            np.ones(visits.size),
            constraints=[LinearConstraint(matrix, lb=least)],
            lower=visits.astype(float),
            upper=float(NEVER),
            whole=np.ones(visits.size),
            nodes=_NODES,
        )
        return max(int(visits.sum()), int(np.ceil(max(found.bound, 0.0) - 1e-6)))

    def _visits_of_pair(self, a: int, b: int) -> int:
        """Visits that two neighbours need together, were there nobody else.

        Each goes as far as the other's place allows; farther is never worse (see above), so only
        who goes next is tried.
        """
        reached = {(0.0, 0.0)}
        pair = (np.array([a]), np.array([b]))
        for count in range(NEVER):
            if any(
                self.size[a] - p <= self.tiny and self.size[b] - q <= self.tiny for p, q in reached
            ):
                return count
            grown = set()
            for p, q in reached:
                way, other = np.array([p]), np.array([q])
                grown.add((float(self.farthest(way, other, *pair)[0]), q))
                grown.add((p, float(self.farthest(other, way, *pair[::-1])[0])))
            grown = {
                s for s in grown if not any(t != s and t[0] >= s[0] and t[1] >= s[1] for t in grown)
            }
            if grown <= reached:
                return NEVER
            reached = grown
        return NEVER
