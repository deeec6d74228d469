"""What a pack under a column must keep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.sizing.packs.components import KINDS

Array = np.ndarray[Any, Any]
RULES = (
    "travel to solid",
    "largest load",
    "fail-safe gap",
    "plan size",
    "uplift",
    "least load",
    "load ratio",
    "surge",
    "natural frequency",
    "deflection",
)
"""Names of the rules; the first break a pack or close its fail-safe gap, the last only the
prediction."""

ROUNDING = 1e-9
"""Share of a limit by which a value may be above it and count as equal."""


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
        Travel that must be left to solid in every case [m]. Of springs, which meet a hard end, it
        is judged with parts as soft as their tolerance lets them be; 2 mm where not given. Of
        bearings and pads, whose largest deflection is a limit of strain, it is judged at the
        nominal stiffness; 0 where not given, and the schedule notes where soft ones have less.
    fail_safe_margin : float, optional
        What is left in every service case, at the nominal stiffness, of the gap to the block on
        which the building comes to rest where mounts fail [m]; 3 mm where not given, and 1 mm for
        bearings and pads. Stops sideways are
        :class:`~groundborne.sizing.LateralStops`.
    tied : tuple of str
        Columns that a tie of the structural engineer's holds down. Outside service (ultimate,
        uplift, equilibrium, accident, and the column losses) they may unload below the least load
        of their pack and lift; in service they may not, for a tie that bears in service bridges the
        isolation. The schedule gives the force in the tie.
    plan_x, plan_y : float or DataArray, optional
        Room for a pack [m], one value or on ``column``; both or neither.
    spacing : float
        Between parts in plan [m].
    most_types : int, optional
        How many types the whole site may use.
    stock : DataArray, optional
        How many parts there are of a type, on ``component``; types it does not name have no limit.
    resolution : float, optional
        How much wider than the narrowest the common band may be so that fewer parts do [m]; with
        limits for the site, than the narrowest without them. Where not given, what the tolerance
        of the parts makes: by so much two packs of the same parts differ by chance, see
        :func:`~groundborne.sizing.chance_difference`. Differences below that are not worth parts.
    most_spread : float, optional
        Width of the common band itself [m] in place of `resolution`: the fewest parts within it.
    surge_frequency : float, optional
        Least first internal mode of every part, both ends held [Hz]: of a coil its surge, above
        which it lets vibration through.

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
    fail_safe_margin: float | None = None
    tied: tuple[str, ...] = ()
    plan_x: Numeric | None = None
    plan_y: Numeric | None = None
    spacing: float = 0.05
    most_types: int | None = None
    stock: xr.DataArray | None = None
    resolution: float | None = None
    most_spread: float | None = None
    surge_frequency: float | None = None

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
        lengths = ("height_difference", "spacing", "resolution", "most_spread")
        for name in (*lengths, "travel_kept", "fail_safe_kept"):
            if getattr(self, name) is not None:
                not_negative(where, name, getattr(self, name), "m")
        if self.resolution is not None and self.most_spread is not None:
            raise ValueError(f"{where}: resolution and most_spread are both given; one is needed")
        if self.surge_frequency is not None:
            positive(where, "surge_frequency", self.surge_frequency, "Hz")
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
    def fail_safe_kept(self) -> float:
        """Gap above a fail-safe block that must be left in service [m]."""
        if self.fail_safe_margin is not None:
            return self.fail_safe_margin
        return 3e-3 if self.kind == "spring" else 1e-3


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
