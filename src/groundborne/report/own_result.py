"""Whether a result is the whole one of its study and agrees with itself: asked before a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.rating import Criterion, Scale
from groundborne.study import Study
from groundborne.study.assessment import decide
from groundborne.study.belonging import (
    CASES,
    CHECKSUM,
    DOUBTS,
    cases_checksum,
    doubts,
    require_same,
)
from groundborne.study.cases import require_cases
from groundborne.study.equipment import (
    criteria_of,
    equipment_assessment,
    holds_equipment,
    row_label,
    rows_of,
)
from groundborne.study.rated_samples import CASE
from groundborne.study.samples import ERRORS

DIMS = (
    "part",
    "band_below",
    "option",
    "column",
    "room",
    "stage",
    "passby",
    "criterion",
    "frequency",
    "floor_frequency",
    "equipment",
    "equipment_criterion",
    "segment",
    "state",
    "sample",
)
"""Dims that a report has a place for."""

_ALIKE = 1e-6
"""What numbers of one result may differ by: of decibels, and of ratios as a share."""

_CLASS = 0.1
"""Twice the width of the classes that ends of intervals are counted in [dB, or NR]."""


def require_own(study: Study, result: xr.Dataset) -> bool:
    """Refuse a result that is not the whole one of a study; whether it does not say which it is of.

    Parameters
    ----------
    study : Study
        That is reported.
    result : Dataset
        From its evaluation.

    Raises
    ------
    StudyError
        Options, rooms, equipment or criteria that are missing, in another order or on other limits
        than those of the study; ratings, margins, probabilities and answers that contradict each
        other; a dim that a report has no place for; a result of other values than the study has.
    """
    if "rating" not in result:
        raise StudyError("report: the result holds no ratings; pass what Study.evaluate() gave")
    _require_labels(study, result, "option", [o.name for o in study.options])
    _require_labels(study, result, "room", study.rooms)
    for other in result.dims:
        if other not in DIMS:
            raise StudyError(
                f"report: the result has the dim {other!r}, which a report has no place for; "
                f"select one of it first, for example result.isel({other}=0)"
            )
    require_same("report", "result", study, result, "evaluate this study and pass that result")
    _require_criteria(study, result, "room", study.room_criteria)
    _require_agreeing(result)
    if study.equipment:
        rows = {
            row_label(one, axis): study.criteria[criteria_of(one, axis)]
            for one, axis in rows_of(study.equipment)
        }
        if not holds_equipment(result):
            raise StudyError(
                f"report: the result does not hold the equipment of the study {study.name!r}; pass "
                "what its evaluate() gave"
            )
        _require_labels(study, result, "equipment", list(rows))
        own = equipment_assessment(result)
        _require_criteria(study, own, "equipment", rows)
        _require_agreeing(own)
    return CHECKSUM not in result.attrs


def require_own_cases(study: Study, result: xr.Dataset, mechanics: xr.Dataset | None) -> None:
    """Refuse cases of the mechanics other than those that answers rest on, and answers without any.

    Parameters
    ----------
    study : Study
        That is reported.
    result : Dataset
        Of it.
    mechanics : Dataset, optional
        Cases that were handed over with it.

    Raises
    ------
    StudyError
        What the study calls uncertain and what the cases or the result were drawn of differ, or
        the answers rest on other cases, or on none.
    """
    uncertain = bool(study.uncertain or study.alternatives)
    cases = int(result.attrs.get(_COUNT, 1))
    if cases == 1 and mechanics is not None:
        raise StudyError(
            f"report: mechanics holds {mechanics.sizes.get(CASE, 0)} cases, and the answers of the "
            "result rest on none; pass what how_sure() gave with them, or leave mechanics out"
        )
    if cases == 1 and uncertain and ERRORS in result.attrs:
        raise StudyError(
            f"report: keys of the study {study.name!r} are uncertain or stages have alternatives, "
            "and the answers of the result rest on no cases of that; give how_sure() "
            "mechanics=sampled_mechanics(FILE)"
        )
    if cases > 1 and uncertain and result.attrs.get(DOUBTS) != doubts(study):
        raise StudyError(
            "report: the answers of the result rest on cases of other distributions or "
            f"alternatives than the study {study.name!r} has; sample the cases of this study and "
            "ask how_sure() with them"
        )
    if mechanics is None:
        return
    require_cases("report", study, mechanics, result)
    if result.attrs.get(CASES) != cases_checksum(mechanics):
        raise StudyError(
            f"report: mechanics holds other cases ({mechanics.sizes[CASE]}) than those ({cases}) "
            "that the answers of the result rest on; pass the same to how_sure() and to the report"
        )


_COUNT = "cases_of_mechanics"


def _require_labels(
    study: Study, result: xr.Dataset, dim: str, wanted: Sequence[str], of: str = ""
) -> None:
    """Labels along a dim, each in its place."""
    found = result[dim].values.tolist() if dim in result.dims else []
    if found == list(wanted):
        return
    words = {"criterion": "criteria", "equipment": "equipment"}.get(dim, f"{dim}s")
    odd = [n for n in wanted if n not in found] or [n for n in found if n not in wanted]
    what = f"{odd[0]!r} is in one of them alone" if odd else "they stand in another order"
    raise StudyError(
        f"report: the result does not hold the {words}{of} of the study {study.name!r} ({what}); "
        "pass what its evaluate() gave"
    )


def _require_criteria(
    study: Study, result: xr.Dataset, place: str, criteria: Mapping[str, Sequence[Criterion]]
) -> None:
    """Criteria of the study in its order, on its limits, in the places that have them."""
    kinds = {c.label: c for of in criteria.values() for c in of}
    of = "" if place == "room" else " of the equipment"
    _require_labels(study, result, "criterion", list(kinds), of)
    for at, (label, criterion) in enumerate(kinds.items()):
        told: dict[str, Any] = {
            "metric": criterion.of.name,
            "quantity": criterion.of.quantity,
            "statistic": criterion.statistic_label,
            **{f.name: getattr(criterion.of.scale, f.name) for f in fields(Scale)},
        }
        for name, value in told.items():
            found = result[name].values.tolist()[at] if name in result.coords else None
            if found != value:
                raise StudyError(
                    f"report: the result has {found!r} for the {name} of the criterion {label!r}, "
                    f"and the study {study.name!r} has {value!r}; pass what its evaluate() gave"
                )
    limit = result["limit"].transpose(place, "criterion").values
    applies = result["applies"].transpose(place, "criterion").values.astype(bool)
    for i, (name, each) in enumerate(criteria.items()):
        own = {c.label: float(c.limit) for c in each}
        for j, label in enumerate(kinds):
            wanted = own.get(label, np.inf)
            if limit[i, j] != wanted or applies[i, j] != (label in own):
                raise StudyError(
                    f"report: the result holds the {place} {name!r} to {limit[i, j]:g} on the "
                    f"criterion {label!r}, and the study to {wanted:g} (inf: no such criterion); "
                    "pass what its evaluate() gave"
                )


def _require_agreeing(result: xr.Dataset) -> None:
    """Ratings, margins, probabilities and answers of one result must fit each other."""
    applies = result["applies"].astype(bool)
    limit = result["limit"].where(applies, 1.0).drop_attrs(deep=False)
    ratio = result["ratio"].astype(bool).reset_coords(drop=True)
    for rating, margin in _PAIRS:
        if rating not in result or margin not in result:
            continue
        rated = result[rating].where(applies, 1.0).drop_attrs(deep=False)
        given = result[margin].where(applies, 0.0)
        positive = rated.where(ratio & (rated > 0), 1.0)
        of = limit.where(ratio & (limit > 0), 1.0)
        worked = xr.where(ratio, 20 * np.log10(of / positive), limit - rated)
        off = abs(worked - given).where(applies, 0.0)
        _require(off <= _ALIKE, f"{margin} is not what its limit and {rating} make")
    if "margin_median" in result and ERRORS in result.attrs:
        _require_probabilities(result, applies)
    said = decide(result)
    for name in ("answer", "mark"):
        same = (said[name] == result[name]) | ~applies
        _require(same, f"{name} is not what the margin leads to")


_PAIRS = (
    ("rating", "margin"),
    ("rating_median", "margin_median"),
    ("rating_low", "margin_high"),
    ("rating_high", "margin_low"),
)


def _require_probabilities(result: xr.Dataset, applies: xr.DataArray) -> None:
    """Probabilities against the interval of the margin, and of rooms against those of criteria."""
    low, middle, high = (result[f"margin_{end}"] for end in ("low", "median", "high"))
    ordered = (low <= middle + _ALIKE) & (middle <= high + _ALIKE)
    _require(ordered | ~applies, "the ends of the interval do not hold margin_median")
    share = result["probability"].where(applies, 1.0)
    asked = float(result.attrs["probability_asked"])
    slack = 1.5 / float(result.attrs[ERRORS])
    words = "probability does not fit"
    for end, least in ((low, asked), (middle, 0.5), (high, 1 - asked)):
        name = str(end.name)
        above, below = share >= least - slack, share <= least + slack
        fits = xr.where(end > _CLASS, above, xr.where(end < -_CLASS, below, True))
        _require(fits | ~applies, f"{words} {name}")
    _require((share >= 0) & (share <= 1), "probability does not lie between 0 and 1")
    rooms, everything = result["probability_room"], result["probability_all"]
    few, worst = share.min("criterion"), rooms.min("room")
    enough = (share - 1).sum("criterion") + 1, (rooms - 1).sum("room") + 1
    inside = (rooms <= few + _ALIKE) & (rooms >= enough[0] - _ALIKE)
    _require(inside, "probability_room does not fit its criteria")
    inside = (everything <= worst + _ALIKE) & (everything >= enough[1] - _ALIKE)
    _require(inside, "probability_all does not fit the rooms")


def _require(holds: xr.DataArray, what: str) -> None:
    wrong = ~holds.astype(bool)
    if not bool(wrong.any()):
        return
    at = np.unravel_index(int(np.argmax(wrong.values)), wrong.shape)
    here = ", ".join(
        f"{dim} {wrong[dim].values[i]!s}" if dim in wrong.coords else f"{dim} {i}"
        for dim, i in zip(wrong.dims, at, strict=True)
    )
    raise StudyError(
        f"report: the result contradicts itself: {what} ({here}); pass what evaluate() or "
        "how_sure() gave, unchanged"
    )
