"""Criteria: a limit on one metric and one statistic, and published limits with their sources."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._checks import RatingError, finite, known, within
from groundborne.citation import Citation
from groundborne.rating.statistics import STATISTICS

METRICS: dict[str, tuple[str, tuple[str, ...]]] = {
    "LASmax": ("dB", ("S max",)),
    "LAFmax": ("dB", ("F max",)),
    "LAeq": ("dB", ("S max", "F max", "leq")),
    "NR": ("", ("S max", "F max", "leq")),
}
"""Metrics with their unit and the time weightings of band levels they can be formed from."""


@dataclass(frozen=True, kw_only=True)
class Criterion:
    """A limit on room noise, with the statistic it means.

    Parameters
    ----------
    metric : str
        One of ``METRICS``: ``LASmax``, ``LAFmax``, ``LAeq`` (over the period) or ``NR``.
    limit : float
        Largest value allowed [dB re 20 µPa, or NR].
    statistic : str
        Over passbys: ``mean``, ``energy mean``, ``maximum`` or ``percentile``. For ``NR``: of the
        levels in each band, before the rating. For ``LAeq``: ``energy mean``, by definition.
    percentile : float, optional
        With the statistic ``percentile`` [%].
    period : str, optional
        Name of the timetable period whose trains count; all passbys alike if none. ``LAeq`` needs
        one.
    time_weighting : str
        Of the levels the limit is meant for: ``S max``, ``F max`` or ``leq``. Levels on another
        are refused, never mixed.
    citation : Citation, optional
        Where the limit comes from.

    Raises
    ------
    ValueError
        An unknown name, or a combination that has no meaning.

    Examples
    --------
    >>> hall = Criterion(metric="LASmax", limit=25.0, statistic="percentile", percentile=95.0,
    ...                  time_weighting="S max")
    >>> hall.label
    'LASmax, 95th percentile'
    >>> hall.margin(xr.DataArray(27.5)).item()
    -2.5
    """

    metric: str
    limit: float
    statistic: str
    percentile: float | None = None
    period: str | None = None
    time_weighting: str
    citation: Citation | None = None

    def __post_init__(self) -> None:
        known("Criterion", "metric", self.metric, METRICS)
        finite("Criterion", "limit", self.limit)
        known("Criterion", "statistic", self.statistic, STATISTICS)
        known("Criterion", "time_weighting", self.time_weighting, METRICS[self.metric][1])
        if (self.percentile is None) == (self.statistic == "percentile"):
            raise ValueError(
                f"Criterion: percentile is {self.percentile!r} with statistic "
                f"{self.statistic!r}; give it with 'percentile' only"
            )
        if self.percentile is not None:
            within("Criterion", "percentile", self.percentile, 0.0, 100.0, "%")
        if self.metric == "LAeq" and (self.period is None or self.statistic != "energy mean"):
            raise ValueError(
                "Criterion: LAeq needs a period and the statistic 'energy mean'; it is the energy "
                "of all trains of the period"
            )

    @property
    def unit(self) -> str:
        """Unit of the limit."""
        return METRICS[self.metric][0]

    @property
    def label(self) -> str:
        """Metric, statistic and period in words; the name of the criterion in a result."""
        if self.metric == "LAeq":
            return f"LAeq, {self.period}"
        how = self.statistic
        if self.percentile is not None:
            how = f"{_ordinal(self.percentile)} percentile"
        return ", ".join(part for part in (self.metric, how, self.period) if part)

    def require(self, time_weighting: str) -> None:
        """Refuse levels on another time weighting than the limit is meant for.

        Raises
        ------
        RatingError
            The two differ.
        """
        if time_weighting != self.time_weighting:
            raise RatingError(
                f"criterion {self.label!r}: the levels are {time_weighting or 'unlabelled'!r}, the "
                f"limit is on {self.time_weighting!r}; use levels or a limit of one kind"
            )

    def margin(self, value: xr.DataArray) -> xr.DataArray:
        """Limit minus value; positive where the criterion is met."""
        margin = self.limit - value
        margin.attrs = {"long_name": "margin, positive when met", "units": self.unit or "1"}
        return margin


def _ordinal(number: float) -> str:
    text = f"{number:g}"
    if "." in text or text.endswith(("11", "12", "13")):
        return f"{text}th"
    return text + {"1": "st", "2": "nd", "3": "rd"}.get(text[-1], "th")


@dataclass(frozen=True, kw_only=True)
class PublishedLimit:
    """A limit as a document states it; the statistic is often left open and must be agreed.

    Parameters
    ----------
    use : str
        Kind of room.
    metric : str
        As in ``METRICS``.
    limit : float
        [dB re 20 µPa].
    condition : str
        When it applies, in a few words.
    citation : Citation
        The document and its mark.
    """

    use: str
    metric: str
    limit: float
    condition: str
    citation: Citation


FTA_NOISE = Citation(
    key="fta2006-noise-limits",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="Tables 8-1 and 8-2",
    mark="seen",
    status="verified",
)
UK_BILL = Citation(
    key="uk-rail-bill-2007",
    author="UK Parliament, committee on a cross-London railway bill",
    year="2007",
    title="report and evidence",
    mark="seen",
    status="verified",
)
UK_LIGHT_RAIL = Citation(
    key="uk-light-rail-2013",
    author="UK planning inquiry note on a light-rail condition",
    year="2013",
    mark="seen",
    status="verified",
)


def _fta(use: str, condition: str, limit: float) -> PublishedLimit:
    # The document's dBA is a maximum with 1 s averaging, read as S.
    return PublishedLimit(
        use=use, metric="LASmax", limit=limit, condition=condition, citation=FTA_NOISE
    )


_FREQUENT, _OCCASIONAL, _INFREQUENT = (
    "more than 70 events a day",
    "30 to 70 events a day",
    "fewer than 30 events a day",
)

PUBLISHED_LIMITS: tuple[PublishedLimit, ...] = (
    _fta("residence", _FREQUENT, 35.0),
    _fta("residence", _OCCASIONAL, 38.0),
    _fta("residence", _INFREQUENT, 43.0),
    _fta("institutional, daytime", _FREQUENT, 40.0),
    _fta("institutional, daytime", _OCCASIONAL, 43.0),
    _fta("institutional, daytime", _INFREQUENT, 48.0),
    _fta("concert hall, television or recording studio", "any number of events", 25.0),
    _fta("auditorium", _FREQUENT, 30.0),
    _fta("auditorium", _OCCASIONAL, 38.0),
    _fta("auditorium", _INFREQUENT, 38.0),
    _fta("theatre", _FREQUENT, 35.0),
    _fta("theatre", _OCCASIONAL, 43.0),
    _fta("theatre", _INFREQUENT, 43.0),
    PublishedLimit(use="residence", metric="LASmax", limit=40.0,
                   condition="new underground railway", citation=UK_BILL),
    PublishedLimit(use="concert hall", metric="LASmax", limit=25.0,
                   condition="new underground railway", citation=UK_BILL),
    PublishedLimit(use="residence", metric="LASmax", limit=40.0, condition="light rail",
                   citation=UK_LIGHT_RAIL),
    PublishedLimit(use="office", metric="LASmax", limit=45.0, condition="light rail",
                   citation=UK_LIGHT_RAIL),
)  # fmt: skip
"""Published limits with their marks; local rules and the client's brief come first."""
