"""What trains, path and options of a study say together, held against practice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from groundborne._checks import RatingError, StudyError
from groundborne.isolation import DistributedMount, LinearMount
from groundborne.study.cross_checks import hold
from groundborne.study.model import StudyModel
from groundborne.study.option import Option
from groundborne.study.period import Period
from groundborne.study.service import described

RUBBER = 1.15
"""Dynamic over static stiffness from which mounts are taken for rubber; common practice."""


def check_weightings(study: StudyModel, file: str, *, passbys: str) -> None:
    """Levels and the limits that rooms are held against are of one time weighting.

    Raises
    ------
    RatingError
        They are not.
    """
    made = study.source.attrs.get("time_weighting", "")
    for criteria in study.room_criteria.values():
        for criterion in criteria:
            try:
                criterion.require(made)
            except RatingError as error:
                raise RatingError(f"{file} with {passbys}: {error}") from None


def check_periods(study: StudyModel, file: str, *, passbys: str) -> None:
    """Trains per hour of each period, and their types against those that were measured.

    Raises
    ------
    StudyError
        More than any railway carries; types that a criterion counts and the passbys do not tell.
    """
    periods: Mapping[str, Period] = study.periods
    if not periods:
        return
    named = {c.period for criteria in study.criteria.values() for c in criteria}
    for name in periods:
        if name in named:
            try:
                periods[name].weight(study.passbys.level)
            except StudyError as error:
                raise StudyError(f"{file} with {passbys}: {error}") from None
    hours = {name: period.hours for name, period in periods.items()}
    rates = {name: sum(p.trains.values()) / p.hours for name, p in periods.items()}
    longest = max(hours, key=lambda name: hours[name])
    for name, rate in rates.items():
        where = f"{file}, [periods], [{name}]: trains per hour"
        hold("trains per hour", rate, where)
        if rates[longest] > 0 and hours[name] < hours[longest]:
            hold(
                "trains per hour over longest period",
                rate / rates[longest],
                f"{where} over those of {longest!r}",
            )


def check_path(elements: Mapping[str, Any], file: str) -> None:
    """Distances and speeds against those of the measurement.

    Raises
    ------
    StudyError
        A ratio that cannot be.
    """
    ground, speed = elements.get("ground"), elements.get("speed")
    if ground is not None:
        hold(
            "distance over measured",
            ground.distance / ground.reference_distance,
            f"{file}, [path], [ground]: 'distance_m' over 'measured_distance_m'",
        )
    if speed is not None:
        hold(
            "speed over measured",
            speed.speed / speed.reference_speed,
            f"{file}, [path], [speed]: 'speed_km_h' over 'measured_speed_km_h'",
        )


def check_options(options: Sequence[Option], file: str, *, own_slabs: bool) -> None:
    """Mounts against their material, constructions against what they carry.

    Parameters
    ----------
    options : sequence of Option
        Of the study.
    file : str
        Study file, for messages.
    own_slabs : bool
        Whether the slabs under and over rooms stand in the options.

    Raises
    ------
    StudyError
        A combination that cannot be.
    """
    for option in options:
        where = f"{file}, option {option.name!r}"
        for mount in (option.base, *option.bases.values()):
            _check_mount(described(mount), where)
        for measure in option.measures:
            for group, treatment in measure.treatments.items() if own_slabs else ():
                _check_slab(getattr(treatment, "slab", None), f"{where}, {measure.name}, {group}")
            parts = {} if measure.box is None else measure.box.parts
            for group, part in parts.items():
                _check_part(part, f"{where}, {measure.name}, {group}")


def _check_mount(mount: Any, where: str) -> None:
    if not isinstance(mount, (LinearMount, DistributedMount)):
        return
    rubber = bool(np.max(mount.dynamic_to_static) > RUBBER)
    hold(
        "loss factor of rubber" if rubber else "loss factor of steel",
        mount.loss_factor,
        f"{where}: 'loss_factor' of mounts that 'dynamic_to_static' says are "
        f"{'rubber' if rubber else 'steel springs'}",
    )


def _check_slab(slab: Any, where: str) -> None:
    """Mass and first resonance of a slab that an option names."""
    if slab is None:
        return
    hold(
        "mass of a floor of an option",
        slab.mass_per_area,
        f"{where}: the mass of its slab",
    )
    hold(
        "resonance of a slab",
        slab.first_resonance,
        f"{where}: the first resonance of its slab by spans, thickness, modulus and mass",
    )


def _largest(load: Any) -> Any:
    """Of all hangers of a grid."""
    return load.max("hanger") if "hanger" in getattr(load, "dims", ()) else load


def _check_part(part: Any, where: str) -> None:
    """A floor on mounts, a ceiling on hangers or a leaf on strips."""
    deflection = getattr(part, "static_deflection", None)
    if deflection is not None:
        supports = "elements" if hasattr(part, "element_stiffness") else "mounts or hangers"
        hold(f"deflection of {supports}", deflection,
             f"{where}: the deflection of its {supports} under its weight")  # fmt: skip
    for load, capacity in (
        ("largest_mount_load", "mount_capacity"),
        ("largest_element_load", "element_capacity"),
        ("hanger_loads", "hanger_capacity"),
    ):
        if getattr(part, capacity, None) is not None:
            used = _largest(getattr(part, load)) / getattr(part, capacity)
            hold("use of capacity", used, f"{where}: the largest load over '{capacity}_n'")
    for mass, thickness, keys in (
        ("leaf_mass", "leaf_thickness", "'leaf_kg_m2' over 'leaf_m'"),
        ("board_mass", "board_thickness", "'boards_kg_m2' over 'boards_m'"),
    ):
        depth = getattr(part, thickness, 0.0)
        if np.all(depth > 0):
            hold("density of boards", getattr(part, mass) / depth, f"{where}: {keys}")
    if hasattr(part, "strip_stiffness"):
        hold("frequency of a wall on strips", part.vented_frequency,
             f"{where}: the frequency of the leaf on its strips")  # fmt: skip
        hold("frequency of a wall with its air", part.natural_frequency,
             f"{where}: the frequency of the leaf on its strips and the air behind it")  # fmt: skip
        strips, air = part.support_stiffness_per_area, part.air_stiffness_per_area
        if np.all(air > 0):
            hold("strips of a wall over its air", strips / air,
                 f"{where}: the stiffness of strips and ties, by 'strip_stiffness_n_m2' over "
                 "'height_m', over that of the air in 'cavity_m'")  # fmt: skip
