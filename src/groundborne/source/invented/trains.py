"""Invented trains: where their axles are, what they shake the ground with, and how they pass by.

Nothing here is measured and nothing predicts a real train. The shapes are what a measuring engineer
expects to see, so that the tools for recordings can be tried on records whose truth is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import finite, positive, within

SLEEPER_DISTANCE = 0.6
"""Distance of the sleepers of the invented tracks [m]."""
REFERENCE_DISTANCE = 12.0
"""Distance from the track at which the level of an invented train is given [m]."""
WAVE_SPEED, LOSS_FACTOR = 250.0, 0.06
"""Of the invented ground [m/s, -]; energy falls by exp(-2π f η r / c)."""
FAINTEST = 1e-5
"""Share of its largest energy below which a train is no longer heard."""


@checked(renamed={"lines": "frequencies"})
@dataclass(frozen=True, kw_only=True)
class InventedTrain:
    """One invented kind of train.

    Its spectrum is a broad hump of the wheel on the track, a peak where the wheels meet the
    sleepers and a peak where the axles of a bogie follow each other, both moving with the speed.

    Parameters
    ----------
    name : str
        What it is called.
    vehicles : int
        How many, each with two bogies of two axles.
    vehicle_length, bogie_distance, axle_distance : float
        Length over couplings, between bogie centres, and between the axles of a bogie [m].
    speed : float
        Usual speed [m/s].
    level : float
        Largest rms velocity level at 12 m and the usual speed, vertical [dB re 1 nm/s].
    hump : float
        Middle of the broad hump [Hz].
    rise, fall : float
        How steeply third-octave levels rise below the hump and fall above it [dB per octave].
    sleeper_share, axle_share : float
        Shares of the energy in the two peaks [-].
    speed_spread : float
        Standard deviation of the speed from train to train, as a share of it [-].
    level_spread : float
        Standard deviation of the level from train to train [dB].

    Raises
    ------
    ValueError
        A number that is not above zero, or shares that leave nothing for the hump.

    Examples
    --------
    >>> short = InventedTrain(name="short", vehicles=2, vehicle_length=20.0, bogie_distance=13.0,
    ...                       axle_distance=2.0, speed=18.0, level=84.0, hump=50.0)
    >>> short.axles().tolist()
    [2.5, 4.5, 15.5, 17.5, 22.5, 24.5, 35.5, 37.5]
    """

    name: str
    vehicles: int
    vehicle_length: float
    bogie_distance: float
    axle_distance: float
    speed: float
    level: float
    hump: float
    rise: float = 12.0
    fall: float = 15.0
    sleeper_share: float = 0.2
    axle_share: float = 0.04
    speed_spread: float = 0.06
    level_spread: float = 2.0

    def __post_init__(self) -> None:
        where = f"InventedTrain {self.name!r}"
        for name in ("vehicle_length", "bogie_distance", "axle_distance"):
            positive(where, name, getattr(self, name), "m")
        positive(where, "vehicles", self.vehicles, "")
        positive(where, "speed", self.speed, "m/s")
        positive(where, "hump", self.hump, "Hz")
        within(where, "rise", self.rise, 3.0, 60.0, "dB per octave")
        within(where, "fall", self.fall, 3.0, 60.0, "dB per octave")
        finite(where, "level", self.level)
        within(where, "speed_spread", self.speed_spread, 0.0, 0.2, "")
        within(where, "level_spread", self.level_spread, 0.0, 10.0, "dB")
        within(where, "sleeper_share", self.sleeper_share, 0.0, 1.0, "")
        within(where, "axle_share", self.axle_share, 0.0, 1.0 - self.sleeper_share, "")

    @property
    def length(self) -> float:
        """Length over all [m]."""
        return self.vehicles * self.vehicle_length

    def axles(self) -> np.ndarray[Any, Any]:
        """Where the axles are, behind the front of the train [m]."""
        half = np.array([-0.5, 0.5])
        bogie = self.vehicle_length / 2 + self.bogie_distance * half
        vehicle = (bogie[:, None] + self.axle_distance * half).ravel()
        starts = self.vehicle_length * np.arange(self.vehicles)
        return np.asarray((starts[:, None] + vehicle).ravel())

    def density(
        self, frequencies: np.ndarray[Any, Any], *, speed: float, distance: float
    ) -> np.ndarray[Any, Any]:
        """Power spectral density of the velocity while the train is nearest.

        Parameters
        ----------
        frequencies : ndarray
            Evenly spaced frequencies [Hz], from zero.
        speed : float
            Of this train [m/s].
        distance : float
            From the track [m]. High frequencies lose more on the way than low ones.

        Returns
        -------
        ndarray
            [(m/s)²/Hz]; at the reference distance its integral is the square of ``level``.
        """
        where = "InventedTrain.density"
        positive(where, "speed", speed, "m/s")
        positive(where, "distance", distance, "m")
        if (
            np.ndim(frequencies) != 1
            or np.size(frequencies) < 2
            or not (frequencies[1] > frequencies[0] >= 0)
        ):
            raise ValueError(f"{where}: frequencies must be at least two that rise from 0 Hz")
        step = frequencies[1] - frequencies[0]
        # A band grows by 3 dB with each octave of itself; the density by that much less.
        up, down = (self.rise - 3) / 3, (self.fall + 3) / 3
        ratio = np.maximum(frequencies, step / 2) / self.hump
        hump = 1 / (ratio**-up + ratio**down)
        parts = [(1 - self.sleeper_share - self.axle_share, hump)]
        for share, spacing in (
            (self.sleeper_share, SLEEPER_DISTANCE),
            (self.axle_share, self.axle_distance),
        ):
            peak = speed / spacing
            parts.append((share, np.exp(-(((frequencies / peak - 1) / 0.05) ** 2) / 2)))
        shape = sum(share * part / (part.sum() * step) for share, part in parts if share)
        lost = np.exp(
            -2 * np.pi * frequencies * LOSS_FACTOR * (distance - REFERENCE_DISTANCE) / WAVE_SPEED
        )
        return np.asarray(shape * lost * 10 ** (self.level / 10) * 1e-18)

    def envelope(
        self, *, sample_rate: float, speed: float, distance: float
    ) -> tuple[np.ndarray[Any, Any], float]:
        """Energy at the receiver while the train passes by, against its largest at 12 m.

        Every axle is a source of its own that loses energy with the square of the distance and
        with the damping of the ground; so the rise, the plateau and the decay follow from
        length, speed and distance.

        Parameters
        ----------
        sample_rate : float
            Sample rate [Hz].
        speed : float
            Of this train [m/s].
        distance : float
            From the track [m].

        Returns
        -------
        energy : ndarray
            Factor on the energy, one value a sample [-].
        front : float
            When the front of the train is nearest, from the first sample [s].
        """
        where = "InventedTrain.envelope"
        within(where, "sample_rate", sample_rate, 1.0, 1e6, "Hz")
        within(where, "speed", speed, 0.1, 1e3, "m/s")
        within(where, "distance", distance, 0.1, 1e4, "m")
        axles, reach = self.axles(), 300.0
        coarse = 32.0
        time = np.arange(-reach / speed, (self.length + reach) / speed, 1 / coarse)
        energy = self._energy(time * speed - axles[:, None], distance)
        heard = np.flatnonzero(energy > FAINTEST * energy.max())
        time, energy = time[heard], energy[heard]
        fine = np.arange(time[0], time[-1], 1 / sample_rate)
        # What is no longer heard is taken off, so that the record starts and ends at zero.
        floor = FAINTEST * energy.max()
        whole = np.arange(0.0, self.length / speed, 1 / coarse)
        nearest = self._energy(whole * speed - axles[:, None], REFERENCE_DISTANCE).max()
        scaled = np.maximum(np.interp(fine, time, energy) - floor, 0.0) / nearest
        return scaled, float(-fine[0])

    def _energy(self, along: np.ndarray[Any, Any], distance: float) -> np.ndarray[Any, Any]:
        """Energy of all axles, which are `along` the track from the receiver [m]."""
        away = np.hypot(along, distance)
        damping = 2 * np.pi * self.hump * LOSS_FACTOR / WAVE_SPEED
        return np.asarray((np.exp(-damping * (away - distance)) / away**2).sum(0))


METRO = InventedTrain(
    name="metro", vehicles=6, vehicle_length=18.0, bogie_distance=11.5, axle_distance=2.1,
    speed=17.0, level=96.0, hump=50.0,
)  # fmt: skip
REGIONAL = InventedTrain(
    name="regional", vehicles=4, vehicle_length=25.0, bogie_distance=18.0, axle_distance=2.5,
    speed=32.0, level=98.0, hump=63.0,
)  # fmt: skip
FREIGHT = InventedTrain(
    name="freight", vehicles=22, vehicle_length=14.0, bogie_distance=9.0, axle_distance=1.8,
    speed=22.0, level=101.0, hump=20.0, level_spread=3.0,
)  # fmt: skip
