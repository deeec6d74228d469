"""Whether the bands of a study carry a criterion: of every passby, and below the first band.

What a rating takes from each passby is judged passby by passby, and the statistic of the criterion
is taken of that; a rating that adds passbys is judged on their sum, each with the weight it has in
it. Below the first band the ground is held to the envelope of ``rating.sufficiency``, and the path
of the option does there what it does.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, weighting
from groundborne.citation import ValidityWarning
from groundborne.levels import decibel, energy
from groundborne.path import Path
from groundborne.rating import Criterion, Sufficiency
from groundborne.rating.noise import A_RANGE, NR_RANGE, judge_octaves, octave_ratings
from groundborne.rating.sufficiency import HEARD, Missing, envelope, judge_ends, missing_bands
from groundborne.rating.vibration_bands import band_weights, missing_of_curve
from groundborne.rating.vibration_curves import missing_of_class, over_curve
from groundborne.study.trains import Trains, trains_of
from groundborne.study.vibration import DOSE_CURVE, KB_RANGE
from groundborne.weighting import KB_BANDS

LOWEST_FELT = 1.0
"""First band of the ratings of vibration [Hz]."""


def sufficiency(
    result: xr.Dataset, criterion: Criterion, weight: xr.DataArray | None
) -> Sufficiency:
    """Whether the bands of a result suffice for a criterion.

    Parameters
    ----------
    result : Dataset
        With ``source_level`` and ``level_change`` or ``floor_change``, and where they are known
        the changes of :func:`changes_below`.
    criterion : Criterion
        Any.
    weight : DataArray or None
        Trains that each passby stands for.
    """
    if criterion.of.vibration:
        return _felt(result, criterion, weight)
    trains = trains_of(result["source_level"], criterion, weight)
    change = _bare(result["level_change"].sum("stage", skipna=False))
    labels = change["frequency"].values
    if criterion.metric == "NR":
        return judge_octaves(
            octave_ratings(passby_octaves(change, trains.level)),
            change["frequency"],
            over=trains.over,
            beyond=_third_ratings(_below(result, "change_below", trains.level, NR_RANGE[0])),
        )
    ends = missing_bands(float(labels[0]), float(labels[-1]), range_=A_RANGE, needed=HEARD)
    return _judged(
        change, trains, ends, weighting.a, _below(result, "change_below", trains.level, A_RANGE[0])
    )


def _felt(result: xr.Dataset, criterion: Criterion, weight: xr.DataArray | None) -> Sufficiency:
    change = _bare(result["floor_change"])
    first, last = (float(f) for f in change["frequency"].values[[0, -1]])
    if criterion.metric == "VC":
        assert criterion.curve is not None  # Criterion asks for one
        trains = trains_of(result["source_level"], criterion, weight)
        below = _below(result, "floor_change_below", trains.level, LOWEST_FELT)
        gain = partial(over_curve, criterion.curve)
        ends = missing_of_class(criterion.curve, first, last)
        return _judged(change, trains, ends, gain, below, combined="maximum")
    curve = DOSE_CURVE if criterion.metric == "VDV" else KB_BANDS[KB_RANGE]
    trains = trains_of(result["source_level"], criterion, weight)
    below = _below(result, "floor_change_below", trains.level, LOWEST_FELT)
    ends = missing_of_curve(curve, first, last)
    return _judged(change, trains, ends, partial(band_weights, curve), below)


def _judged(
    change: xr.DataArray,
    trains: Trains,
    ends: tuple[Missing | None, Missing | None],
    gain: Callable[[Any], xr.DataArray],
    below: xr.DataArray | None,
    *,
    combined: Any = "sum",
) -> Sufficiency:
    return judge_ends(
        change + gain(change["frequency"]),
        below=ends[0],
        above=ends[1],
        combined=combined,
        each=trains.level,
        over=trains.over,
        beyond=None if below is None else below + gain(below["frequency"]),
    )


def _below(
    result: xr.Dataset, name: str, source: xr.DataArray, lowest: float
) -> xr.DataArray | None:
    """Band levels below the first band: the envelope of the source, changed as the path does."""
    if name not in result:
        return None
    change = _bare(result[name]).rename(band_below="frequency")
    change = change.sel(frequency=change["frequency"] >= lowest)
    if not change.sizes["frequency"]:
        return None
    return change + envelope(source, change["frequency"])


def passby_octaves(change: xr.DataArray, source: xr.DataArray) -> xr.DataArray:
    """Octave levels of every passby, octave by octave, never all bands of all passbys at once.

    Parameters
    ----------
    change : DataArray
        Level change in thirds [dB].
    source : DataArray
        Levels in thirds [dB], with or without ``passby``.
    """
    middle = bands.octave(change["frequency"].values)
    rows = []
    for centre in np.unique(middle).tolist():
        here = middle == centre
        gain, power = (energy(a.isel(frequency=here)) for a in (change, source))
        rows.append(decibel(xr.dot(gain, power, dim="frequency")))
    return bands.stacked(rows, np.unique(middle))


def _third_ratings(level: xr.DataArray | None) -> xr.DataArray | None:
    """Noise rating of the octave of each third, as though its other thirds were alike."""
    if level is None:
        return None
    thirds = level["frequency"].values
    rows = [
        octave_ratings((level.sel(frequency=[f]) + decibel(xr.DataArray(3.0))).assign_coords(
            frequency=[float(bands.octave(np.array([f]))[0])]
        )).isel(frequency=0, drop=True)
        for f in thirds.tolist()
    ]  # fmt: skip
    return bands.stacked(rows, thirds)


def _bare(array: xr.DataArray) -> xr.DataArray:
    return array.reset_coords(drop=True)


def changes_below(
    paths: Mapping[str, Path], frequency: xr.DataArray, lowest: float
) -> xr.DataArray | None:
    """What paths do in the bands below those that are evaluated.

    Parameters
    ----------
    paths : mapping of str to Path
        By option.
    frequency : DataArray
        Bands that are evaluated [Hz].
    lowest : float
        First band of the rating [Hz].

    Returns
    -------
    xarray.DataArray or None
        Sum of the level changes [dB], dims (option, ..., band_below); none where no band is
        missing. Steps that end where the bands do (tables, measured transfers) are held at their
        first band.
    """
    first = float(frequency.values[0])
    if first <= lowest:
        return None
    below = bands.third_octaves(lowest, first)[:-1]
    with warnings.catch_warnings():
        # No result is given there; it only bounds what is missing.
        warnings.simplefilter("ignore", ValidityWarning)
        totals = [_total(path, below, frequency) for path in paths.values()]
    totals = list(xr.broadcast(*totals))
    joined: xr.DataArray = xr.concat(
        totals, dim=xr.Variable("option", list(paths)), join="exact", coords="minimal",
        compat="override",
    )  # fmt: skip
    joined = _bare(joined).rename(frequency="band_below").drop_attrs(deep=False)
    joined.attrs = {"long_name": "level change below the first band, tables held", "units": "dB"}
    return joined


def _total(path: Path, below: xr.DataArray, frequency: xr.DataArray) -> xr.DataArray:
    total = xr.zeros_like(below, dtype=float)
    for element in path.elements.values():
        try:
            change = element.level_change(below)
            answered = "frequency" not in change.dims or change["frequency"].equals(
                below["frequency"]
            )
        except ValueError:
            answered = False
        if not answered:
            change = element.level_change(frequency)  # whole: it may hold a number for each band
            change = change.isel(frequency=0, drop=True) if "frequency" in change.dims else change
        total = total + change.drop_attrs(deep=False)
    return _bare(path.heard(total))
