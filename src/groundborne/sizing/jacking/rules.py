"""Rules for lifting a floor on its jacks, and whether the concrete bears it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, positive, within
from groundborne.citation import Citation, citation_texts

JACK_PRACTICE = Citation(
    key="jack-up-site-work",
    author="floating floor practice",
    title="20 N/mm² before lifting; lifts of 50 mm on rubber and 100 mm on springs; rubber takes "
    "about 5 mm, springs 15 to 20 mm, before the floor moves; passes of 2 to 6 mm",
    mark="common practice",
    status="practice",
)

CAUTIONS = (
    "Jacking is for a specialist contractor; the slab is for the licensed engineer to release.",
    "Local codes govern. These figures plan the work and release nothing.",
    "Nobody is under a floor being lifted, and no hand in the gap.",
    "Every load stays off the floor, and every edge free, until the last survey is accepted.",
)
"""Stand in every plan, schedule and record."""

FREE_TRAVEL = {"rubber": (5e-3, 5e-3), "spring": (15e-3, 20e-3)}
"""Compression [m] before the floor moves, common practice: from and to."""
STAGE = {"rubber": 50e-3, "spring": 100e-3}
"""Lift [m] after which work is held, common practice."""

_MOST_STRENGTH = 200.0
_MOST_PITCH = 0.02


class LiftError(ValueError):
    """A lift that may not begin or cannot keep its limits."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Maturity:
    """Share of the 28-day strength that a mix has at an age; from the user's own tests.

    Parameters
    ----------
    age : sequence of float
        Ages [days], rising.
    fraction : sequence of float
        Strength over that at 28 days, rising or level, above 0.
    source : str
        Where it comes from: mix, temperature of curing, laboratory.

    Raises
    ------
    ValueError
        Fewer than two ages, or values that fall.

    Examples
    --------
    >>> mix = Maturity(age=(3, 7, 28), fraction=(0.4, 0.65, 1.0), source="invented mix, 15 °C")
    >>> round(mix.at(age=5.0), 3)
    0.525
    >>> mix.at(age=2.0)
    Traceback (most recent call last):
    ...
    ValueError: Maturity.at: age is 2; it must lie between 3 and 28 days
    """

    age: Sequence[float]
    fraction: Sequence[float]
    source: str

    def __post_init__(self) -> None:
        where = "Maturity"
        age, fraction = np.asarray(self.age, float), np.asarray(self.fraction, float)
        if age.ndim != 1 or age.shape != fraction.shape or age.size < 2:
            raise ValueError(f"{where}: age and fraction must be two or more numbers each, as many")
        positive(where, "age", age, "days")
        within(where, "fraction", fraction, 1e-3, 2.0, "")
        if (np.diff(age) <= 0).any():
            raise ValueError(f"{where}: age is {age.tolist()}; it must rise from each to the next")
        if (np.diff(fraction) < 0).any():
            raise ValueError(
                f"{where}: fractions {fraction.tolist()} fall; concrete gains strength"
            )
        if not self.source.strip():
            raise ValueError(f"{where}: source is empty; name the mix, curing and laboratory")
        object.__setattr__(self, "age", tuple(age.tolist()))
        object.__setattr__(self, "fraction", tuple(fraction.tolist()))

    def at(self, *, age: float) -> float:
        """Share of the 28-day strength at an age [days] inside the table.

        Parameters
        ----------
        age : float
            [days].

        Returns
        -------
        float
            Interpolated in a straight line.
        """
        within("Maturity.at", "age", age, self.age[0], self.age[-1], "days")
        return float(np.interp(age, self.age, self.fraction))


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LiftRules:
    """How a floor may be lifted.

    Parameters
    ----------
    kind : str
        ``"rubber"`` or ``"spring"``.
    stage : float, optional
        Lift [m] after which work is held; that of the kind in common practice if left out.
    differential : float
        Largest difference between neighbouring jacks at any moment of a pass [m].
    turn_fraction : float
        Smallest part of a turn that is worked with, a whole part of 1.

    Examples
    --------
    >>> LiftRules(kind="spring").stage
    0.1
    """

    kind: str
    stage: float | None = None
    differential: float = 3e-3
    turn_fraction: float = 0.25

    def __post_init__(self) -> None:
        where = "LiftRules"
        known(where, "kind", self.kind, STAGE)
        if self.stage is None:
            object.__setattr__(self, "stage", STAGE[self.kind])
        within(where, "stage", self.stage, 1e-3, 0.5, "m")
        within(where, "differential", self.differential, 1e-4, 0.05, "m")
        check_fraction(where, self.turn_fraction)


