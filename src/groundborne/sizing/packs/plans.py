"""Choices of packs that trade parts, types and spread against each other, to choose from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import counted, within
from groundborne.sizing.loads.cases import CAUTIONS
from groundborne.sizing.packs.choice import Packs, choose_packs
from groundborne.sizing.packs.components import Components
from groundborne.sizing.packs.rules import PackRules

_DOUBLINGS = 12
_MM = 1e3


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PackPlans:
    """Plans of which none is better than another in parts, types and spread at once.

    Parameters
    ----------
    packs : tuple of Packs
        By number of types, then of parts.
    resolution : float
        Spreads below this count as equal [m].
    searches : int
        How many choices were made to find them.
    notes : tuple of str
        What was not possible or not proven.
    """

    packs: tuple[Packs, ...]
    resolution: float
    searches: int
    notes: tuple[str, ...]

    def table(self) -> pd.DataFrame:
        """One row for each plan.

        ``plan`` (place in `packs`), ``parts``, ``types`` of part on the site, ``kinds`` of pack,
        ``spread_mm``, ``changed`` columns, ``not_met`` columns, ``type_names``, ``proof``. The
        cautions, notes and resolution stand in ``attrs``.
        """
        rows = []
        for at, one in enumerate(self.packs):
            used = (one.count > 0).any("column").values
            names = [n for n, u in zip(one.components.names, used.tolist(), strict=True) if u]
            rows.append(
                (at, _parts(one), len(names), len(np.unique(one.count.values, axis=0)),
                 round(one.spread * _MM, 3), len(one.changed), len(one.why), ", ".join(names),
                 one.proof)
            )  # fmt: skip
        columns = ["plan", "parts", "types", "kinds", "spread_mm", "changed", "not_met",
                   "type_names", "proof"]  # fmt: skip
        frame = pd.DataFrame(rows, columns=columns)
        frame.attrs.update(
            cautions=list(CAUTIONS), notes=list(self.notes), resolution_mm=self.resolution * _MM
        )
        return frame


@checked(own_labels=["rules", "held"])
def pack_plans(
    load: xr.DataArray,
    components: Components,
    *,
    rules: PackRules,
    most_types: int = 3,
    held: xr.DataArray | None = None,
    most_programs: int = 50,
) -> PackPlans:
    """Find the plans worth choosing from: fewer parts, fewer types or less spread.

    Parameters
    ----------
    load, components, rules, held
        As for :func:`~groundborne.sizing.choose_packs`. Of the rules, ``resolution``,
        ``most_spread`` and ``most_types`` are varied here and not used.
    most_types : int
        Plans of up to so many types are sought, 1 to 8, and plans without such a limit.
    most_programs : int
        As for ``choose_packs``, in each search.

    Returns
    -------
    PackPlans
        Plans that no other plan found beats in parts, types and spread at once. Spreads below
        what chance makes of the tolerance of the parts count as equal.

    Raises
    ------
    ValueError
        Loads, parts or rules are unfit.

    Notes
    -----
    For every number of types the fewest parts are sought within the narrowest spread, within the
    resolution, and within spreads wider than the narrowest by 1, 2, 4 and so on times the
    resolution, until more spread saves no part. Each search is that of ``choose_packs``: limited
    by work and not by time, with its proof beside it. Plans between two of these spreads are not
    sought, so that one that is not listed may beat one that is.

    Examples
    --------
    >>> part = {n: ("component", v) for n, v in dict(
    ...     kind=["spring"] * 2, static_stiffness=[1e6, 2.9e6], dynamic_stiffness=[1e6, 2.9e6],
    ...     least_load=[5e3, 15e3], rated_load=[3e4, 9e4], largest_load=[6e4, 17.4e4],
    ...     largest_deflection=[0.06] * 2, plan_x=[0.2] * 2, plan_y=[0.2] * 2,
    ...     stiffness_tolerance=[0.05] * 2).items()}
    >>> springs = Components(data=xr.Dataset(part, coords={"component": ["S1", "S3"]}))
    >>> load = xr.DataArray([[2.5e5, 5.25e5]], attrs={"units": "N"},
    ...     coords={"case": ["quasi-permanent"], "column": ["A", "B"]}, dims=("case", "column"))
    >>> plans = pack_plans(load, springs, rules=PackRules(deflection=(0.022, 0.027)))
    >>> for row in plans.table()[["parts", "types", "spread_mm"]].itertuples(index=False):
    ...     print(*row)
    30 1 1.25
    31 1 0.0
    11 2 0.089
    """
    within("pack_plans", "most_types", most_types, 1, 8, "types")
    free = replace(rules, resolution=None, most_spread=None, most_types=None)
    asked: dict[str, Any] = {"held": held, "most_programs": most_programs}
    first = choose_packs(load, components, rules=free, **asked)
    found, notes, searches = [first], [], 1
    for types in (*range(1, most_types + 1), None):
        narrow = replace(free, most_types=types, resolution=0.0)
        try:
            start = choose_packs(load, components, rules=narrow, **asked)
        except ValueError as error:
            notes.append(f"{_within(types)}: {str(error).removeprefix('choose_packs: ')}")
            continue
        searches += 1
        found.append(start)
        span = float(np.ptp(start.deflection.values)) + 1.0
        any_spread = replace(narrow, resolution=None, most_spread=span)
        least = choose_packs(load, components, rules=any_spread, **asked)
        searches += 1
        found.append(least)
        last = start
        # Spreads below the resolution count as equal: among them too the fewest parts.
        wider = [first.resolution * 2**n for n in range(_DOUBLINGS)]
        for spread in (first.resolution, *(start.spread + more for more in wider)):
            if spread >= least.spread or _parts(last) <= _parts(least):
                break
            if spread <= last.spread:
                continue
            last = choose_packs(
                load, components, rules=replace(any_spread, most_spread=spread), **asked
            )
            found.append(last)
            searches += 1
    kept = _undominated(found, first.resolution)
    notes += [f"{_parts(p)} parts: {p.proof}" for p in kept if not p.proof.startswith("optimal")]
    return PackPlans(
        packs=tuple(kept), resolution=first.resolution, searches=searches, notes=tuple(notes)
    )


def _within(types: int | None) -> str:
    return "any number of types" if types is None else f"up to {counted(types, 'type')}"


def _parts(packs: Packs) -> int:
    """Parts of all columns, those with them that cannot be met."""
    return int(packs.count.sum())


def _types(packs: Packs) -> int:
    return int((packs.count > 0).any("column").sum())


def _undominated(found: list[Packs], resolution: float) -> list[Packs]:
    """Plans that no other beats; of equal ones the first with the least spread."""
    order = sorted(found, key=lambda p: (_types(p), _parts(p), p.spread))
    marks = [(_types(p), _parts(p), max(p.spread, resolution)) for p in order]
    kept = []
    for at, mark in enumerate(marks):
        beaten = any(
            all(a <= b for a, b in zip(other, mark, strict=True)) and (other != mark or i < at)
            for i, other in enumerate(marks)
            if i != at
        )
        if not beaten:
            kept.append(order[at])
    return kept
