"""Equipment of a study file, and the mounts that options give it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from groundborne import levels
from groundborne._checks import Faults, Numeric
from groundborne.isolation import Dashpot, InParallel, LinearMount
from groundborne.receiver import Equipment
from groundborne.receiver.equipment import Mounting
from groundborne.structure import Mobility, SpringFoundation
from groundborne.structure.storey import LineMount
from groundborne.study.given import Given

_SIDEWAYS = ("x", "y")


def equipment_of(given: Given) -> Equipment:
    """One piece of equipment.

    Parameters
    ----------
    given : Given
        A table of ``[[equipment]]``.

    Raises
    ------
    ValueError
        What does not fit together.
    """
    arguments: dict[str, Any] = given.arguments()
    by_axis, horizontal, background = (
        given[key] for key in ("criteria_by_axis", "horizontal", "background")
    )
    if by_axis is not None:
        axes = (axis for axis in ("z", *_SIDEWAYS) if by_axis.has(axis))
        arguments["criteria"] = {axis: by_axis[axis] for axis in axes}
    if given.has("mounts"):
        arguments["mounts"] = mounting_of(given["mounts"], arguments["mass"])
    if given.has("floor"):
        arguments["floor"] = _floor(given["floor"])
    if horizontal is not None:
        on_bands = horizontal.has("frequency_hz")
        arguments["horizontal"] = {
            axis: horizontal.on_bands(f"{axis}_db") if on_bands else horizontal[f"{axis}_db"]
            for axis in _SIDEWAYS
            if horizontal.has(f"{axis}_db")
        }
    if background is not None:
        arguments["background"] = levels.stamp(
            background.on_bands("level_db_re_1_nm_s"), quantity="velocity", reference="1 nm/s",
            long_name="velocity of the floor without trains",
        )  # fmt: skip
    return Equipment(**arguments)


def _floor(given: Given) -> Mobility | Numeric:
    model = given["model"]
    if model == "does not give way":
        return 0.0
    if model == "mobility":
        mobility: Numeric = given["mobility_m_n_s"]
        return mobility
    mass = given["mass_kg"]
    with given.naming():
        return SpringFoundation(
            stiffness=(2 * np.pi * given["natural_frequency_hz"]) ** 2 * mass,
            loss_factor=given["loss_factor"],
            mass=mass,
        )


def mounting_of(given: Given, mass: Numeric) -> Mounting:
    """Mounts along the vertical, or by axis where some are given along others.

    Parameters
    ----------
    given : Given
        Frequencies and losses.
    mass : float or DataArray
        Of the equipment [kg], which has these frequencies.
    """
    vertical = _mount(given, mass)
    sideways = {axis: _mount(given[axis], mass) for axis in _SIDEWAYS if given.has(axis)}
    return {"z": vertical, **sideways} if sideways else vertical


def _mount(given: Given, mass: Numeric) -> LineMount:
    with given.naming():
        springs = LinearMount.tuned(mass=mass, **given.arguments())
        if not given.has("damping_n_s_m"):
            return springs
        return InParallel(springs, Dashpot(damping=given["damping_n_s_m"]))


def option_mounts(
    given: Given, equipment: Mapping[str, Equipment], faults: Faults
) -> dict[str, Mounting]:
    """Mounts of equipment of one option, by its name.

    Parameters
    ----------
    given : Given
        A table of ``[[options]]``.
    equipment : mapping of str to Equipment
        Of the study.
    faults : Faults
        Collects what is wrong: equipment that is given mounts twice, mounts that do not fit it.
    """
    found: dict[str, Mounting] = {}
    for one in given["equipment"] or []:
        name = one["name"]
        if name in found:
            faults.add(f"{one.where}: the equipment {name!r} is given mounts twice")
        with faults.gathered(), one.naming():
            mounts = mounting_of(one, equipment[name].mass)
            replace(equipment[name], mounts=mounts)  # refuses those that do not fit
            found[name] = mounts
    return found
