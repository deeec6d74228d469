"""Springs under a plate that push and do not pull: lost, softened and lifted ones.

The plate is known here by its bending compliance between the springs and by its rigid motions
alone, so that everything is dense algebra on the springs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.citation import Citation

ACTIVE_SET = Citation(
    key="dual-active-set",
    author="Goldfarb and Idnani",
    year="1983",
    title="dual active-set method for strictly convex quadratic programs",
    mark="from memory",
    status="transcribed",
)
Array = np.ndarray[Any, Any]
_ROUNDING = 1e-11


class TippingError(ValueError):
    """Loads that pushing springs cannot hold in equilibrium."""


class TippingCase(Exception):  # noqa: N818
    """The same, by the number of the case: the caller knows its name."""

    def __init__(self, case: int) -> None:
        super().__init__(f"case {case} tips")
        self.case = case


@dataclass(frozen=True, eq=False)
class Springs:
    """Springs of compliance ``soft`` [m/N] under a plate.

    ``bend`` [m/N] is the deflection of the plate at the springs under forces there, right but for
    rigid motions; ``rigid`` (springs, 3) are those motions, of magnitude 1.
    """

    bend: Array
    soft: Array
    rigid: Array

    @cached_property
    def fit(self) -> Array:
        """Rigid motion of least squares through deflections of the springs, (3, springs)."""
        return np.asarray(np.linalg.pinv(self.rigid, rcond=1e-9))

    @cached_property
    def free_motion(self) -> Array:
        """Rigid motions that no spring feels (springs in one line, or one spring), (3, number)."""
        _, size, rows = np.linalg.svd(self.rigid)
        size = np.concatenate([size, np.zeros(3 - size.size)])
        return np.asarray(rows[size <= 1e-9 * size[0]].T)

    def without_rigid(self, deflection: Array) -> Array:
        """Deflections of the springs without their rigid motion, (springs, cases)."""
        return np.asarray(deflection - self.rigid @ (self.fit @ deflection))

    def bent_by(self, deflection: Array, total: Array) -> Array:
        """Deflections of the springs by loads elsewhere, without rigid motion, (springs, loads).

        `total` (3, loads) of them is handed to the springs as a rigid plate would, so that what
        bends the plate is in equilibrium; the reactions come back to that.
        """
        return self.without_rigid(deflection - self.bend @ (self.fit.T @ total))

    @cached_property
    def bending(self) -> Array:
        """Compliance of the plate, symmetric, without rigid motion."""
        once = self.without_rigid(self.bend)
        twice = self.without_rigid(once.T)
        return np.asarray((twice + twice.T) / 2)

    @cached_property
    def _compliance(self) -> Array:
        return np.asarray(self.bending + np.diag(self.soft))

    @cached_property
    def stiffness(self) -> Array:
        """Reactions by raised springs [N/m]; symmetric, and each column in equilibrium."""
        left, size, _ = np.linalg.svd(self.rigid)
        rank = int((size > 1e-9 * size[0]).sum())
        rest = left[:, rank:]
        if rest.shape[1] == 0:
            return np.zeros_like(self.bend)
        inner = rest.T @ self._compliance @ rest
        if (self.soft == 0).any():
            size = np.linalg.eigvalsh(inner)
            if size[0] <= 1e-10 * size[-1]:
                raise ValueError(
                    "PlateOnSprings: of springs of infinite stiffness so close together the "
                    "elements cannot tell who carries what; give them a finite stiffness, or take "
                    "smaller elements"
                )
        inner = np.linalg.inv(inner)
        return np.asarray(rest @ ((inner + inner.T) / 2) @ rest.T)


@dataclass(frozen=True, eq=False)
class Rest:
    """State at rest, arrays of shape (cases, springs); ``motion`` (cases, 3) of the plate.

    ``hold_down`` is what the springs would pull were all of them held down.
    """

    reaction: Array
    deflection: Array
    gap: Array
    hold_down: Array
    motion: Array


def at_rest(
    springs: Springs, *, total: Array, bend: Array, raised: Array, factor: Array, held: Array
) -> Rest:
    """Reactions under loads, of springs of which some are changed and some may lift off.

    Parameters
    ----------
    springs : Springs
        All of them, unchanged.
    total : array
        Load on each rigid motion: force and moments, (cases, 3).
    bend : array
        Deflection of the springs by bending under the loads, without rigid motion.
    raised, factor : array
        Way [m] by which a spring is raised, stiffness over its own (0: lost).
    held : array
        Whether a spring can pull. All four (cases or 1, springs).

    Raises
    ------
    TippingCase
        No equilibrium.
    """
    count = max(len(a) for a in (total, bend, raised, factor, held))
    n = springs.soft.size
    total = np.broadcast_to(total, (count, 3))
    bend, raised, factor, held = (
        np.broadcast_to(a, (count, n)) for a in (bend, raised, factor, held)
    )
    level = np.abs(total).max(axis=1) + np.abs(raised @ springs.stiffness).max(axis=1)
    reaction = total @ springs.fit
    _require_balance(np.abs(reaction @ springs.rigid - total), level)
    compliance = springs._compliance
    reaction = reaction + (bend + raised - reaction @ compliance) @ springs.stiffness
    filled = np.zeros((count, n))
    lifted = np.zeros((count, n))
    pull = np.zeros((count, n))
    rows, which = np.unique(factor, axis=0, return_inverse=True)
    for number, row in enumerate(rows):
        cases = np.flatnonzero(which.ravel() == number)
        stiffness, follows = _change(springs, row, cases, reaction, filled, level)
        pull[cases] = np.maximum(-reaction[cases], 0.0)
        can_lift = ~held[cases] & (row > 0)
        tiny = _ROUNDING * level[cases, None]
        low = (reaction[cases] < -tiny) & can_lift
        small = (np.abs(reaction[cases]) <= tiny) & can_lift
        reaction[cases] = np.where(small, 0.0, reaction[cases])
        for k in np.flatnonzero(low.any(axis=1)):
            case = int(cases[k])
            _lift(stiffness, compliance, reaction[case], lifted[case], can_lift[k], case, tiny[k])
        # Where springs lift off, the ways that stand for changed stiffnesses are others.
        filled[cases] += lifted[cases] + lifted[cases] @ follows.T
    pull[np.abs(pull) <= _ROUNDING * level[:, None]] = 0.0
    deflection = springs.soft * reaction - raised - filled
    motion = (reaction @ compliance - bend - raised - filled) @ springs.fit.T
    gap = np.where((reaction == 0) & (factor > 0), np.maximum(lifted, 0.0), 0.0)
    return Rest(reaction=reaction, deflection=deflection, gap=gap, hold_down=pull, motion=motion)


def _require_balance(off: Array, level: Array) -> None:
    bad = (off > 1e-9 * level[:, None]).any(axis=1)
    if bad.any():
        raise TippingCase(int(np.argmax(bad)))


def _change(
    springs: Springs, factor: Array, cases: Array, reaction: Array, filled: Array, level: Array
) -> tuple[Array, Array]:
    """Change stiffnesses by ways that stand for it.

    Returns the stiffness of what is left, and how those ways follow where springs are raised
    (springs, springs). A spring softened from k to f k is the old spring let down by
    (1/f − 1) r/k: Woodbury's identity on the changed springs only.
    """
    stiffness = springs.stiffness
    some = np.flatnonzero((factor == 0) | ((factor != 1) & (springs.soft > 0)))
    follows = np.zeros_like(stiffness)
    if some.size == 0:
        return stiffness, follows
    part = factor[some]
    added = np.zeros(some.size)
    kept = part > 0
    added[kept] = part[kept] / ((1 - part[kept]) * springs.soft[some][kept])
    scale = np.sqrt(np.diag(springs._compliance)[some])
    matrix = (stiffness[np.ix_(some, some)] + np.diag(added)) * np.outer(scale, scale)
    inverse = np.linalg.pinv(matrix, rcond=_ROUNDING, hermitian=True) * np.outer(scale, scale)
    way = -reaction[np.ix_(cases, some)] @ inverse
    off = way @ (matrix / np.outer(scale, scale)) + reaction[np.ix_(cases, some)]
    bad = (np.abs(off) > 1e-8 * level[cases, None]).any(axis=1)
    if bad.any():
        raise TippingCase(int(cases[np.argmax(bad)]))
    reaction[cases] += way @ stiffness[some]
    reaction[np.ix_(cases, some[~kept])] = 0.0
    filled[np.ix_(cases, some)] += way
    follows[some] = -inverse @ stiffness[some]
    left = stiffness + stiffness[:, some] @ follows[some]
    left[some[~kept]] = left[:, some[~kept]] = 0.0
    return np.asarray(left), follows


def _lift(
    stiffness: Array,
    compliance: Array,
    reaction: Array,
    gap: Array,
    can_lift: Array,
    case: int,
    tiny: Array,
) -> None:
    """Let springs go that would pull, in place; the dual active-set method of Goldfarb and Idnani.

    Of all reactions in equilibrium those of least complementary energy are wanted that do not
    pull. Each round adds the spring that pulls most, and takes back those whose gap would close.
    The energy grows with each round and there are finitely many sets: the method ends.
    """
    size = np.diag(compliance)
    lifted: list[int] = []
    for _ in range(20 * reaction.size):
        low = np.where(can_lift, reaction, 0.0)
        low[lifted] = 0.0
        worst = int(np.argmin(low))
        if low[worst] >= -tiny[0]:
            reaction[lifted] = 0.0
            reaction[can_lift & (np.abs(reaction) <= tiny[0])] = 0.0
            return
        while worst not in lifted:
            share = np.zeros(0)
            step = stiffness[:, worst]
            if lifted:
                inner = stiffness[np.ix_(lifted, lifted)]
                share = np.linalg.solve(inner, stiffness[lifted, worst])
                step = step - stiffness[:, lifted] @ share
            moves = step[worst] * size[worst] > _ROUNDING
            full = -reaction[worst] / step[worst] if moves else np.inf
            closing = np.flatnonzero(share > 0)
            ways = gap[lifted][closing] / share[closing] if closing.size else np.array([np.inf])
            way = min(full, float(ways.min()))
            if not np.isfinite(way):
                raise TippingCase(case)
            gap[lifted] -= way * share
            gap[worst] += way
            if moves:
                reaction += way * step
            if way == full:
                lifted.append(worst)
            else:
                closed = lifted.pop(int(closing[np.argmin(ways)]))
                gap[closed] = 0.0
    raise ValueError(
        f"case {case}: which springs lift off was not found to rounding; the layout is all but "
        "tipping"
    )
