"""Limits of velocity by band, and the metric that a spectrum is held against one by.

The published curves (:mod:`~groundborne.rating.vibration_curves`) and a maker's own are one
mechanism: the worst band over the curve counts, in dB, and missing bands make a lower bound of it
by the rules of :mod:`~groundborne.rating.sufficiency`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path as FilePath
from typing import Literal, get_args

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, TableError, known, positive
from groundborne.citation import Citation
from groundborne.levels import decibel
from groundborne.rating.band_rules import WeightedBands
from groundborne.rating.metric import (
    STATISTICS_OF_PASSBY,
    Metric,
    amplitude,
    as_level,
    nothing_approximated,
)
from groundborne.rating.scale import Scale
from groundborne.rating.statistics import PERIOD_RMS, STATISTICS
from groundborne.rating.sufficiency import FELT
from groundborne.tables import read_table
from groundborne.usual_ranges import PRACTICE, Quantity

LEAST_BANDS = (8.0, 80.0)
"""Bands of a curve without which no spectrum is held against it [Hz]."""

CURVE_STATISTICS = (*STATISTICS, PERIOD_RMS)
"""What a curve may be of."""

EXCESS = "dB over the curve"
"""Unit of a rating on a curve that is told by its excess."""

Outside = Literal["refused", "free"]
_REFERENCE = 1e-9  # m/s
_MICRO, _LEVEL = "limit_um_s", "limit_db_re_1_nm_s"
USUAL = Quantity(
    unit="µm/s", usual=(0.1, 1000), possible=(1e-3, 1e5), mark=PRACTICE, slips="velocity"
)
USUAL_LEVEL = Quantity(unit="dB", usual=(40, 120), possible=(0, 160), mark=PRACTICE, slips=None)
"""What limits of a curve are like, in both units."""


@checked(infinite=("return",))  # in bands that it does not hold
@dataclass(frozen=True, kw_only=True, eq=False)
class LimitCurve:
    """The vibration that equipment or people may have in each band: a curve of your own.

    Parameters
    ----------
    name : str
        As in criteria and tables, without a comma.
    velocity : DataArray
        Largest rms velocity [m/s], above 0, on ``frequency``: nominal one-third-octaves without a
        gap.
    citation : Citation, optional
        Where it comes from.
    outside : str
        ``refused``: a spectrum that holds bands from 5 to 80 Hz which the curve does not is not
        rated. ``free``: whoever made the curve sets no limit outside it, and a note says so.

    Raises
    ------
    ValueError
        A velocity that is not above 0, other dims, bands that are none, or an empty name.

    Notes
    -----
    The rating on it is the largest excess of any band over the curve [dB], its limit 0 dB. Bands
    are summed nowhere: a curve of single bands.

    Examples
    --------
    >>> f = bands.third_octaves(4, 80)
    >>> flat = LimitCurve(name="balance", velocity=xr.full_like(f, 10e-6))
    >>> flat.over([16.0]).round(1).values.tolist(), flat.metric.fixed_limit
    ([-80.0], 0.0)
    """

    name: str
    velocity: xr.DataArray
    citation: Citation | None = None
    outside: Outside = "refused"

    def __post_init__(self) -> None:
        where = f"LimitCurve {self.name!r}"
        if not self.name.strip() or "," in self.name:
            raise ValueError(f"{where}: its name is empty or holds a comma; a word is needed")
        known(where, "outside", self.outside, get_args(Outside))
        if self.velocity.dims != ("frequency",):
            raise BandError(
                f"{where}: velocity has the dims {list(self.velocity.dims)}; ('frequency',) is "
                "needed"
            )
        positive(where, "velocity", self.velocity, "m/s")
        bands.require_labels(self.velocity["frequency"], where)

    @property
    def span(self) -> tuple[float, float]:
        """First and last band [Hz]."""
        first, last = (float(f) for f in self.velocity["frequency"].values[[0, -1]])
        return first, last

    @property
    def level(self) -> xr.DataArray:
        """The curve as a level [dB re 1 nm/s]."""
        return levels.stamp(
            2 * decibel(self.velocity / _REFERENCE),
            quantity="velocity",
            reference="1 nm/s",
            long_name=f"limit of {self.name}",
        )

    def over(self, frequency: Frequency) -> xr.DataArray:
        """What is added to velocity band levels re 1 nm/s to tell by how much they exceed it.

        Parameters
        ----------
        frequency : DataArray
            Nominal labels [Hz].

        Returns
        -------
        xarray.DataArray
            Minus the curve [dB]; minus infinity in bands that it does not hold.

        Raises
        ------
        BandError
            It lacks bands between 5 and 80 Hz, and nothing says that it sets no limit there.
        """
        lacking = self._lacking(frequency)
        if lacking.size and self.outside == "refused":
            first, last = (bands.label(f) for f in self.span)
            ends = " to ".join(bands.label(f) for f in dict.fromkeys(lacking[[0, -1]].tolist()))
            raise BandError(
                f"limit curve {self.name!r}: it holds {first} to {last} Hz, and the spectrum has "
                f"{ends} Hz too, where trains are felt; give the curve there, or say "
                "outside='free' if it sets no limit there"
            )
        return over_curve(self.velocity, frequency)

    def _lacking(self, frequency: xr.DataArray) -> np.ndarray:
        """Bands of a spectrum in which trains are felt and the curve sets no limit [Hz]."""
        f = frequency.values
        felt = (f >= FELT[0]) & (f <= FELT[1])
        return np.asarray(f[felt & ~np.isin(f, self.velocity["frequency"].values)])

    @cached_property
    def metric(self) -> Metric:
        """What a :class:`~groundborne.rating.Criterion` takes in place of the name of a metric."""
        return metric_on_curve(
            self.name,
            gain=self.over,
            span=self.span,
            citations=() if self.citation is None else (self.citation,),
            approximation=self._approximation,
        )

    def _approximation(self, made: str, frequency: xr.DataArray) -> str:
        del made
        lacking = self._lacking(frequency)
        if not lacking.size:
            return ""
        listed = ", ".join(bands.label(f) for f in lacking.tolist())
        return f"the curve sets no limit at {listed} Hz, which are held against nothing"


@checked
def read_limit_curve(
    path: str | FilePath,
    *,
    name: str,
    citation: Citation | None = None,
    outside: Outside = "refused",
) -> LimitCurve:
    r"""Read a curve from a CSV file.

    Parameters
    ----------
    path : str or Path
        With the columns ``frequency_hz`` and ``limit_um_s`` (rms [µm/s]) or ``limit_db_re_1_nm_s``,
        nominal one-third-octaves in rising order.
    name, citation, outside
        As of :class:`LimitCurve`.

    Raises
    ------
    TableError
        A column or cell is not as it should be, or bands are missing.

    Examples
    --------
    >>> import tempfile
    >>> file = FilePath(tempfile.mkdtemp()) / "balance.csv"
    >>> _ = file.write_text("frequency_hz,limit_um_s\n8,20\n10,16\n12.5,12.5\n")
    >>> (1e6 * read_limit_curve(file, name="balance").velocity).round(3).values.tolist()
    [20.0, 16.0, 12.5]
    """
    table = read_table(path)
    in_decibels = table.has(_LEVEL)
    column = _LEVEL if in_decibels else _MICRO
    if table.has(_MICRO) and in_decibels:
        raise TableError(f"{table.file}: it holds {_MICRO!r} and {_LEVEL!r}; give one of them")
    table.require(("frequency_hz", column))
    frequency = table.numbers(["frequency_hz"], above=0.0, unit="Hz")[:, 0]
    if in_decibels:
        found = table.numbers([column])[:, 0]
        table.judge(column, found, USUAL_LEVEL)
        velocity = _REFERENCE * 10 ** (found / 20)
    else:
        found = table.numbers([column], above=0.0, unit="µm/s")[:, 0]
        table.judge(column, found, USUAL)
        velocity = 1e-6 * found
    with table.naming():
        bands.require_labels(frequency, f"{table.file}, column 'frequency_hz'")
        return LimitCurve(
            name=name,
            velocity=xr.DataArray(velocity, coords={"frequency": frequency}),
            citation=citation,
            outside=outside,
        )


def over_curve(velocity: xr.DataArray, frequency: xr.DataArray) -> xr.DataArray:
    """Minus a curve [dB re 1 nm/s], minus infinity in bands that it does not hold.

    Parameters
    ----------
    velocity : DataArray
        The curve [m/s] on ``frequency``.
    frequency : DataArray
        Nominal labels [Hz].
    """
    limit = 2 * decibel(velocity / _REFERENCE)
    over: xr.DataArray = -limit.reindex(frequency=frequency.values, fill_value=np.inf)
    return over.drop_attrs(deep=False)


def metric_on_curve(
    name: str,
    *,
    gain: Callable[[xr.DataArray], xr.DataArray],
    span: tuple[float, float],
    told_by: float | None = None,
    citations: tuple[Citation, ...] = (),
    approximation: Callable[[str, xr.DataArray], str] = nothing_approximated,
) -> Metric:
    """Metric of a curve: the worst band over it.

    Parameters
    ----------
    name : str
        Of the curve.
    gain : callable
        See :func:`over_curve`, of a frequency axis.
    span : tuple of float
        First and last band of the curve [Hz].
    told_by : float, optional
        Value that the curve is known by [m/s]: ratings are that value raised by the excess, and it
        is their limit. Without one a rating is the excess, and its limit 0 dB.
    citations : tuple of Citation
        Where the curve comes from.
    approximation : callable
        As of :class:`Metric`.
    """
    least = max(span[0], LEAST_BANDS[0]), min(span[1], LEAST_BANDS[1])
    micro = None if told_by is None else round(1e6 * told_by, 9)
    return Metric(
        name=name,
        quantity="velocity",
        rule=WeightedBands(
            gain=gain,
            span=span,
            needed=FELT,
            combined="maximum",
            at_least=least if least[0] <= least[1] else span,
        ),
        scale=Scale(unit=EXCESS) if micro is None else Scale(unit="µm/s", ratio=True),
        statistics=CURVE_STATISTICS,
        time_weightings=STATISTICS_OF_PASSBY,
        value=as_level if micro is None else partial(amplitude, factor=micro),
        approximation=approximation,
        citations=citations,
        fixed_limit=0.0 if micro is None else micro,
    )
