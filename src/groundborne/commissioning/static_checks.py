"""Static checks beside the acoustic ones: deflections, travel and gaps, levels.

They say what was measured, against what was scheduled. What follows for the building is the
structural engineer's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.rating.answers import Answer
from groundborne.sizing import CAUTIONS, Schedule

READINGS = Citation(
    key="static-readings-by-practice",
    author="common practice",
    title="standard deviation of a reading of height, gap or deflection on site",
    mark="common practice",
    status="practice",
)
STOP = (
    "A deflection beyond the schedule, or a gap that is closed, may mean overload: tell the "
    "licensed structural engineer before anything else is loaded, jacked or released."
)
"""Stands with every static check."""

READING = 0.5e-3
"""Standard deviation of a reading [m]; common practice."""
_LOADS = 2.0  # standard deviations of the load within which a deflection is expected
PROBABILITY = 0.9
"""Probability from which a check counts as met, and 1 less it as not met; common practice."""

Array = np.ndarray[Any, Any]


@checked
def check_deflection(
    schedule: Schedule,
    measured: xr.DataArray,
    *,
    load: xr.DataArray | None = None,
    load_error: float = 0.1,
    reading: float = READING,
    probability: float = PROBABILITY,
) -> xr.Dataset:
    """Measured deflections of packs, and the travel they leave, against their schedule.

    Parameters
    ----------
    schedule : Schedule
        Of the packs.
    measured : DataArray
        Shortening of each pack from its free height [m], on ``column``, as scheduled.
    load : DataArray, optional
        Load that is on the columns now [N], on ``column``; the quasi-permanent one of the schedule
        by default, which a building has only when it is in use.
    load_error : float
        Standard deviation of that load as a share of it [-], 0 to 0.5; common practice.
    reading : float
        Standard deviation of a reading [m], above 0.
    probability : float
        From which a check is met, above 0.5 and below 1.

    Returns
    -------
    xarray.Dataset
        On ``column``: ``measured``, ``expected``, ``expected_low`` and ``expected_high`` at the
        tolerance of stiffness and twice the error of the load [m]; ``ratio``, measured over
        expected [-], with ``ratio_error``;
        ``travel_left`` to solid at what was measured, and ``travel_needed`` from there on for
        service, creep and the margin of the rules [m]; ``deflection_probability``, that the
        deflection lies between those, and ``travel_probability``;
        ``deflection_answer`` and ``travel_answer``: ``met``, ``within the uncertainty`` or ``not
        met``. ``attrs["sentences"]`` names every column that is not met; ``cautions`` and ``stop``
        stand with them.

    Raises
    ------
    ValueError
        Columns that are not those of the schedule, a deflection or load below 0 or in another unit,
        a number out of range.

    Notes
    -----
    Readings err normally. A ratio above 1 tells overload or
    softer parts, below 1 underload, stiffer parts, or a load path past the mounts; the acoustic
    evidence tells them apart (:class:`~groundborne.commissioning.Diagnosis`).

    References
    ----------
    Common practice; travel as scheduled [derived].

    Examples
    --------
    >>> import groundborne as gb
    >>> from groundborne.commissioning import check_deflection
    >>> columns = {"column": ["A1", "B1"]}
    >>> values = dict(load=1e6, static_stiffness=5e7, deflection=0.02, deflection_low=0.019,
    ...               deflection_high=0.021, fail_safe_gap=0.005, fail_safe_gap_most=0.02)
    >>> data = xr.Dataset({n: ("column", [v, v]) for n, v in values.items()}, coords=columns)
    >>> data.attrs = {"cautions": "[]", "notes": "[]", "revision": "A"}
    >>> schedule = gb.sizing.Schedule(data=data)
    >>> found = check_deflection(schedule, xr.DataArray([0.0202, 0.038], dims="column",
    ...                                                 coords=columns))
    >>> found["deflection_answer"].values.tolist(), found["travel_left"].round(4).values.tolist()
    (['met', 'not met'], [0.0198, 0.002])
    """
    where = "check_deflection"
    _number(where, "reading", reading)
    _share(where, probability)
    within(where, "load_error", load_error, 0.0, 0.5, "")
    data = schedule.data
    measured = _on_columns(where, "measured", measured, data)
    _metres(where, "measured", measured, most=0.5)
    stiffness = data["static_stiffness"]
    if load is None:
        load = data["load"]
    else:
        load = _on_columns(where, "load", load, data)
        positive(where, "load", load, "N")
    expected = load / stiffness
    factor = expected / data["deflection"]
    low, high = data["deflection_low"] * factor, data["deflection_high"] * factor
    low, high = low * (1 - _LOADS * load_error), high * (1 + _LOADS * load_error)
    inside = _between(measured, low, high, reading)
    solid = data["deflection"] + data["fail_safe_gap_most"]
    left = solid - measured
    # What the working deflection needs beyond itself, less what it has gone further than expected.
    needed = data["fail_safe_gap"] - (expected - data["deflection"])
    enough = _below(needed - left, reading)
    found = xr.Dataset(
        {
            "measured": measured,
            "expected": expected,
            "expected_low": low,
            "expected_high": high,
            "ratio": measured / expected,
            "ratio_error": np.hypot(reading / expected, load_error * measured / expected),
            "travel_left": left,
            "travel_needed": needed,
            "deflection_probability": inside,
            "travel_probability": enough,
        }
    ).drop_attrs(deep=True)
    ratios = ("ratio", "ratio_error", "deflection_probability", "travel_probability")
    for name in found.data_vars:
        found[name].attrs = {"units": "1" if name in ratios else "m"}
    found["deflection_answer"] = _answers(inside, probability)
    found["travel_answer"] = _answers(enough, probability)
    found.attrs = _attrs(_deflection_sentences(found), [*CAUTIONS, *schedule.cautions])
    return found


@checked
def check_gaps(
    measured: xr.DataArray,
    *,
    least: Numeric,
    most: Numeric | None = None,
    reading: float = READING,
    probability: float = PROBABILITY,
) -> xr.Dataset:
    """Measured clear gaps against what they have to be: air below a floor, stops, joints.

    Parameters
    ----------
    measured : DataArray
        Clear gaps [m], 0 or more, on ``point``.
    least, most : float or DataArray
        What they have to lie between [m], 0 or more; no upper limit by default.
    reading : float
        Standard deviation of a reading [m], above 0.
    probability : float
        From which a check is met, above 0.5 and below 1.

    Returns
    -------
    xarray.Dataset
        On ``point``: ``measured``, ``least`` [m]; ``closed``, where no more is left than twice the
        error of the reading, which is not met whatever is needed; ``probability`` of lying within
        `least` and `most`, and ``answer``. ``attrs["sentences"]`` names every point that is not
        met.

    Raises
    ------
    ValueError
        A gap below 0 or in another unit, limits out of order, no names of points.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> gap = xr.DataArray([0.050, 0.0004], dims="point", coords={"point": ["P1", "P2"]})
    >>> found = check_gaps(gap, least=0.040)
    >>> found["answer"].values.tolist(), found["closed"].values.tolist()
    (['met', 'not met'], [False, True])
    """
    where = "check_gaps"
    _number(where, "reading", reading)
    _share(where, probability)
    if measured.dims != ("point",) or "point" not in measured.coords:
        raise ValueError(f"{where}: measured must be on 'point' with names; it has {measured.dims}")
    _metres(where, "measured", measured, most=1.0)
    lower = xr.zeros_like(measured) + least
    upper = xr.full_like(measured, np.inf) if most is None else xr.zeros_like(measured) + most
    if bool((lower < 0).any()) or bool((upper <= lower).any()):
        raise ValueError(f"{where}: least and most are out of order; 0 ≤ least < most is needed")
    inside = _between(measured, lower, upper, reading)
    closed = measured <= 2 * reading
    found = xr.Dataset(
        {
            "measured": measured.drop_attrs().assign_attrs(units="m"),
            "least": lower.drop_attrs().assign_attrs(units="m"),
            "closed": closed,
            "probability": inside.assign_attrs(units="1"),
            # What may be no gap at all is none, however little is needed.
            "answer": xr.where(closed, Answer.NOT_MET.value, _answers(inside, probability)),
        }
    )
    texts = []
    for name in measured["point"].values:
        at = found.sel(point=name)
        if bool(at["closed"]):
            texts.append(f"{name}: the gap is closed, {_mm(at['measured'])} mm")
        elif at["answer"] == Answer.NOT_MET:
            texts.append(
                f"{name}: the gap is {_mm(at['measured'])} mm, {_mm(at['least'])} mm are needed"
                + ("" if most is None else " at least, and no more than allowed")
            )
    found.attrs = _attrs(texts, list(CAUTIONS))
    return found


@checked
def static_summary(
    checks: Mapping[str, xr.Dataset], *, survey: xr.Dataset | None = None
) -> xr.Dataset:
    """Static checks in one table, to stand beside the acoustic ones.

    Parameters
    ----------
    checks : mapping of str to Dataset
        Results of :func:`check_deflection` and :func:`check_gaps`, by name.
    survey : Dataset, optional
        Levels or gaps of a floor, from :func:`~groundborne.sizing.judge_survey`.

    Returns
    -------
    xarray.Dataset
        On ``check``: ``met``, ``within_the_uncertainty`` and ``not_met``, how many columns or
        points; ``open``, whether anything is. ``attrs["sentences"]`` names all that is not met,
        readings that are not believed among them.

    Raises
    ------
    ValueError
        No check, or a Dataset that is none.

    Examples
    --------
    >>> gap = xr.DataArray([0.050, 0.030], dims="point", coords={"point": ["P1", "P2"]})
    >>> found = static_summary({"air gap": check_gaps(gap, least=0.040)})
    >>> found["met"].item(), found["not_met"].item(), bool(found["open"].item())
    (1, 1, True)
    """
    where = "static_summary"
    if not checks and survey is None:
        raise ValueError(f"{where}: checks is empty; give one at least")
    rows: dict[str, tuple[int, int, int]] = {}
    texts: list[str] = []
    for name, check in checks.items():
        answers = [n for n in check.data_vars if str(n).endswith("answer")]
        if not answers or "sentences" not in check.attrs:
            raise ValueError(
                f"{where}: {name!r} is no static check; see check_deflection and check_gaps"
            )
        texts += [f"{name}: {t}" for t in json.loads(check.attrs["sentences"])]
        for answer in answers:
            kind = str(answer).removesuffix("answer").strip("_")
            said = check[answer].values
            counts = [int((said == a.value).sum()) for a in _ANSWERS]
            rows[f"{name}, {kind}" if kind else name] = (counts[0], counts[1], counts[2])
    if survey is not None:
        believed = ~survey["blunder"].values
        inside = survey["within_limit"].values
        rows["level survey"] = (
            int((inside & believed).sum()), int((~believed).sum()), int((~inside & believed).sum()),
        )  # fmt: skip
        texts += [*survey.attrs["missing"], *survey.attrs["blunders"]]
        texts += [
            f"level survey: point {p} is {1e3 * abs(d):.3g} mm {'above' if d > 0 else 'below'} its "
            "target"
            for p, d, fine, sure in zip(
                survey["point"].values, survey["deviation"].values, inside, believed, strict=True
            )
            if sure and not fine
        ]
    table = np.array(list(rows.values()))
    found = xr.Dataset(
        {
            "met": ("check", table[:, 0]),
            "within_the_uncertainty": ("check", table[:, 1]),
            "not_met": ("check", table[:, 2]),
            "open": ("check", table[:, 1:].any(axis=1)),
        },
        coords={"check": list(rows)},
    )
    found.attrs = _attrs(texts, list(CAUTIONS))
    return found


_ANSWERS = (Answer.MET, Answer.WITHIN, Answer.NOT_MET)


def _attrs(sentences: list[str], cautions: list[str]) -> dict[str, str]:
    return {
        "sentences": json.dumps(sentences, ensure_ascii=False),
        "cautions": json.dumps(list(dict.fromkeys(cautions)), ensure_ascii=False),
        "stop": STOP,
        "citations": citation_texts((READINGS,)),
    }


def _number(where: str, name: str, value: float) -> None:
    positive(where, name, value, "m")
    within(where, name, value, 0.0, 0.02, "m", "is it in mm?")


def _share(where: str, probability: float) -> None:
    if not 0.5 < probability < 1:
        raise ValueError(f"{where}: probability is {probability:g}; above 0.5 and below 1 is")


def _metres(where: str, name: str, value: xr.DataArray, *, most: float) -> None:
    finite(where, name, value)
    within(where, name, value, 0.0, most, "m", "is it in mm?")


def _on_columns(where: str, name: str, value: xr.DataArray, data: xr.Dataset) -> xr.DataArray:
    """Values in the order of the columns of a schedule."""
    if value.dims != ("column",) or "column" not in value.coords:
        raise ValueError(f"{where}: {name} must be on 'column' with names; it has {value.dims}")
    wanted, have = data["column"].values.tolist(), value["column"].values.tolist()
    if len(have) != len(set(have)) or set(wanted) != set(have):
        odd = sorted(map(str, set(wanted) ^ set(have)))[:1] or have[:1]
        raise ValueError(
            f"{where}: {name} and the schedule must hold the same columns once each; look at "
            f"{odd[0]!r}"
        )
    found: xr.DataArray = value.sel(column=wanted).reset_coords(drop=True).drop_attrs()
    return found


def _between(value: xr.DataArray, low: Any, high: Any, spread: Any) -> xr.DataArray:
    """Probability that what was measured lies between two ends."""
    from scipy.special import ndtr

    one, other = ((end - value) / spread for end in (low, high))
    return value.copy(data=ndtr(np.asarray(other)) - ndtr(np.asarray(one))).drop_attrs()


def _below(excess: xr.DataArray, spread: float) -> xr.DataArray:
    """Probability that an excess is none."""
    from scipy.special import ndtr

    return excess.copy(data=ndtr(-excess.values / spread)).drop_attrs()


def _answers(met: xr.DataArray, probability: float) -> xr.DataArray:
    said = np.full(met.shape, Answer.WITHIN.value, dtype="<U22")
    said[met.values >= probability] = Answer.MET.value
    said[met.values <= 1 - probability] = Answer.NOT_MET.value
    return met.copy(data=said).drop_attrs()


def _mm(value: Any) -> str:
    return f"{1e3 * float(value):.3g}"


def _deflection_sentences(found: xr.Dataset) -> list[str]:
    texts = []
    for name in found["column"].values:
        at = found.sel(column=name)
        if at["deflection_answer"] == Answer.NOT_MET:
            texts.append(
                f"{name}: deflection {_mm(at['measured'])} mm, expected "
                f"{_mm(at['expected_low'])} to {_mm(at['expected_high'])} mm"
            )
        if float(at["travel_left"]) <= 0:
            texts.append(f"{name}: by its deflection the pack is solid")
        elif at["travel_answer"] == Answer.NOT_MET:
            texts.append(
                f"{name}: {_mm(at['travel_left'])} mm of travel are left, "
                f"{_mm(at['travel_needed'])} mm are needed"
            )
    return texts
