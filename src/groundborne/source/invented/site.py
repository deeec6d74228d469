"""An invented site recording with trains, people, gaps and noise, and the truth about it.

A generator for trying out whatever works on recordings: it knows what each train alone would have
given. The truth is worked out from the clean signals with ideal filters of its own, not with the
filters of this library, so that comparing with it means something.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import known, not_negative, positive, within
from groundborne.records.checks.noise_models import new_high_noise_model, new_low_noise_model
from groundborne.records.recording import Recording
from groundborne.source.invented.events import (
    CHANNELS,
    Array,
    Happening,
    even_size,
    meet,
    other,
    place,
    shaped_noise,
    spoil,
    trains_of,
)
from groundborne.source.invented.trains import FREIGHT, METRO, InventedTrain

LOWEST_BAND = 2.0
"""Nominal label of the first band of the truth [Hz]."""
NAMES = {"s_max": "S max", "f_max": "F max", "leq": "leq"}
TAUS = {"S max": 1.0, "F max": 0.125}
"""Time constants [s] (IEC 61672-1)."""


@checked
def invented_recording(
    *,
    seed: int | np.random.Generator,
    duration: float = 5400.0,
    sample_rate: float = 1024.0,
    trains: Sequence[tuple[InventedTrain, int]] = ((METRO, 26), (FREIGHT, 16)),
    tracks: Sequence[tuple[str, float]] = (("near", 12.0), ("far", 17.0)),
    meetings: int = 1,
    knocks: tuple[int, int] = (4, 2),
    footsteps: tuple[int, int] = (2, 1),
    drop_outs: tuple[int, int] = (0, 1),
    sensor_noise: float = 2e-5,
    unrest_share: float = 0.9,
    clip: float | None = None,
    quantity: str = "acceleration",
) -> tuple[Recording, xr.Dataset]:
    """Recording of an invented site beside a railway, and the truth about it.

    Parameters
    ----------
    seed : int or numpy.random.Generator
        The same seed gives the same record.
    duration : float
        Of the record [s].
    sample_rate : float
        Sample rate [Hz].
    trains : sequence of (InventedTrain, int)
        Kinds of trains and how many of each; they use the tracks in turn.
    tracks : sequence of (str, float)
        Names of the tracks and their distances [m], 6 to 40.
    meetings : int
        How many trains are met by another one on another track; both are spoilt.
    knocks, footsteps, drop_outs : (int, int)
        How many stand alone, and how many fall on a train and spoil it. In a drop-out the logger
        writes zeros for 1.5 s.
    sensor_noise : float
        Of the sensor and its logger, as acceleration [m/s² per root hertz]; white.
    unrest_share : float
        Unrest of the ground between the low and the high noise model: 0 to 1.
    clip : float, optional
        Largest value the logger can write [m/s² or m/s]; without it nothing is clipped.
    quantity : str
        ``acceleration`` or ``velocity``: what the sensor gives.

    Returns
    -------
    recording : Recording
        Channels x, y and z (vertical), marked as invented.
    truth : Dataset
        Dim ``event``: ``kind`` (train, knock, footsteps, drop-out), ``event_start`` and
        ``event_end`` [s from the start of the record]; a train lasts while its energy is within
        10 dB of its largest. Dims (passby, channel,
        frequency): ``s_max``, ``f_max`` and ``leq`` (from start to end) of each train alone,
        velocity level [dB re 1 nm/s]. On ``passby``: ``train_type``, ``track``, ``speed_kmh``,
        ``start``, ``end`` and ``spoilt_by``, empty if nothing fell on it.

    Raises
    ------
    ValueError
        A number out of range, more spoilt trains than there are, or more than fits into the time.

    Notes
    -----
    The three channels are independent of each other: no mode of the ground is imitated. Ideal
    (rectangular) bands stand behind the truth; filters of finite slope let a little of the
    neighbours in.

    References
    ----------
    Peterson (1993), noise models [seen second-hand]; everything else is invented.

    Examples
    --------
    >>> recording, truth = invented_recording(
    ...     seed=1, duration=300.0, trains=((METRO, 2),), meetings=0, knocks=(1, 0),
    ...     footsteps=(0, 0), drop_outs=(0, 0))
    >>> truth["kind"].values.tolist()
    ['train', 'train', 'knock']
    >>> truth["s_max"].sel(channel="z", frequency=50.0).values.round(1).tolist()
    [91.5, 90.1]
    """
    where = "invented_recording"
    if isinstance(seed, int) and seed < 0:
        raise ValueError(f"invented_recording: seed is {seed}; it must be 0 or more")
    rng = np.random.default_rng(seed)
    positive(where, "duration", duration, "s")
    within(where, "unrest_share", unrest_share, 0.0, 1.0, "")
    within(where, "sample_rate", sample_rate, 200.0, 20000.0, "Hz")
    not_negative(where, "sensor_noise", sensor_noise, "m/s² per root hertz")
    known(where, "quantity", quantity, ("acceleration", "velocity"))
    for _, distance in tracks:
        within(where, "distance of a track", distance, 6.0, 40.0, "m")
    if clip is not None:
        positive(where, "clip", clip, "in the units of the record")
    events = trains_of(rng, trains, tracks, sample_rate)
    groups = meet(rng, events, meetings)
    for kind, (alone, on_trains) in (
        ("knock", knocks), ("footsteps", footsteps), ("drop-out", drop_outs)
    ):  # fmt: skip
        groups += [[other(rng, kind, sample_rate)] for _ in range(alone)]
        spoil(rng, groups, kind, on_trains, sample_rate)
    place(rng, groups, duration, sample_rate)
    signal = _noise(rng, duration, sample_rate, sensor_noise, unrest_share, quantity)
    placed = sorted((e for g in groups for e in g), key=lambda e: e.start + e.heard[0])
    for event in placed:
        _add(signal, event, sample_rate, quantity)
    for event in placed:
        if event.kind == "drop-out":
            signal[:, _samples(event, sample_rate)] = 0.0
    if clip is not None:
        _clip(signal, placed, clip, sample_rate)
    units = "m/s²" if quantity == "acceleration" else "m/s"
    record = xr.DataArray(
        signal,
        dims=("channel", "time"),
        coords={"channel": list(CHANNELS)},
        attrs={"quantity": quantity, "units": units},
    )
    notes = ("This recording is invented: no site, train or sensor stands behind it.",)
    recording = Recording(
        signal=record, sample_rate=sample_rate, start=None, file="invented recording", notes=notes
    )
    return recording, _truth(placed, sample_rate)


def _noise(
    rng: np.random.Generator,
    duration: float,
    sample_rate: float,
    sensor_noise: float,
    unrest_share: float,
    quantity: str,
) -> Array:
    """Noise of the sensor and unrest of the ground, all channels."""
    wanted = round(duration * sample_rate)
    size = even_size(wanted)
    frequencies = np.fft.rfftfreq(size, 1 / sample_rate)
    density = unrest(frequencies, unrest_share) + sensor_noise**2
    if quantity == "velocity":
        # A sensor of velocity loses what lies below its corner, here 0.3 Hz.
        density = density * frequencies**2 / (frequencies**4 + 0.3**4) / (2 * np.pi) ** 2
    return shaped_noise(rng, density, size, sample_rate, len(CHANNELS))[:, :wanted]


def unrest(frequencies: Array, share: float) -> Array:
    """Density of the acceleration of a ground between the two noise models [(m/s²)²/Hz].

    `share` is 0 for the low and 1 for the high model, by decibels. Above 10 Hz, where the models
    end, and below 0.1 Hz, the last value is held: an assumption for invented records, no statement
    about the ground.
    """
    held = np.clip(frequencies, 0.1, 10.0)
    low, high = np.asarray(new_low_noise_model(held)), np.asarray(new_high_noise_model(held))
    return np.asarray(10.0 ** ((low + share * (high - low)) / 10))


def _samples(event: Happening, sample_rate: float) -> slice:
    first = round(event.start * sample_rate)
    return slice(first, first + event.velocity.shape[1])


def _add(signal: Array, event: Happening, sample_rate: float, quantity: str) -> None:
    wave = event.velocity
    if quantity == "acceleration":
        size = even_size(wave.shape[1])
        slope = 2j * np.pi * np.fft.rfftfreq(size, 1 / sample_rate)
        slope[-1] = 0.0  # half the rate has no derivative
        wave = np.fft.irfft(np.fft.rfft(wave, size) * slope, size)[:, : wave.shape[1]]
    signal[:, _samples(event, sample_rate)] += wave


def _clip(signal: Array, events: list[Happening], largest: float, sample_rate: float) -> None:
    """Clip, and tell the trains that were hit."""
    for event in events:
        start = event.start + event.heard[0]
        part = signal[
            :, round(start * sample_rate) : round((event.start + event.heard[1]) * sample_rate)
        ]
        if event.train is not None and np.abs(part).max() > largest:
            event.spoilt_by.append("clipping")
    np.clip(signal, -largest, largest, out=signal)


def _truth(events: list[Happening], sample_rate: float) -> xr.Dataset:
    every = bands.third_octaves(LOWEST_BAND, 20000.0).values
    labels = every[bands.edges(every)[1] <= sample_rate / 2.56]
    trains = [e for e in events if e.train is not None]
    start = np.array([e.start + e.heard[0] for e in events])
    end = np.array([e.start + e.heard[1] for e in events])
    is_train = np.array([e.train is not None for e in events], bool)
    meta = {
        "train_type": ("passby", [e.train.name for e in trains if e.train is not None]),
        "track": ("passby", [e.track for e in trains]),
        "speed_kmh": ("passby", [3.6 * e.speed for e in trains], {"units": "km/h"}),
        "start": ("passby", start[is_train], {"units": "s"}),
        "end": ("passby", end[is_train], {"units": "s"}),
        "spoilt_by": ("passby", [", ".join(e.spoilt_by) for e in trains]),
    }
    names = [f"T{i:02d}" for i in range(1, len(trains) + 1)]
    axes = {"passby": names, "channel": list(CHANNELS), "frequency": labels}
    values = [_train_levels(e, labels, sample_rate) for e in trains]
    found = xr.Dataset(
        {
            "kind": ("event", [e.kind for e in events]),
            "event_start": ("event", start, {"units": "s"}),
            "event_end": ("event", end, {"units": "s"}),
        },
        attrs={"title": "what is in an invented recording", "invented": "true"},
    )
    for name, weighting in NAMES.items():
        array = xr.DataArray(
            np.array([v[weighting] for v in values]), dims=tuple(axes), coords=axes | meta
        )
        found[name] = levels.stamp(
            array,
            quantity="velocity",
            reference="1 nm/s",
            time_weighting=weighting,
            long_name="velocity level of the train alone",
            location="invented ground beside the track",
        )
    return found


def _train_levels(event: Happening, labels: Array, sample_rate: float) -> dict[str, Array]:
    """Levels of a clean velocity in ideal bands, channel by band [dB re 1 nm/s]."""
    from scipy.signal import lfilter

    size = even_size(event.velocity.shape[1])
    spectrum = np.fft.rfft(event.velocity, size)
    frequencies = np.fft.rfftfreq(size, 1 / sample_rate)
    heard = np.array(event.heard)
    found = {name: np.empty((len(CHANNELS), labels.size)) for name in NAMES.values()}
    low, high = bands.edges(labels)
    for i, (lowest, highest) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        # Each band has a length of its own, just above what the square of it needs: the cost of
        # all bands is then that of a few.
        short = min(size, even_size(int(max(4.5 * highest, 64.0) / sample_rate * size)))
        inside = np.where((frequencies >= lowest) & (frequencies < highest), spectrum, 0.0)
        wave = np.fft.irfft(inside[:, : short // 2 + 1], short) * (short / size)
        slow = sample_rate * short / size
        square = wave**2
        first, last = np.round(heard * slow).astype(int)
        found["leq"][:, i] = square[:, first:last].mean(1)
        for name, tau in TAUS.items():
            share = 1 - np.exp(-1 / (slow * tau))
            running = lfilter([share], [1.0, share - 1.0], square)
            found[name][:, i] = np.asarray(running).max(1)
    return {name: 10 * np.log10(value / 1e-18) for name, value in found.items()}
