"""Packs held against the rules: what each gives, which rule it keeps, and the sentence if not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.sizing.loads.cases import in_service
from groundborne.sizing.loads.hold_down import NO_TIE
from groundborne.sizing.packs.components import Components
from groundborne.sizing.packs.rules import ROUNDING, PackRules, at_most
from groundborne.structure.element import GRAVITY

Array = np.ndarray[Any, Any]
_GRAVE = np.array([100.0, 100.0, 100.0, 100.0, 100.0, 10.0, 10.0, 1.0, 1.0, 1.0])


def surge_frequency(components: Components) -> Array:
    """First internal mode of each part, both ends held, ``½ √(k/m)`` [Hz]; infinite without mass.

    The own mass is that of the part that gives way: of a coil its active turns.
    """
    data = components.data
    if "own_mass" not in data:
        return np.full(len(components.names), np.inf)
    with np.errstate(divide="ignore"):
        found: Array = 0.5 * np.sqrt(data["dynamic_stiffness"].values / data["own_mass"].values)
    return found


def unloading(cases: Iterable[Any]) -> Array:
    """Cases in which no tie helps: service, and the case ``least``.

    Examples
    --------
    >>> unloading(["least", "wind x-", "uplift"]).tolist()
    [True, True, False]
    """
    names = [str(c) for c in cases]
    found: Array = in_service(names) | (np.array(names) == "least")
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """Packs against groups of equal columns: what each gives, and which rules it keeps.

    Parameters
    ----------
    counts : numpy array of int
        Packs, shape (pack, component).
    components : Components
        The parts, of one kind.
    load : numpy array
        Loads of the groups [N], shape (group, case).
    cases : list of str
        Names of the cases.
    service : numpy array of bool
        Which of them are service cases.
    room : numpy array
        Room in plan of the groups [m], shape (group, 2); infinite where there is no limit.
    tied : numpy array of bool
        Which groups a tie holds down outside service.
    rules : PackRules
        What must be kept.
    """

    counts: Array
    components: Components
    load: Array
    cases: list[str]
    service: Array
    room: Array
    tied: Array
    rules: PackRules
    found: dict[str, Array] = field(init=False)

    def __post_init__(self) -> None:
        part = {n: self.components.data[n].values for n in self.components.data.data_vars}
        used = self.counts > 0
        static = part["static_stiffness"]

        def least(limit: Array) -> Array:
            lowest: Array = np.where(used, limit, np.inf).min(axis=1)
            return lowest

        working = self.load[:, self.cases.index("quasi-permanent")]
        highest_service = self.load[:, self.service].max(axis=1)
        found = {
            "stiffness": self.counts @ static,
            "dynamic": self.counts @ part["dynamic_stiffness"],
            "number": self.counts.sum(axis=1),
            "at_solid": least(part["largest_deflection"]),
            "at_largest": least(part["largest_load"] / static),
            "at_rated": least(part["rated_load"] / static),
            "surge": least(surge_frequency(self.components)),
            "at_least": np.where(used, part["least_load"] / static, 0.0).max(axis=1),
        }
        with np.errstate(divide="ignore"):
            per = 1 / found["stiffness"]
        found |= {
            "deflection": working[:, None] * per,
            "lowest": self.lowest[0][:, None] * per,
            "in_service": highest_service[:, None] * per,
            "highest": self.load.max(axis=1)[:, None] * per,
            "softest": self.load.max(axis=1)[:, None] * per / (1 - self._soft()),
            "frequency": np.sqrt(found["dynamic"] * GRAVITY / working[:, None]) / (2 * np.pi),
        }
        sides = np.stack([part["plan_x"], part["plan_y"]], axis=1) + self.rules.spacing
        largest = np.where(used[:, :, None], sides, 0.0).max(axis=1)
        room = self.room + self.rules.spacing
        # A pack that fills its room to the millimetre must not fail by rounding.
        straight, turned = (
            np.floor(room[:, None, 0] / largest[:, i] * (1 + ROUNDING))
            * np.floor(room[:, None, 1] / largest[:, j] * (1 + ROUNDING))
            for i, j in ((0, 1), (1, 0))
        )
        found["fits"] = np.maximum(straight, turned)
        object.__setattr__(self, "found", found)

    @property
    def _travel(self) -> str:
        """Deflection that must leave travel: hard ends are met by the softest parts first."""
        return "softest" if self.rules.kind == "spring" else "highest"

    def _soft(self) -> Array:
        """By what share each pack may be softer than nominal."""
        data = self.components.data
        if "stiffness_tolerance" not in data:
            return np.zeros(len(self.counts))
        static = data["static_stiffness"].values
        with np.errstate(invalid="ignore"):  # an empty pack
            off: Array = (self.counts @ (static * data["stiffness_tolerance"].values)) / (
                self.counts @ static
            )
        return np.nan_to_num(off)

    @cached_property
    def lowest(self) -> tuple[Array, Array]:
        """Least load of each group that its pack must bear without a tie [N], and in which case."""
        used = unloading(self.cases)
        load = np.where(used | ~self.tied[:, None], self.load, np.inf)
        at = load.argmin(axis=1)
        return load[np.arange(at.size), at], at

    def kept(self) -> Array:
        """Which rule is kept, shape (rule, group, pack), rules as in :data:`RULES`."""
        f, rules = self.found, self.rules
        everywhere = np.ones(f["deflection"].shape, dtype=bool)

        def inside(value: Array, limits: tuple[float, float] | None) -> Array:
            if limits is None:
                return everywhere
            return at_most(limits[0], value) & at_most(value, limits[1])

        return np.stack(
            [
                at_most(f[self._travel] + rules.travel_kept, f["at_solid"]),
                at_most(f["highest"], f["at_largest"]),
                at_most(f["in_service"] + rules.fail_safe_kept, f["at_solid"]),
                at_most(f["number"], f["fits"]),
                np.broadcast_to(self.lowest[0][:, None] >= 0, everywhere.shape),
                at_most(f["at_least"], f["lowest"]),
                at_most(f["deflection"], rules.most_load_ratio * f["at_rated"]),
                np.broadcast_to(
                    at_most(rules.surge_frequency or 0.0, f["surge"]), everywhere.shape
                ),
                inside(f["frequency"], rules.natural_frequency),
                inside(f["deflection"], rules.deflection),
            ]
        )

    def excess(self, rule: str, group: int) -> Array:
        """How far each pack is from keeping a rule; comparable within one rule only.

        Parameters
        ----------
        rule : str
            As in :data:`RULES`.
        group : int
            Which group.
        """
        f = {n: v[group] if v.ndim == 2 else v for n, v in self.found.items()}

        def outside(value: Array, limits: tuple[float, float] | None) -> Array:
            low, high = limits or (0.0, np.inf)
            return np.maximum(low - value, value - high)

        measures: dict[str, Array] = {
            "travel to solid": f[self._travel] - f["at_solid"],
            "largest load": f["highest"] / f["at_largest"],
            "fail-safe gap": f["in_service"] - f["at_solid"],
            "plan size": f["number"] - f["fits"],
            "uplift": np.broadcast_to(-self.lowest[0][group], f["number"].shape),
            "least load": f["at_least"] - f["lowest"],
            "load ratio": f["deflection"] / f["at_rated"],
            "surge": -f["surge"],
            "natural frequency": outside(f["frequency"], self.rules.natural_frequency),
            "deflection": outside(f["deflection"], self.rules.deflection),
        }
        return measures[rule]

    def nearest(self, group: int, kept: Array, middle: float) -> int:
        """Pack that breaks the least grave rules, and of those the nearest to a deflection.

        Parameters
        ----------
        group : int
            Which group.
        kept : numpy array of bool
            Shape (rule, pack).
        middle : float
            Deflection to be near to [m].
        """
        broken = (~kept * _GRAVE[:, None]).sum(axis=0)
        away = np.abs(self.found["deflection"][group] - middle)
        return int(np.lexsort((away, broken))[0])

    def _lifting(self, group: int) -> str:
        """What a column that lifts needs, in words."""
        load = np.where(self.service, self.load[group], np.inf)
        at, lowest = int(load.argmin()), self.lowest[1][group]
        if load[at] >= 0:
            return " and needs a tie"
        if at == lowest:
            return f" in service: {NO_TIE}"
        return f", in service too, {load[at] / 1e3:.4g} kN in the case {self.cases[at]!r}: {NO_TIE}"

    def describe(self, rule: str, group: int, pack: int) -> str:
        """What a pack gives and what the rule allows, in words.

        Parameters
        ----------
        rule : str
            As in :data:`RULES`.
        group, pack : int
            Which.
        """
        f, rules = self.found, self.rules
        case = self.cases[int(np.argmax(self.load[group]))]

        def at(name: str) -> float:
            value = f[name]
            return float(value[group, pack] if value.ndim == 2 else value[pack])

        mm = 1e3
        if rule == "travel to solid":
            left = (at("at_solid") - at(self._travel)) * mm
            soft = " with parts as soft as they may be" if self._travel == "softest" else ""
            return (
                f"travel to solid: {left:.1f} mm left in the case {case!r}{soft}, "
                f"{rules.travel_kept * mm:g} mm needed"
            )
        if rule == "largest load":
            share = at("highest") / at("at_largest")
            return f"largest load: {share:.2f} times what a part may carry, in the case {case!r}"
        if rule == "fail-safe gap":
            left = (at("at_solid") - at("in_service")) * mm
            return (
                f"fail-safe gap: {left:.1f} mm of travel beyond service, "
                f"{rules.fail_safe_kept * mm:g} mm needed above a fail-safe block"
            )
        if rule == "plan size":
            return f"plan size: {at('number'):g} parts, and {at('fits'):g} fit"
        if rule in ("uplift", "least load"):
            lowest, when = self.lowest
            there = f"{lowest[group] / 1e3:.4g} kN in the case {self.cases[int(when[group])]!r}"
            if rule == "uplift":
                return f"uplift: {there}; the column lifts{self._lifting(group)}"
            needed = at("at_least") * at("stiffness") / 1e3
            return f"least load: {there}, {needed:.4g} kN needed"
        if rule == "load ratio":
            ratio = at("deflection") / at("at_rated")
            return f"load ratio: {ratio:.2f}, allowed {rules.most_load_ratio:g}"
        if rule == "surge":
            return f"surge: {at('surge'):.0f} Hz, {rules.surge_frequency:g} Hz needed"
        if rule == "natural frequency" and rules.natural_frequency is not None:
            low, high = rules.natural_frequency
            return f"natural frequency: {at('frequency'):.2f} Hz, allowed {low:g} to {high:g} Hz"
        low, high = rules.deflection or (0.0, np.inf)
        return (
            f"deflection: {at('deflection') * mm:.2f} mm, allowed {low * mm:g} to {high * mm:g} mm"
        )
