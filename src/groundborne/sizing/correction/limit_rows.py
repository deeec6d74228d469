"""Linear limits in rows: what turned jacks must keep."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]

ROUNDING = 1e-6
"""Of rows, in their own scale (millimetres, twentieths of a range)."""


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
