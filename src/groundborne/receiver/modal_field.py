"""The sound field of a box-shaped room over floors that move: by modes, and diffuse above them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial, reduce
from operator import mul
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, not_negative, positive
from groundborne.bands import edges, exact
from groundborne.citation import Citation
from groundborne.receiver import box_modes
from groundborne.receiver.positions import ISO_16032_POSITIONS, in_corner, prescribed
from groundborne.receiver.room import Room

ROOM_MODES = Citation(
    key="box-room-modes",
    author="textbook room acoustics",
    title="modal sum of a box-shaped room over a moving floor, band means in closed form",
    mark="derived",
    status="transcribed",
)
SCHROEDER = Citation(
    key="schroeder-frequency",
    author="Schroeder",
    title="f_S = 2000 √(T/V)",
    mark="from memory",
    status="transcribed",
)
LEAK = Citation(
    key="room-leak-frequency",
    author="common practice",
    title="doors and windows leak: no sound of a room is quoted below about 16 Hz",
    mark="common practice",
    status="practice",
)

SPEED_OF_SOUND = 343.0
"""In rooms at 20 °C [m/s]."""
PHASES = ("incoherent", "in phase", "counter-phase")
"""Mean velocities of floor and ceiling: added by power; both up at once; towards one another."""
POSITIONS = ("average", "corner", "prescribed")
"""Mean over the room; a corner; one corner and two positions in the room, as ISO 16032 has them."""
_CORNER_SHARE = dict(zip(POSITIONS, (0.0, 1.0, 1 / 3), strict=True))
CORNER_DISTANCE = 0.5
"""Of a corner position from each of its three surfaces [m], ISO 16032, from memory."""


@checked
def schroeder_frequency(*, reverberation_time: Numeric, volume: Numeric) -> Numeric:
    """Frequency above which a room has a diffuse field, ``2000 √(T/V)`` [Hz].

    Parameters
    ----------
    reverberation_time : float or DataArray
        [s], above 0.
    volume : float or DataArray
        [m³], above 0.

    References
    ----------
    Schroeder [from memory].

    Examples
    --------
    >>> round(schroeder_frequency(reverberation_time=0.5, volume=50.0), 1)
    200.0
    """
    positive("schroeder_frequency", "reverberation_time", reverberation_time, "s")
    positive("schroeder_frequency", "volume", volume, "m³")
    frequency: Numeric = 2000.0 * (reverberation_time / volume) ** 0.5
    return frequency


@checked
def piston_mean_square(
    frequency: Frequency,
    *,
    height: Numeric,
    reverberation_time: Numeric,
    speed_of_sound: float = SPEED_OF_SOUND,
) -> xr.DataArray:
    """Mean square pressure in a room whose floor moves as a whole, over ``(ρc v)²``.

    Parameters
    ----------
    frequency : DataArray
        Single frequencies [Hz].
    height : float or DataArray
        Of the room [m].
    reverberation_time : float or DataArray
        [s]; the loss of every mode.
    speed_of_sound : float
        [m/s].

    Returns
    -------
    xarray.DataArray
        Mean over the room [-], exact: without loss
        ``[1/2 + sin(2kH)/(4kH)]/sin²(kH)``, and ``1/(kH)²`` below all modes.

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    References
    ----------
    Derived: one-dimensional sound field over a piston under a rigid lid.

    Examples
    --------
    >>> f = xr.DataArray([40.0, 63.0], dims="frequency")
    >>> piston_mean_square(f, height=2.6, reverberation_time=0.5).round(4).values.tolist()
    [0.4651, 15.8532]
    """
    where = "piston_mean_square"
    positive(where, "height", height, "m")
    positive(where, "reverberation_time", reverberation_time, "s")
    positive(where, "speed_of_sound", speed_of_sound, "m/s")
    found: xr.DataArray = xr.apply_ufunc(
        lambda f, h, t: box_modes.piston_at(f, h, box_modes.DECAY / t, speed_of_sound),
        frequency,
        height,
        reverberation_time,
        keep_attrs=False,
    )
    return found


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ModalField:
    """The sound of floor and ceiling in a box-shaped room below its Schroeder frequency.

    Parameters
    ----------
    room : Room
        Length, width and height make the modes, the reverberation time their loss.
    phase : str
        How the mean velocities of floor and ceiling add: one of ``PHASES``. ``"in phase"`` (both
        up at once, as rigid storeys move) and ``"counter-phase"`` are bounds of what stands
        between, of which ``"incoherent"`` is the mean.
    position : str
        One of ``POSITIONS``.
    leak_frequency : float or DataArray
        Below it doors and windows let the pressure out and nothing is valid [Hz], 0 or more.
    speed_of_sound : float
        [m/s].
    corner_distance : float
        Of a corner position from each of its three surfaces [m], 0 or more.

    Raises
    ------
    ValueError
        An unknown word, a parameter out of bounds, or a corner position beyond the middle of a
        room.

    Notes
    -----
    The mean velocity of a floor moves the air as a piston does and reaches modes over the height
    only; what is left of its velocity acts at random points of the floor, reaches all others, and
    radiates in a diffuse field as much as its radiation factor says. The mean is that over the
    room: one that is small to the bending waves moves as one where the parts of its bay cancel.
    With the larger of the mean of a bay of columns and of that share of waves from all sides this
    holds for rooms anywhere in the bay to 0.5 dB rms from 8 to 125 Hz for rooms of 10 m², to
    1 dB of 20 m² and 2.5 dB, too loud, of a whole bay (a diffuse field to 4 to 7, 5 and 3 dB). With
    the mean of the bay alone small rooms would be 3 to 8 dB too quiet at 16 to 25 Hz and in the
    band of the first mode over the height.

    Bands are means over the band. Up to half the Schroeder frequency the modal sum holds, from
    there up to it both fields in shares of power that are linear in lg f, and above it the diffuse
    field, in which a piston radiates by
    :func:`~groundborne.receiver.piston_radiation_efficiency`. Walls are always diffuse.

    At a corner the modes add by energy; of a diffuse field it is what the images of the point in
    three surfaces add. ``"prescribed"`` is the energy mean of a corner and of two positions in the
    room, these taken as the mean over the room.

    Furniture, sloping ceilings and open doors change single modes; a band of a small room with one
    mode in it may be off by several decibels.

    References
    ----------
    Derived from textbook room acoustics. ISO/DIS 16032:2023, 7.2 to 7.5; ISO 16283-1:2014,
    formula 13 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> field = ModalField(room=Room(length=5.0, width=4.0, height=2.6, reverberation_time=0.5))
    >>> round(field.schroeder_frequency)
    196
    >>> (field.piston_area(third_octaves(31.5, 80)) / 20.0).round(2).values.tolist()
    [0.11, 0.1, 0.21, 3.59, 0.46]
    """

    room: Room
    phase: str = "incoherent"
    position: str = "average"
    leak_frequency: Numeric = 16.0
    speed_of_sound: float = SPEED_OF_SOUND
    corner_distance: float = CORNER_DISTANCE

    def __post_init__(self) -> None:
        where = "ModalField"
        known(where, "phase", self.phase, PHASES)
        known(where, "position", self.position, POSITIONS)
        not_negative(where, "leak_frequency", self.leak_frequency, "Hz")
        positive(where, "speed_of_sound", self.speed_of_sound, "m/s")
        not_negative(where, "corner_distance", self.corner_distance, "m")
        smallest = min(float(np.min(np.asarray(side))) for side in self._sides)
        if self.position != "average" and 2 * self.corner_distance > smallest:
            raise ValueError(
                f"{where}: corner_distance is {self.corner_distance:g} m, beyond the middle of a "
                f"room side of {smallest:g} m; at most half of it is possible"
            )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        more = () if self.position == "average" else (ISO_16032_POSITIONS,)
        return (ROOM_MODES, SCHROEDER, LEAK, *more)

    @property
    def _sides(self) -> tuple[Numeric, Numeric, Numeric]:
        return self.room.length, self.room.width, self.room.height

    @property
    def _box(self) -> Numeric:
        """Volume of the modes [m³]."""
        return reduce(mul, self._sides)

    @property
    def schroeder_frequency(self) -> Numeric:
        """``2000 √(T/V)`` [Hz]."""
        return schroeder_frequency(
            reverberation_time=self.room.reverberation_time, volume=self._box
        )

    def modal_share(self, frequency: Frequency) -> xr.DataArray:
        """Share of the modal sum in each band: 1 up to half the Schroeder frequency, 0 above it."""
        share = xr.DataArray(np.log2(self.schroeder_frequency / exact(frequency)))
        return share.clip(0.0, 1.0)

    def piston_area(self, frequency: Frequency) -> xr.DataArray:
        """Area that radiates as much into a diffuse field as the mean velocity into the modes [m²].

        Of a floor or ceiling, over the square of its mean velocity; 0 where no mode has a share.
        """
        return self._area(frequency, "piston")

    def together_area(self, frequency: Frequency) -> xr.DataArray:
        """The same of the product of both mean velocities where they move towards one another [m²].

        Twice this times the product of their rms values is added in counter-phase, and taken away
        in phase.
        """
        return self._area(frequency, "together")

    def random_gain(self, frequency: Frequency) -> xr.DataArray:
        """Mean square of points that move by themselves, in the modes over that in a diffuse field.

        0 where no mode has a share.
        """
        return self._known(frequency, "random")

    def rest_gain(self, frequency: Frequency) -> xr.DataArray:
        """The same of what is left beside the mean velocity, which moves no air as a whole.

        Modes over the height alone have no part in it.
        """
        return self._known(frequency, "rest")

    def diffuse_gain(self, frequency: Frequency) -> xr.DataArray:
        """Mean square of a diffuse field at the position over that in the room [-]."""
        one = xr.ones_like(frequency, dtype=float)
        if self.position == "average":
            return one
        corner = in_corner(
            frequency, distance=self.corner_distance, speed_of_sound=self.speed_of_sound
        )
        return corner if self.position == "corner" else prescribed(corner=corner, average=one)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True from the leak frequency upwards."""
        inside: xr.DataArray = frequency >= self.leak_frequency
        return inside

    def sources_outside(self, frequency: xr.DataArray) -> tuple[Citation, ...]:  # noqa: ARG002
        """Below the leak frequency it is the leak alone that ends its range."""
        return (LEAK,)

    def _area(self, frequency: xr.DataArray, name: str) -> xr.DataArray:
        absorption = 0.161 * self._box / self.room.reverberation_time
        area: xr.DataArray = self._known(frequency, name) * absorption / 4
        return area

    @cached_property
    def _found(self) -> dict[tuple[str, tuple[float, ...]], xr.DataArray]:
        return {}

    def _known(self, frequency: xr.DataArray, name: str) -> xr.DataArray:
        """One of the modal sums at the position, worked out once in the same bands."""
        key = (name, tuple(np.ravel(frequency.values).tolist()))
        if key not in self._found:
            self._found[key] = self._sum(frequency, name)
        return self._found[key]

    def _sum(self, frequency: xr.DataArray, name: str) -> xr.DataArray:
        kernels: dict[str, Callable[..., Any]] = {
            "piston": box_modes.piston,
            "together": box_modes.pistons_together,
            "random": box_modes.random,
            "rest": partial(box_modes.random, mean=False),
        }
        kernel = kernels[name]

        def run(low: Any, high: Any, share: Any, decay: Any, *sides: Any) -> Any:
            arrays = np.broadcast_arrays(low, high, share, decay, *sides)
            flat = [np.ravel(a) for a in arrays]
            there = flat[2] > 0
            found = np.zeros(there.size)
            boxes = box_modes.Boxes(
                flat[0], flat[1], np.stack(flat[4:], axis=-1), flat[3], self.speed_of_sound
            ).part(there)
            if there.any():
                found[there] = kernel(boxes, self.corner_distance, _CORNER_SHARE[self.position])
            return found.reshape(arrays[0].shape)

        low, high = edges(frequency)
        found: xr.DataArray = xr.apply_ufunc(
            run,
            low,
            high,
            self.modal_share(frequency),
            self.room.reverberation_time,
            *self._sides,
            join="exact",
            keep_attrs=False,
            dask="parallelized",
            output_dtypes=[float],
        )
        return found.transpose(..., "frequency")
