"""Criteria: a limit on one metric and one statistic, and published limits with their sources."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RatingError, finite, known, positive, within
from groundborne.citation import Citation
from groundborne.rating.limit_curve import LimitCurve
from groundborne.rating.metric import Metric
from groundborne.rating.metrics import METRICS
from groundborne.rating.statistics import PERIOD_RMS, ordinal
from groundborne.rating.vibration_curves import CLASSES


@checked
@dataclass(frozen=True, kw_only=True)
class Criterion:
    """A limit on the noise in a room or the vibration of its floor, with the statistic it means.

    Parameters
    ----------
    metric : str or Metric
        One of ``METRICS``: ``LASmax``, ``LAFmax``, ``LAeq`` (over the period) or ``NR``; of the
        floor ``VDV`` (Wb, over the period), ``KB_Fmax`` or a curve of band velocity such as
        ``VC-A``. Or a :class:`Metric` of your own.
    limit : float
        Largest value allowed, in the unit of the metric. That of a curve is its value from 8 Hz
        upwards: see :meth:`on_curve`.
    statistic : str
        Over passbys: ``mean``, ``energy mean``, ``maximum`` or ``percentile``, where the metric
        allows it. An ``energy mean`` is taken of the spectra, before they are rated. For
        ``LAeq``: ``energy mean``, for ``VDV``: ``fourth-power sum``, by definition. Curves take
        ``period rms`` too: of each band over the whole period, its trains as long as they last.
    percentile : float, optional
        With the statistic ``percentile`` [%].
    period : str, optional
        Name of the timetable period whose trains count; all passbys alike if none. Metrics that
        add trains, such as ``LAeq`` and ``VDV``, need one.
    time_weighting : str
        Of the levels the limit is meant for: ``S max``, ``F max`` or ``leq``. Levels on another
        are refused, never mixed.
    citation : Citation, optional
        Where the limit comes from.

    Raises
    ------
    ValueError
        An unknown name, a metric of one's own under the name of another, or a combination that has
        no meaning.

    Examples
    --------
    >>> hall = Criterion(metric="LASmax", limit=25.0, statistic="percentile", percentile=95.0,
    ...                  time_weighting="S max")
    >>> hall.label
    'LASmax, 95th percentile'
    >>> hall.margin(xr.DataArray(27.5)).item()
    -2.5
    """

    metric: str | Metric
    limit: float
    statistic: str
    percentile: float | None = None
    period: str | None = None
    time_weighting: str
    citation: Citation | None = None

    def __post_init__(self) -> None:
        if isinstance(self.metric, str):
            known("Criterion", "metric", self.metric, METRICS)
        elif METRICS.get(self.metric.name, self.metric) != self.metric:
            raise ValueError(
                f"Criterion: the metric {self.metric.name!r} is not the one of the library; give "
                "it a name of its own"
            )
        of = self.of
        finite("Criterion", "limit", self.limit)
        if of.scale.ratio:
            positive("Criterion", "limit", self.limit, of.scale.unit)
        known("Criterion", "statistic", self.statistic, of.statistics)
        known("Criterion", "time_weighting", self.time_weighting, of.time_weightings)
        fixed = of.fixed_limit
        if fixed is not None and abs(self.limit - fixed) > 1e-9 * fixed:
            raise ValueError(
                f"Criterion: limit is {self.limit:g} with the curve {of.name!r}, whose own limit "
                f"is {fixed:g} {of.scale.unit}; see Criterion.on_curve"
            )
        if (self.percentile is None) == (self.statistic == "percentile"):
            raise ValueError(
                f"Criterion: percentile is {self.percentile!r} with statistic "
                f"{self.statistic!r}; give it with 'percentile' only"
            )
        if self.percentile is not None:
            within("Criterion", "percentile", self.percentile, 0.0, 100.0, "%")
        if (of.needs_period or self.statistic == PERIOD_RMS) and self.period is None:
            what = of.name if of.needs_period else f"the statistic {PERIOD_RMS!r}"
            raise ValueError(f"Criterion: {what} needs a period; it is formed of all its trains")

    @classmethod
    def on_curve(
        cls,
        curve: str | LimitCurve,
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
        curve : str or LimitCurve
            ``VC-A`` to ``VC-G`` or an ISO curve, as in ``vibration_curves.CLASSES``; or one of your
            own.
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
        metric: str | Metric
        if isinstance(curve, LimitCurve):
            metric = of = curve.metric
        else:
            metric = known("Criterion.on_curve", "curve", curve, CLASSES)
            of = METRICS[metric]
        assert of.fixed_limit is not None  # every curve has one
        return cls(
            metric=metric,
            limit=of.fixed_limit,
            statistic=statistic,
            time_weighting=time_weighting,
            percentile=percentile,
            period=period,
            citation=citation,
        )

    @property
    def of(self) -> Metric:
        """The metric with everything that is known of it."""
        return METRICS[self.metric] if isinstance(self.metric, str) else self.metric

    @property
    def unit(self) -> str:
        """Unit of the limit."""
        return self.of.scale.unit

    @property
    def label(self) -> str:
        """Metric, statistic and period in words; the name of the criterion in a result."""
        # A metric with one statistic has it by its name.
        statistic = "" if len(self.of.statistics) == 1 else self.statistic_label
        return ", ".join(part for part in (self.of.name, statistic, self.period) if part)

    @property
    def statistic_label(self) -> str:
        """Statistic over passbys in words, with the percentile where there is one."""
        if self.percentile is None:
            return self.statistic
        return f"{ordinal(self.percentile)} percentile"

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
        """Margin of values in the unit of the limit: see :meth:`Scale.margin`."""
        scale = self.of.scale
        margin = scale.margin(value, self.limit)
        margin.attrs = margin.attrs | {
            "long_name": "margin, positive when met",
            "units": "dB" if scale.margin_unit == "dB" else "1",
        }
        return margin


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
