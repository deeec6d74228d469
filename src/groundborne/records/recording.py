"""A recording: channels of one quantity on one clock, and what was noticed about them."""

from __future__ import annotations

import dataclasses
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, finite, is_lazy, known, positive, within
from groundborne.records.channel import SI_UNITS, Channel, require_channels
from groundborne.waveform.filtering import weighted
from groundborne.waveform.integration import integrate


class RecordingWarning(UserWarning):
    """A recording is suspicious but was read; the same sentence stands in its notes."""


@checked(nan=("signal",), infinite=("signal",))
@dataclass(frozen=True, kw_only=True, eq=False)
class Recording:
    """Channels of one quantity on one clock.

    Parameters
    ----------
    signal : DataArray
        Dims (channel, time) with the coordinate ``channel``, SI units, no time coordinate; attrs
        ``quantity`` and ``units``. ``axis`` and ``position`` may stand as coordinates on channel.
    sample_rate : float
        Sample rate [Hz]; it need not be whole.
    start : numpy.datetime64 or None
        First sample in UTC, if known.
    first_time : float
        First sample on the file's own time column [s]; 0 where there is none.
    file : str
        Name for messages.
    notes : tuple of str
        What was noticed, and where.

    Raises
    ------
    RecordingError
        Dims, quantity or units are not as above, there is no sample, or one that is no number.
    ValueError
        The rate is not above 0.

    Examples
    --------
    >>> z = xr.DataArray(np.zeros((1, 400)), dims=("channel", "time"), coords={"channel": ["z"]},
    ...                  attrs={"quantity": "velocity", "units": "m/s"})
    >>> Recording(signal=z, sample_rate=100.0, file="invented").duration
    4.0
    """

    signal: xr.DataArray
    sample_rate: float
    start: np.datetime64 | None = None
    first_time: float = 0.0
    file: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        where = self.file or "Recording"
        positive(where, "sample_rate", self.sample_rate, "Hz")
        finite(where, "first_time", self.first_time)
        signal = self.signal
        if signal.dims != ("channel", "time"):
            raise RecordingError(
                f"{where}: signal must have the dims ('channel', 'time'); it has {signal.dims}"
            )
        if "channel" not in self.signal.coords:
            raise RecordingError(
                f"{where}: the channels of the signal have no names; give the coordinate"
            )
        names = self.channels
        if len(set(names)) != len(names):
            raise RecordingError(f"{where}: channel names repeat: {', '.join(names)}")
        if 0 in self.signal.shape:
            raise RecordingError(f"{where}: there is no sample")
        if self.signal.dtype.kind != "f":
            raise RecordingError(
                f"{where}: signal holds {self.signal.dtype}; floating-point numbers are needed"
            )
        quantity = known(
            where, "quantity", self.signal.attrs.get("quantity"), SI_UNITS, RecordingError
        )
        units = self.signal.attrs.get("units")
        if units != SI_UNITS[quantity]:
            raise RecordingError(
                f"{where}: units is {units!r}; a record of {quantity} is in {SI_UNITS[quantity]!r}"
            )
        require_start(where, self.start)
        for row, values in enumerate(() if is_lazy(signal) else signal.values):
            bad = ~np.isfinite(values)
            if bad.any():
                at = int(np.argmax(bad))
                raise RecordingError(
                    f"{self.place(row, at)}: the value is {values[at]}; {int(bad.sum())} samples "
                    "of this channel are not finite"
                )

    def place(self, row: int, sample: int) -> str:
        """File, channel and time of a sample, for sentences."""
        within("Recording.place", "row", row, 0, len(self.channels) - 1, "")
        time = self.first_time + sample / self.sample_rate
        return f"{self.file or 'Recording'}, channel {self.channels[row]!r}, {time:.6g} s"

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels."""
        return tuple(str(name) for name in self.signal["channel"].values)

    @property
    def quantity(self) -> str:
        """What was measured."""
        return str(self.signal.attrs["quantity"])

    @property
    def samples(self) -> int:
        """Samples of each channel."""
        return int(self.signal.sizes["time"])

    @property
    def duration(self) -> float:
        """Samples over rate [s]."""
        return self.samples / self.sample_rate

    def times(self) -> np.ndarray[Any, Any]:
        """Time of every sample from the first [s]."""
        return np.arange(self.samples) / self.sample_rate

    def select(self, channels: str | Sequence[str]) -> Recording:
        """Some of the channels, in the order asked.

        Parameters
        ----------
        channels : str or sequence of str
            Names.

        Raises
        ------
        RecordingError
            An unknown name, one given twice, or none.
        """
        names = [channels] if isinstance(channels, str) else list(channels)
        where = f"{self.file or 'Recording'}.select"
        if not names:
            raise RecordingError(f"{where}: no channel is asked for")
        for name in names:
            known(where, "channel", name, self.channels, RecordingError)
            if names.count(name) > 1:
                raise RecordingError(f"{where}: the channel {name!r} is asked for twice")
        index = [self.channels.index(name) for name in names]
        return dataclasses.replace(self, signal=self.signal.isel(channel=index))

    def between(self, t1: float, t2: float) -> Recording:
        """Part from ``t1`` up to, not including, ``t2``; its clock starts afresh.

        Parameters
        ----------
        t1, t2 : float
            Seconds from the first sample, taken to the nearest sample.

        Raises
        ------
        RecordingError
            The part is empty or reaches outside the recording.
        """
        where = f"{self.file or 'Recording'}.between"
        first = round(float(finite(where, "t1", t1)) * self.sample_rate)
        last = round(float(finite(where, "t2", t2)) * self.sample_rate)
        if not 0 <= first < last <= self.samples:
            raise RecordingError(
                f"{where}: {t1:g} to {t2:g} s is asked for; the recording holds 0 to "
                f"{self.duration:g} s"
            )
        shift = first / self.sample_rate
        start = self.start
        if start is not None:
            start = start.astype("datetime64[ns]") + np.timedelta64(round(shift * 1e9), "ns")
        return dataclasses.replace(
            self,
            signal=self.signal.isel(time=slice(first, last)),
            start=start,
            first_time=self.first_time + shift,
            notes=(*self.notes, f"{self.file}: cut to {t1:g} to {t2:g} s"),
        )

    def velocity(self, *, low_cut: float | None = None) -> Recording:
        """Velocity: itself, or the integral of an acceleration.

        Parameters
        ----------
        low_cut : float, optional
            Lowest frequency that passes unchanged [Hz]; needed to integrate an acceleration. What
            is velocity already is not filtered, and a note says so.

        Raises
        ------
        RecordingError
            The quantity is neither, the record is too short for the cut, or the cut is missing.

        See Also
        --------
        groundborne.waveform.integration.integrate : the corner, the ends and the mean.
        """
        where = f"{self.file or 'Recording'}.velocity"
        if self.quantity == "velocity":
            if low_cut is not None:
                return self.noted(f"{self.file}: velocity as recorded; no low cut was applied")
            return self
        if self.quantity != "acceleration":
            raise RecordingError(f"{where}: {self.quantity} cannot become velocity here")
        if low_cut is None:
            raise RecordingError(
                f"{where}: low_cut is missing; integration needs the lowest frequency wanted [Hz]"
            )
        try:
            signal = integrate(self.signal, sample_rate=self.sample_rate, low_cut=low_cut)
        except RecordingError as error:
            raise RecordingError(f"{self.file or 'Recording'}: {error}") from None
        said = f"{self.file}: {signal.attrs['processing']}"
        return dataclasses.replace(self, signal=signal, notes=(*self.notes, said))

    def weighted(self, curve: str) -> Recording:
        """Weighted for people or for hearing, from rest.

        Parameters
        ----------
        curve : str
            One of ``weighting.CURVES``: ``Wb``, ``Wd``, ``Wk``, ``Wm``, ``A``, ...

        Raises
        ------
        RecordingError
            The recording is too slow, weighted already, or of a quantity the curve does not take.

        See Also
        --------
        groundborne.waveform.weighted : the filter, its start, and what a record has to hold.
        """
        try:
            signal = weighted(self.signal, sample_rate=self.sample_rate, curve=curve)
        except RecordingError as error:
            raise RecordingError(f"{self.file or 'Recording'}: {error}") from None
        said = f"{self.file}: weighted by {curve}"
        return dataclasses.replace(self, signal=signal, notes=(*self.notes, said))

    def noted(self, *sentences: str, warn: bool = False, stacklevel: int = 3) -> Recording:
        """The same with further notes, which are also given as warnings if asked.

        Parameters
        ----------
        *sentences : str
            Notes.
        warn : bool
            Whether each is also a :class:`RecordingWarning`.
        stacklevel : int
            Whose line the warning shows.
        """
        if warn:
            for sentence in sentences:
                warnings.warn(sentence, RecordingWarning, stacklevel=stacklevel)
        return dataclasses.replace(self, notes=(*self.notes, *sentences))


def assemble(
    values: np.ndarray[Any, Any],
    channels: Sequence[Channel],
    *,
    sample_rate: float,
    file: str,
    start: np.datetime64 | None = None,
    first_time: float = 0.0,
    notes: tuple[str, ...] = (),
) -> Recording:
    """Recording of values that are in SI units already.

    Parameters
    ----------
    values : numpy array
        Shape (channel, time), SI units.
    channels : sequence of Channel
        What each row is.
    sample_rate : float
        Sample rate [Hz].
    file : str
        Name for messages.
    start : numpy.datetime64, optional
        First sample in UTC.
    first_time : float
        First sample on the file's own clock [s].
    notes : tuple of str
        What was noticed.

    Returns
    -------
    Recording
        With ``axis`` and ``position`` as coordinates.

    Examples
    --------
    >>> z = Channel(name="z", unit="m/s", quantity="velocity", axis="z")
    >>> str(assemble(np.ones((1, 8)), [z], sample_rate=4.0, file="invented").signal["axis"].item(0))
    'z'
    """
    quantity = require_channels(file, channels)
    signal = xr.DataArray(
        np.asarray(values, dtype=float),
        dims=("channel", "time"),
        coords={
            "channel": [channel.name for channel in channels],
            "axis": ("channel", [channel.axis for channel in channels]),
            "position": ("channel", [channel.position for channel in channels]),
        },
        attrs={"quantity": quantity, "units": SI_UNITS[quantity]},
    )
    return Recording(
        signal=signal,
        sample_rate=sample_rate,
        start=start,
        first_time=first_time,
        file=file,
        notes=notes,
    )


def require_start(where: str, start: Any) -> None:
    """Refuse what is no time of a first sample; None where it is not known."""
    if start is not None and (not isinstance(start, np.datetime64) or np.isnat(start)):
        raise RecordingError(
            f"{where}: start is {start!r}, not a time; give a numpy.datetime64 in UTC, or leave it "
            "out if it is not known"
        )
