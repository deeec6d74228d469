"""Mounts in service as a study file describes them, and the state in which they do worse."""

from __future__ import annotations

from typing import Any

import xarray as xr

from groundborne._checks import Numeric, StudyError
from groundborne.isolation import (
    InService,
    Mount,
    rubber_age_factor,
    rubber_amplitude_factor,
    rubber_temperature_factor,
)
from groundborne.isolation.in_service import STATES
from groundborne.study.given import Given
from groundborne.study.room_rating import STATE

BY_STATE = "_by_state"
"""Ending of what a result keeps of both states."""
_CHOSEN = "state_of_levels"


def in_service(mount: Mount, factors: dict[str, Numeric]) -> Mount:
    """Mounts with the factors of :func:`factors_of`; as they are without any.

    Parameters
    ----------
    mount : Mount
        As described.
    factors : mapping
        Of stiffness, and the frequency at which it is described; ``age`` is that at the end of
        life.
    """
    if not factors:
        return mount
    rest = {name: value for name, value in factors.items() if name != "age"}
    if "age" not in factors:
        return InService(mount, **rest)
    return InService.through_life(mount, end_of_life=factors["age"], **rest)


def factors_of(given: Given | None) -> dict[str, Numeric]:
    """Factors on stiffness by the table ``service`` of mounts; empty without it.

    Raises
    ------
    StudyError
        A factor that is given twice, half of what it follows from, or nothing at all.
    """
    if given is None:
        return {}
    found: dict[str, Numeric] = {
        name: given[key] for name, key in _STATED.items() if given[key] is not None
    }
    for name, (keys, optional) in _FOLLOWS.items():
        told = [key for key in (*keys, *optional) if given[key] is not None]
        if not told:
            continue
        if name in found:
            raise StudyError(
                f"{given.where}: {_STATED[name]!r} and {told[0]!r} both say how much stiffer the "
                "mounts are; leave one out"
            )
        lacking = [key for key in keys if given[key] is None]
        if lacking:
            raise StudyError(f"{given.where}: {told[0]!r} is given without {lacking[0]!r}")
        with given.naming():
            found[name] = _worked_out(name, given)
    if not found:
        raise StudyError(
            f"{given.where}: nothing says how stiff the mounts are in service; give factors, or "
            "what they follow from"
        )
    if given["reference_frequency_hz"] is not None:
        found["reference_frequency"] = given["reference_frequency_hz"]
    return found


_STATED = {
    "amplitude": "amplitude_factor",
    "temperature": "temperature_factor",
    "age": "age_factor",
    "tolerance": "tolerance_factor",
}
_FOLLOWS = {
    "amplitude": (("hardness_irhd", "test_strain"), ()),
    "temperature": (("temperature_c",), ("test_temperature_c",)),
    "age": (("years",), ()),
}


def _worked_out(name: str, given: Given) -> Numeric:
    if name == "amplitude":
        return rubber_amplitude_factor(
            hardness=given["hardness_irhd"], test_strain=given["test_strain"]
        )
    if name == "age":
        return rubber_age_factor(years=given["years"])
    tested = given["test_temperature_c"]
    more = {} if tested is None else {"reference": tested}
    return rubber_temperature_factor(temperature=given["temperature_c"], **more)


# -- Results ---------------------------------------------------------------------------------------


def decisive_state(result: xr.Dataset) -> xr.DataArray | None:
    """State whose levels a result shows, by option: that of the smallest margin.

    Parameters
    ----------
    result : Dataset
        Assessed, of rooms and of equipment.

    Returns
    -------
    DataArray or None
        Label on ``option``; None where no mounts age.
    """
    if STATE not in result.dims:
        return None
    least: list[xr.DataArray] = []
    for name in (f"margin{BY_STATE}", f"equipment_margin{BY_STATE}"):
        if name in result:
            margin = result[name]
            others = [d for d in margin.dims if d not in ("option", STATE)]
            least.append(margin.min(others).drop_vars(STATE).reset_coords(drop=True))
    margin = least[0] if len(least) == 1 else xr.where(least[0] < least[1], *least)
    labels = result[STATE].values
    at = margin.argmin(STATE)
    return xr.DataArray(
        labels[at.values], coords={"option": result["option"].values}, dims="option"
    ).assign_attrs(long_name="state of the mounts whose levels are shown")


def of_state(result: xr.Dataset, chosen: xr.DataArray | None) -> xr.Dataset:
    """A result with the levels of one state for each option; ratings of both states stay.

    Parameters
    ----------
    result : Dataset
        With ``state`` or without.
    chosen : DataArray or None
        From :func:`decisive_state`.
    """
    if chosen is None or STATE not in result.dims:
        return result
    at = xr.DataArray([STATES.index(label) for label in chosen.values.tolist()], dims="option")
    found = result
    for name, array in result.data_vars.items():
        if STATE in array.dims and not str(name).endswith(BY_STATE):
            picked = array.isel({STATE: at}).drop_vars(STATE)
            others = tuple(d for d in array.dims if d != STATE)
            found = found.assign({name: picked.transpose(*others).assign_attrs(array.attrs)})
    return found


def with_states(result: xr.Dataset) -> tuple[xr.Dataset, xr.DataArray | None]:
    """A rated result with the levels of the decisive state, and that state by option."""
    chosen = decisive_state(result)
    if chosen is None:
        return result, None
    return of_state(result, chosen).assign({_CHOSEN: chosen}), chosen


def described(mount: Any) -> Any:
    """Mounts as they are described, without what service makes of them."""
    return mount.mount if isinstance(mount, InService) else mount


def ages(mount: Mount | None) -> bool:
    """Whether mounts differ as new and at the end of life."""
    return isinstance(mount, InService) and STATE in getattr(mount.factor, "dims", ())
