"""What happens in an invented recording: trains, knocks, footsteps, drop-outs, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from groundborne.source.invented.trains import InventedTrain

CHANNELS = {"x": -4.0, "y": -6.0, "z": 0.0}
"""Channels, and how much of a train each carries against the vertical [dB]."""
QUIET = 12.0
"""Seconds kept free between what is put into the record."""

Array = np.ndarray[Any, Any]


@dataclass
class Happening:
    """Something in the record, and where it is."""

    kind: str
    velocity: Array
    start: float
    """Of the velocity in the record [s]."""
    heard: tuple[float, float]
    """First and last moment that counts, from the start of the velocity [s]."""
    train: InventedTrain | None = None
    track: str = ""
    speed: float = 0.0
    spoilt_by: list[str] = field(default_factory=list)


def trains_of(
    rng: np.random.Generator,
    trains: Sequence[tuple[InventedTrain, int]],
    tracks: Sequence[tuple[str, float]],
    sample_rate: float,
) -> list[Happening]:
    """All trains in a random order, kinds spread evenly over the tracks."""
    if not tracks or not trains or any(count < 0 for _, count in trains):
        raise ValueError("invented_recording: at least one train and one track are needed")
    pairs = [(train, tracks[i % len(tracks)]) for train, count in trains for i in range(count)]
    order = [pairs[i] for i in rng.permutation(len(pairs)).tolist()]
    return [_one_train(rng, train, track, sample_rate) for train, track in order]


def _one_train(
    rng: np.random.Generator, train: InventedTrain, track: tuple[str, float], sample_rate: float
) -> Happening:
    speed = train.speed * float(np.clip(rng.normal(1.0, train.speed_spread), 0.5, 1.5))
    gain = rng.normal(0.0, train.level_spread) + 20 * np.log10(speed / train.speed)
    energy, _ = train.envelope(sample_rate=sample_rate, speed=speed, distance=track[1])
    loud = np.flatnonzero(energy >= 0.1 * energy.max())
    size = even_size(energy.size)
    frequencies = np.fft.rfftfreq(size, 1 / sample_rate)
    density = train.density(frequencies, speed=speed, distance=track[1]) * 10 ** (gain / 10)
    parts = np.array(list(CHANNELS.values()))[:, None]
    waves = shaped_noise(rng, density, size, sample_rate, len(CHANNELS)) * 10 ** (parts / 20)
    velocity = waves[:, : energy.size] * np.sqrt(energy)
    heard = (float(loud[0] / sample_rate), float((loud[-1] + 1) / sample_rate))
    return Happening("train", velocity, 0.0, heard, train, track[0], speed)


def other(rng: np.random.Generator, kind: str, sample_rate: float) -> Happening:
    """A knock, a walk past the sensor, or a drop-out."""
    if kind == "drop-out":
        return Happening(kind, np.zeros((len(CHANNELS), int(1.5 * sample_rate))), 0.0, (0.0, 1.5))
    frequency, decay, peak = (60.0, 0.03, 4e-3) if kind == "knock" else (18.0, 0.06, 4e-4)
    t = np.arange(0.0, 12 * decay, 1 / sample_rate)
    pulse = t / decay * np.exp(1 - t / decay) * np.sin(2 * np.pi * frequency * t)
    count = 1 if kind == "knock" else int(rng.integers(12, 25))
    steps = np.cumsum(rng.normal(0.55, 0.03, count)) - 0.5
    at = np.maximum(np.round(steps * sample_rate), 1).astype(int)
    # Louder as the walker comes nearer; a knock falls on every channel by chance.
    near = 1 / (1 + (np.linspace(-2.0, 2.0, count) ** 2 if count > 1 else np.zeros(1)))
    train = np.zeros(int(at[-1]) + t.size)
    train[at] = near * rng.uniform(0.8, 1.2, count)
    size = even_size(train.size + t.size)
    wave = np.fft.irfft(np.fft.rfft(train, size) * np.fft.rfft(pulse, size), size)
    gains = rng.uniform(0.3, 1.0, (len(CHANNELS), 1)) * peak
    return Happening(
        kind,
        wave * gains,
        0.0,
        (float(at[0] / sample_rate), float((at[-1] + t.size) / sample_rate)),
    )


def meet(rng: np.random.Generator, events: list[Happening], meetings: int) -> list[list[Happening]]:
    """Groups of what happens at one time; a group of two trains is a meeting."""
    groups = [[event] for event in events]
    for _ in range(meetings):
        lonely = [g for g in groups if len(g) == 1]
        pair = next(
            ((a, b) for a in lonely for b in lonely if a[0].track != b[0].track), None
        )  # fmt: skip
        if pair is None:
            raise ValueError(
                f"invented_recording: meetings is {meetings}; there are not enough trains on "
                "different tracks"
            )
        first, second = pair[0][0], pair[1][0]
        middle = float(rng.uniform(*first.heard))
        second.start = middle - sum(second.heard) / 2
        first.spoilt_by.append("another train")
        second.spoilt_by.append("another train")
        groups = [g for g in groups if g is not pair[1]]
        pair[0].append(second)
    return groups


def spoil(
    rng: np.random.Generator,
    groups: list[list[Happening]],
    kind: str,
    count: int,
    sample_rate: float,
) -> None:
    """Let something fall on trains that nothing has fallen on yet."""
    whole = [g for g in groups if len(g) == 1 and g[0].kind == "train"]
    if count > len(whole):
        raise ValueError(
            f"invented_recording: {count} trains are to be spoilt by {kind} and only "
            f"{len(whole)} are left whole"
        )
    for index in rng.permutation(len(whole))[:count].tolist():
        train, fallen = whole[index][0], other(rng, kind, sample_rate)
        middle = float(np.mean(train.heard) + rng.uniform(-0.2, 0.2) * np.ptp(train.heard))
        fallen.start = middle - sum(fallen.heard) / 2
        train.spoilt_by.append(kind)
        whole[index].append(fallen)


def place(
    rng: np.random.Generator, groups: list[list[Happening]], duration: float, sample_rate: float
) -> None:
    """Put the groups into the record in a random order with random quiet between them."""
    first = [min(e.start for e in g) for g in groups]
    last = [max(e.start + e.velocity.shape[1] / sample_rate for e in g) for g in groups]
    spans = np.array(last) - np.array(first)
    spare = duration - float(spans.sum()) - QUIET * (len(groups) + 1)
    if spare < 0:
        raise ValueError(
            f"invented_recording: duration is {duration:g} s; what is to be put in needs "
            f"{duration - spare:.0f} s at least. Make the record longer or ask for less"
        )
    order = rng.permutation(len(groups))
    gaps = QUIET + spare * rng.dirichlet(np.full(len(groups) + 1, 3.0))
    ends = np.cumsum(gaps[:-1] + spans[order])
    for index, end in zip(order.tolist(), ends.tolist(), strict=True):
        for event in groups[index]:
            event.start += end - float(spans[index]) - first[index]


def even_size(least: int) -> int:
    """An even number of samples whose transform is fast."""
    from scipy.fft import next_fast_len

    return 2 * int(next_fast_len((least + 1) // 2, real=True))


def shaped_noise(
    rng: np.random.Generator, density: Array, size: int, sample_rate: float, channels: int
) -> Array:
    """Gaussian noise with a one-sided density, without its mean."""
    scale = np.sqrt(density * sample_rate * size / 4)
    scale[0] = 0.0
    made = np.empty((channels, size))
    for channel in made:  # one after the other: an hour of all at once would not fit
        drawn = rng.standard_normal((density.size, 2)).view(complex)[:, 0]
        channel[:] = np.fft.irfft(scale * drawn, size)
    return made
