"""Running mean squares taken every so many seconds, whole or carried from block to block.

A squared sample ``k`` stands for the interval ``[k, k + 1)/rate``. With that, the recursion

    y_k = y_(k-1) + a (x_k² - y_(k-1)),  a = 1 - exp(-1/(rate τ)),

is the exact answer of the analogue average ``τ y' = x² - y`` at the ends of the intervals, and it
is known between them too. Results are therefore taken at ``t = every, 2 every, ...`` exactly, for
rates and steps that do not divide: each step adds the weighted sum of the squares within it, the
squares at its two ends by their share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, known, positive
from groundborne.waveform.averaging import Averaging, read_averaging
from groundborne.waveform.record import UNITS, blocks_of, require_finite, require_record

Array = np.ndarray[Any, Any]

_NEAR = 1e-6
_MOST_SAMPLES = 2**31
"""An edge this close to a sample [samples] is taken to lie on it: what is left is rounding."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MeanSquareState:
    """What a running mean square carries from one block to the next.

    Parameters
    ----------
    kept : array
        Squares not used yet, shape (..., samples).
    first : int
        Number of the first of them since the start of the record.
    step : int
        Number of the last step done; step ``j`` ends at ``j every``.
    memory : array
        The last average, shape (..., 1), or the last step means, shape (..., steps).
    """

    kept: Array
    first: int
    step: int
    memory: Array


