"""One run of a record, whole or in blocks, through a one-third-octave bank."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import RecordingError
from groundborne.waveform.averaging import Averaging
from groundborne.waveform.filterbank.design import Cascade, Design
from groundborne.waveform.record import BLOCK, require_finite
from groundborne.waveform.running import RunningMeanSquare, whole_steps

Array = np.ndarray[Any, Any]


class Run:
    """What is carried through one record: filter memories, averages and what waits for others.

    Parameters
    ----------
    plan : Design
        The bank.
    sample_rate : float
        Sample rate of the record [Hz].
    like : DataArray
        The record or its first block.
    where : str
        Who asks; it starts the sentence of an error.
    """

    def __init__(self, plan: Design, *, sample_rate: float, like: xr.DataArray, where: str) -> None:
        self.channels = like.sizes.get("channel", 1)
        self._plan = plan
        self._rate = sample_rate
        self._like = like
        self._where = where
        self._cascade = Cascade(plan, self.channels)
        self._samples = 0
        self._rates = np.concatenate(
            [np.full(len(stage.sections), stage.sample_rate) for stage in plan.stages[::-1]]
        )

    def mean_squares(
        self, blocks: Iterable[Array], *, averaging: Averaging, every: float
    ) -> Iterator[Array]:
        """Yield consecutive running mean squares, shape (channel, band, step)."""
        running = [
            RunningMeanSquare(
                sample_rate=sample_rate, averaging=averaging, every=every, delay=delay
            )
            for sample_rate, delay in zip(
                self._rates.tolist(), self._plan.delay.tolist(), strict=True
            )
        ]
        states = [average.start((self.channels,)) for average in running]
        waiting = [np.empty((self.channels, 0)) for _ in running]
        done = 0
        for block in self._with_tail(blocks):
            for band, squares in self._cascade.push(block):
                found, states[band] = running[band].advance(states[band], squares)
                waiting[band] = np.concatenate([waiting[band], found], axis=-1)
            wanted = whole_steps(self._samples / self._rate, every) - running[0].window + 1 - done
            ready = max(min(wanted, *(found.shape[-1] for found in waiting)), 0)
            yield np.stack([found[:, :ready] for found in waiting], axis=1)
            waiting = [found[:, ready:] for found in waiting]
            done += ready

    def energies(self, blocks: Iterable[Array], *, start: Array, end: Array) -> Array:
        """Integral of the square of every band from `start` to `end` [s].

        Parameters
        ----------
        blocks : iterable of array
            Consecutive blocks of the record.
        start, end : array
            Limits [s], shape (part,).

        Returns
        -------
        array
            Integrals, shape (channel, band, part).
        """
        late = self._plan.delay[:, None]
        begin, stop = (start + late) * self._rates[:, None], (end + late) * self._rates[:, None]
        found = np.zeros((self.channels, *begin.shape))
        seen = np.zeros(begin.shape[0], dtype=int)
        for block in self._with_tail(blocks):
            for band, squares in self._cascade.push(block):
                count = squares.shape[-1]
                a = np.clip(begin[band] - seen[band], 0, count)
                b = np.clip(stop[band] - seen[band], 0, count)
                found[:, band] += _between(squares, a, b)
                seen[band] += count
        return np.asarray(found / self._rates[:, None])

    def require_alike(self, block: xr.DataArray, number: int) -> None:
        """Refuse a block that is labelled otherwise than the first."""
        same = block.dims == self._like.dims and block.sizes.get("channel") == self._like.sizes.get(
            "channel"
        )
        if same and "channel" in self._like.coords and "channel" in block.coords:
            same = block["channel"].equals(self._like["channel"])
        same &= all(block.attrs[n] == self._like.attrs[n] for n in ("quantity", "units"))
        if not same:
            raise RecordingError(
                f"{self._where}: block {number} differs from the first in its dims, channels, "
                "quantity or units; blocks must be parts of one record"
            )

    def _with_tail(self, blocks: Iterable[Array]) -> Iterator[Array]:
        """Blocks as (channel, sample) arrays, and silence until the slowest band has come out."""
        for block in blocks:
            require_finite(
                block,
                where=self._where,
                first=self._samples,
                sample_rate=self._rate,
                like=self._like,
            )
            self._samples += block.shape[-1]
            yield np.asarray(block, dtype=float).reshape(self.channels, -1)
        longest, duration = float(self._plan.delay.max()), self._samples / self._rate
        if duration < longest:
            raise RecordingError(
                f"{self._where}: the record lasts {duration:.4g} s; the lowest band answers after "
                f"{longest:.3g} s. Record longer or start at a higher band"
            )
        silence = int(np.ceil(longest * self._rate)) + 2 ** len(self._plan.stages)
        size = max(BLOCK // self.channels, 1)
        for first in range(0, silence, size):
            yield np.zeros((self.channels, min(size, silence - first)))


def _between(squares: Array, begin: Array, stop: Array) -> Array:
    """Sum of squares from `begin` to `stop` [samples], shape (channel, part)."""
    count = squares.shape[-1]
    if np.isin(begin, (0, count)).all() and np.isin(stop, (0, count)).all():
        return np.asarray(squares.sum(axis=-1)[:, None] * ((stop - begin) / count))
    total = np.zeros((squares.shape[0], count + 1))
    np.cumsum(squares, axis=-1, out=total[:, 1:])

    def up_to(place: Array) -> Array:
        whole = np.minimum(np.floor(place).astype(int), count - 1)
        return np.asarray(total[:, whole] + (place - whole) * squares[:, whole])

    return up_to(stop) - up_to(begin)


def require_parts(where: str, *, start: Array, end: Array, duration: float) -> None:
    """Refuse parts of a record that are empty or reach outside it."""
    slack = 1e-9 * max(duration, 1.0)
    bad = ~((start >= -slack) & (end <= duration + slack) & (end > start))
    if bad.any():
        at = int(np.argmax(bad))
        raise ValueError(
            f"{where}: a part from {start[at]:g} s to {end[at]:g} s is asked for; the record "
            f"lasts from 0 to {duration:g} s, and start must come before end"
        )


def largest_of_steps(
    pieces: Iterable[xr.DataArray], *, every: float, finer: int, where: str
) -> xr.DataArray:
    """Largest reading within each whole step of `every` seconds, of which each holds `finer`."""
    largest: list[Array] = []
    kept: Array | None = None
    skip = step = 0
    for piece in pieces:
        values = piece.values
        if kept is None:
            # Readings of a linear window begin late; a step is used if it is whole.
            at = round(float(piece["time"][0]) / every * finer)
            skip = -(at - 1) % finer
            step = (at - 1 + skip) // finer
            kept, like = values[..., :0], piece
        cut = min(skip, values.shape[-1])
        skip -= cut
        values = np.concatenate([kept, values[..., cut:]], axis=-1)
        whole = values.shape[-1] // finer
        body = values[..., : whole * finer]
        largest.append(body.reshape(*body.shape[:-1], whole, finer).max(axis=-1))
        kept = values[..., whole * finer :]
    if not sum(part.shape[-1] for part in largest):
        raise RecordingError(f"{where}: the record is shorter than one step or window")
    found = np.concatenate(largest, axis=-1)
    times = np.arange(step + 1, step + 1 + found.shape[-1]) * every
    return xr.DataArray(
        found,
        dims=like.dims,
        coords={**{n: c for n, c in like.coords.items() if n != "time"}, "time": times},
        attrs=dict(like.attrs),
    )
