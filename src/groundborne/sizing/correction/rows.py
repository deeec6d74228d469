"""Limits of a correction as rows: loads on mounts, bending of the slab, the floor at its jacks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from groundborne.sizing.jacking.effects import Effects, StateError
from groundborne.sizing.jacking.floor import BOUNDS, JackLimits
from groundborne.sizing.jacking.grid import JackGrid

Array = np.ndarray[Any, Any]

ROUNDING = 1e-6
"""Of rows, in their own scale (millimetres, twentieths of a range)."""
_MM = 1e3
_SCALE = 20.0
"""Ranges of loads and moments in the program, so that they compare with millimetres."""


@dataclass(frozen=True, eq=False)
class Rows:
    """What must lie between two limits: ``low <= before + effect @ parts <= high``.

    ``words`` says of each row what it is; ``lazy`` rows enter a program only when they are broken.
    """

    effect: Array
    before: Array
    low: Array
    high: Array
    words: tuple[str, ...]
    lazy: bool = False

    def off(self, parts: Array) -> Array:
        """How far each row is outside its limits."""
        now = self.before + self.effect @ parts
        return np.asarray(np.maximum(np.maximum(now - self.high, self.low - now), 0.0))


def broken_rows(rows: Rows, parts: Array) -> Rows | None:
    """Rows that these parts break; None if there are none."""
    off = rows.off(parts) > ROUNDING
    return _cut(rows, off) if off.any() else None


def near_rows(rows: Rows, parts: Array) -> Rows:
    """Rows within reach of a few parts."""
    now = rows.before + rows.effect @ parts
    reach = 4 * np.abs(rows.effect).max(axis=1)
    return _cut(rows, (now + reach > rows.high) | (now - reach < rows.low))


def _cut(rows: Rows, keep: Array) -> Rows:
    words = tuple(np.array(rows.words, dtype=object)[keep].tolist())
    return replace(rows, effect=rows.effect[keep], before=rows.before[keep], low=rows.low[keep],
                   high=rows.high[keep], words=words, lazy=False)  # fmt: skip


def require_start(does: Effects, grid: JackGrid, limits: JackLimits) -> None:
    """What the linear plate cannot start from, or an engineer would not."""
    loose = np.flatnonzero((does.load_before[:2] <= 0).any(axis=0))
    if loose.size:
        raise StateError(
            f"mount {grid.names[int(loose[0])]} carries nothing ({loose.size} such in "
            "all); take it up until it carries (tension_check), and survey again"
        )
    size = np.maximum(does.moment_before / limits.sagging, -does.moment_before / limits.hogging)
    worst = np.unravel_index(int(np.argmax(size[:2])), size[:2].shape)
    if size[worst] > 1:
        raise StateError(
            f"before any turn the slab bends with "
            f"{abs(does.moment_before[worst]) / 1e3:.3g} kN m/m {does.places[int(worst[1])]} "
            f"({BOUNDS[int(worst[0])]}), {size[worst]:.3g} of its limit; look at the loads of the "
            "mounts there, or at the limit"
        )


def load_rows(
    does: Effects, grid: JackGrid, least: Array, most: Array, part: float, reserve: float
) -> Rows:
    """Loads on mounts at both bounds; one beyond its limit already goes no further."""
    jacks = least.size
    before = does.load_before[:2]
    scale = _SCALE / (most - least)
    low = np.minimum(least + reserve * (most - least), before)
    high = np.maximum(most - reserve * (most - least), before)
    return Rows(
        effect=(does.load[:2] * part * scale[:, None]).reshape(-1, jacks),
        before=(before * scale).ravel(),
        low=(low * scale).ravel(),
        high=(high * scale).ravel(),
        words=tuple(f"mount {n} at its {{}} load" for n in grid.names) * 2,
    )


def moment_rows(does: Effects, limits: JackLimits, part: float, reserve: float) -> Rows:
    """Bending of the slab at both bounds, tension below and above, within its limits."""
    scale = _SCALE / (limits.sagging + limits.hogging)
    before = does.moment_before[:2] * scale
    kept = reserve * _SCALE
    return Rows(
        effect=(does.moment[:2] * part * scale).reshape(-1, does.moment.shape[-1]),
        before=before.ravel(),
        low=np.minimum(-limits.hogging * scale + kept, before).ravel(),
        high=np.maximum(limits.sagging * scale - kept, before).ravel(),
        words=tuple(f"bending of the slab {p}" for p in does.places) * 2,
        lazy=True,
    )


def level_rows(does: Effects, grid: JackGrid, level: Array, limit: float, part: float) -> Rows:
    """The floor at jacks, where nobody measured: not beyond the limit, or no further out."""
    jacks = level.size
    return Rows(
        effect=(does.rise_at_jacks[:2] * part * _MM).reshape(-1, jacks),
        before=np.tile(level, 2) * _MM,
        low=np.tile(np.minimum(-limit, level), 2) * _MM,
        high=np.tile(np.maximum(limit, level), 2) * _MM,
        words=tuple(f"the limit of the floor at jack {n}" for n in grid.names) * 2,
    )


def between_rows(grid: JackGrid, most_between: float | None, part: float) -> tuple[Rows, ...]:
    """Difference of the corrections of neighbouring jacks, where it is limited."""
    if most_between is None:
        return ()
    first, second = grid.neighbours
    effect = np.zeros((first.size, grid.x.size))
    effect[np.arange(first.size), first], effect[np.arange(first.size), second] = 1.0, -1.0
    most = np.full(first.size, float(int(most_between / part + 1e-9)))
    words = tuple(
        f"the difference allowed between {grid.names[a]} and {grid.names[b]}"
        for a, b in zip(first.tolist(), second.tolist(), strict=True)
    )
    return (Rows(effect=effect, before=0 * most, low=-most, high=most, words=words),)
