"""Criteria of a study file, and the curves that they name."""

from __future__ import annotations

from collections.abc import Mapping

import xarray as xr

from groundborne._checks import BandError, Faults, StudyError
from groundborne.rating import METRICS, Criterion, LimitCurve
from groundborne.study.given import Given
from groundborne.study.keys.trains import OWN_CURVE


def criteria_of(
    given: Given, faults: Faults, frequency: xr.DataArray
) -> dict[str, tuple[Criterion, ...]]:
    """Sets of criteria, by the names that rooms and equipment give them.

    Parameters
    ----------
    given : Given
        The study file.
    faults : Faults
        Collects what is wrong, criterion by criterion.
    frequency : DataArray
        Nominal bands of the study [Hz], which curves that criteria name have to reach.
    """
    curves: dict[str, LimitCurve] = {}
    for name, part in (given["curves"] or {}).items():
        with faults.gathered(), part.naming():
            curves[name] = _curve(name, part)
    criteria: dict[str, tuple[Criterion, ...]] = {}
    for name, parts in (given["criteria"] or {}).items():
        found = []
        for part in parts:
            if part["metric"] == OWN_CURVE and part["curve"] not in curves:
                continue  # its curve was refused
            with faults.gathered(), part.naming():
                found.append(_criterion(part, curves))
                if part["metric"] == OWN_CURVE:
                    found[-1].of.rule.require(frequency, "'curve'")
                    _require_bands(given["curves"][part["curve"]], curves[part["curve"]], frequency)
        criteria[name] = tuple(found)
    return criteria


def _curve(name: str, given: Given) -> LimitCurve:
    if given.has("limit_db_re_1_nm_s"):
        velocity = 1e-9 * 10 ** (given.on_bands("limit_db_re_1_nm_s") / 20)
    else:
        velocity = 1e-6 * given.on_bands("limit_um_s")
    citation = next(iter(given.citations()), None)
    return LimitCurve(name=name, velocity=velocity, citation=citation, **given.arguments())


def _require_bands(given: Given, curve: LimitCurve, frequency: xr.DataArray) -> None:
    """Refuse a curve that ends before the bands in which it is rated."""
    try:
        curve.over(frequency)
    except BandError as error:
        raise StudyError(f"{given.where}: 'frequency_hz': {error}") from None


def _criterion(given: Given, curves: Mapping[str, LimitCurve]) -> Criterion:
    citation = next(iter(given.citations()), None)
    if given["metric"] == OWN_CURVE:
        return Criterion.on_curve(curves[given["curve"]], citation=citation, **given.arguments())
    metric = given["curve"] or given["metric"]
    limit = METRICS[metric].fixed_limit  # of a curve, which takes no other
    arguments = given.arguments() if limit is None else {"limit": limit, **given.arguments()}
    return Criterion(metric=metric, citation=citation, **arguments)
