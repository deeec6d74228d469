"""What a pack under a column must keep, and the sentence for what it does not."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.sizing.components import KINDS, Components
from groundborne.structure.element import GRAVITY

Array = np.ndarray[Any, Any]
RULES = (
    "travel to solid",
    "largest load",
    "stop gap",
    "plan size",
    "least load",
    "load ratio",
    "natural frequency",
    "deflection",
)
"""Names of the rules; the first break a pack or a stop, the last only the prediction."""

ROUNDING = 1e-9
"""Share of a limit by which a value may be above it and count as equal."""

_GRAVE = np.array([100.0, 100.0, 100.0, 100.0, 10.0, 10.0, 1.0, 1.0])


def at_most(value: Any, limit: Any) -> Array:
    """Whether values are at most a limit, with what is equal but for rounding.

    Every comparison of a pack with a rule goes through this one.

    Parameters
    ----------
    value, limit : float or numpy array
        Of one unit.

    Examples
    --------
    >>> bool(0.1 + 0.2 <= 0.3), bool(at_most(0.1 + 0.2, 0.3)), bool(at_most(0.3001, 0.3))
    (False, True, False)
    """
    with np.errstate(invalid="ignore"):  # infinite less infinite
        found: Array = (value <= limit) | (value - limit <= ROUNDING * np.abs(limit))
    return found


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PackRules:
    """What every pack of a site must keep.

    Parameters
    ----------
    kind : str
        ``spring``, ``bearing`` or ``pad``.
    deflection : tuple of float, optional
        Least and largest static deflection under the quasi-permanent load [m].
    natural_frequency : tuple of float, optional
        Least and largest natural frequency on a rigid base, at the dynamic stiffness [Hz].
    fewest, most : int
        Number of parts of a pack.
    mixed : bool
        Whether a pack may hold two types.
    height_difference : float
        How much higher one part of a pack may be than another; packers make it up [m].
    most_load_ratio : float
        Load of a part under the quasi-permanent load over its rated load, above 0.
    gap : float, optional
        Travel that must be left to solid in every case [m]; 2 mm where not given, and 0 for
        bearings and pads, whose largest deflection is a limit of strain and no hard stop.
    clearance : float, optional
        Gap between a stop and what it stops, left in every service case [m]; 3 mm where not given,
        and 1 mm for bearings and pads.
    plan_x, plan_y : float or DataArray, optional
        Room for a pack [m], one value or on ``column``; both or neither.
    spacing : float
        Between parts in plan [m].
    most_types : int, optional
        How many types the whole site may use.
    stock : DataArray, optional
        How many parts there are of a type, on ``component``; types it does not name have no limit.
    resolution : float
        How much wider than the narrowest the common band may be so that fewer parts do [m]; with
        limits for the site, than the narrowest without them.

    Raises
    ------
    ValueError
        A value out of bounds, or a range that is not one.

    Examples
    --------
    >>> PackRules(deflection=(0.026, 0.024))
    Traceback (most recent call last):
    ...
    ValueError: PackRules: deflection is (0.026, 0.024); the least comes first, both above 0 m
    """

    kind: str = "spring"
    deflection: tuple[float, float] | None = None
    natural_frequency: tuple[float, float] | None = None
    fewest: int = 1
    most: int = 36
    mixed: bool = True
    height_difference: float = 0.02
    most_load_ratio: float = 1.0
    gap: float | None = None
    clearance: float | None = None
    plan_x: Numeric | None = None
    plan_y: Numeric | None = None
    spacing: float = 0.05
    most_types: int | None = None
    stock: xr.DataArray | None = None
    resolution: float = 1e-4

    def __post_init__(self) -> None:
        where = "PackRules"
        known(where, "kind", self.kind, KINDS)
        for name, unit in (("deflection", "m"), ("natural_frequency", "Hz")):
            given = getattr(self, name)
            if given is not None and not 0 < given[0] <= given[1] < np.inf:
                raise ValueError(
                    f"{where}: {name} is {given}; the least comes first, both above 0 {unit}"
                )
        if not 1 <= self.fewest <= self.most:
            raise ValueError(
                f"{where}: fewest is {self.fewest} and most {self.most}; 1 or more parts, fewest "
                "not above most"
            )
        within(where, "most", self.most, 1, 200, "parts")
        within(where, "most_load_ratio", self.most_load_ratio, 0.05, 3.0, "")
        for name in ("height_difference", "spacing", "resolution", "travel_kept", "stop_kept"):
            not_negative(where, name, getattr(self, name), "m")
        if (self.plan_x is None) != (self.plan_y is None):
            raise ValueError(f"{where}: plan_x and plan_y are given together, or neither is")
        if self.plan_x is not None and self.plan_y is not None:
            positive(where, "plan_x", self.plan_x, "m")
            positive(where, "plan_y", self.plan_y, "m")
        if self.most_types is not None and self.most_types < 1:
            raise ValueError(f"{where}: most_types is {self.most_types}; at least one is needed")
        if self.stock is not None:
            not_negative(where, "stock", self.stock, "parts")

    @property
    def travel_kept(self) -> float:
        """Travel that must be left in every case [m]."""
        if self.gap is not None:
            return self.gap
        return 2e-3 if self.kind == "spring" else 0.0

    @property
    def stop_kept(self) -> float:
        """Gap of a stop that must be left in service [m]."""
        if self.clearance is not None:
            return self.clearance
        return 3e-3 if self.kind == "spring" else 1e-3


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
    rules : PackRules
        What must be kept.
    """

    counts: Array
    components: Components
    load: Array
    cases: list[str]
    service: Array
    room: Array
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
        in_service = self.load[:, self.service].max(axis=1)
        lowest = self.load[:, self.cases.index("least")] if "least" in self.cases else working
        found = {
            "stiffness": self.counts @ static,
            "dynamic": self.counts @ part["dynamic_stiffness"],
            "number": self.counts.sum(axis=1),
            "at_solid": least(part["largest_deflection"]),
            "at_largest": least(part["largest_load"] / static),
            "at_rated": least(part["rated_load"] / static),
            "at_least": np.where(used, part["least_load"] / static, 0.0).max(axis=1),
        }
        with np.errstate(divide="ignore"):
            per = 1 / found["stiffness"]
        found |= {
            "deflection": working[:, None] * per,
            "lowest": lowest[:, None] * per,
            "in_service": in_service[:, None] * per,
            "highest": self.load.max(axis=1)[:, None] * per,
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
                at_most(f["highest"] + rules.travel_kept, f["at_solid"]),
                at_most(f["highest"], f["at_largest"]),
                at_most(f["in_service"] + rules.stop_kept, f["at_solid"]),
                at_most(f["number"], f["fits"]),
                at_most(f["at_least"], f["lowest"]),
                at_most(f["deflection"], rules.most_load_ratio * f["at_rated"]),
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
            "travel to solid": f["highest"] - f["at_solid"],
            "largest load": f["highest"] / f["at_largest"],
            "stop gap": f["in_service"] - f["at_solid"],
            "plan size": f["number"] - f["fits"],
            "least load": f["at_least"] / f["lowest"],
            "load ratio": f["deflection"] / f["at_rated"],
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
            left = (at("at_solid") - at("highest")) * mm
            return (
                f"travel to solid: {left:.1f} mm left in the case {case!r}, "
                f"{rules.travel_kept * mm:g} mm needed"
            )
        if rule == "largest load":
            share = at("highest") / at("at_largest")
            return f"largest load: {share:.2f} times what a part may carry, in the case {case!r}"
        if rule == "stop gap":
            left = (at("at_solid") - at("in_service")) * mm
            return (
                f"stop gap: {left:.1f} mm of travel beyond service, {rules.stop_kept * mm:g} mm "
                "needed for a stop"
            )
        if rule == "plan size":
            return f"plan size: {at('number'):g} parts, and {at('fits'):g} fit"
        if rule == "least load":
            share = at("lowest") / at("at_least")
            return f"least load: {share:.2f} of what a part needs, in the case 'least'"
        if rule == "load ratio":
            ratio = at("deflection") / at("at_rated")
            return f"load ratio: {ratio:.2f}, allowed {rules.most_load_ratio:g}"
        if rule == "natural frequency" and rules.natural_frequency is not None:
            low, high = rules.natural_frequency
            return f"natural frequency: {at('frequency'):.2f} Hz, allowed {low:g} to {high:g} Hz"
        low, high = rules.deflection or (0.0, np.inf)
        return (
            f"deflection: {at('deflection') * mm:.2f} mm, allowed {low * mm:g} to {high * mm:g} mm"
        )


def pack_text(count: Array, names: list[str]) -> str:
    """Parts of a pack in words.

    Parameters
    ----------
    count : numpy array of int
        Number of each part.
    names : list of str
        Their names.

    Returns
    -------
    str
        Such as ``6 × S40 + 2 × S50``.

    Examples
    --------
    >>> pack_text(np.array([6, 0, 2]), ["S40", "S45", "S50"])
    '6 × S40 + 2 × S50'
    """
    there = np.flatnonzero(count)
    return " + ".join(f"{int(count[i])} × {names[i]}" for i in there.tolist()) or "no part"
