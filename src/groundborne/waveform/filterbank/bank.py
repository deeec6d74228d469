"""One-third-octave bank for long records: exact bands, running mean squares, lined up in time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands
from groundborne._arguments import checked
from groundborne._checks import Numeric, RecordingError, positive
from groundborne.citation import Citation
from groundborne.waveform.averaging import Averaging, read_averaging
from groundborne.waveform.filterbank.design import HIGHEST_SHARE, Design, design
from groundborne.waveform.filterbank.response import read_frequencies, response_of
from groundborne.waveform.filterbank.run import Run, largest_of_steps, require_parts
from groundborne.waveform.record import blocks_of, require_record
from groundborne.waveform.running import labelled, squared, whole_steps, window_steps

IEC_61260_1_FILTERS = Citation(
    key="iec61260-1-filters",
    author="IEC 61260-1",
    year="2014",
    title="Octave-band and fractional-octave-band filters",
    locator="Table 1, class 1, mapped by Formulas (9) to (11); 5.11, 5.12, 5.16",
    mark="seen second-hand",
    status="transcribed",
)

Array = np.ndarray[Any, Any]

_ORDERS = range(4, 9)


@checked(nan=("record",), infinite=("record",), renamed={"lines": "frequencies"})
@dataclass(frozen=True, kw_only=True)
class ThirdOctaveBank:
    """One-third-octave filters for records of one sample rate.

    Butterworth filters in second-order sections with exact base-ten edges, run at rates halved
    octave by octave. The magnitude meets class 1 for every band and any rate.

    Each band is late by its group delay, 3.6 s at 1 Hz and 1/f of that above. All results are read
    off later by the delay of the whole chain at mid-band, so that an event stands at the same time
    in all bands; what a band still rings with after the end of the record is included.

    Parameters
    ----------
    sample_rate : float
        Samples per second [Hz]; it need not be a whole number.
    low, high : float
        Nominal labels of the first and last band [Hz]; 0.1 Hz and up. Without `high`, the highest
        band up to 0.35 of the rate.
    order : int
        Order of the low-pass prototype, 4 to 8; a band has twice as many poles. Order 3 misses
        class 1 near the top; above 4 bands ring longer.

    Raises
    ------
    BandError
        A limit is not a nominal label, or they are in the wrong order.
    RecordingError
        The rate is too low for a band.
    ValueError
        A rate that is not above zero, or another order.

    Notes
    -----
    What the lowest bands can say: within ``settling`` of the start and the end of a record a band
    is not yet or no more filled. A running average of noise scatters by ``scatter``: with S that
    is 3 dB at 4 Hz, with F 9 dB, so S and F readings below about 4 Hz say little about a passing
    train; use ``equivalent`` or long linear averages there. The mask covers steady tones and says
    nothing about either.

    References
    ----------
    IEC 61260-1:2014, class 1; IEC 61672-1:2013 for S and F.

    Examples
    --------
    >>> bank = ThirdOctaveBank(sample_rate=2048.0)
    >>> float(bank.frequency[0]), float(bank.frequency[-1])
    (1.0, 630.0)
    >>> float(bank.delay[0].round(1)), float(bank.settling[0].round(0))
    (3.7, 19.0)
    """

    sample_rate: float
    low: float = 1.0
    high: float | None = None
    order: int = 4

    def __post_init__(self) -> None:
        where = "ThirdOctaveBank"
        positive(where, "sample_rate", self.sample_rate, "Hz")
        if isinstance(self.order, bool) or self.order not in _ORDERS:
            raise ValueError(f"{where}: order is {self.order!r}; 4 to 8 are possible")
        for label in (self.low, self.high):
            if label is not None and bands.exact(float(label)) > HIGHEST_SHARE * self.sample_rate:
                needed = bands.exact(float(label)) / HIGHEST_SHARE
                raise RecordingError(
                    f"{where}: the {label:g} Hz band needs a rate of at least {needed:.4g} Hz "
                    f"(its mid-band over {HIGHEST_SHARE:g}); the record has "
                    f"{self.sample_rate:g} Hz. Record faster or leave the band out"
                )
        _ = self.frequency

    @property
    def frequency(self) -> xr.DataArray:
        """Nominal labels of the bands [Hz]."""
        if self.high is not None:
            return bands.third_octaves(float(self.low), float(self.high))
        run = bands.third_octaves(float(self.low), max(float(self.low), 20000.0))
        return run[np.asarray(bands.exact(run)) <= HIGHEST_SHARE * self.sample_rate]

    @property
    def delay(self) -> xr.DataArray:
        """Group delay of the whole chain at mid-band [s], taken out of all results."""
        return self._per_band(self._design.delay, "group delay at mid-band")

    @property
    def settling(self) -> xr.DataArray:
        """Time in which a band forgets 99 % of the amplitude it rang with [s]."""
        return self._per_band(self._design.settling, "settling time")

    def scatter(self, averaging: str | Averaging = "S", *, every: float = 0.125) -> xr.DataArray:
        """Standard deviation of one reading of steady noise, ``4.34/sqrt(B T)`` [dB].

        Parameters
        ----------
        averaging, every
            As in ``mean_square``; only the window of ``linear`` depends on `every`.

        Returns
        -------
        xarray.DataArray
            Scatter [dB], dim ``frequency``; beyond 3 dB a reading says little.
        """
        where = "ThirdOctaveBank.scatter"
        time = read_averaging(averaging, every=every, where=where).independent_time
        low, high = bands.edges(self.frequency)
        found = 10 / np.log(10) / np.sqrt((high - low) * time)
        return self._per_band(found.values, "scatter of one reading", "dB")

    def response(self, frequencies: Any) -> xr.DataArray:
        """Complex response of the whole decimating chain at single frequencies.

        Parameters
        ----------
        frequencies : array or DataArray
            Dims (single_frequency) or (frequency, single_frequency) [Hz], 0 to half the rate.

        Returns
        -------
        xarray.DataArray
            Response [-], dims (frequency, single_frequency). What folds back in the stages is not
            in it; it is 80 dB down.

        Raises
        ------
        ValueError
            A frequency outside 0 to half the rate.
        """
        f = read_frequencies(frequencies, bands=self.frequency, rate=self.sample_rate)
        return response_of(self._design, f, bands=self.frequency)

    def mean_square(
        self, record: xr.DataArray, *, averaging: str | Averaging = "S", every: float = 0.125
    ) -> xr.DataArray:
        """Running mean square of every band.

        Parameters
        ----------
        record : DataArray
            Time record, dims (channel, time) or (time), with ``quantity`` and ``units``.
        averaging : str or Averaging
            ``S``, ``F``, ``linear`` (windows of length `every`), or an ``Averaging``.
        every : float
            Step between results [s]; at most τ/8 to read maxima, and at least one sample of the
            slowest stage (1/128 s at most, unless the record is slower).

        Returns
        -------
        xarray.DataArray
            Mean square in squared units, dims (channel, frequency, time) or (frequency, time);
            ``time`` [s] from the start of the record, delays taken out.

        Raises
        ------
        RecordingError
            The record is not labelled, not finite, or shorter than the delay of the lowest band.
        ValueError
            A number out of its range.

        Examples
        --------
        >>> tone = np.sqrt(2) * np.sin(2 * np.pi * 50 * np.arange(10240) / 512)
        >>> record = xr.DataArray(tone, dims="time", attrs={"quantity": "velocity", "units": "m/s"})
        >>> level = ThirdOctaveBank(sample_rate=512.0, low=25.0).mean_square(record)
        >>> float(level.sel(frequency=50.0, time=15.0).round(2))
        1.0
        """
        where = "ThirdOctaveBank.mean_square"
        record = require_record(record, where=where)
        average = read_averaging(averaging, every=every, where=where)
        if not every * self.sample_rate >= 1 - 1e-9:
            raise ValueError(
                f"{where}: every is {every:g} s; at {self.sample_rate:g} Hz a sample lasts "
                f"{1 / self.sample_rate:.4g} s, and a step must be at least that long"
            )
        run = Run(self._design, sample_rate=self.sample_rate, like=record, where=where)
        duration = record.sizes["time"] / self.sample_rate
        steps = whole_steps(duration, every)
        times = np.arange(window_steps(average, every), steps + 1) * every
        if not times.size:
            raise RecordingError(
                f"{where}: the record lasts {duration:g} s, less than one step of {every:g} s or "
                "one window of the mean"
            )
        found = np.empty((run.channels, self.frequency.size, times.size))
        done = 0
        parts = (block for _, block in blocks_of(record))
        for values in run.mean_squares(parts, averaging=average, every=every):
            found[..., done : done + values.shape[-1]] = values
            done += values.shape[-1]
        return self._named(found, times, record, average)

    def stream(
        self,
        blocks: Iterable[xr.DataArray],
        *,
        averaging: str | Averaging = "S",
        every: float = 0.125,
    ) -> Iterator[xr.DataArray]:
        """Running mean square of a record that comes in blocks, with the memory of a few blocks.

        Parameters
        ----------
        blocks : iterable of DataArray
            Consecutive parts of one record, of any length.
        averaging, every
            As in ``mean_square``.

        Yields
        ------
        xarray.DataArray
            Consecutive pieces of what ``mean_square`` gives for the whole record, equal to
            rounding; they lag by the longest delay.

        Raises
        ------
        RecordingError
            As in ``mean_square``, or a block that is labelled otherwise than the first.
        """
        where = "ThirdOctaveBank.stream"
        average = read_averaging(averaging, every=every, where=where)
        numbered = iter(blocks)
        first = next(numbered, None)
        if first is None:
            raise RecordingError(f"{where}: there is no block")
        first = require_record(first, where=where)
        run = Run(self._design, sample_rate=self.sample_rate, like=first, where=where)
        step = window_steps(average, every)

        def values() -> Iterator[Array]:
            yield from (part for _, part in blocks_of(first))
            for number, block in enumerate(numbered, start=2):
                block = require_record(block, where=f"{where}, block {number}")
                run.require_alike(block, number)
                yield from (part for _, part in blocks_of(block))

        for found in run.mean_squares(values(), averaging=average, every=every):
            if found.shape[-1]:
                times = np.arange(step, step + found.shape[-1]) * every
                step += found.shape[-1]
                yield self._named(found, times, first, average)

    def step_maximum(
        self, record: xr.DataArray, *, averaging: str | Averaging, every: float, finer: int = 8
    ) -> xr.DataArray:
        """Largest value of the running mean square within each step.

        Read only at the end of steps of 0.125 s, maxima of noise-like trains come out low by some
        tenths of a decibel with S and by up to a decibel with F.

        Parameters
        ----------
        record, averaging
            As in ``mean_square``, and so are result and errors; only whole steps are in it.
        every : float
            Length of a step [s].
        finer : int
            How many times the mean square is read within a step, 1 or more.

        Examples
        --------
        >>> bank = ThirdOctaveBank(sample_rate=512.0, low=25.0, high=50.0)
        >>> noise = np.random.default_rng(1).normal(size=5120)
        >>> record = xr.DataArray(noise, dims="time", attrs={"quantity": "velocity",
        ...                                                  "units": "m/s"})
        >>> coarse = bank.mean_square(record, averaging="F", every=0.25)
        >>> within = bank.step_maximum(record, averaging="F", every=0.25)
        >>> bool((within >= (1 - 1e-9) * coarse).all()), bool((within > 1.1 * coarse).any())
        (True, True)
        """
        where = "ThirdOctaveBank.step_maximum"
        if finer < 1 or finer != int(finer):
            raise ValueError(f"{where}: finer is {finer!r}; a whole number from 1 is needed")
        return largest_of_steps(
            self.stream([record], averaging=averaging, every=every / finer),
            every=every,
            finer=int(finer),
            where=where,
        )

    def equivalent(
        self, record: xr.DataArray, *, start: Numeric | None = None, end: Numeric | None = None
    ) -> xr.DataArray:
        """Mean square of every band over the record or parts of it.

        Parameters
        ----------
        record : DataArray
            As in ``mean_square``.
        start, end : float or DataArray, optional
            Limits [s] from the start of the record; several on one dimension are done in one
            pass. Without, the whole record.

        Returns
        -------
        xarray.DataArray
            Mean square in squared units, dims (channel, frequency) and that of the limits.

        Raises
        ------
        ValueError
            A part that is empty or reaches outside the record. Else as in ``mean_square``.

        Examples
        --------
        >>> tone = np.sqrt(2) * np.sin(2 * np.pi * 50 * np.arange(10240) / 512)
        >>> record = xr.DataArray(tone, dims="time", attrs={"quantity": "velocity", "units": "m/s"})
        >>> bank = ThirdOctaveBank(sample_rate=512.0, low=25.0)
        >>> part = bank.equivalent(record, start=5.0, end=15.0)
        >>> float(part.sel(frequency=50.0).round(3)), part.attrs["units"]
        (1.0, '(m/s)²')
        """
        where = "ThirdOctaveBank.equivalent"
        record = require_record(record, where=where)
        duration = record.sizes["time"] / self.sample_rate
        begin, stop = xr.broadcast(
            xr.DataArray(0.0 if start is None else start),
            xr.DataArray(duration if end is None else end),
        )
        first, last = np.ravel(begin).astype(float), np.ravel(stop).astype(float)
        require_parts(where, start=first, end=last, duration=duration)
        run = Run(self._design, sample_rate=self.sample_rate, like=record, where=where)
        energy = run.energies((block for _, block in blocks_of(record)), start=first, end=last)
        shape = (run.channels, self.frequency.size, *begin.shape)
        kept = {n: c.variable for n, c in record.coords.items() if "time" not in c.dims}
        found = xr.DataArray(
            (energy / (last - first)).reshape(shape),
            dims=("channel", "frequency", *begin.dims),
            coords={**begin.coords, "frequency": self.frequency["frequency"]},
            attrs={
                "long_name": f"mean square {record.attrs['quantity']}",
                "quantity": record.attrs["quantity"],
                "units": squared(record.attrs["units"]),
                "time_weighting": "leq",
            },
        )
        return (found if "channel" in record.dims else found[0]).assign_coords(kept)

    @property
    def _design(self) -> Design:
        return design(
            float(self.sample_rate), tuple(self.frequency.values.tolist()), int(self.order)
        )

    def _named(
        self, values: Array, times: Array, record: xr.DataArray, averaging: Averaging
    ) -> xr.DataArray:
        """Mean squares (channel, band, step) with the labels of the record."""
        return labelled(
            values if "channel" in record.dims else values[0],
            dims=(*record.dims[:-1], "frequency", "time"),
            times=times,
            like=record,
            averaging=averaging,
            coords={"frequency": self.frequency["frequency"]},
        )

    def _per_band(self, values: Array, long_name: str, units: str = "s") -> xr.DataArray:
        return self.frequency.copy(data=values).assign_attrs(units=units, long_name=long_name)