def check_fraction(where: str, fraction: float) -> float:
    """Refuse a part of a turn that is no whole part of one."""
    within(where, "turn_fraction", fraction, 1 / 36, 1.0, "turns")
    parts = 1 / fraction
    if abs(parts - round(parts)) > 1e-6:
        raise ValueError(
            f"{where}: turn_fraction is {fraction:g}; it must be a whole part of a turn, such as "
            "0.25 or 1/6"
        )
    return fraction


def check_pitch(where: str, pitch: float) -> float:
    """Refuse a pitch that no jack has."""
    positive(where, "pitch", pitch, "m")
    if pitch > _MOST_PITCH:
        raise ValueError(
            f"{where}: pitch is {pitch:g} m; above {_MOST_PITCH:g} m a turn no jack rises, is it "
            "in mm?"
        )
    return pitch


def _strength(where: str, name: str, value: Numeric) -> None:
    positive(where, name, value, "N/mm²")
    if np.any(np.asarray(value) > _MOST_STRENGTH):
        raise ValueError(
            f"{where}: {name} is above {_MOST_STRENGTH:g} N/mm²; no such concrete is cast, is it "
            "in Pa?"
        )


@checked
def lifting_strength(
    *,
    cubes: Sequence[float] | None = None,
    age: float | None = None,
    maturity: Maturity | None = None,
    strength_28: float | None = None,
    required: float = 20.0,
) -> xr.Dataset:
    """Whether the concrete is strong enough to be lifted, by cubes or by age.

    Parameters
    ----------
    cubes : sequence of float, optional
        Results of cubes cured beside the slab [N/mm²]; the least counts.
    age : float, optional
        Age of the slab [days], with `maturity` and `strength_28`.
    maturity : Maturity, optional
        Table of the mix.
    strength_28 : float, optional
        Cube strength at 28 days [N/mm²].
    required : float
        Before lifting [N/mm²]; 20 is common practice.

    Returns
    -------
    xarray.Dataset
        ``strength``, ``required`` [N/mm²], ``may_lift``; the sentence in ``attrs["verdict"]``.

    Raises
    ------
    ValueError
        Neither or both ways given; an age outside the table.

    References
    ----------
    Common practice; the engineer's own figure goes before it.

    Examples
    --------
    >>> lifting_strength(cubes=(22.4, 18.9, 23.0)).attrs["verdict"]
    'do not lift: the least of 3 cubes is 18.9 N/mm², and 20 N/mm² is required; wait and test again'
    """
    where = "lifting_strength"
    _strength(where, "required", required)
    by_age = (age, maturity, strength_28)
    if (cubes is None) == all(v is None for v in by_age):
        raise ValueError(f"{where}: give cubes, or age with maturity and strength_28, and not both")
    if cubes is not None:
        results = np.asarray(cubes, float)
        if results.ndim != 1 or results.size == 0:
            raise ValueError(f"{where}: cubes must hold one result [N/mm²] or more")
        _strength(where, "cubes", results)
        strength = float(results.min())
        basis = f"the least of {results.size} cubes" if results.size > 1 else "the one cube"
    else:
        if age is None or maturity is None or strength_28 is None:
            raise ValueError(f"{where}: age, maturity and strength_28 are needed together")
        _strength(where, "strength_28", strength_28)
        strength = strength_28 * maturity.at(age=age)
        basis = f"by age ({age:g} days, {maturity.source}) the strength"
    may = strength >= required
    verdict = f"{basis} is {strength:.3g} N/mm², and {required:g} N/mm² is required"
    verdict = f"strong enough: {verdict}" if may else f"do not lift: {verdict}; wait and test again"
    return xr.Dataset(
        {"strength": strength, "required": required, "may_lift": may},
        attrs={
            "verdict": verdict,
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((JACK_PRACTICE,)),
        },
    )
