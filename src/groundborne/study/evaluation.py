"""From paths and a source to levels in rooms, without a loop over rooms, passbys or samples."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, levels, weighting
from groundborne._arguments import Frequency, checked
from groundborne._checks import LevelError, StudyError, no_nan, watched
from groundborne.citation import Citation, citation_texts
from groundborne.path import TransmissionPath
from groundborne.path.answers import Answers
from groundborne.rating.band_rules import bands_summed

MEMORY_LIMIT = 4 * 2**30
"""Largest array of band levels an evaluation makes without being asked in parts [bytes]."""


def side_by_side(parts: Mapping[str, xr.DataArray], *, dim: str) -> xr.DataArray:
    """Arrays by their names on a new dim, what one lacks repeated along it; without attributes.

    Parameters
    ----------
    parts : mapping of str to DataArray
        By the label each gets; common labels are the same.
    dim : str
        Its name.
    """
    arrays = xr.align(*parts.values(), join="exact", copy=False)
    sizes: dict[Hashable, int] = {}
    coords: dict[Hashable, xr.DataArray] = {}
    for array in arrays:
        sizes |= {d: n for d, n in array.sizes.items() if d not in sizes}
        coords |= {n: c for n, c in array.coords.items() if n not in coords}
    # Of variables: the same by arrays with labels takes many times as long.
    spread = [array.variable.set_dims(sizes).transpose(*sizes) for array in arrays]
    joined = xr.Variable.concat(spread, dim=dim)
    return xr.DataArray(joined.data, dims=joined.dims, coords={dim: list(parts), **coords})


@checked
def stage_changes(
    paths: Mapping[str, TransmissionPath],
    frequency: Frequency,
    *,
    order: Sequence[str] | None = None,
) -> xr.DataArray:
    """Level change of every stage of every path.

    Parameters
    ----------
    paths : mapping of str to TransmissionPath
        One path for each option. A stage that a path lacks changes nothing there.
    frequency : DataArray
        Nominal labels [Hz].
    order : sequence of str, optional
        Stages, where paths of other parts of a building have more: see :func:`stage_order`.

    Returns
    -------
    xarray.DataArray
        Level change [dB], dims (option, stage, ..., frequency).

    Raises
    ------
    StudyError
        No path, or paths whose common stages come in different orders.

    Examples
    --------
    >>> from groundborne import bands, propagation
    >>> path = TransmissionPath(coupling=propagation.published_coupling("single house"))
    >>> stage_changes({"as built": path}, bands.third_octaves(63, 63)).values.ravel().tolist()
    [-6.0]
    """
    return stages_in(Answers(frequency), paths, order=order)


def stages_in(
    answers: Answers, paths: Mapping[str, TransmissionPath], *, order: Sequence[str] | None = None
) -> xr.DataArray:
    """As :func:`stage_changes`, with what paths to another end of a building have asked before.

    Parameters
    ----------
    answers : Answers
        In the bands that are asked for.
    paths, order
        As there.
    """
    if not paths:
        raise StudyError("evaluate: there is no path; at least one is needed")
    order = stage_order(paths) if order is None else list(order)
    bands.require_labels(answers.frequency, "TransmissionPath")
    zero = xr.zeros_like(answers.frequency, dtype=float)
    parts = {}
    for option, path in paths.items():
        changes = path.changes_in(answers)
        rows = {stage: changes.data_vars.get(stage, zero) for stage in order}
        parts[option] = side_by_side(rows, dim="stage")
    change = side_by_side(parts, dim="option")
    others = [d for d in change.dims if d not in ("option", "stage", "room", "frequency")]
    change = change.transpose(
        "option", "stage", "room", *others, "frequency", missing_dims="ignore"
    )
    change.attrs = {"long_name": "level change of the stage", "units": "dB"}
    return change


@checked
def stage_order(*paths: Mapping[str, TransmissionPath]) -> list[str]:
    """One order of stages that agrees with every path.

    Parameters
    ----------
    *paths : mapping of str to TransmissionPath
        By option, of every part of a building.

    Raises
    ------
    StudyError
        Paths whose common stages come in different orders.

    Examples
    --------
    >>> from groundborne.path import COLUMN, FOUNDATION, GROUND, Unchanged
    >>> down, up = Unchanged(GROUND, FOUNDATION), Unchanged(FOUNDATION, COLUMN)
    >>> short, long = TransmissionPath(coupling=down), TransmissionPath(coupling=down, up=up)
    >>> stage_order({"as built": short}, {"as built": long})
    ['coupling', 'up']
    """
    order: list[str] = []
    for option, path in (pair for one in paths for pair in one.items()):
        at = 0
        for name in path.names:
            if name in order:
                if order.index(name) < at:
                    raise StudyError(
                        f"evaluate: option {option!r} has the stage {name!r} in another order than "
                        "the options before it"
                    )
                at = order.index(name) + 1
            else:
                order.insert(at, name)
                at += 1
    return order


@checked
def room_levels(change: xr.DataArray, source: xr.DataArray) -> xr.DataArray:
    """A-weighted level of every passby from the level change of the whole path.

    Parameters
    ----------
    change : DataArray
        Level change, source to room [dB], dims (..., frequency).
    source : DataArray
        Level at the source [dB], dims (passby, frequency).

    Returns
    -------
    xarray.DataArray
        ``10 lg Σ_b 10^((source + change + A)/10)`` [dB re 20 µPa], dims (..., passby).

    Examples
    --------
    >>> f = {"frequency": [50.0, 63.0]}
    >>> source = xr.DataArray([[90.0, 95.0]], dims=("passby", "frequency"), coords=f)
    >>> change = xr.DataArray([-40.0, -42.0], coords=f)
    >>> room_levels(change, source).round(2).values.tolist()
    [27.59]
    """
    return bands_summed(change + weighting.a(change["frequency"]), source)


@checked
def evaluate(
    paths: Mapping[str, TransmissionPath],
    source: xr.DataArray,
    *,
    band_levels: bool = True,
    order: Sequence[str] | None = None,
) -> xr.Dataset:
    """Levels in rooms for several paths and one source.

    Parameters
    ----------
    paths : mapping of str to TransmissionPath
        Option label to path; every path ends in the room's sound pressure.
    source : DataArray
        Labelled velocity level [dB], dims (passby, frequency).
    band_levels : bool
        Whether to make ``band_level`` of every passby; without, large sampled studies stay small.
    order : sequence of str, optional
        As for :func:`stage_changes`.

    Returns
    -------
    xarray.Dataset
        ``level_change`` (option, stage, ..., frequency), ``valid`` (option, ..., frequency),
        ``mean_level`` (energy mean over passbys), ``sound_level`` (dB(A), per passby) and
        ``band_level`` (per passby). Dims beyond option, passby and frequency are those of the
        elements' parameters, such as room, floor, sample.

    Raises
    ------
    LevelError
        The source is not labelled, is elsewhere than a path starts, or a path does not end in a
        room.
    StudyError
        ``band_level`` would exceed ``MEMORY_LIMIT``.

    Examples
    --------
    >>> import groundborne as gb
    >>> f = gb.bands.third_octaves(50, 80)
    >>> source = gb.levels.stamp(
    ...     xr.DataArray([[90.0, 96.0, 92.0]], dims=("passby", "frequency"),
    ...                  coords={"passby": ["P1"], "frequency": f.values}),
    ...     quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="S max")
    >>> from groundborne import propagation, receiver
    >>> path = gb.TransmissionPath(coupling=propagation.published_coupling("single house"),
    ...                storeys=propagation.no_storey_attenuation(),
    ...                floor=propagation.anc_floor_for_noise(),
    ...                radiation=receiver.relation("minus 27"))
    >>> evaluate({"as built": path}, source)["sound_level"].round(1).item()
    45.5
    """
    levels.require(source, where="evaluate", quantity="velocity")
    answers = Answers(source["frequency"])
    return levels_in(answers, paths, source, band_levels=band_levels, order=order)


def levels_in(
    answers: Answers,
    paths: Mapping[str, TransmissionPath],
    source: xr.DataArray,
    *,
    band_levels: bool,
    order: Sequence[str] | None,
) -> xr.Dataset:
    """As :func:`evaluate`, with what was asked before.

    Parameters
    ----------
    answers : Answers
        In the bands of the source.
    paths, source, band_levels, order
        As there.
    """
    for option, path in paths.items():
        if path.quantity_out.quantity != "sound pressure":
            raise LevelError(
                f"evaluate: option {option!r} ends in {path.quantity_out}, not in a room"
            )
        place = source.attrs.get("location", path.quantity_in.location)
        if place != path.quantity_in.location:
            raise LevelError(
                f"evaluate: the source is the velocity {place}; option {option!r} starts from the "
                f"{path.quantity_in}"
            )
    no_nan("evaluate: source", source, LevelError)
    source = levels.convert(source, reference="1 nm/s")
    change = stages_in(answers, paths, order=order)
    total = change.sum("stage", skipna=False)
    stamp = {
        "quantity": "sound pressure",
        "reference": "20 µPa",
        "location": "in the room, room average",
        "time_weighting": source.attrs.get("time_weighting", ""),
    }
    data = {
        "source_level": source,
        "level_change": change,
        "valid": _valid(paths, answers),
        "mean_level": levels.stamp(
            total + levels.energy_mean(source, "passby"),
            long_name="band level in the room, energy mean of passbys", **stamp,
        ),
        "sound_level": levels.stamp(
            room_levels(total, source), long_name="A-weighted level, per passby", **stamp,
        ),
    }  # fmt: skip
    if band_levels:
        _guard_memory({**total.sizes, **source.sizes})
        data["band_level"] = levels.stamp(
            total + source, long_name="band level in the room, per passby", **stamp
        )
    lead = ("option", "room", "passby")
    data = {name: watched(f"evaluate: {name}", array) for name, array in data.items()}
    dataset = xr.Dataset(data, attrs={"citations": citation_texts(_citations(paths))})
    return dataset.transpose(*lead, ..., "frequency", missing_dims="ignore")


def _valid(paths: Mapping[str, TransmissionPath], answers: Answers) -> xr.DataArray:
    valid = side_by_side({o: p.valid_in(answers) for o, p in paths.items()}, dim="option")
    valid.attrs = {"long_name": "all stages inside the range of their sources"}
    return valid


def _citations(paths: Mapping[str, TransmissionPath]) -> list[Citation]:
    return list(dict.fromkeys(c for p in paths.values() for c in p.citations))


def _guard_memory(sizes: Mapping[Any, int]) -> None:
    count = int(np.prod([int(n) for n in sizes.values()], dtype=object))
    if count * 8 > MEMORY_LIMIT:
        largest = max((d for d in sizes if d != "frequency"), key=lambda d: sizes[d])
        listed = ", ".join(f"{d} {n}" for d, n in sizes.items())
        raise StudyError(
            f"evaluate: band levels of every passby need {count * 8 / 2**30:.1f} GiB ({listed}); "
            f"pass band_levels=False, or evaluate parts of {largest!r} in turn"
        )
