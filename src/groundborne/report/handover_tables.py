"""What was measured at handover as CSV tables, one value in each row."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne.commissioning import compare_answers
from groundborne.commissioning.provenance import PROVENANCE, prediction_of
from groundborne.rating import Answer
from groundborne.report.handover import LOOKED_AT, VALIDATES, Handover, role_of
from groundborne.study.samples import ERRORS

PREFIX = "commissioning_"
"""Of the names of these tables: they are not made again from the files of a study."""
CANNOT_TELL = "cannot tell"
AT_MOST = "at most"
"""Of ratings that bands without a train decide."""
ROLES = {
    VALIDATES: "which it validates",
    LOOKED_AT: "which it calibrated, and validates nothing",
}
SHOWN = {
    Answer.MET.value: "met",
    Answer.NOT_MET.value: "not met",
    Answer.WITHIN.value: CANNOT_TELL,
    Answer.NOT_SHOWN.value: CANNOT_TELL,
}
"""Answers of a measurement in words."""


@checked
def handover_frames(handover: Handover, result: xr.Dataset) -> dict[str, pd.DataFrame]:
    """Tables of a handover by file name, as :func:`~groundborne.report.write_report` writes them.

    Parameters
    ----------
    handover : Handover
        Of the study.
    result : Dataset
        Its result, without a dim ``sample``.

    Returns
    -------
    dict
        Of what was handed over: ``commissioning_answers``, ``commissioning_rooms`` and
        ``commissioning_levels``, ``commissioning_isolation``, ``commissioning_causes``,
        ``commissioning_fits``, ``commissioning_static``, ``commissioning_stages`` and
        ``commissioning_learnt``, and ``commissioning_data``.

    Raises
    ------
    StudyError
        An option, room or criterion that the result does not hold.
    CalibrationError
        Answers by data that calibrated the prediction.

    Examples
    --------
    >>> from groundborne.commissioning import check_gaps, static_summary
    >>> gap = xr.DataArray([0.050, 0.030], dims="point", coords={"point": ["P1", "P2"]})
    >>> handover = Handover(option="springs",
    ...                     static=static_summary({"air gap": check_gaps(gap, least=0.040)}))
    >>> result = xr.Dataset(coords={"option": ["springs"], "room": ["R1"], "criterion": ["NR"]})
    >>> handover_frames(handover, result)["commissioning_static"]["not_met"].tolist()
    [1]
    """
    handover.require_of(result)
    rows = {
        "answers": _answers(handover, result),
        "rooms": [row for n, d in enumerate(handover.levels, 1) for row in _rooms(n, d)],
        "levels": [row for d in handover.levels for row in _levels(d)],
        "isolation": [r for n, (p, d) in enumerate(handover.isolation.items(), 1)
                      for r in _isolation(n, p, d)],
        "causes": [r for n, (p, d) in enumerate(handover.causes.items(), 1)
                   for r in _causes(n, p, d)],
        "fits": [r for n, (p, d) in enumerate(handover.fits.items(), 1) for r in _fits(n, p, d)],
        "static": _static(handover),
        "stages": [row for n, d in enumerate(handover.learnt, 1) for row in _stages(n, d)],
        "learnt": [row for d in handover.learnt for row in _learnt(d)],
        "data": _data(handover),
    }  # fmt: skip
    return {f"{PREFIX}{name}": pd.DataFrame(each) for name, each in rows.items() if each}


def _answers(handover: Handover, result: xr.Dataset) -> list[dict[str, Any]]:
    labels = [str(c) for c in result["criterion"].values]
    rows = []
    for number, judged in enumerate(handover.answers, 1):
        there = result.sel(
            option=handover.option, room=judged["room"].values, criterion=judged["criterion"].values
        )
        sure = ERRORS in result.attrs
        compared = compare_answers(judged, result, option=handover.option) if sure else None
        middle = there["margin_median"] if sure else there["margin"]
        for room in judged["room"].values:
            for criterion in judged["criterion"].values:
                at = {"room": room, "criterion": criterion}
                if not bool(judged["applies"].sel(at)):
                    continue
                own, theirs = judged.sel(at), there.sel(at)
                row = {
                    "key": f"M{number}-{room}-C{labels.index(str(criterion)) + 1}",
                    "room": str(room),
                    "criterion": str(criterion),
                    "unit": str(theirs["margin_unit"].item()),
                    "measured_rating": float(own["rating"]),
                    "measured_margin": float(own["margin"]),
                    "measured_margin_low": float(own["margin_low"]),
                    "measured_margin_high": float(own["margin_high"]),
                    "measured_rating_is": AT_MOST if bool(own["at_most"]) else "",
                    "probability_met": float(own["probability"]),
                    "answer": SHOWN[str(own["answer"].item())],
                    "predicted_margin": float(middle.sel(at)),
                    "predicted_answer": str(theirs["answer"].item()),
                    "measured_worse_by": float(middle.sel(at)) - float(own["margin"]),
                    "prediction": prediction_of(result.attrs),
                    PROVENANCE: str(judged.attrs[PROVENANCE]),
                }
                if compared is not None:
                    row["standard_deviation"] = float(compared["standard_deviation"].sel(at))
                    row["standardised"] = float(compared["standardised"].sel(at))
                rows.append(row)
    return rows


def _rooms(number: int, found: xr.Dataset) -> list[dict[str, Any]]:
    rows = []
    for room in found["room"].values:
        here = found.sel(room=room)
        seen = ~here["upper_limit"].values
        off = here["difference"].values[seen]
        size = here["standardised"].values[seen]
        largest = int(np.argmax(np.abs(size)))
        rows.append(
            {
                "key": f"L{number}-{room}",
                "room": str(room),
                "quantity": str(found.attrs["quantity"]),
                "mean_difference_db": float(off.mean()),
                "largest_difference_db": float(off[largest]),
                "largest_standardised": float(size[largest]),
                "largest_hz": float(here["frequency"].values[seen][largest]),
                "bands": int(here["bands"]),
                "upper_limits": int((~seen).sum()),
                "chi_square": float(here["chi_square"]),
                "p_value": float(here["p_value"]),
                "prediction": prediction_of(found.attrs),
                "role": role_of(found),
                PROVENANCE: str(found.attrs[PROVENANCE]),
            }
        )
    return rows


def _levels(found: xr.Dataset) -> list[dict[str, Any]]:
    names = ("measured", "predicted", "difference", "measured_error", "predicted_error",
             "standardised")  # fmt: skip
    return [
        {
            "room": str(room), "quantity": str(found.attrs["quantity"]), "frequency_hz": float(f),
            **{n if n == "standardised" else f"{n}_db": float(here[n]) for n in names},
            "upper_limit": "yes" if bool(here["upper_limit"]) else "no",
            "prediction": prediction_of(found.attrs),
            PROVENANCE: str(found.attrs[PROVENANCE]),
        }
        for room in found["room"].values
        for f in found["frequency"].values
        for here in [found.sel(room=room, frequency=f)]
    ]  # fmt: skip


def _isolation(number: int, place: str, found: xr.Dataset) -> list[dict[str, Any]]:
    return [
        {
            "key": f"I{number}-{float(f):g}",
            "place": place,
            "kind": str(found.attrs["kind"]),
            "frequency_hz": float(f),
            "value_db": float(here["value"]),
            "low_db": float(here["low"]),
            "high_db": float(here["high"]),
            "instrument_error_db": float(here["instrument_error"]),
            "confidence": float(found.attrs["confidence"]),
            "bound": "at least" if bool(here["at_least"]) else "",
            "trains": str(found.attrs["source_corrected"]),
            PROVENANCE: str(found.attrs[PROVENANCE]),
        }
        for f in found["frequency"].values
        for here in [found.sel(frequency=f)]
    ]


def _causes(number: int, place: str, found: xr.Dataset) -> list[dict[str, Any]]:
    names = ("evidence", "p_value", "fit", "strength", "strength_low", "strength_high",
             "second_strength", "second_strength_low", "second_strength_high")  # fmt: skip
    return [
        {
            "key": f"D{number}-{at}", "place": place, "rank": at, "cause": str(cause),
            "standing": str(here["standing"].item()),
            **{n: float(here[n]) for n in names},
            "strength_of": str(here["strength_of"].item()),
            "look_for": str(here["look_for"].item()),
            "verdict": str(found.attrs["verdict"]),
            "p_as_designed": float(found.attrs["p_as_designed"]),
            "false_alarms": float(found.attrs["false_alarms"]),
        }
        for at, cause in enumerate(found["cause"].values, 1)
        for here in [found.sel(cause=cause)]
    ]  # fmt: skip


def _fits(number: int, place: str, found: xr.Dataset) -> list[dict[str, Any]]:
    return [
        {
            "key": f"F{number}-{at}",
            "place": place,
            "parameter": str(name),
            "value": float(here["value"]),
            "low": float(here["low"]),
            "high": float(here["high"]),
            "low_open": "yes" if bool(here["low_open"]) else "no",
            "high_open": "yes" if bool(here["high_open"]) else "no",
            "unit": str(here["unit"].item()),
            "confidence": float(found.attrs["confidence"]),
            "p_value": float(found.attrs["p_value"]),
        }
        for at, name in enumerate(found["parameter"].values, 1)
        for here in [found.sel(parameter=name)]
    ]


def _static(handover: Handover) -> list[dict[str, Any]]:
    found = handover.static
    if found is None:
        return []
    return [
        {"key": f"S{at}", "check": str(name),
         **{n: int(found[n].sel(check=name)) for n in ("met", "within_the_uncertainty", "not_met")}}
        for at, name in enumerate(found["check"].values, 1)
    ]  # fmt: skip


def _stages(number: int, table: xr.Dataset) -> list[dict[str, Any]]:
    """Means over the rooms and bands that were measured, of every stage and of their sum."""
    each = [(str(s), "", table.sel(stage=s)) for s in table["stage"].values]
    rows = []
    for at, (name, of, here) in enumerate([*each, ("all stages", "_sum", table)], 1):
        rows.append(
            {
                "key": f"U{number}-{at}", "stage": name, "quantity": str(table.attrs["quantity"]),
                **{
                    f"{n}_db": float(here[m].mean())
                    for n, m in (
                        ("prior", f"prior{of}"), ("prior_error", f"prior{of}_error"),
                        ("posterior", f"posterior{of}"),
                        ("posterior_error", f"posterior{of}_error"),
                    )
                },
                "data_db": float(table["data"].mean()) if of else np.nan,
            }
        )  # fmt: skip
    return rows


def _learnt(table: xr.Dataset) -> list[dict[str, Any]]:
    names = ("prior", "prior_error", "posterior", "posterior_error")
    places = [
        (r, f, table.sel(room=r, frequency=f))
        for r in table["room"].values
        for f in table["frequency"].values
    ]
    rows = []
    for room, f, here in places:
        own = {"room": str(room), "frequency_hz": float(f)}
        for stage in table["stage"].values:
            of = here.sel(stage=stage)
            rows.append(
                {"stage": str(stage), **own, **{f"{n}_db": float(of[n]) for n in names},
                 "data_db": np.nan, "data_error_db": np.nan}
            )  # fmt: skip
        sums = ("prior_sum", "prior_sum_error", "posterior_sum", "posterior_sum_error")
        rows.append(
            {"stage": "all stages", **own,
             **{f"{n}_db": float(here[m]) for n, m in zip(names, sums, strict=True)},
             "data_db": float(here["data"]), "data_error_db": float(here["data_error"])}
        )  # fmt: skip
    return rows


def _data(handover: Handover) -> list[dict[str, Any]]:
    """What each measurement was used for."""
    found: dict[tuple[str, str], None] = {}
    for judged in handover.answers:
        found[str(judged.attrs[PROVENANCE]), "answers to criteria"] = None
    for compared in handover.levels:
        use = f"compared by band with the prediction {prediction_of(compared.attrs)}"
        found[str(compared.attrs[PROVENANCE]), f"{use}, {ROLES[role_of(compared)]}"] = None
    for loss in handover.isolation.values():
        for label in str(loss.attrs[PROVENANCE]).split("; "):
            found[label, str(loss.attrs["kind"])] = None
    for label in handover.calibrated_with:
        found[label, "calibrates the next prediction, and can never validate it"] = None
    return [{"measurement": label, "used_for": use} for label, use in sorted(found)]