@checked
@dataclass(frozen=True, kw_only=True)
class RunningMeanSquare:
    """A running mean square, taken every so many seconds and carried from block to block.

    Parameters
    ----------
    sample_rate : float
        Samples per second [Hz].
    averaging : Averaging
        Kind and time.
    every : float
        Step between results [s]; at least one sample long. A linear window must be a whole number
        of steps.
    delay : float
        How late the record is [s], 0 or more; the result at ``t`` is read off it at ``t + delay``.

    Raises
    ------
    ValueError
        A number out of its range, a step shorter than a sample, or a window of broken steps.

    Notes
    -----
    An exponential average starts from zero. The first result of a linear one is at the end of the
    first full window. The largest of the results lies below the largest value in between by no
    more than ``4.34 every/τ`` dB, when an event ends just after a reading: take `every` at
    most τ/8 to read maxima.

    Examples
    --------
    >>> second = Averaging(kind="linear", seconds=1.0)
    >>> running = RunningMeanSquare(sample_rate=100.0, averaging=second, every=0.5)
    >>> values, state = running.advance(running.start(()), np.ones(120))
    >>> values.round(9).tolist()  # at 1.0 s; 0.2 s are kept for later
    [1.0]
    >>> values, state = running.advance(state, np.ones(80))
    >>> values.round(9).tolist()  # at 1.5 s and 2.0 s
    [1.0, 1.0]
    """

    sample_rate: float
    averaging: Averaging
    every: float
    delay: float = 0.0

    def __post_init__(self) -> None:
        """Check the fields."""
        positive("RunningMeanSquare", "sample_rate", self.sample_rate, "Hz")
        positive("RunningMeanSquare", "every", self.every, "s")
        if self.every * self.sample_rate > _MOST_SAMPLES:
            raise ValueError(
                f"every is {self.every:g} s, {self.every * self.sample_rate:.3g} samples; a step "
                f"of at most {_MOST_SAMPLES:g} is kept at once"
            )
        if not (np.isfinite(self.delay) and self.delay >= 0):
            raise ValueError(f"RunningMeanSquare: delay is {self.delay:g} s; it must be 0 or more")
        if self.every * self.sample_rate < 1 - _NEAR:
            raise ValueError(
                f"every is {self.every:g} s; at {self.sample_rate:g} Hz a sample lasts "
                f"{1 / self.sample_rate:.4g} s, and a step must be at least that long"
            )
        steps = self.averaging.seconds / self.every
        if self.averaging.kind == "linear" and abs(steps - round(steps)) > _NEAR * steps:
            raise ValueError(
                f"the window of {self.averaging.seconds:g} s is {steps:.6g} steps of every = "
                f"{self.every:g} s; it must be a whole number of them"
            )

    @property
    def window(self) -> int:
        """Steps in a linear window, 1 for an exponential average: the first step with a result."""
        return window_steps(self.averaging, self.every)

    def start(self, shape: tuple[int, ...]) -> MeanSquareState:
        """State before the first sample.

        Parameters
        ----------
        shape : tuple of int
            Shape of a block without its last axis, time.

        Returns
        -------
        MeanSquareState
            Silence up to the first sample.
        """
        if any(not 0 < size < 2**31 for size in shape):
            raise ValueError(f"RunningMeanSquare.start: shape is {shape}; sizes are above 0")
        step = -int(np.ceil(self.delay / self.every))
        first = int(np.floor(self._edges(step, step)[0]))
        memory = 1 if self.averaging.kind == "exponential" else self.window - 1
        return MeanSquareState(
            kept=np.zeros((*shape, -first)),
            first=first,
            step=step,
            memory=np.zeros((*shape, memory)),
        )

    def advance(self, state: MeanSquareState, squares: Array) -> tuple[Array, MeanSquareState]:
        """Take the next squares in.

        Parameters
        ----------
        state : MeanSquareState
            From ``start`` or the call before.
        squares : array
            The next squared samples, shape (..., samples).

        Returns
        -------
        tuple of array and MeanSquareState
            Mean squares of the steps that ended, shape (..., steps), those before ``window``
            left out; and what to carry on.
        """
        if squares.dtype.kind not in "iuf" or squares.ndim != state.kept.ndim:
            raise ValueError(
                f"RunningMeanSquare.advance: squares is an array of {squares.dtype} with "
                f"{squares.ndim} dims; numbers with {state.kept.ndim} dims are needed"
            )
        x = np.concatenate([state.kept, squares], axis=-1)
        reach = state.first + x.shape[-1]
        last = int(np.floor((reach / self.sample_rate - self.delay) / self.every)) + 1
        while last > state.step and np.ceil(self._edges(last, last)[0]) > reach:
            last -= 1
        if last <= state.step:
            kept = MeanSquareState(kept=x, first=state.first, step=state.step, memory=state.memory)
            return x[..., :0], kept
        edges = self._edges(state.step, last)
        sums = self._step_sums(x, edges - state.first)
        values, memory = self._recurred(state.memory, sums)
        used = int(np.floor(edges[-1])) - state.first
        after = MeanSquareState(
            kept=x[..., used:].copy(), first=state.first + used, step=last, memory=memory
        )
        return values[..., max(self.window - 1 - state.step, 0) :], after

    def _edges(self, first: int, last: int) -> Array:
        """Ends of the steps from `first` to `last` [samples]."""
        edges = (np.arange(first, last + 1) * self.every + self.delay) * self.sample_rate
        whole = np.round(edges)
        return np.where(np.abs(edges - whole) < _NEAR, whole, edges)

    def _step_sums(self, x: Array, edges: Array) -> Array:
        """Weighted sum of the squares within each step, as it stands at the end of the step."""
        n = int(np.floor(self.every * self.sample_rate + _NEAR))
        whole = np.floor(edges).astype(int)
        here, there = whole[:-1], whole[1:]
        past = edges - whole
        end = past[1:]
        if self.averaging.kind == "linear":
            weight = np.full(n, 1 / (self.every * self.sample_rate))
            head, tail, fade = (1 - past[:-1]) * weight[0], end * weight[0], np.ones(end.size)
            extra = weight[0]
        else:
            h = 1 / (self.sample_rate * self.averaging.seconds)
            weight = -np.expm1(-h) * np.exp(-h * np.arange(n)[::-1])
            fade = np.exp(-h * end)
            tail = -np.expm1(-h * end)
            head = -np.expm1(-h * (1 - past[:-1])) * np.exp(-h * (edges[1:] - here - 1))
            extra = weight[0]
        weight[0] = 0.0  # the first of the n samples before the end is treated by itself
        size = there.size
        if (there - here == n).all():
            runs = x[..., here[0] : here[0] + size * n].reshape(*x.shape[:-1], size, n)
        else:
            runs = np.lib.stride_tricks.sliding_window_view(x, n, axis=-1)[..., there - n, :]
        sums = runs @ weight * fade
        sums += x[..., here] * head
        sums += x[..., there - n] * (extra * fade * (there - here > n))
        sums += x[..., np.minimum(there, x.shape[-1] - 1)] * tail
        return np.asarray(sums)

    def _recurred(self, memory: Array, sums: Array) -> tuple[Array, Array]:
        if self.averaging.kind == "linear":
            joined = np.concatenate([memory, sums], axis=-1)
            windows = np.lib.stride_tricks.sliding_window_view(joined, self.window, axis=-1)
            return windows.mean(axis=-1), joined[..., joined.shape[-1] - memory.shape[-1] :]
        from scipy.signal import lfilter

        keep = float(np.exp(-self.every / self.averaging.seconds))
        values, _ = lfilter([1.0], [1.0, -keep], sums, axis=-1, zi=keep * memory)
        return values, values[..., -1:].copy()


