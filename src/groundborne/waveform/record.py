"""Time records: what one must be, and how it is worked through in blocks.

A record is a DataArray with dims (channel, time) or (time), in SI units, with the attributes
``quantity`` and ``units`` and no time coordinate; its sample rate goes beside it, or both are held
by a ``Recording``.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

import numpy as np
import xarray as xr

from groundborne._checks import RecordingError, positive

Array = np.ndarray[Any, Any]

UNITS = {"acceleration": "m/s²", "velocity": "m/s", "sound pressure": "Pa"}
"""Units of a record that can be weighted, by its quantity."""

BLOCK = 2**18
"""Values worked on at a time, all channels together: 2 MiB, small beside any long record."""


class Recorded(Protocol):
    """A signal and its samples per second, as a ``Recording`` holds them."""

    @property
    def signal(self) -> xr.DataArray:
        """Dims (channel, time), attributes ``quantity`` and ``units``."""

    @property
    def sample_rate(self) -> float:
        """Samples per second [Hz]."""


def signal_of(
    where: str, record: xr.DataArray | Recorded, sample_rate: float | None
) -> tuple[xr.DataArray, float]:
    """Signal and rate [Hz] of what is handed in: a recording holds both, a bare record one.

    Parameters
    ----------
    where : str
        Who asks; it starts the sentence.
    record : DataArray or Recorded
        What was handed in.
    sample_rate : float or None
        What was handed in beside it [Hz].

    Returns
    -------
    DataArray, float
        The signal and its samples per second.

    Raises
    ------
    RecordingError
        A recording and a rate, or neither.

    Examples
    --------
    >>> signal_of("example", xr.DataArray([0.0], dims="time"), 100.0)[1]
    100.0
    """
    if not isinstance(record, xr.DataArray):
        if sample_rate is not None:
            raise RecordingError(
                f"{where}: rate is {sample_rate:g} Hz, and the recording has its own, "
                f"{record.sample_rate:g} Hz; "
                "leave it out"
            )
        return record.signal, record.sample_rate
    if sample_rate is None:
        raise RecordingError(
            f"{where}: sample_rate is missing; a bare record does not hold its samples per "
            f"second [Hz], "
            "a Recording does"
        )
    positive(where, "sample_rate", sample_rate, "Hz")
    return record, sample_rate


def blocks_of(record: xr.DataArray) -> Iterator[tuple[int, Array]]:
    """Cut a record along its last axis; each block with the number of its first sample."""
    values = record.values
    size = max(BLOCK // max(values[..., :1].size, 1), 1)
    for first in range(0, values.shape[-1], size):
        yield first, values[..., first : first + size]


def require_record(record: Any, *, where: str) -> xr.DataArray:
    """Refuse what is not a labelled time record; channel comes first in what is returned."""
    if not isinstance(record, xr.DataArray):
        raise RecordingError(f"{where}: a record must be a DataArray, not {type(record).__name__}")
    if "time" not in record.dims or not set(record.dims) <= {"channel", "time"}:
        raise RecordingError(
            f"{where}: the record has the dims {record.dims}; (channel, time) or (time) is needed"
        )
    if record.dtype.kind not in "iuf":
        raise RecordingError(f"{where}: the record holds {record.dtype}; real numbers are needed")
    for name in ("quantity", "units"):
        if not (isinstance(record.attrs.get(name), str) and record.attrs[name]):
            raise RecordingError(
                f"{where}: the record does not say its {name}; set record.attrs[{name!r}], for "
                'example quantity "velocity" and units "m/s"'
            )
    return record.transpose(..., "time")


def require_finite(
    block: Array, *, where: str, first: int, sample_rate: float | None, like: xr.DataArray
) -> None:
    """Refuse a block that holds NaN or infinity, naming channel and time."""
    if np.isfinite(block).all():
        return
    bad = np.argwhere(~np.isfinite(block))[0]
    names = like["channel"].values if "channel" in like.coords else None
    if block.ndim == 1:
        channel = "" if names is None else f", channel {names.item()}"
    else:
        channel = f", channel {bad[0] if names is None else names[bad[0]]}"
    number = first + int(bad[-1])
    at = f"sample {number}" if sample_rate is None else f"{number / sample_rate:.6g} s"
    raise RecordingError(
        f"{where}: the record is {block[tuple(bad)]} at {at}"
        f"{channel}; cut the record there or repair it"
    )


def require_usable(record: Any, *, where: str, sample_rate: float | None = None) -> xr.DataArray:
    """Refuse what is not a labelled record in SI units, finite throughout and not empty.

    Parameters
    ----------
    record : DataArray
        Dims (channel, time) or (time), attrs ``quantity`` and ``units``.
    where : str
        Who asks; it starts the sentence.
    sample_rate : float, optional
        To say where in seconds [Hz].

    Returns
    -------
    xarray.DataArray
        The record in memory, as floats, time last.

    Raises
    ------
    RecordingError
        Says what is wrong, in which channel and at which sample.

    Examples
    --------
    >>> record = xr.DataArray([1.0], dims="time", attrs={"quantity": "velocity", "units": "m/s"})
    >>> require_usable(record, where="example").dims
    ('time',)
    """
    record = require_record(record, where=where)
    if record.sizes["time"] == 0:
        raise RecordingError(f"{where}: the record holds no sample")
    quantity, units = record.attrs["quantity"], record.attrs["units"]
    if units != UNITS.get(quantity):
        raise RecordingError(
            f"{where}: the record says quantity {quantity!r} and units {units!r}; set both in "
            f"record.attrs, one of {UNITS}"
        )
    ordered: xr.DataArray = record.copy(data=np.asarray(record.values, dtype=float))
    require_finite(ordered.values, where=where, first=0, sample_rate=sample_rate, like=ordered)
    return ordered
