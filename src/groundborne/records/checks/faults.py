"""Faults of a recording: each is named with file, channel and time.

Fatal ones raise :class:`RecordingError`, suspicious ones come back as sentences; the readers call
:func:`inspected`, which warns of them and keeps them in the notes.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import RecordingError, not_negative, positive
from groundborne.bands import edges
from groundborne.records.checks.noise_models import (
    SHORTEST_PERIOD,
    new_high_noise_model,
    new_low_noise_model,
)
from groundborne.records.recording import Recording, RecordingWarning

ANTI_ALIAS = 2.56
"""Usual ratio of rate to the end of the flat range of a recorder's filter (common practice)."""

OUTSIDE_DB = 40.0
"""So far outside the noise models a sensitivity is doubted."""

_CLIPPED_RUN = 3
_SEGMENTS = 8
_LONGEST_SEGMENT = 60.0
_QUIET_SHARE = 0.1
_LEAST_LINES = 4
_LOWEST_COMPARED = 0.1


def require_live(recording: Recording) -> None:
    """Refuse channels whose samples are all equal.

    Parameters
    ----------
    recording : Recording
        What was read.

    Raises
    ------
    RecordingError
        Names the channel.
    """
    values = recording.signal.values
    dead = values.max(axis=1) == values.min(axis=1)
    if dead.any():
        row = int(np.argmax(dead))
        raise RecordingError(
            f"{recording.place(row, 0)}: dead channel: all {recording.samples} samples are "
            f"{values[row, 0]:g} {recording.signal.attrs['units']}; leave it out"
        )


@checked
def clipping(
    recording: Recording, *, full_scale: Mapping[str, float] | None = None
) -> tuple[str, ...]:
    """Samples that stand at an end of the range.

    Parameters
    ----------
    recording : Recording
        What was read.
    full_scale : mapping of str to float, optional
        Largest value the recorder can write, by channel [SI unit]; any sample at it is named.

    Returns
    -------
    tuple of str
        One sentence for each channel and side.

    Notes
    -----
    Without a full scale, three or more equal samples in a row at the largest or smallest value
    count, if the record enters and leaves them by more than its own smallest step: a slow wave
    that is only coarsely digitised rests at its crest too, but is one step away just before.

    Examples
    --------
    >>> from groundborne.records.channel import Channel
    >>> from groundborne.records.recording import assemble
    >>> t = np.arange(1000) / 1000
    >>> z = Channel(name="z", unit="m/s", quantity="velocity")
    >>> cut = np.clip(np.sin(2 * np.pi * 7 * t), -0.8, 2.0)
    >>> for text in clipping(assemble(cut[None], [z], sample_rate=1000.0, file="cut.wav")):
    ...     print(text)  # doctest: +ELLIPSIS
    cut.wav, channel 'z', 0.093 s: clipping: 7 runs of equal samples at -0.8 m/s...
    """
    values = recording.signal.values
    scales = dict(full_scale or {})
    found: list[str] = []
    for row, name in enumerate(recording.channels):
        series = values[row]
        scale = scales.get(name)
        if scale is not None:
            positive(recording.file, "full_scale", scale, recording.signal.attrs["units"])
        steps = np.abs(np.diff(series))
        smallest = float(steps[steps > 0].min()) if (steps > 0).any() else 0.0
        for extreme in (float(series.max()), float(series.min())):
            at_end = series == extreme
            if scale is not None and abs(extreme) >= scale * (1 - 1e-9):
                first, count, samples = _runs(at_end, series, 1, -1.0)
                kind = "full scale"
            else:
                first, count, samples = _runs(at_end, series, _CLIPPED_RUN, 1.5 * smallest)
                kind = "runs of equal samples"
            if count:
                found.append(
                    f"{recording.place(row, first)}: clipping: {count} "
                    f"{'times at full scale' if kind == 'full scale' else kind + ' at'} "
                    f"{extreme:g} {recording.signal.attrs['units']}, {samples} samples in all"
                )
    return tuple(found)


