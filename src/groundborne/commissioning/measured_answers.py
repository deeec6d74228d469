"""Answers to the criteria of rooms by what was measured in them, with its uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, StudyError, known
from groundborne.bands import require_labels
from groundborne.citation import citation_texts
from groundborne.commissioning.few_trains import GENERALIZED, offsets_by_trains
from groundborne.commissioning.measurement_error import MeasurementError, at_labels
from groundborne.commissioning.provenance import (
    CALIBRATED_WITH,
    FINGERPRINTS,
    PROVENANCE,
    fingerprints,
    provenance_of,
    require_unused,
)
from groundborne.levels import require
from groundborne.rating import Criterion, answer
from groundborne.study.period import Period
from groundborne.study.rated_samples import Rated
from groundborne.study.room_rating import CHANGES, rate_rooms, rating_alone, worst

SAMPLES = 4096
PROBABILITY = 0.9
"""Probability from which a criterion counts as met, and 1 less it as not met; common practice."""
_HIDDEN = 200.0  # dB below what was measured: a band that may hold no train at all

_MIDDLE = (0.1587, 0.8413)  # of a normal distribution, one standard deviation on each side

Array = np.ndarray[Any, Any]


@checked
def judge_measured(
    measured: xr.DataArray,
    *,
    criteria: Mapping[str, Sequence[Criterion]],
    periods: Mapping[str, Period] | None = None,
    error: MeasurementError | None = None,
    probability: float = PROBABILITY,
    samples: int = SAMPLES,
    seed: int = 1,
) -> xr.Dataset:
    """Whether rooms meet their criteria by what was measured in them.

    Parameters
    ----------
    measured : DataArray
        Labelled levels of trains [dB] on ``room``, ``passby`` and ``frequency``, as for
        :func:`~groundborne.commissioning.compare_levels`, with the coordinate ``duration_s`` [s] on
        ``passby`` where a criterion is a dose.
    criteria : mapping of str to sequence of Criterion
        Of each room, such as ``study.room_criteria``; those on another quantity than was measured
        are left for the other measurement.
    periods : mapping of str to Period, optional
        Timetables that criteria name, such as ``study.periods``.
    error : MeasurementError, optional
        Of the measured levels; by default of as many positions as they say, or of one.
    probability : float
        From which a criterion counts as met, above 0.5 and below 1.
    samples, seed : int
        Of the errors of measured levels, 1000 or more; the same seed gives the same numbers.

    Returns
    -------
    xarray.Dataset
        On (room, criterion): ``margin``, the median of where it may lie [dB, or NR], with
        ``margin_low`` and ``margin_high``, which leave 1 less `probability` on each side, and the
        ``rating`` of that median in the unit of the criterion; ``rating_as_measured`` and
        ``margin_as_measured``, of the levels as they stand, which errors of bands have raised;
        ``at_most``, where bands that may hold no train at all decide: the rating is at most what
        stands there, and ``margin_high`` is infinite; ``probability`` of meeting the limit;
        ``trains_error``, half the width of the middle 68 % of what the number of trains leaves
        open; ``may_add``, what bands that were not measured may add; ``answer``: ``met`` and ``not
        met`` where that is so with `probability`, and where it cannot be told ``within the
        uncertainty`` or ``not shown`` (bands that were not measured decide). ``applies`` says where
        a room has such a criterion.

    Raises
    ------
    BandError
        A band is missing between others: what it holds would be left out of every sum.
    LevelError, RatingError, BandError
        The levels are not labelled, are on another time weighting than the limit, or their bands or
        passbys do not carry the criterion.
    CalibrationError
        The levels do not say which measurement they are of.
    ValueError
        A room without criteria on what was measured, a period that is not given, or a number out
        of range.

    Notes
    -----
    The rating is formed of every passby as the criterion says. Where bands are upper limits it is
    one itself, and the upper end of the margin is taken without those bands. Errors of the
    instrument, positions and background move the levels of bands together or each by itself. Errors
    of single bands raise a sum of bands in the mean, and have raised the one that was measured:
    what they would add to it once more is taken off (basic bootstrap); in simulated rooms with one
    position that left 0.5 dB of 2.2 dB. So rating and margin differ from those of the levels as
    they stand. What the number of trains leaves open is added, by Student's t and chi-square of
    each type: where they scatter by 3 dB, the interval of the energy mean is 9 dB wide in the
    median of simulated nights of three trains, and 32 dB of two. Where the limit was the true
    rating of such trains, ``margin_low`` was above 0 in 8 to 12 % of 400 simulated nights each of
    2, 3, 5, 10 and 30 trains, by energy mean and by mean, with one side of 10 % asked for.

    References
    ----------
    Basic bootstrap interval, Davison and Hinkley 1997 [from memory]; energy means of few trains,
    Krishnamoorthy and Mathew 2003 [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import labelled
    >>> from groundborne.levels import stamp
    >>> f = third_octaves(16, 500)
    >>> spectrum = 60.0 - 40.0 * abs(np.log10(f / 50.0))
    >>> level = (spectrum + xr.DataArray([0.0, 1.0, 2.0], dims="passby")).expand_dims(room=["R1"])
    >>> level = labelled(stamp(level, quantity="sound pressure", reference="20 µPa",
    ...     long_name="level", time_weighting="S max"), provenance="invented")
    >>> limit = Criterion(metric="LASmax", limit=45.0, statistic="energy mean",
    ...                   time_weighting="S max")
    >>> found = judge_measured(level, criteria={"R1": [limit]}, error=MeasurementError(positions=3))
    >>> found["answer"].item(), bool(found["probability"] > 0.9)
    ('met', True)
    """
    where = "judge_measured"
    require(measured, where=where)
    label = provenance_of(where, measured)
    if set(measured.dims) != {"room", "passby", "frequency"}:
        raise LevelError(
            f"{where}: measured has the dims {measured.dims}; room, passby and frequency are needed"
        )
    require_labels(measured["frequency"], f"{where}, measured")
    if not 0.5 < probability < 1:
        raise ValueError(f"{where}: probability is {probability:g}; above 0.5 and below 1 is")
    if samples < 1000:
        raise ValueError(f"{where}: samples is {samples}; 1000 or more are needed")
    error = (MeasurementError() if error is None else error).of_levels(measured)
    quantity = str(measured.attrs["quantity"])
    rooms = [str(r) for r in measured["room"].values]
    asked: dict[str, list[Criterion]] = {}
    for room in rooms:
        known(where, "room", room, criteria)
        asked[room] = [c for c in criteria[room] if c.of.quantity == quantity]
        if not asked[room]:
            raise ValueError(f"{where}: room {room!r} has no criterion on {quantity}")
    labels = list(dict.fromkeys(c.label for room in rooms for c in asked[room]))
    shape = (len(rooms), len(labels))
    margins = ("margin", "margin_as_measured", "margin_low", "margin_high")
    empty = {n: np.full(shape, np.inf) for n in margins}
    zeros = ("rating", "rating_as_measured", "trains_error", "may_add", "at_most")
    values = empty | {n: np.zeros(shape) for n in zeros} | {"probability": np.ones(shape)}
    applies = np.zeros(shape, bool)
    for at, room in enumerate(rooms):
        level = measured.sel(room=room, drop=True)
        errors = _errors(level, room, error, samples, np.random.default_rng([seed, at]))
        for criterion in asked[room]:
            if criterion.period is not None and criterion.period not in (periods or {}):
                given = ", ".join(map(repr, periods or {})) or "none"
                raise ValueError(
                    f"{where}: criterion {criterion.label!r} is on the period "
                    f"{criterion.period!r}, and periods holds {given}; give the timetables, such "
                    "as periods=study.periods"
                )
            criterion.require(str(level.attrs.get("time_weighting", "")))
            found = _judged(level, criterion, periods or {}, errors, probability, seed)
            place = (at, labels.index(criterion.label))
            applies[place] = True
            for name, value in found.items():
                values[name][place] = value
    dims, coords = ("room", "criterion"), {"room": rooms, "criterion": labels}
    data = {n: xr.DataArray(v, dims=dims, coords=coords) for n, v in values.items()}
    data["at_most"] = data["at_most"].astype(bool)
    data["applies"] = xr.DataArray(applies, dims=dims, coords=coords)
    data["answer"] = answer(
        data["margin"], may_add=data["may_add"],
        low=data["margin_low"], high=data["margin_high"], applies=data["applies"],
    )  # fmt: skip
    attrs = {
        "quantity": quantity, PROVENANCE: label, FINGERPRINTS: fingerprints(measured),
        "probability_asked": probability, "seed": seed,
        "samples_of_errors": samples, "citations": citation_texts((*error.citations, GENERALIZED)),
    }  # fmt: skip
    return xr.Dataset(data, attrs=attrs)


@checked(own_labels=("measured",))
def compare_answers(measured: xr.Dataset, result: xr.Dataset, *, option: str) -> xr.Dataset:
    """Measured against predicted on each criterion's own statistic, both with their uncertainty.

    Parameters
    ----------
    measured : Dataset
        From :func:`judge_measured`.
    result : Dataset
        From ``study.how_sure``.
    option : str
        As built.

    Returns
    -------
    xarray.Dataset
        On (room, criterion), those that both hold: ``difference``, by how much the median of the
        measured rating is worse than the predicted median [dB, or NR]; ``at_most``, where the
        measured rating, and so the difference, is at most that; ``measured_error`` and
        ``predicted_error``, half the widths of both intervals as standard deviations;
        ``standard_deviation`` of the difference and ``standardised``; ``measured_answer`` and
        ``predicted_answer``; ``applies``. 0 and empty where a room has no such criterion.

    Raises
    ------
    CalibrationError
        The measurement helped to calibrate the prediction.
    ValueError
        Unknown rooms, criteria or option, or a prediction without its uncertainty.

    Notes
    -----
    Intervals are taken for those of normal distributions: the width over twice the normal quantile.
    Where a measured margin has no upper end, the distance from its lower end to the median counts.

    Examples
    --------
    >>> place = {"room": ["R1"], "criterion": ["LASmax, energy mean"]}
    >>> def of(low, middle, high, **more):
    ...     values = {"margin_low": low, "margin": middle, "margin_high": high, "applies": True,
    ...               "at_most": False}
    ...     data = {n: (("room", "criterion"), [[v]]) for n, v in (values | more).items()}
    ...     said = {"probability_asked": 0.9, "provenance": "night"}
    ...     return xr.Dataset(data, coords=place, attrs=said)
    >>> result = of(-5.0, 5.0, 15.0, margin_median=5.0, answer="within the uncertainty")
    >>> found = compare_answers(of(1.0, 2.0, 3.0, answer="met"),
    ...                         result.expand_dims(option=["as built"]), option="as built")
    >>> found["difference"].item(), found["standardised"].round(2).item()
    (3.0, 0.38)
    """
    where = "compare_answers"
    if "margin_median" not in result:
        raise ValueError(f"{where}: the result has no uncertainty; take that of study.how_sure")
    prints = measured.attrs.get(FINGERPRINTS, [])
    require_unused(where, str(measured.attrs[PROVENANCE]), prints, result.attrs)
    known(where, "option", option, [str(o) for o in result["option"].values])
    for dim in ("room", "criterion"):
        names = [str(n) for n in result[dim].values]
        for name in measured[dim].values:
            known(where, f"{dim} of measured", str(name), names)
    there = result.sel(
        option=option, room=measured["room"].values, criterion=measured["criterion"].values
    )
    applies = measured["applies"] & there["applies"]
    open_end = measured["at_most"] & applies
    sides = [
        (measured, measured["margin"], open_end),
        (there, there["margin_median"], xr.zeros_like(open_end)),
    ]
    sizes, middles = [], []
    for side, middle, is_open in sides:
        ends = xr.where(is_open, 2 * middle - side["margin_low"], side["margin_high"])
        width = (ends - side["margin_low"]).where(applies, 0.0)
        twice = 2 * _quantile(float(side.attrs["probability_asked"]))
        sizes.append(_plain(width / twice))
        middles.append(_plain(middle.where(applies, 0.0)))
    whole = xr.DataArray(np.hypot(sizes[0], sizes[1]))
    off = middles[1] - middles[0]
    found = {
        "difference": off,
        "at_most": _plain(open_end),
        "measured_error": sizes[0],
        "predicted_error": sizes[1],
        "standard_deviation": whole,
        "standardised": off / xr.where(whole > 0, whole, 1.0),
    }
    answers = {
        f"{n}_answer": _plain(side["answer"].where(applies, ""))
        for n, side in (("measured", measured), ("predicted", there))
    }
    return xr.Dataset(
        found | answers | {"applies": _plain(applies)},
        attrs={
            "option": option,
            PROVENANCE: measured.attrs[PROVENANCE],
            CALIBRATED_WITH: result.attrs.get(CALIBRATED_WITH, "{}"),
        },
    )


def _quantile(probability: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(probability))


def _plain(array: xr.DataArray) -> xr.DataArray:
    return array.reset_coords(drop=True).drop_attrs().transpose("room", "criterion")


def _errors(
    level: xr.DataArray, room: str, error: MeasurementError, samples: int, draw: Any
) -> xr.DataArray:
    """Errors of the band levels of a room [dB]: sample, frequency."""
    frequency = level["frequency"]
    labels = {"room": [room], "frequency": frequency.values.tolist()}

    def here(size: Any) -> Array:
        of = at_labels("judge_measured", size, labels)
        of = of.squeeze("room", drop=True) if "room" in of.dims else of
        return np.broadcast_to(of.values, (frequency.size,))

    alone = here(error.by_band(frequency, str(level.attrs["quantity"])))
    if "background_error" in level.coords:
        taken_off = level["background_error"].reset_coords(drop=True)
        taken_off = taken_off.max([d for d in taken_off.dims if d != "frequency"])
        alone = np.hypot(alone, taken_off.values)
    common = draw.standard_normal((samples, 1)) * here(error.instrument)
    each = draw.standard_normal((samples, frequency.size)) * alone
    return xr.DataArray(
        common + each, dims=("sample", "frequency"), coords={"frequency": frequency.values}
    )


def _judged(
    level: xr.DataArray,
    criterion: Criterion,
    periods: Mapping[str, Period],
    errors: xr.DataArray,
    probability: float,
    seed: int,
) -> dict[str, float]:
    """What is said of one room and criterion."""
    nothing = xr.zeros_like(errors.isel(sample=0))
    whole = _as_result(level, criterion, nothing)
    found = rate_rooms(whole, criterion, periods)
    trains = _by_trains(whole, criterion, periods, errors.sizes["sample"], seed)
    scale, limit = criterion.of.scale, criterion.limit

    def margin(of: xr.DataArray, change: xr.DataArray) -> Array:
        rating = rating_alone(_as_result(of, criterion, change), criterion, periods)
        return np.ravel(scale.margin(rating, limit).values)

    def margins(of: xr.DataArray) -> Array:
        # Errors of bands raise their sum, and have raised the one that was measured already: what
        # they add to it is to be taken off.
        return 2 * margin(of, nothing) - margin(of, errors) - trains

    low = margins(level)
    middle = float(np.median(low))
    high, is_open = float(np.quantile(low, probability)), False
    limits = level["upper_limit"].reset_coords(drop=True) if "upper_limit" in level.coords else None
    if limits is not None and bool(limits.any()):
        seen, still_less = (
            xr.where(limits, level - off, level).assign_attrs(level.attrs).assign_coords(
                level.coords
            )
            for off in (_HIDDEN, 2 * _HIDDEN)
        )  # fmt: skip
        # Where it matters how little they may hold, nothing bounds the rating from below.
        is_open = not np.allclose(margin(seen, nothing), margin(still_less, nothing), atol=1e-3)
        high = np.inf if is_open else max(float(np.quantile(margins(seen), probability)), middle)
    rating = limit / 10 ** (middle / 20) if scale.ratio else limit - middle
    return {
        "rating": float(rating),
        "rating_as_measured": float(found.rating.item()),
        "margin": middle,
        "margin_as_measured": float(scale.margin(found.rating, limit).item()),
        "margin_low": float(np.quantile(low, 1 - probability)),
        "margin_high": high,
        "at_most": float(is_open),
        "probability": float((low >= 0).mean()),
        "trains_error": float(np.diff(np.quantile(trains, _MIDDLE))[0] / 2),
        "may_add": float(found.may_add.item()),
    }


def _by_trains(
    whole: xr.Dataset,
    criterion: Criterion,
    periods: Mapping[str, Period],
    samples: int,
    seed: int,
) -> Array:
    """What the number of trains leaves open in a rating: samples [dB, or NR]."""
    rated, of = Rated.of(whole, criterion, periods), criterion.of
    each = worst(of.rule.rating(rated.change, rated.source)).transpose("option", "room", "passby")
    try:
        return offsets_by_trains(
            each.values[0, 0], rated.counts, rated.kinds, np.random.default_rng([seed, 99]),
            samples=samples, statistic=criterion.statistic, power=of.adds or 1.0,
            percentile=criterion.percentile or 50.0,
        )  # fmt: skip
    except StudyError as error:
        raise StudyError(f"criterion {criterion.label!r}: {error}") from None


def _as_result(level: xr.DataArray, criterion: Criterion, change: xr.DataArray) -> xr.Dataset:
    """Levels of a room as a result holds them: of the source, with a change that is the errors."""
    name = CHANGES[criterion.of.quantity][0]
    source = level.drop_vars(
        [c for c in ("upper_limit", "background_error") if c in level.coords]
    ).transpose("passby", "frequency")
    return xr.Dataset(
        {"source_level": source, name: change.expand_dims(option=["as built"], room=["here"])}
    )
