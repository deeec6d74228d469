"""Criteria: a limit on one metric and one statistic, and published limits with their sources."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RatingError, finite, known, positive, within
from groundborne.citation import Citation
from groundborne.levels import decibel
from groundborne.rating.statistics import STATISTICS
from groundborne.rating.vibration_curves import CLASSES, PLATEAUS


@checked(infinite=("limit", "return"))  # where a room has no limit
@dataclass(frozen=True, kw_only=True)
class Metric:
    """What a criterion is on.

    Parameters
    ----------
    unit : str
        As printed behind a value; empty where there is none.
    time_weightings : tuple of str
        Of the band levels it can be formed from.
    decimals : int
        With which it is printed.
    vibration : bool
        Of the floor at mid-span, not of the sound in the room; its margin is
        ``20 lg(limit/value)`` dB.
    least : float
        Smallest value that can be measured or is defined; a smaller one is printed as below it.
    """

    unit: str
    time_weightings: tuple[str, ...]
    decimals: int = 1
    vibration: bool = False
    least: float = -np.inf

    def margin(self, value: xr.DataArray, limit: float | xr.DataArray) -> xr.DataArray:
        """Margin of values to limits that may differ, positive where they are met.

        Parameters
        ----------
        value : DataArray
            In the unit of the metric.
        limit : float or DataArray
            Likewise; infinite where there is none.

        Returns
        -------
        xarray.DataArray
            ``limit − value`` for sound [dB or NR], ``20 lg(limit/value)`` for vibration [dB]. Where
            the attribute ``lower_bound`` of the values says why they are at least so large, the
            attribute ``upper_bound`` of the margins says it of them: no such margin shows that a
            limit is met.
        """
        margin: xr.DataArray = 2 * decibel(limit / value) if self.vibration else limit - value
        why = str(value.attrs.get("lower_bound", ""))
        margin.attrs = {"upper_bound": why} if why else {}
        return margin


QUIETEST = 10.0
"""A-weighted level below which nothing is measured in a building [dB re 20 µPa]: instruments and
the quietest rooms have more of their own; common practice."""

_ANY = ("S max", "F max", "leq")
METRICS: dict[str, Metric] = {
    "LASmax": Metric(unit="dB re 20 µPa", time_weightings=("S max",), least=QUIETEST),
    "LAFmax": Metric(unit="dB re 20 µPa", time_weightings=("F max",), least=QUIETEST),
    "LAeq": Metric(unit="dB re 20 µPa", time_weightings=_ANY, least=QUIETEST),
    # Curves are printed from NR 0 upwards.
    "NR": Metric(unit="", time_weightings=_ANY, least=0.0),
    "VDV": Metric(unit="m/s^1.75", time_weightings=_ANY, decimals=3, vibration=True),
    "KB_Fmax": Metric(unit="", time_weightings=_ANY[:2], decimals=2, vibration=True),
    "VC": Metric(unit="µm/s", time_weightings=_ANY, decimals=1, vibration=True),
}
"""Metrics of sound in rooms and of vibration of their floors; least values are common practice."""

PERIOD_DOSE = "fourth-power sum"
"""The only statistic of a dose: over all trains of a period."""


def metric_of(label: str) -> Metric:
    """Metric of a criterion, by its label.

    Parameters
    ----------
    label : str
        As of :attr:`Criterion.label`.

    Raises
    ------
    ValueError
        It begins with no metric and no curve.

    Examples
    --------
    >>> metric_of("VDV, night").unit, metric_of("VC-A, maximum").unit
    ('m/s^1.75', 'µm/s')
    """
    head = label.split(",")[0]
    name = "VC" if head in CLASSES else head
    return METRICS[known("metric_of", "metric", name, METRICS)]


@checked
@dataclass(frozen=True, kw_only=True)
class Criterion:
    """A limit on the noise in a room or the vibration of its floor, with the statistic it means.

    Parameters
    ----------
    metric : str
        One of ``METRICS``: ``LASmax``, ``LAFmax``, ``LAeq`` (over the period) or ``NR``; of the
        floor ``VDV`` (Wb, over the period), ``KB_Fmax`` or ``VC`` (a curve of band velocity).
    limit : float
        Largest value allowed [dB re 20 µPa, NR, m/s^1.75, KB, or µm/s from 8 Hz upwards]. For
        ``VC`` see :meth:`on_curve`.
    statistic : str
        Over passbys: ``mean``, ``energy mean``, ``maximum`` or ``percentile``. An
        ``energy mean`` of ``NR`` and ``VC`` is taken of the spectra, before they are rated. For
        ``LAeq``: ``energy mean``, for ``VDV``: ``fourth-power sum``, by definition.
    percentile : float, optional
        With the statistic ``percentile`` [%].
    period : str, optional
        Name of the timetable period whose trains count; all passbys alike if none. ``LAeq`` and
        ``VDV`` need one.
    time_weighting : str
        Of the levels the limit is meant for: ``S max``, ``F max`` or ``leq``. Levels on another
        are refused, never mixed.
    citation : Citation, optional
        Where the limit comes from.
    curve : str, optional
        With the metric ``VC``: ``VC-A`` and so on, or one of the ISO curves beside them.

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
    curve: str | None = None

    def __post_init__(self) -> None:
        known("Criterion", "metric", self.metric, METRICS)
        finite("Criterion", "limit", self.limit)
        if self.of.vibration:
            positive("Criterion", "limit", self.limit, self.of.unit)
        statistics = (PERIOD_DOSE,) if self.metric == "VDV" else STATISTICS
        known("Criterion", "statistic", self.statistic, statistics)
        known("Criterion", "time_weighting", self.time_weighting, self.of.time_weightings)
        self._check_curve()
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
        if self.metric == "VDV" and self.period is None:
            raise ValueError("Criterion: VDV needs a period; it is the dose of all its trains")

    def _check_curve(self) -> None:
        if (self.curve is None) == (self.metric == "VC"):
            raise ValueError(
                f"Criterion: curve is {self.curve!r} with metric {self.metric!r}; give it with "
                "'VC' only"
            )
        if self.curve is not None:
            known("Criterion", "curve", self.curve, CLASSES)
            plateau = 1e6 * PLATEAUS[self.curve]
            if abs(self.limit - plateau) > 1e-9 * plateau:
                raise ValueError(
                    f"Criterion: limit is {self.limit:g} with the curve {self.curve!r}, whose "
                    f"value from 8 Hz is {plateau:g} µm/s; see Criterion.on_curve"
                )

    @classmethod
    def on_curve(
        cls,
        curve: str,
        *,
        statistic: str,
        time_weighting: str,
        percentile: float | None = None,
        period: str | None = None,
        citation: Citation | None = None,
    ) -> Criterion:
        """Criterion that a spectrum of band velocity stays below a curve.

        Parameters
        ----------
        curve : str
            ``VC-A`` to ``VC-G`` or an ISO curve, as in ``vibration_curves.CLASSES``.
        statistic, time_weighting, percentile, period, citation
            As of the class.

        Raises
        ------
        ValueError
            An unknown curve, or as of the class.

        Examples
        --------
        >>> lab = Criterion.on_curve("VC-A", statistic="energy mean", time_weighting="S max")
        >>> lab.label, lab.limit
        ('VC-A, energy mean', 50.0)
        """
        known("Criterion.on_curve", "curve", curve, CLASSES)
        return cls(
            metric="VC",
            curve=curve,
            limit=round(1e6 * PLATEAUS[curve], 9),
            statistic=statistic,
            time_weighting=time_weighting,
            percentile=percentile,
            period=period,
            citation=citation,
        )

    @property
    def of(self) -> Metric:
        """The metric with its unit."""
        return METRICS[self.metric]

    @property
    def unit(self) -> str:
        """Unit of the limit."""
        return self.of.unit

    @property
    def label(self) -> str:
        """Metric, statistic and period in words; the name of the criterion in a result."""
        if self.metric == "LAeq":
            return f"LAeq, {self.period}"
        if self.metric == "VDV":
            return f"VDV, {self.period}"
        head = self.metric if self.curve is None else self.curve
        return ", ".join(part for part in (head, self.statistic_label, self.period) if part)

    @property
    def statistic_label(self) -> str:
        """Statistic over passbys in words, with the percentile where there is one."""
        if self.percentile is None:
            return self.statistic
        return f"{_ordinal(self.percentile)} percentile"

    def require(self, time_weighting: str) -> None:
        """Refuse levels on another time weighting than the limit is meant for.

        Raises
        ------
        RatingError
            The two differ.
        """
        if time_weighting != self.time_weighting:
            raise RatingError(
                f"criterion {self.label!r}: the time_weighting of the levels is "
                f"{time_weighting or 'unlabelled'!r}, the limit is on {self.time_weighting!r}; "
                "use levels or a limit of one kind"
            )

    def margin(self, value: xr.DataArray) -> xr.DataArray:
        """Margin of values in the unit of the limit: see :meth:`Metric.margin`."""
        margin = self.of.margin(value, self.limit)
        margin.attrs = margin.attrs | {
            "long_name": "margin, positive when met",
            "units": "1" if self.metric == "NR" else "dB",
        }
        return margin


def _ordinal(number: float) -> str:
    text = f"{number:g}"
    if "." in text or text.endswith(("11", "12", "13")):
        return f"{text}th"
    return text + {"1": "st", "2": "nd", "3": "rd"}.get(text[-1], "th")


@checked
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
    status="transcribed",
)
UK_BILL = Citation(
    key="uk-rail-bill-2007",
    author="UK Parliament, committee on a cross-London railway bill",
    year="2007",
    title="report and evidence",
    mark="seen",
    status="transcribed",
)
UK_LIGHT_RAIL = Citation(
    key="uk-light-rail-2013",
    author="UK planning inquiry note on a light-rail condition",
    year="2013",
    mark="seen",
    status="transcribed",
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
