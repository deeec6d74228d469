"""What a result holds of masses: on and above the mounts, and the weights of the columns."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne.study.evaluation import side_by_side
from groundborne.study.masses import both_masses, natural_frequency
from groundborne.study.model import StudyModel
from groundborne.study.part import Part
from groundborne.study.plane import Plane


@checked(infinite=["return"])
def mass_results(study: StudyModel, part: Part) -> xr.Dataset:
    """Both masses, what they make of every option's mounts, and the weights of the columns.

    Parameters
    ----------
    study : Study
        Its options.
    part : Part
        Of its building, as built; without an isolation plane there is nothing to compare.

    Returns
    -------
    Dataset
        ``carried_mass`` and ``moving_mass`` [kg], ``nominal_frequency`` and ``mount_frequency``
        (option) [Hz], on ``column`` where the plane has columns; without mounts the frequencies
        are infinite. Masses are by option too where an option changes the building.
        ``column_weight`` [-] where levels are means over columns.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> found = mass_results(study, study.part())
    >>> (found["moving_mass"].sum() / found["carried_mass"].sum()).round(2).item()
    1.01
    """
    data: dict[str, xr.DataArray] = {}
    plane = part.plane
    if plane is not None:
        carried, moving = _masses(study, part, plane)
        data["carried_mass"] = _named(carried, "mass on the mounts, by column loads", "kg")
        data["moving_mass"] = _named(moving, "mass above the mounts, in the model", "kg")
        for name, of, words in (
            ("nominal_frequency", "mass", "mounts under the column loads"),
            ("mount_frequency", "moving_mass", "mounts under the masses of the model"),
        ):
            as_built, _ = both_masses(plane.mass, plane.moving_mass)
            rigid = xr.full_like(as_built, np.inf, dtype=float)
            rows = {}
            for option, there in study.seen_by(part):
                on: Any = rigid
                if option.base is not None and there.plane is not None:
                    # In the model, with what crosses the plane beside the mounts.
                    mount = there.plane.crossed(option.base) if of == "moving_mass" else option.base
                    on = natural_frequency(mount, getattr(there.plane, of))
                rows[option.name] = xr.DataArray(on)
            joined = side_by_side(rows, dim="option")
            data[name] = _named(joined, f"natural frequency, {words}", "Hz")
    weights = getattr(plane, "column_weights", None)
    if weights is not None and "column" in weights.dims:
        data["column_weight"] = _named(
            weights, "share of the column in means over columns, by area carried", "1"
        )
    return xr.Dataset(data)


def _masses(study: StudyModel, part: Part, plane: Plane) -> tuple[xr.DataArray, xr.DataArray]:
    """On the mounts and above them [kg]; by option where one changes the building."""
    planes = {option.name: there.plane or plane for option, there in study.seen_by(part)}
    if all(other is plane for other in planes.values()):
        return both_masses(plane.mass, plane.moving_mass)
    each = {name: both_masses(of.mass, of.moving_mass) for name, of in planes.items()}
    carried, moving = (
        side_by_side({name: pair[at] for name, pair in each.items()}, dim="option") for at in (0, 1)
    )
    return carried, moving


def _named(array: xr.DataArray, words: str, units: str) -> xr.DataArray:
    plain = array.drop_attrs(deep=False)
    plain = plain.reset_coords(drop=True)
    return plain.assign_attrs(long_name=words, units=units)