def _runs(
    at_end: np.ndarray[Any, Any], series: np.ndarray[Any, Any], least: int, step: float
) -> tuple[int, int, int]:
    """First sample, number of runs, and samples in them."""
    padded = np.concatenate([[False], at_end, [False]])
    change = np.diff(padded.astype(np.int8))
    begin, end = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    before = np.abs(series[np.maximum(begin - 1, 0)] - series[begin])
    after = np.abs(series[np.minimum(end, series.size - 1)] - series[end - 1])
    inside_before, inside_after = begin > 0, end < series.size
    steep = (~inside_before | (before > step)) & (~inside_after | (after > step))
    keep = (end - begin >= least) & steep & (inside_before | inside_after)
    if not keep.any():
        return 0, 0, 0
    return int(begin[keep][0]), int(keep.sum()), int((end - begin)[keep].sum())


def repeated_blocks(recording: Recording, *, longest: float = 0.1) -> tuple[str, ...]:
    """Channels that stand still: a stuck digitiser or a drop-out written as a constant.

    Parameters
    ----------
    recording : Recording
        What was read.
    longest : float
        Standstill that is still accepted [s].

    Returns
    -------
    tuple of str
        One sentence for each channel.

    Examples
    --------
    >>> from groundborne.records.channel import Channel
    >>> from groundborne.records.recording import assemble
    >>> noise = np.random.default_rng(1).normal(size=(1, 1000))
    >>> noise[0, 300:500] = noise[0, 300]
    >>> z = Channel(name="z", unit="m/s", quantity="velocity")
    >>> repeated_blocks(assemble(noise, [z], sample_rate=1000.0, file="stuck.csv"))[0]
    "stuck.csv, channel 'z', 0.3 s: the value stands still for 0.2 s; 200 samples in 1 standstills"
    """
    not_negative(recording.file, "longest", longest, "s")
    least = max(int(np.ceil(longest * recording.sample_rate)), 8)
    values = recording.signal.values
    found = []
    for row, _ in enumerate(recording.channels):
        still = np.concatenate([[False], np.diff(values[row]) == 0, [False]])
        change = np.diff(still.astype(np.int8))
        begin, end = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
        length = end - begin + 1
        keep = length > least
        if keep.any():
            found.append(
                f"{recording.place(row, int(begin[keep][0]))}: the value stands still for "
                f"{length[keep].max() / recording.sample_rate:.3g} s; {int(length[keep].sum())} "
                f"samples "
                f"in {int(keep.sum())} standstills"
            )
    return tuple(found)


