"""What isolation was measured to do: insertion loss and level difference, never one for the other.

An insertion loss compares one place with and without isolation, at two times, with other trains. A
level difference compares two sides of the isolation plane at one time, under the same trains; it
holds whatever else the two sides differ by, and is no insertion loss.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, not_negative, within
from groundborne.commissioning.difference_intervals import (
    WELCH,
    Estimate,
    freedom_of_sum,
    mean_of_sample,
    over_types,
)
from groundborne.commissioning.measurement_error import INSTRUMENT
from groundborne.commissioning.passby_means import members
from groundborne.commissioning.provenance import (
    BEFORE_RELEASE,
    ISOLATED_SIDE,
    NO_ISOLATION,
    PROVENANCE,
    RELEASED,
    STATE,
    UNISOLATED_SIDE,
    provenance_of,
    require_one_time,
    require_state,
)
from groundborne.levels import require
from groundborne.usual_ranges import UnusualValueWarning

AT_LEAST = "at_least"
"""Coordinate: bands in which isolation does that or more."""
INSERTION_LOSS, LEVEL_DIFFERENCE = "insertion loss", "level difference"
_EXCHANGED = 0.5
CONFIDENCE = 0.9
"""Of intervals by default; common practice."""

Array = np.ndarray[Any, Any]


@checked(own_labels=("before", "after", "reference_before", "reference_after"))
def measured_insertion_loss(
    *,
    before: xr.DataArray,
    after: xr.DataArray,
    reference_before: xr.DataArray | None = None,
    reference_after: xr.DataArray | None = None,
    instrument: float | xr.DataArray = INSTRUMENT,
    confidence: float = CONFIDENCE,
) -> xr.Dataset:
    """Insertion loss at one place, from trains without isolation and other trains with it.

    Parameters
    ----------
    before, after : DataArray
        Labelled levels [dB] with ``passby``, of one place, on the same further dims; measured in
        the states ``no isolation`` or ``before release``, and ``after release``. Where either tells
        types of trains by ``train_type`` both must, and of the same types.
    reference_before, reference_after : DataArray, optional
        Levels of the same passbys at a place that isolation does not reach, such as the ground;
        they take the difference of the trains off. Both or neither; of one quantity, reference and
        statistic, though not of that of the levels, and on no further dims than these; their state
        is that of the levels they belong to, or untold.
    instrument : float or DataArray
        Standard deviation of each calibrated chain in each state [dB], 0 or more; by default as of
        :class:`~groundborne.commissioning.MeasurementError`.
    confidence : float
        Of the two-sided interval, 0.5 to 0.999.

    Returns
    -------
    xarray.Dataset
        ``value`` [dB], positive where isolation lowers the level, mean over types by their number
        of passbys; ``standard_error`` [dB] of that mean by the scatter of the trains alone;
        ``instrument_error`` [dB] of two chains, or of four with references;
        ``degrees_of_freedom``, ``low`` and ``high`` [dB] of both together; the same by type,
        ``of_type`` and so on, on ``train_type`` where types are told. Where a level after
        release is only an upper limit (coordinate ``upper_limit``), the coordinate
        ``at_least`` is true: the loss is that or more. Attributes: ``kind`` = ``insertion
        loss``, what it is of, and ``source_corrected``.

    Raises
    ------
    LevelError
        Levels of different kinds.
    ValueError
        States that are not those, sides confused, one reference only, references of other passbys
        or of the other state, other types, fewer than two passbys of a type, levels before that
        are only upper limits, or a negative error of instruments.

    Warns
    -----
    UnusualValueWarning
        Levels after release that are the higher ones in most bands: exchanged?

    Notes
    -----
    Two samples of unequal variance for each type; with references of level less reference. Without
    them the trains of both nights are taken to be alike, which is not tested. Chains err by
    themselves in each state, and alike in all bands. Sensors are taken to stand in the same places
    in both states: intervals do not hold what another place would change.

    References
    ----------
    Welch 1947 [from memory]; errors of instruments: common practice.

    Examples
    --------
    >>> from groundborne.commissioning import labelled
    >>> from groundborne.levels import stamp
    >>> def of(values, state):
    ...     level = stamp(xr.DataArray(values, dims="passby"), quantity="velocity",
    ...                   reference="1 nm/s", long_name="level", time_weighting="S max")
    ...     return labelled(level, provenance=state, state=state)
    >>> found = measured_insertion_loss(before=of([70.0, 71.0, 69.0], "before release"),
    ...                                 after=of([60.0, 59.0, 61.0, 60.0], "after release"))
    >>> found["value"].item(), found["low"].round(1).item(), found.attrs["kind"]
    (10.0, 7.9, 'insertion loss')
    """
    where = "measured_insertion_loss"
    share = _share(where, confidence)
    require_state(where, "before", before, (NO_ISOLATION, BEFORE_RELEASE))
    require_state(where, "after", after, (RELEASED,))
    _alike(where, before, after)
    if (reference_before is None) != (reference_after is None):
        raise ValueError(
            f"{where}: one reference is given; the trains of both states need one, or neither"
        )
    if _limits(before).any():
        raise ValueError(
            f"{where}: levels before hold upper limits, so that no loss follows from them; take "
            "bands in which the trains stand out of the background"
        )
    first, second = _bare(before), _bare(after)
    if reference_before is not None and reference_after is not None:
        _of_one_kind(where, "the references", reference_before, reference_after)
        first = first - _reference(where, "reference_before", reference_before, before)
        second = second - _reference(where, "reference_after", reference_after, after)
    ones, others = (members(where, n, a) for n, a in (("before", before), ("after", after)))
    if set(ones) != set(others):
        raise ValueError(
            f"{where}: before has the train types {sorted(ones)}, after {sorted(others)}; only "
            "trains of one type are compared"
        )
    each = {}
    for kind in ones:
        parts = [mean_of_sample(a, places[kind]) for a, places in ((first, ones), (second, others))]
        variance = parts[0].variance + parts[1].variance
        freedom = freedom_of_sum(variance, [(p.variance, p.freedom) for p in parts])
        each[kind] = Estimate(parts[0].mean - parts[1].mean, variance, freedom)
    weights = {k: float(len(ones[k]) + len(others[k])) for k in ones}
    chains = 2 if reference_before is None else 4
    found = over_types(each, weights, share, _chains(where, instrument, chains, first))
    found = found.assign_coords({AT_LEAST: _limits(after).any("passby")})
    found.attrs = {
        "kind": INSERTION_LOSS,
        "of": "one place without isolation less the same place with it, other trains",
        "source_corrected": "yes" if reference_before is not None else "no",
        "confidence": share,
        PROVENANCE: f"{provenance_of(where, before)}; {provenance_of(where, after)}",
        "citations": WELCH.text,
    }
    _warn_of_exchange(where, found, "the levels after release", "before and after")
    return found


@checked
def measured_level_difference(
    *,
    unisolated: xr.DataArray,
    isolated: xr.DataArray,
    instrument: float | xr.DataArray = INSTRUMENT,
    confidence: float = CONFIDENCE,
) -> xr.Dataset:
    """Level difference across the isolation plane under the same trains, pair by pair.

    Parameters
    ----------
    unisolated, isolated : DataArray
        Labelled levels [dB] of the same passbys on the ``un-isolated side`` and the ``isolated
        side``, at the same time and so under one label; on the same dims with ``passby``, whose
        names, where they have any, both sides have.
    instrument : float or DataArray
        Standard deviation of each of the two calibrated chains [dB], 0 or more; by default as of
        :class:`~groundborne.commissioning.MeasurementError`.
    confidence : float
        Of the two-sided interval, 0.5 to 0.999.

    Returns
    -------
    xarray.Dataset
        As of :func:`measured_insertion_loss`, ``kind`` = ``level difference``; positive where the
        isolated side is the quieter one.

    Raises
    ------
    LevelError
        Levels of different kinds, or passbys with names on one side only.
    CalibrationError
        Sides of two measurements, or without a label.
    ValueError
        Sides that are not those, or exchanged; other passbys; fewer than two of a type; levels of
        the un-isolated side that are only upper limits; a negative error of instruments.

    Warns
    -----
    UnusualValueWarning
        An isolated side that is the louder one in most bands: exchanged?

    Notes
    -----
    Paired t of each type, ``d ± t s/√n``, with the errors of both chains besides; pairs take off
    what trains differ by. Intervals hold no other places on either side: take several, and their
    scatter. It is no insertion loss: the two sides may differ without any isolation, and
    mounts change what the un-isolated side does.

    References
    ----------
    Student's t of paired differences [from memory].

    Examples
    --------
    >>> from groundborne.commissioning import labelled
    >>> from groundborne.levels import stamp
    >>> def of(values, state):
    ...     level = stamp(xr.DataArray(values, dims="passby"), quantity="velocity",
    ...                   reference="1 nm/s", long_name="level", time_weighting="S max")
    ...     return labelled(level, provenance="one night", state=state)
    >>> found = measured_level_difference(
    ...     unisolated=of([70.0, 80.0, 75.0], "un-isolated side"),
    ...     isolated=of([60.0, 69.0, 66.0], "isolated side"))
    >>> found["value"].item(), found["standard_error"].round(3).item(), found.attrs["kind"]
    (10.0, 0.577, 'level difference')
    """
    where = "measured_level_difference"
    share = _share(where, confidence)
    require_state(where, "unisolated", unisolated, (UNISOLATED_SIDE,))
    require_state(where, "isolated", isolated, (ISOLATED_SIDE,))
    _alike(where, unisolated, isolated)
    provenance_of(where, unisolated)
    require_one_time(where, unisolated=unisolated, isolated=isolated)
    if _limits(unisolated).any():
        raise ValueError(
            f"{where}: levels of the un-isolated side hold upper limits, so that no difference "
            "follows from them; take bands in which the trains stand out of the background"
        )
    kinds = members(where, "unisolated", unisolated)
    other = members(where, "isolated", isolated)
    if {k: v.tolist() for k, v in kinds.items()} != {k: v.tolist() for k, v in other.items()}:
        raise ValueError(
            f"{where}: the passbys have other train types on the two sides; they are one train each"
        )
    pairs = _bare(unisolated) - _bare(isolated)
    each = {kind: mean_of_sample(pairs, places) for kind, places in kinds.items()}
    chains = _chains(where, instrument, 2, pairs)
    found = over_types(each, {k: float(len(p)) for k, p in kinds.items()}, share, chains)
    found = found.assign_coords({AT_LEAST: _limits(isolated).any("passby")})
    found.attrs = {
        "kind": LEVEL_DIFFERENCE,
        "of": "un-isolated side less isolated side, the same trains; no insertion loss",
        "source_corrected": "paired",
        "confidence": share,
        PROVENANCE: provenance_of(where, unisolated),
        "citations": WELCH.text,
    }
    _warn_of_exchange(where, found, "the levels of the isolated side", "the sides")
    return found


def _warn_of_exchange(where: str, found: xr.Dataset, louder: str, exchanged: str) -> None:
    """Warn where isolation seems to raise levels in most of what was measured.

    Warns
    -----
    UnusualValueWarning
        About a resonance it may; in most bands labels are the usual cause.
    """
    share = float((found["high"] < 0).mean())
    if share > _EXCHANGED:
        warnings.warn(
            f"{where}: {louder} are the higher ones in {100 * share:.0f} % of the bands; are "
            f"{exchanged} exchanged?",
            UnusualValueWarning, stacklevel=5,
        )  # fmt: skip


def _chains(
    where: str, instrument: float | xr.DataArray, count: int, like: xr.DataArray
) -> xr.DataArray:
    """Variance by a number of instruments, on the dims of the levels but for passbys [dB²]."""
    not_negative(where, "instrument", instrument, "dB")
    one: Any = instrument
    none = xr.zeros_like(like.isel(passby=0))
    found = count * one**2 + none
    if set(found.dims) != set(none.dims):
        raise LevelError(
            f"{where}: instrument is on {one.dims}, the levels on {none.dims}; one number, or dims "
            "of the levels, are needed"
        )
    return xr.DataArray(found)


def _share(where: str, confidence: float) -> float:
    return float(within(where, "confidence", confidence, 0.5, 0.999, ""))


def _alike(where: str, one: xr.DataArray, other: xr.DataArray) -> None:
    """Refuse levels of different kinds."""
    for array in (one, other):
        require(array, where=where)
        if "passby" not in array.dims:
            raise LevelError(f"{where}: the levels have no dim 'passby'; every train is needed")
    _of_one_kind(where, "the levels", one, other)
    for dim in set(one.dims) - {"passby"}:
        first, second = (a[dim].values.tolist() for a in (one, other))
        if first != second:
            raise LevelError(
                f"{where}: the levels differ along {dim!r}: {first[0]} to {first[-1]} and "
                f"{second[0]} to {second[-1]}; the same are compared, in the same order"
            )


def _of_one_kind(where: str, what: str, one: xr.DataArray, other: xr.DataArray) -> None:
    for name in ("units", "quantity", "reference", "time_weighting"):
        first, second = (a.attrs.get(name) for a in (one, other))
        if first != second:
            raise LevelError(
                f"{where}: {what} have the {name} {first!r} and {second!r}; only levels of one "
                "kind are compared"
            )
    if set(one.dims) != set(other.dims):
        raise LevelError(f"{where}: {what} are on {one.dims} and {other.dims}; both on the same")


def _bare(level: xr.DataArray) -> xr.DataArray:
    return level.reset_coords(drop=True).drop_attrs(deep=False)


def _limits(level: xr.DataArray) -> xr.DataArray:
    if "upper_limit" in level.coords:
        return level["upper_limit"].reset_coords(drop=True).astype(bool)
    return xr.zeros_like(_bare(level), dtype=bool)


def _reference(where: str, name: str, reference: xr.DataArray, level: xr.DataArray) -> xr.DataArray:
    """Levels of the same passbys at a place that isolation does not reach."""
    require(reference, where=where)
    same = "passby" in reference.dims and np.array_equal(
        reference["passby"].values, level["passby"].values
    )
    if not same:
        raise ValueError(
            f"{where}: {name} holds other passbys than the levels it belongs to; each train is "
            "corrected by itself"
        )
    told, state = (str(a.attrs.get(STATE, "")) for a in (reference, level))
    if told and told != state:
        raise ValueError(
            f"{where}: {name} was measured in the state {told!r}, the levels it belongs to in "
            f"{state!r}; each train is corrected by itself"
        )
    if beyond := set(reference.dims) - set(level.dims):
        raise LevelError(
            f"{where}: {name} is on {min(map(str, beyond))!r} besides, the levels are not; select "
            "one place"
        )
    if reference.attrs.get("time_weighting") != level.attrs.get("time_weighting"):
        raise LevelError(
            f"{where}: {name} has the time_weighting {reference.attrs.get('time_weighting')!r}, "
            f"the levels {level.attrs.get('time_weighting')!r}; one kind is needed"
        )
    if "frequency" in reference.dims and not np.array_equal(
        reference["frequency"].values, level["frequency"].values
    ):
        raise LevelError(f"{where}: {name} has other bands than the levels it belongs to")
    if _limits(reference).any():
        raise ValueError(f"{where}: {name} holds upper limits; it must stand out of the background")
    return _bare(reference)