@checked(nan=("record",), infinite=("record",))
def running_mean_square(
    record: xr.DataArray,
    *,
    sample_rate: float,
    averaging: str | Averaging = "S",
    every: float = 0.125,
) -> xr.DataArray:
    """Running mean square of a record.

    Parameters
    ----------
    record : DataArray
        Time record, dims (channel, time) or (time), with ``quantity`` and ``units``.
    sample_rate : float
        Samples per second [Hz].
    averaging : str or Averaging
        ``S``, ``F``, ``linear`` (windows of length `every`), or an :class:`Averaging`.
    every : float
        Step between results [s], at least one sample; at most τ/8 to read maxima.

    Returns
    -------
    xarray.DataArray
        Mean square, dims as the record, ``time`` [s] from the start of the record.

    Raises
    ------
    RecordingError
        The record is not labelled, not finite, or shorter than one result needs.
    ValueError
        A number out of its range.

    References
    ----------
    IEC 61672-1:2013, time weightings.

    Examples
    --------
    >>> tone = np.sqrt(2) * np.sin(2 * np.pi * 50 * np.arange(10240) / 1024)
    >>> record = xr.DataArray(tone, dims="time", attrs={"quantity": "velocity", "units": "m/s"})
    >>> s = running_mean_square(record, sample_rate=1024.0)
    >>> float(s.sel(time=1.0).round(2)), s.attrs["units"], s.attrs["time_weighting"]
    (0.63, '(m/s)²', 'S')
    """
    where = "running_mean_square"
    record = require_record(record, where=where)
    average = read_averaging(averaging, every=every, where=where)
    running = RunningMeanSquare(sample_rate=sample_rate, averaging=average, every=every)
    steps = whole_steps(record.sizes["time"] / sample_rate, every)
    if steps < running.window:
        raise RecordingError(
            f"{where}: the record lasts {record.sizes['time'] / sample_rate:g} s; the first "
            f"result is at "
            f"{running.window * every:g} s"
        )
    state = running.start(record.shape[:-1])
    pieces = []
    for first, block in blocks_of(record):
        require_finite(block, where=where, first=first, sample_rate=sample_rate, like=record)
        values, state = running.advance(state, np.square(block, dtype=float))
        pieces.append(values)
    times = np.arange(running.window, steps + 1) * every
    return labelled(
        np.concatenate(pieces, axis=-1)[..., : times.size],
        dims=record.dims,
        times=times,
        like=record,
        averaging=average,
    )


def labelled(
    values: Array,
    *,
    dims: tuple[Any, ...],
    times: Array,
    like: xr.DataArray,
    averaging: Averaging,
    coords: dict[str, Any] | None = None,
) -> xr.DataArray:
    """Mean squares with their time axis, the channel labels of a record, and attributes."""
    attrs = like.attrs
    kept = {n: c.variable for n, c in like.coords.items() if "time" not in c.dims}
    kept["time"] = xr.Variable("time", times, {"units": "s", "long_name": "time from the start"})
    return xr.DataArray(
        values,
        dims=dims,
        coords=kept | (coords or {}),
        attrs={
            "long_name": f"running mean square {attrs['quantity']}",
            "quantity": attrs["quantity"],
            "units": squared(attrs["units"]),
            "time_weighting": averaging.label,
            **{k: attrs[k] for k in ("frequency_weighting",) if k in attrs},
        },
    )


def squared_quantity(where: str, mean_square: xr.DataArray) -> str:
    """Quantity of a mean square, refused unless it is in the square of its SI unit."""
    quantity = known(where, "quantity", mean_square.attrs.get("quantity"), UNITS, RecordingError)
    if mean_square.attrs.get("units") != squared(UNITS[quantity]):
        raise RecordingError(
            f"{where}: the units are {mean_square.attrs.get('units')!r}; mean squares of "
            f"{quantity} in {squared(UNITS[quantity])!r} are needed"
        )
    return quantity


def at_window_centre(mean_square: xr.DataArray) -> xr.DataArray:
    """Linear means at the middle of their window, where events stand; others as they are."""
    weighting = str(mean_square.attrs.get("time_weighting", ""))
    if not weighting.startswith("linear"):
        return mean_square
    window = float(weighting.split(",")[1].split()[0])  # as Averaging.label writes it
    moved: xr.DataArray = mean_square.assign_coords(time=mean_square["time"] - window / 2)
    return moved


def squared(units: str) -> str:
    """Units of a square, ``Pa²`` or ``(m/s)²``."""
    return f"{units}²" if units.isalpha() else f"({units})²"


def window_steps(averaging: Averaging, every: float) -> int:
    """Steps in a linear window; 1 for an exponential average."""
    return 1 if averaging.kind == "exponential" else round(averaging.seconds / every)


def whole_steps(duration: float, every: float) -> int:
    """Steps that fit into a duration, rounding forgiven."""
    return int(np.floor(duration / every + _NEAR))