@checked
def noise_model_departure(recording: Recording) -> xr.DataArray | None:
    """Distance of a record from the range of natural ground noise, channel by channel.

    Parameters
    ----------
    recording : Recording
        Acceleration or velocity.

    Returns
    -------
    DataArray or None
        dB above the new high noise model (positive), below the new low one (negative) or 0 between
        them: median over frequencies from 0.1 to 10 Hz of the quiet parts. None where the record is
        of another quantity, too short or too slow to be compared.

    Notes
    -----
    Fifteen segments (Hann window; half overlapping, or of 60 s in a long record) are compared with
    the models frequency by frequency; those outside the models are not used. The tenth percentile
    over the segments is taken, so that passbys do not decide.

    Examples
    --------
    >>> from groundborne.records.channel import Channel
    >>> from groundborne.records.recording import assemble
    >>> noise = np.random.default_rng(1).normal(size=(1, 20000))
    >>> z = Channel(name="z", unit="m/s²", quantity="acceleration")
    >>> departure = noise_model_departure(assemble(noise, [z], sample_rate=200.0, file="invented"))
    >>> round(float(departure[0]), -1)
    80.0
    """
    if recording.quantity not in ("acceleration", "velocity"):
        return None
    sample_rate = recording.sample_rate
    length = min(recording.samples // _SEGMENTS, int(_LONGEST_SEGMENT * sample_rate))
    frequency = np.fft.rfftfreq(max(length, 2), 1 / sample_rate)
    # Hann smears the mean over the first two frequencies.
    usable = (frequency >= max(_LOWEST_COMPARED, 3 * sample_rate / max(length, 1))) & (
        frequency <= min(1 / SHORTEST_PERIOD, 0.4 * sample_rate)
    )
    if int(usable.sum()) < _LEAST_LINES:
        return None
    starts = np.linspace(0, recording.samples - length, 2 * _SEGMENTS - 1).astype(int)
    values = recording.signal.values
    window = np.hanning(length)
    segments = np.stack([values[:, s : s + length] for s in starts], axis=1)
    segments = (segments - segments.mean(axis=-1, keepdims=True)) * window
    power = np.abs(np.fft.rfft(segments, axis=-1)[..., usable]) ** 2
    density = 2 * power / (sample_rate * float(np.sum(window**2)))
    usable_frequency = frequency[usable]
    if recording.quantity == "velocity":
        density = density * (2 * np.pi * usable_frequency) ** 2
    # In noise the power at one frequency scatters with a median of ln 2 times its mean.
    level = 10 * np.log10(np.maximum(density / np.log(2), 1e-40))
    above = level - np.asarray(new_high_noise_model(usable_frequency))
    below = level - np.asarray(new_low_noise_model(usable_frequency))
    off = np.median(np.maximum(above, 0.0) + np.minimum(below, 0.0), axis=-1)
    return xr.DataArray(
        np.quantile(off, _QUIET_SHARE, axis=1),
        dims="channel",
        coords={"channel": recording.signal["channel"].values},
        attrs={"units": "dB", "long_name": "outside the range of natural ground noise"},
    )


def doubtful_sensitivity(recording: Recording) -> tuple[str, ...]:
    """Channels that lie 40 dB or more outside the range of natural ground noise.

    Parameters
    ----------
    recording : Recording
        Acceleration or velocity; other quantities are not compared.

    Returns
    -------
    tuple of str
        One sentence for each channel.

    References
    ----------
    Peterson (1993); the 40 dB are ours.
    """
    departure = noise_model_departure(recording)
    if departure is None:
        return ()
    found = []
    for row, value in enumerate(departure.values.tolist()):
        if abs(value) >= OUTSIDE_DB:
            side = "above the new high" if value > 0 else "below the new low"
            found.append(
                f"{recording.place(row, 0)}: the quiet parts lie {abs(value):.0f} dB {side} "
                "noise model of natural ground (up to 10 Hz): check unit and sensitivity; the "
                "sensor's own noise is another cause"
            )
    return tuple(found)


@checked
def require_rate(*, sample_rate: float, high_band: float, where: str = "require_rate") -> None:
    """Refuse a rate that does not reach a one-third-octave band.

    Parameters
    ----------
    sample_rate : float
        Samples a second [Hz].
    high_band : float
        Nominal label of the highest band wanted [Hz].
    where : str
        File or function for the message.

    Raises
    ------
    RecordingError
        The upper edge of the band lies at or above half the rate.

    Warns
    -----
    RecordingWarning
        The upper edge lies above rate/2.56, where the recorder's own filter may act.

    Examples
    --------
    >>> require_rate(sample_rate=2048.0, high_band=630.0)
    >>> require_rate(sample_rate=99.43, high_band=63.0, where="hall.csv")
    Traceback (most recent call last):
    ...
    groundborne._checks.RecordingError: hall.csv: the band 63 Hz reaches up to 70.79 Hz and needs \
more than 141.6 samples a second; sample_rate is 99.43
    """
    positive(where, "sample_rate", sample_rate, "Hz")
    upper = float(np.ravel(edges(high_band)[1])[0])
    if upper >= sample_rate / 2:
        raise RecordingError(
            f"{where}: the band {high_band:g} Hz reaches up to {upper:.4g} Hz and needs more than "
            f"{2 * upper:.4g} samples a second; sample_rate is {sample_rate:g}"
        )
    if upper > sample_rate / ANTI_ALIAS:
        warnings.warn(
            f"{where}: the band {high_band:g} Hz reaches up to {upper:.4g} Hz, above rate/2.56 = "
            f"{sample_rate / ANTI_ALIAS:.4g} Hz; the recorder's anti-alias filter may lower it",
            RecordingWarning,
            stacklevel=2,
        )


def inspected(
    recording: Recording, *, full_scale: Mapping[str, float] | None = None, stacklevel: int = 3
) -> Recording:
    """Run every check on a recording.

    Parameters
    ----------
    recording : Recording
        What was read.
    full_scale : mapping of str to float, optional
        Largest value the recorder can write, by channel [SI unit].
    stacklevel : int
        Whose line the warnings show, as in :func:`warnings.warn`.

    Returns
    -------
    Recording
        The same, with what is suspicious in its notes.

    Raises
    ------
    RecordingError
        A dead channel.

    Warns
    -----
    RecordingWarning
        Clipping, standstills, or a doubtful sensitivity.
    """
    require_live(recording)
    found = (
        *clipping(recording, full_scale=full_scale),
        *repeated_blocks(recording),
        *doubtful_sensitivity(recording),
    )
    return recording.noted(*found, warn=True, stacklevel=stacklevel + 1)
