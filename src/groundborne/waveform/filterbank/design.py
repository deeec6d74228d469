"""Design of a decimating one-third-octave bank: stages, sections, delays and responses.

Each stage runs at half the rate of the one above, behind a linear-phase half-band filter. A band
is filtered at the lowest rate that still holds it (mid-band at most ``HIGHEST_SHARE`` of the
rate). The bands themselves are Butterworth filters whose edges are prewarped, so that the edges
after the bilinear transform are exact at any rate.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne import bands

Array = np.ndarray[Any, Any]

HIGHEST_SHARE = 0.35
"""Highest mid-band frequency as a share of the sample rate of a record."""

STAGE_SHARE = 0.25
"""Highest mid-band frequency of a stage behind a half-band filter, as a share of its rate.

More would be quicker, but the bilinear transform narrows the upper skirt: at 0.31 the S maxima of
noise differ from those of the same filter at full rate by up to 0.17 dB, at 0.25 by 0.1 dB.
"""

LOWEST_RATE = 128.0
"""No stage runs slower than this [Hz]: F averaging needs several samples in 0.125 s."""

_TAPS, _BETA = 27, 8.0
# What folds into the bands of the stage below is at least 80 dB down, and the pass band is flat
# within 0.001 dB; both are checked in tests/published and tests/properties.


@functools.cache
def half_band() -> Array:
    """Taps of the half-band filter: symmetric, every other one zero but for the middle."""
    from scipy.signal import firwin

    taps = np.asarray(firwin(_TAPS, 0.5, window=("kaiser", _BETA)))
    taps[1::2] = 0.0
    taps[::2] *= 0.5 / taps[::2].sum()
    taps[_TAPS // 2] = 0.5
    return taps


@dataclass(frozen=True, kw_only=True, eq=False)
class Stage:
    """Bands filtered at one rate.

    Parameters
    ----------
    number : int
        How often the rate has been halved.
    sample_rate : float
        Sample rate [Hz].
    first : int
        Place of the lowest band of the stage in the bank.
    sections : array
        Second-order sections, shape (band, section, 6); no band is allowed.
    """

    number: int
    sample_rate: float
    first: int
    sections: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Design:
    """A whole bank.

    Parameters
    ----------
    stages : tuple of Stage
        From the rate of the record downwards.
    delay : array
        How late each band is at its mid-band frequency [s].
    settling : array
        Time in which each band forgets 99 % of what it rang with [s].
    """

    stages: tuple[Stage, ...]
    delay: Array
    settling: Array


@functools.lru_cache(maxsize=32)
def design(sample_rate: float, labels: tuple[float, ...], order: int) -> Design:
    """Lay out the stages of a bank and design its filters.

    Parameters
    ----------
    sample_rate : float
        Sample rate of the record [Hz].
    labels : tuple of float
        Nominal labels, ascending [Hz].
    order : int
        Order of the low-pass prototype; a band has twice as many poles.

    Returns
    -------
    Design
        Stages, delays and settling times.
    """
    from scipy.signal import butter

    nominal = np.array(labels)
    exact = np.asarray(bands.exact(nominal))
    low, high = bands.edges(nominal)
    halved = np.floor(np.log2(STAGE_SHARE * sample_rate / exact) + 1e-9)
    deepest = max(int(np.floor(np.log2(sample_rate / LOWEST_RATE) + 1e-9)), 0)
    number = np.clip(halved, 0, deepest).astype(int)
    stages, delay, settling = [], np.empty(exact.size), np.empty(exact.size)
    for k in range(int(number.max()) + 1):
        here = np.flatnonzero(number == k)
        at = sample_rate / 2**k
        sections = np.empty((here.size, order, 6))
        for i, band in enumerate(here.tolist()):
            edges = [low[band], high[band]]
            sections[i] = butter(order, edges, "bandpass", fs=at, output="sos")
            settling[band] = np.log(100) / (-np.log(_largest_pole(sections[i])) * at)
        # A sample of a slower stage stands for a longer interval; its middle is what is lined up.
        late = (2**k - 1) * (_TAPS // 2 + 0.5) / sample_rate
        delay[here] = late + _group_delay(sections, exact[here] / at) / at
        first = int(here[0]) if here.size else 0
        stages.append(Stage(number=k, sample_rate=at, first=first, sections=sections))
    return Design(stages=tuple(stages), delay=delay, settling=settling)


def _largest_pole(sections: Array) -> float:
    """Largest modulus of the roots of ``z² + a1 z + a2``, which ring longest."""
    half, last = sections[:, 4] / 2, sections[:, 5]
    apart = np.sqrt((half**2 - last).astype(complex))
    return float(np.maximum(np.abs(half + apart), np.abs(half - apart)).max())


def _group_delay(sections: Array, cycles: Array) -> Array:
    """Group delay of each band at one frequency [samples], shape (band,)."""
    z = np.exp(-2j * np.pi * cycles[:, None, None] * np.arange(3))

    def late(c: Array) -> Array:
        return np.asarray(((c * z * np.arange(3)).sum(-1) / (c * z).sum(-1)).real.sum(-1))

    return np.asarray(late(sections[..., :3]) - late(sections[..., 3:]))


class Cascade:
    """Filter memory of one run through a bank, block after block."""

    def __init__(self, plan: Design, channels: int) -> None:
        self._stages = plan.stages
        self._memory = [np.zeros((*stage.sections.shape[:2], channels, 2)) for stage in plan.stages]
        self._held = [np.zeros((channels, _TAPS - 1)) for _ in plan.stages]

    def push(self, block: Array) -> Iterator[tuple[int, Array]]:
        """Yield (place of the band, its next squared samples at the rate of its stage)."""
        from scipy.signal import sosfilt

        x = block
        for k, stage in enumerate(self._stages):
            if stage.number:
                x, self._held[k] = _halved(self._held[k], x)
            if x.shape[-1] == 0:
                return
            memory = self._memory[k]
            for i, sos in enumerate(stage.sections):
                y, memory[i] = sosfilt(sos, x, axis=-1, zi=memory[i])
                np.square(y, out=y)
                yield stage.first + i, y


def _halved(held: Array, block: Array) -> tuple[Array, Array]:
    """Half-band filtered block at half the rate, and the samples to hold for the next."""
    x = np.concatenate([held, block], axis=-1)
    count = max((x.shape[-1] - _TAPS + 2) // 2, 0)
    even = np.ascontiguousarray(x[..., ::2])
    pairs = _TAPS // 2
    middle = pairs // 2
    y = 0.5 * x[..., 1::2][..., middle : middle + count]
    part = np.empty_like(y)
    for k, tap in enumerate(half_band()[: pairs + 1 : 2].tolist()):
        np.add(even[..., k : k + count], even[..., pairs - k : pairs - k + count], out=part)
        part *= tap
        y += part
    return y, x[..., 2 * count :].copy()
