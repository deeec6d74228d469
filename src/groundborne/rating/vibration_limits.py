"""Criteria of vibration with their marks: dose ranges, guide values, classes.

They say what documents print. Local rules, the edition in force and the judgement of a licensed
engineer come first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, not_negative
from groundborne.citation import Citation
from groundborne.rating.kb import DIN_4150_2, PERIODS, UNCERTAINTY
from groundborne.rating.ns8176 import NS_8176

BS_6472_1 = Citation(
    key="bs6472-1",
    author="BS 6472-1",
    year="2008",
    title="Human exposure to vibration in buildings",
    locator="Table 1, dose ranges of residential buildings; factors 2 and 4 from memory",
    mark="seen second-hand",
    status="transcribed",
)
DIN_4150_3 = Citation(
    key="din4150-3",
    author="DIN 4150-3",
    year="1999",
    title="Vibration in buildings, effects on structures",
    locator="Tables 1 and 3, guide values of velocity",
    mark="seen second-hand",
    status="transcribed",
)
SBR_B = Citation(
    key="sbr-b",
    author="SBR guideline B",
    year="2002",
    title="Vibration nuisance in buildings",
    locator="A1 to A3 of rail traffic, dwellings",
    mark="from memory",
)

DOSE_RANGES = {"day": (0.2, 0.4, 0.8, 1.6), "night": (0.1, 0.2, 0.4, 0.8)}
"""Edges of the ranges of BS 6472-1:2008 for dwellings [m/s^1.75]: 16 h day, 8 h night."""
DOSE_WORDS = (
    "below the range of low probability of adverse comment",
    "low probability of adverse comment",
    "adverse comment possible",
    "adverse comment probable",
    "above the range of probable adverse comment",
)
PLACES = {"dwelling": 1.0, "office": 2.0, "workshop": 4.0}
"""Factors on the day range: offices and workshops from memory."""


@checked
def vdv_judgement(value: xr.DataArray, *, period: str, place: str = "dwelling") -> xr.DataArray:
    """Range of BS 6472-1:2008 a vibration dose value falls in.

    Parameters
    ----------
    value : DataArray
        VDV of the whole period [m/s^1.75]: Wb vertical, Wd horizontal, at the point of entry to
        the person, each direction by itself.
    period : str
        ``day`` (7 to 23 h) or ``night`` (23 to 7 h).
    place : str
        ``dwelling``, ``office`` or ``workshop`` (day only, factors from memory).

    Returns
    -------
    xarray.DataArray
        Words; a value on an edge belongs to the range above.

    Raises
    ------
    ValueError
        An unknown name, a negative dose, or offices by night.

    References
    ----------
    BS 6472-1:2008, Table 1 [seen second-hand].

    Examples
    --------
    >>> vdv_judgement(xr.DataArray(0.3), period="day").item()
    'low probability of adverse comment'
    """
    where = "vdv_judgement"
    known(where, "period", period, DOSE_RANGES)
    known(where, "place", place, PLACES)
    not_negative(where, "value", value, "m/s^1.75")
    if place != "dwelling" and period == "night":
        raise ValueError(f"{where}: the factor of the {place} applies to the day range only")
    edges = np.array(DOSE_RANGES[period]) * PLACES[place]
    words = np.array(DOSE_WORDS)[np.searchsorted(edges, value.values, side="right")]
    found = value.copy(data=words)
    found.attrs = {"long_name": "judgement of the dose", "citations": BS_6472_1.text}
    return found


@checked
@dataclass(frozen=True, kw_only=True)
class GuideValues:
    """Guide values of DIN 4150-2 for one area and period.

    Parameters
    ----------
    lower, upper, period : float
        A_u and A_o for KB_Fmax, A_r for KB_FTr [-].

    Examples
    --------
    >>> GuideValues(lower=0.15, upper=3.0, period=0.07).upper
    3.0
    """

    lower: float
    upper: float
    period: float


def _row(*values: float) -> dict[str, GuideValues]:
    day, night = values[:3], values[3:]
    return {
        name: GuideValues(lower=three[0], upper=three[1], period=three[2])
        for name, three in (("day", day), ("night", night))
    }


GUIDE_VALUES = {
    "industrial": _row(0.4, 6.0, 0.2, 0.3, 0.6, 0.15),
    "commercial": _row(0.3, 6.0, 0.15, 0.2, 0.4, 0.1),
    "mixed": _row(0.2, 5.0, 0.1, 0.15, 0.3, 0.07),
    "residential": _row(0.15, 3.0, 0.07, 0.1, 0.2, 0.05),
    "sensitive": _row(0.1, 3.0, 0.05, 0.1, 0.15, 0.05),
}
"""DIN 4150-2:1999, Table 1, by area and period."""
SOURCES = ("general", "rail", "urban surface rail", "underground rail")
URBAN_FACTOR = 1.5
"""On A_u and A_r of urban surface lines."""


@checked
def guide_values(area: str, *, period: str, source: str = "general") -> GuideValues:
    """Guide values of DIN 4150-2:1999, Table 1.

    Parameters
    ----------
    area : str
        One of ``GUIDE_VALUES``.
    period : str
        ``day`` (6 to 22 h) or ``night``.
    source : str
        ``urban surface rail`` raises A_u and A_r by 1.5.

    Returns
    -------
    GuideValues
        A_u, A_o, A_r.

    Raises
    ------
    ValueError
        An unknown name.

    References
    ----------
    DIN 4150-2:1999, Table 1 and 6.5.3.3 [seen second-hand].

    Examples
    --------
    >>> guide_values("residential", period="night", source="urban surface rail").lower
    0.15
    """
    known("guide_values", "area", area, GUIDE_VALUES)
    known("guide_values", "period", period, PERIODS)
    known("guide_values", "source", source, SOURCES)
    row = GUIDE_VALUES[area][period]
    if source != "urban surface rail":
        return row
    return GuideValues(
        lower=round(URBAN_FACTOR * row.lower, 3),
        upper=row.upper,
        period=round(URBAN_FACTOR * row.period, 3),
    )


@checked
def din4150_2_judgement(
    maximum: xr.DataArray,
    *,
    severity: xr.DataArray | None,
    area: str,
    period: str,
    source: str = "general",
    rare: bool = False,
) -> xr.Dataset:
    """Procedure of DIN 4150-2:1999: KB_Fmax against A_u and A_o, then KB_FTr against A_r.

    Met where KB_Fmax ≤ A_u; not met where KB_Fmax > A_o (not for rail, which A_u and A_r decide
    alone); else met where KB_FTr ≤ A_r. Rare short events are met up to A_o. Values are compared
    at the decimals the guide values are printed with. Construction sites have rules of their own.

    Parameters
    ----------
    maximum : DataArray
        KB_Fmax [-].
    severity : DataArray or None
        KB_FTr of the period [-]; may be left out (None) where A_u or A_o decides everywhere, or
        KB_Fmax exceeds A_u by no more than 15 %.
    area, period, source : str
        As for ``guide_values``.
    rare : bool
        Short events, up to three a day, such as blasts: A_o decides alone. Not for rail.

    Returns
    -------
    xarray.Dataset
        ``met``; ``decided_by`` (``A_u``, ``A_o`` or ``A_r``); ``within_uncertainty``: not met, but
        by no more than 15 %, the uncertainty of a measured KB, so that the verdict is not sure (of
        such a value the standard says that as a rule the requirement can still be regarded as met:
        Annex C, example 3); for rail at night ``search_cause`` where KB_Fmax, a clock maximum,
        exceeds 0.6 (surface, all areas) or 0.3 (underground; mixed, residential, sensitive areas):
        flat wheels or the like are then to be looked for. It is no verdict.

    Raises
    ------
    ValueError
        An unknown name, a negative value, rail traffic called rare, or KB_FTr is missing where it
        decides.

    References
    ----------
    DIN 4150-2:1999, 6.2, 6.5.1, 6.5.3 and Annex C [seen second-hand].

    Examples
    --------
    >>> kb = xr.DataArray([0.1, 0.3, 4.0], dims="room")
    >>> found = din4150_2_judgement(kb, severity=0 * kb + 0.05, area="residential", period="day")
    >>> found["met"].values.tolist(), found["decided_by"].values.tolist()
    ([True, True, False], ['A_u', 'A_r', 'A_o'])
    """
    where = "din4150_2_judgement"
    guide = guide_values(area, period=period, source=source)
    not_negative(where, "maximum", maximum, "KB")
    rail = source != "general"
    over = xr.zeros_like(maximum, dtype=bool) if rail else ~_keeps(maximum, guide.upper)
    low = _keeps(maximum, guide.lower)
    near = _keeps(maximum / (1 + UNCERTAINTY), guide.lower)
    if rare:
        if rail:
            raise ValueError(f"{where}: rail traffic is judged by A_u and A_r; it is never rare")
        met, otherwise = ~over, "A_o"
        near = _keeps(maximum / (1 + UNCERTAINTY), guide.upper)
    elif severity is None:
        if bool((~low & ~over & ~near).any()):
            raise ValueError(f"{where}: KB_Fmax is above A_u = {guide.lower:g}; KB_FTr decides")
        met, otherwise = low, "A_u"
    else:
        not_negative(where, "severity", severity, "KB")
        met, otherwise = low | (~over & _keeps(severity, guide.period)), "A_r"
        near = near | (
            _keeps(maximum / (1 + UNCERTAINTY), guide.upper if not rail else np.inf)
            & _keeps(severity / (1 + UNCERTAINTY), guide.period)
        )
    decided = xr.where(low, "A_u", xr.where(over, "A_o", otherwise))
    found = xr.Dataset(
        {
            "met": met,
            "decided_by": xr.broadcast(decided, met)[0],
            "within_uncertainty": ~met & near,
        },
        attrs={
            "guide_values": f"A_u {guide.lower:g}, A_o {guide.upper:g}, A_r {guide.period:g}",
            "citations": DIN_4150_2.text,
        },
    )
    if rail and period == "night":
        under = source == "underground rail"
        if not under or area in SEARCH_AREAS:
            found["search_cause"] = maximum > SEARCH["underground" if under else "surface"]
    return found


SEARCH_AREAS = ("mixed", "residential", "sensitive")
SEARCH = {"surface": 0.6, "underground": 0.3}
"""Night clock maximum of a train above which its cause is looked for: surface lines in any area,
underground lines in mixed, residential and sensitive areas."""


def _keeps(value: xr.DataArray, limit: float) -> xr.DataArray:
    """Whether a value, rounded half up at the decimals of the guide value, is at or below it."""
    if np.isinf(limit):
        return xr.ones_like(value, dtype=bool)
    scale = 100.0 if abs(round(limit, 2) - limit) < 1e-9 else 1000.0
    rounded: xr.DataArray = np.floor(value * scale + 0.5 + 1e-9)  # type: ignore[assignment]
    return rounded <= round(limit * scale)


@checked
@dataclass(frozen=True, kw_only=True)
class PublishedVibrationLimit:
    """A limit of vibration as it is recalled or printed.

    Parameters
    ----------
    metric : str
        What is limited.
    use : str
        Class or kind of room.
    limit : float
        In `units`.
    units : str
        ``m/s`` or ``1``.
    condition : str
        When it applies.
    citation : Citation
        The document and its mark.
    """

    metric: str
    use: str
    limit: float
    units: str
    condition: str
    citation: Citation


def _ns(use: str, limit: float) -> PublishedVibrationLimit:
    return PublishedVibrationLimit(
        metric="v_w,95", use=use, limit=limit, units="m/s",
        condition="statistical maximum of 15 passbys or more", citation=NS_8176,
    )  # fmt: skip


def _sbr(metric: str, condition: str, limit: float) -> PublishedVibrationLimit:
    return PublishedVibrationLimit(
        metric=metric, use="dwelling", limit=limit, units="1", condition=condition, citation=SBR_B
    )


PUBLISHED_VIBRATION_LIMITS = (
    _ns("class A", 0.10e-3),
    _ns("class B", 0.15e-3),
    _ns("class C", 0.30e-3),
    _ns("class D", 0.60e-3),
    _sbr("V_max, target A1", "new line", 0.1),
    _sbr("V_max, limit A2", "new line, day and evening", 0.4),
    _sbr("V_max, limit A2", "new line, night", 0.2),
    _sbr("V_per, limit A3", "new line", 0.05),
    _sbr("V_max, target A1", "existing line", 0.2),
    _sbr("V_max, limit A2", "existing line, day and evening", 0.8),
    _sbr("V_max, limit A2", "existing line, night", 0.4),
    _sbr("V_per, limit A3", "existing line", 0.1),
)
"""Classes and limits recalled from memory: have them confirmed before they decide anything."""
