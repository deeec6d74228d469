"""Measured levels against predicted ones, by room and band, both with their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, LevelError, known
from groundborne.bands import require_labels, select
from groundborne.citation import citation_texts
from groundborne.commissioning.measurement_error import MeasurementError, at_labels
from groundborne.commissioning.passby_means import mean_of, shares_of
from groundborne.commissioning.provenance import (
    CALIBRATED_WITH,
    FINGERPRINTS,
    OFFICE_BIAS,
    PROVENANCE,
    STATE,
    fingerprints,
    require_independent,
)
from groundborne.levels import require
from groundborne.uncertainty import BANDS_CORRELATED, Spread, band_correlation
from groundborne.uncertainty.spread import QUANTITIES

Array = np.ndarray[Any, Any]


@checked(own_labels=("measured",))
def compare_levels(
    measured: xr.DataArray,
    result: xr.Dataset,
    *,
    option: str,
    spreads: Sequence[Spread],
    error: MeasurementError | None = None,
    bands: tuple[float, float] | None = None,
    validates: bool = True,
) -> xr.Dataset:
    """Difference of measured and predicted band levels, and how many standard deviations that is.

    Parameters
    ----------
    measured : DataArray
        Labelled levels of the trains [dB] on ``room``, ``passby`` and ``frequency``: sound pressure
        in rooms, or velocity of floors at mid-span; with a label of their measurement (see
        :func:`~groundborne.commissioning.labelled`) and, where the prediction tells types of
        trains, with the coordinate ``train_type``. The coordinates ``upper_limit`` and
        ``background_error`` of :func:`~groundborne.commissioning.without_background` count.
    result : Dataset
        From ``study.evaluate`` or ``study.how_sure``.
    option : str
        As built.
    spreads : sequence of Spread
        Sources of error of the prediction: those it was made with.
    error : MeasurementError, optional
        Of the measured levels; by default of as many positions as they say, or of one.
    bands : tuple of float, optional
        First and last band to compare [Hz]; all by default.
    validates : bool
        Whether the levels are to validate the prediction, which those that calibrated it cannot;
        False to look at them, or to calibrate further.

    Returns
    -------
    xarray.Dataset
        On (room, frequency): ``measured`` and ``predicted`` [dB], energy means over the passbys
        with the mix of trains of the prediction; ``difference``, measured less predicted [dB];
        ``measured_error``, ``predicted_error`` and ``standard_deviation`` of the difference [dB];
        ``standardised``, the difference over that [-]; ``upper_limit``, where the measured level,
        and so the difference, is at most that. On (room, frequency, other): ``covariance`` of the
        difference by all but the errors of stages [dB²]: the measurement, and the number of
        passbys on either side. On ``room``: ``chi_square``, ``bands`` without upper limits, and
        ``p_value`` of so large a chi-square where the errors are as the spreads say. The attributes
        name both sides.

    Raises
    ------
    CalibrationError
        The levels helped to calibrate the prediction, or do not say which measurement they are of.
    BandError
        Other bands than those of the prediction, or a band that is missing between others.
    LevelError
        Another quantity, reference, or statistic of the passbys.
    ValueError
        Unknown rooms or option, other types of trains, one passby of a type, other spreads than
        the prediction was made with, a room in which nothing stands out of the background.

    Notes
    -----
    Predicted errors are those of `spreads` and of the number of passbys that the prediction is of;
    bands go together as each spread says. Of measured ones the instrument errs in all bands alike,
    positions and background in each by itself, and the number of trains as bands of a spread do
    (``exp(−|i − j|/3)``, common practice). Chi-square is ``dᵀ V⁻¹ d``.

    References
    ----------
    Law of propagation of uncertainty, JCGM 100:2008, 5.2 [from memory]; ISO 14837-1:2005, clause
    10 [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import labelled
    >>> from groundborne.levels import stamp
    >>> level = 40.0 + xr.DataArray([0.0, 1.0, 2.0], dims="passby") + 0.0 * third_octaves(50, 80)
    >>> level = stamp(level.expand_dims(room=["R1"]), quantity="sound pressure",
    ...               reference="20 µPa", long_name="level", time_weighting="S max")
    >>> result = xr.Dataset({"band_level": level.expand_dims(option=["as built"])})
    >>> found = compare_levels(labelled(level + 3.0, provenance="invented"), result,
    ...     option="as built", spreads=[Spread(name="path", of_sound=8.0)])
    >>> found["difference"].values.tolist(), found["p_value"].round(2).values.tolist()
    ([[3.0, 3.0, 3.0]], [0.98])
    """
    where = "compare_levels"
    quantity = _quantity(where, measured)
    label = require_independent(where, measured, result.attrs if validates else {})
    prints = fingerprints(measured)  # of all bands, whichever are compared
    names = [s.name for s in spreads]
    made = str(result.attrs.get("sources_of_error", ""))
    if made and made != ", ".join(names):
        raise ValueError(
            f"{where}: the prediction was made with the sources of error {made}; spreads holds "
            f"{', '.join(names)}"
        )
    option = known(where, "option", option, [str(n) for n in result["option"].values])
    predicted = predicted_levels(result, quantity).sel(option=option, drop=True)
    measured, predicted = _same(where, measured, predicted, bands)
    error = (MeasurementError() if error is None else error).of_levels(measured)
    shares = shares_of(predicted)
    here = mean_of(where, "measured", measured, shares)
    there = mean_of(where, "the prediction", predicted, shares)
    frequency = measured["frequency"]
    correlation = band_correlation(frequency, length=BANDS_CORRELATED)
    rooms = here.level["room"].values.tolist()

    def by_room(size: Any) -> xr.DataArray:
        """Of an option, room and band [dB]."""
        labels = {"option": [option], "room": rooms, "frequency": frequency.values.tolist()}
        found = at_labels(where, size, labels)
        found = found.squeeze("option", drop=True) if "option" in found.dims else found
        return (found + xr.zeros_like(here.level)).transpose("room", "frequency")

    def together(size: xr.DataArray, correlated: xr.DataArray | float) -> xr.DataArray:
        return size * size.rename(frequency="other") * correlated

    theirs: Any = together(there.error, correlation)
    for spread in spreads:
        size = by_room(spread.of(quantity))
        theirs = theirs + together(
            size, band_correlation(frequency, length=spread.bands_correlated)
        )
    alone = by_room(error.by_band(frequency, quantity))
    if "background_error" in measured.coords:
        taken_off = measured["background_error"].reset_coords(drop=True).max("passby")
        alone = xr.DataArray(np.hypot(alone, taken_off))
    own = together(by_room(error.instrument), 1.0) + together(here.error, correlation)
    own = own + together(alone, _unit(frequency))
    limit = xr.zeros_like(here.level, dtype=bool)
    if "upper_limit" in measured.coords:
        limit = measured["upper_limit"].reset_coords(drop=True).any("passby") | limit
    limit = limit.transpose("room", "frequency")
    hidden = [str(r) for r in limit["room"].values[limit.values.all(axis=1)]]
    if hidden:
        raise ValueError(
            f"{where}: in room {hidden[0]!r} every band is an upper limit, so that nothing is "
            "compared; leave the room out, or measure when the background is lower"
        )
    off = (here.level - there.level).transpose("room", "frequency")
    errors = [_diagonal(c) for c in (own, theirs, own + theirs)]
    found = xr.Dataset(
        {
            "measured": here.level.transpose("room", "frequency"),
            "predicted": there.level.transpose("room", "frequency"),
            "difference": off,
            "measured_error": errors[0],
            "predicted_error": errors[1],
            "standard_deviation": errors[2],
            "standardised": off / errors[2],
            "upper_limit": limit,
            "covariance": (own + together(there.error, correlation)).transpose(
                "room", "frequency", "other"
            ),
        }
    ).drop_attrs(deep=True)
    for name in found.data_vars:
        found[name].attrs = {"units": "1" if name in ("standardised", "upper_limit") else "dB"}
    found["covariance"].attrs["units"] = "dB²"
    found = found.assign(_chi_square(off, own + theirs, limit))
    found.attrs = {
        "quantity": quantity,
        "time_weighting": measured.attrs["time_weighting"],
        "option": option,
        PROVENANCE: label,
        STATE: str(measured.attrs.get(STATE, "")),
        CALIBRATED_WITH: result.attrs.get(CALIBRATED_WITH, "{}"),
        OFFICE_BIAS: result.attrs.get(OFFICE_BIAS, "{}"),
        FINGERPRINTS: prints,
        "citations": citation_texts(error.citations),
    }
    return found


def predicted_levels(result: xr.Dataset, quantity: str) -> xr.DataArray:
    """Levels of every passby in rooms, or of floors at mid-span: option, room, passby, frequency.

    Raises
    ------
    LevelError
        The result does not hold them, or for several states or samples.
    """
    name = {QUANTITIES[0]: "band_level", QUANTITIES[1]: "floor_change"}[quantity]
    if name not in result:
        raise LevelError(f"predicted_levels: the result holds no {name!r}: no {quantity} by band")
    level = result[name]
    if quantity == QUANTITIES[1]:
        level = (result["source_level"] + level).assign_attrs(result["floor_level"].attrs)
    beyond = set(level.dims) - {"option", "room", "passby", "frequency"}
    if beyond:
        raise LevelError(
            f"predicted_levels: the levels are on {', '.join(sorted(map(str, beyond)))} besides; "
            "choose one"
        )
    kept = {"option", "room", "passby", "frequency", "train_type"}
    return level.drop_vars([c for c in level.coords if c not in kept])


def _quantity(where: str, measured: xr.DataArray) -> str:
    require(measured, where=where)
    for dim in ("room", "passby", "frequency"):
        if dim not in measured.dims:
            raise LevelError(
                f"{where}: measured has no dim {dim!r}; levels of every passby in every room, by "
                "band, are needed"
            )
    if set(measured.dims) != {"room", "passby", "frequency"}:
        raise LevelError(
            f"{where}: measured has the dims {measured.dims}; room, passby and frequency are known"
        )
    return known(where, "quantity of measured", measured.attrs["quantity"], QUANTITIES, LevelError)


def _same(
    where: str,
    measured: xr.DataArray,
    predicted: xr.DataArray,
    bands: tuple[float, float] | None,
) -> tuple[xr.DataArray, xr.DataArray]:
    """Both on the rooms of the first and on the same bands, as levels of the same kind."""
    for name in ("reference", "time_weighting"):
        one, other = (a.attrs.get(name) for a in (measured, predicted))
        if one != other:
            raise LevelError(
                f"{where}: measured levels have the {name} {one!r}, predicted ones {other!r}; "
                "only levels of one kind are compared"
            )
    if bands is not None:
        measured, predicted = (select(a, *bands) for a in (measured, predicted))
    mine, theirs = (
        require_labels(a["frequency"], f"{where}, {name}")
        for a, name in ((measured, "measured"), (predicted, "predicted"))
    )
    if not np.array_equal(mine, theirs):
        raise BandError(
            f"{where}: measured levels have the bands {mine[0]:g} to {mine[-1]:g} Hz, predicted "
            f"ones {theirs[0]:g} to {theirs[-1]:g} Hz; give the bands to compare, which both hold"
        )
    names = [str(n) for n in predicted["room"].values]
    for name in measured["room"].values:
        known(where, "room of measured", str(name), names)
    return measured, predicted.sel(room=measured["room"].values)


def _unit(frequency: xr.DataArray) -> xr.DataArray:
    labels = frequency["frequency"].values
    return xr.DataArray(
        np.eye(len(labels)), dims=("frequency", "other"),
        coords={"frequency": labels, "other": labels},
    )  # fmt: skip


def _diagonal(covariance: xr.DataArray) -> xr.DataArray:
    """Standard deviations, on room and frequency."""
    values = covariance.transpose("room", "frequency", "other").values
    found = np.sqrt(np.einsum("rff->rf", values))
    return xr.DataArray(
        found, dims=("room", "frequency"),
        coords={d: covariance[d].values for d in ("room", "frequency")},
    )  # fmt: skip


def _chi_square(
    off: xr.DataArray, covariance: xr.DataArray, limit: xr.DataArray
) -> dict[str, xr.DataArray]:
    from scipy import stats

    values = covariance.transpose("room", "frequency", "other").values
    rows = []
    for d, v, hidden in zip(off.values, values, limit.values, strict=True):
        seen = np.flatnonzero(~hidden)
        inside = v[np.ix_(seen, seen)]
        chi = float(d[seen] @ np.linalg.solve(inside, d[seen]))
        rows.append((chi, len(seen), float(stats.chi2.sf(chi, len(seen)))))
    names = ("chi_square", "bands", "p_value")
    rooms = {"room": off["room"].values}
    return {
        n: xr.DataArray(list(c), dims="room", coords=rooms, attrs={"units": "1"})
        for n, c in zip(names, zip(*rows, strict=True), strict=True)
    }
