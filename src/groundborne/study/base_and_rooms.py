"""How far the sum of base and room isolation is off, where both are predicted apart.

Two masses on springs in a row, the layer on the building and the building on its mounts, are held
against each stage by itself. Where layers are solved with column lines none of this is needed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric
from groundborne.bands import single_frequencies
from groundborne.isolation.transmissibility import hysteretic, two_stage
from groundborne.levels import decibel, mean_square
from groundborne.study.cross_checks import plan_of_columns
from groundborne.study.masses import natural_frequency
from groundborne.study.model import StudyModel
from groundborne.study.option import Option, RoomMeasure
from groundborne.study.part import Part
from groundborne.study.rating_notes import governing_bands, within

USUAL_LAYER = 240.0
"""Mass of a layer of which only the natural frequency is given [kg/m²]: 100 mm of concrete; common
practice."""

USUAL_STOREY = 1000.0
"""Mass of one storey over its plan [kg/m²], where loads or plan are not known: slab, finishes,
walls, columns and part of the imposed load; common practice."""


@checked
def error_of_sum(
    frequency: Frequency,
    *,
    base_frequency: Numeric,
    base_loss_factor: Numeric,
    layer_frequency: Numeric,
    layer_loss_factor: Numeric,
    mass_ratio: Numeric,
) -> xr.DataArray:
    """Level of a layer on a building on mounts, over what both stages change by themselves.

    Parameters
    ----------
    frequency : DataArray
        Nominal bands [Hz].
    base_frequency, layer_frequency : float or DataArray
        Natural frequency of the building on its mounts, and of the layer on a slab at rest [Hz].
    base_loss_factor, layer_loss_factor : float or DataArray
        Hysteretic [-].
    mass_ratio : float or DataArray
        Mass of the layer over that of the building above its mounts [-].

    Returns
    -------
    DataArray
        Per band [dB], with the dims of the parameters; above 0 the sum promises too much.

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    Notes
    -----
    Energy means over lines in each band, of both stages together and of each by itself. The
    building is rigid and stands on ground that moves as without it.

    References
    ----------
    :func:`~groundborne.isolation.two_stage` against :func:`~groundborne.isolation.hysteretic`.

    Examples
    --------
    A layer of a twentieth of the building's mass parts both resonances, and adds little above them.

    >>> from groundborne.bands import third_octaves
    >>> error = error_of_sum(third_octaves(8, 50), base_frequency=9.0, base_loss_factor=0.1,
    ...                      layer_frequency=10.0, layer_loss_factor=0.1, mass_ratio=0.05)
    >>> error.sel(frequency=[10.0, 12.5, 50.0]).round(1).values.tolist()
    [-9.0, 4.2, 0.3]
    """
    f = single_frequencies(frequency, loss_factor=np.minimum(base_loss_factor, layer_loss_factor))
    together = two_stage(
        f,
        lower_stiffness=(2 * np.pi * base_frequency) ** 2,
        lower_mass=1.0,
        upper_stiffness=mass_ratio * (2 * np.pi * layer_frequency) ** 2,
        upper_mass=mass_ratio,
        lower_loss_factor=base_loss_factor,
        upper_loss_factor=layer_loss_factor,
    )
    base = hysteretic(f / base_frequency, loss_factor=base_loss_factor)
    layer = hysteretic(f / layer_frequency, loss_factor=layer_loss_factor)
    coupled, *apart = (
        decibel(mean_square(xr.DataArray(ratio), "single_frequency"))
        for ratio in (together, base, layer)
    )
    error: xr.DataArray = coupled - apart[0] - apart[1]
    return error


def size_of_error(
    study: StudyModel,
    result: xr.Dataset,
    option: Option,
    measure: RoomMeasure,
    group: str,
    part: Part,
) -> tuple[dict[str, Any], float | None]:
    """What the note on stages that are added says of their error, in rooms of one part.

    Parameters
    ----------
    study : Study
        With its criteria and floors.
    result : Dataset
        Rated.
    option : Option
        As the part sees it, on mounts.
    measure : RoomMeasure
        In rooms of the part alone, all of them added.
    group : str
        Surface group of the layer.
    part : Part
        As it is with the option.

    Returns
    -------
    tuple
        Values for the note, empty where the layer gives no natural frequency (a table of losses);
        and the error in the governing band of the room in which it is largest [dB]; of an octave
        in its third that is off most.
    """
    layer = measure.layer(group)
    plane, base = part.plane, option.base
    if plane is None or base is None or getattr(layer, "natural_frequency", None) is None:
        return {}, None
    mount = plane.crossed(base)
    base_frequency = _of_all(natural_frequency(mount, plane.moving_mass))
    stiffness = mount.dynamic_stiffness(xr.DataArray(base_frequency))
    base_loss = _of_all(stiffness.imag / stiffness.real)
    own, loss = (_by_room(v) for v in (layer.natural_frequency, _loss_factor(layer)))
    mass = getattr(layer, "mass_per_area", None)
    above = _mass_over_plan(study, part)
    of = "ceiling_floor" if group == "ceiling" else "floor_of_room"
    rooms = list(measure.rooms)
    levels = len(set(study.building.rooms[of].sel(room=rooms).values.tolist()))
    carried = _by_room(USUAL_LAYER if mass is None else mass)
    storeys = _storeys_above(study, plane.floor)
    building = USUAL_STOREY * storeys if above is None else above
    error = error_of_sum(
        study.frequency,
        base_frequency=base_frequency,
        base_loss_factor=base_loss,
        layer_frequency=own,
        layer_loss_factor=loss,
        mass_ratio=carried * levels / building,
    )
    each = error.expand_dims(room=rooms) if "room" not in error.dims else error.sel(room=rooms)
    governing: list[tuple[str, str, float, float]] = []
    bands = governing_bands(result, option.name, rooms)
    for room, (criterion, band) in zip(rooms, bands, strict=True):
        here = each.sel(room=room, frequency=within(study, criterion, band))
        if here.size:
            worst = here.isel(frequency=int(np.argmax(abs(here.values))))
            governing.append((room, criterion, float(worst["frequency"]), float(worst)))
    values: dict[str, Any] = {
        "layer_hz": _ends(own),
        "layer_kg_m2": _ends(carried),
        "layer_assumed": mass is None,
        "mounts_hz": base_frequency,
        "building_kg_m2": building,
        "building_assumed": above is None,
        "levels": levels,
        "lowest": _at_most(-each.min("room"), -1.0),
        "highest": _at_most(each.max("room"), 1.0),
        "governing": governing,
    }
    return values, max((row[3] for row in governing), key=abs, default=None)


def _at_most(error: xr.DataArray, sign: float) -> list[float]:
    """Band and value of the largest error of one sign."""
    return [float(error.idxmax("frequency")), sign * float(error.max())]


def _loss_factor(layer: Any) -> Numeric:
    """Of supports and air together, where a construction tells them apart."""
    combined: Numeric | None = getattr(layer, "loss_factor_combined", None)
    found: Numeric = layer.loss_factor if combined is None else combined
    return found


def _by_room(value: Numeric) -> xr.DataArray:
    """What may differ from room to room; of samples the median."""
    array = xr.DataArray(value)
    return array.median([d for d in array.dims if d != "room"])


def _of_all(value: Numeric) -> float:
    """Of columns and samples the median."""
    return float(np.median(np.asarray(value)))


def _mass_over_plan(study: StudyModel, part: Part) -> float | None:
    """Mass above the mounts of a part over its plan [kg/m²]; None where the plan is not known."""
    columns = study.building.columns
    assert part.plane is not None
    mass = xr.DataArray(part.plane.moving_mass)
    if columns is None:
        return None
    if "column" in mass.dims:
        columns = columns.sel(column=mass["column"].values)
        mass = mass.sum("column")
    plan = plan_of_columns(columns)
    return None if plan is None else _of_all(mass) / (plan[0] * plan[1])


def _storeys_above(study: StudyModel, lowest: str) -> int:
    names: list[str] = study.building.floors["floor"].values.astype(str).tolist()
    return len(names) - names.index(lowest)


def _ends(value: xr.DataArray) -> list[float]:
    return [float(value.min()), float(value.max())]
