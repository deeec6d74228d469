"""Rooms, their surfaces, and the sound their surfaces make."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass
from functools import reduce

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, PathError, known, positive
from groundborne.citation import Citation
from groundborne.levels import REFERENCES, decibel, energy, stamp_change
from groundborne.path import COLUMN, FLOOR_AVERAGE, ROOM, SURFACE, SURFACES, End, PathElement
from groundborne.path.answers import Answers
from groundborne.receiver.radiation import Radiation

ROOM_SUM = Citation(
    key="room-surface-sum",
    author="textbook room acoustics",
    title="diffuse field of radiated power, p² = 4 ρc W/A with W = ρc Σ σ S v²",
    mark="derived",
    status="transcribed",
)
SABINE = Citation(
    key="sabine",
    author="Sabine",
    title="A = 0.161 V/T",
    mark="from memory",
    status="transcribed",
)

AIR_IMPEDANCE = 413.0
"""Characteristic impedance of air ρc at 20 °C [N s/m³]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """A box-shaped room, or many at once on the dimension ``room``.

    Parameters
    ----------
    length, width, height : float or DataArray
        Inner size [m], above 0.
    reverberation_time : float or DataArray
        T [s], above 0; may carry ``frequency`` (nominal bands).
    volume : float or DataArray, optional
        Volume [m³] where it is not length times width times height.

    Raises
    ------
    ValueError
        A size, volume or time that is not above 0.

    Examples
    --------
    >>> room = Room(length=5.0, width=4.0, height=2.5, reverberation_time=0.5)
    >>> room.floor_area, round(room.absorption_area, 1)
    (20.0, 16.1)
    """

    length: Numeric
    width: Numeric
    height: Numeric
    reverberation_time: Numeric
    volume: Numeric | None = None

    def __post_init__(self) -> None:
        for name in ("length", "width", "height"):
            positive("Room", name, getattr(self, name), "m")
        positive("Room", "reverberation_time", self.reverberation_time, "s")
        if self.volume is not None:
            positive("Room", "volume", self.volume, "m³")

    @property
    def floor_area(self) -> Numeric:
        """Length times width [m²]."""
        return self.length * self.width

    @property
    def absorption_area(self) -> Numeric:
        """Equivalent absorption area, ``0.161 V/T`` [m²]."""
        volume = self.floor_area * self.height if self.volume is None else self.volume
        return 0.161 * volume / self.reverberation_time


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Surface:
    """One radiating surface of a room.

    Parameters
    ----------
    area : float or DataArray
        [m²], above 0.
    radiation : Radiation
        Radiation factor per band.
    velocity : PathElement, optional
        Level change from the columns at the room's floor to this surface, as a surface average;
        none where the surface moves with the columns.

    Raises
    ------
    PathError
        `velocity` does not start at the columns, or gives a mid-span velocity: radiation follows
        the surface average.
    """

    area: Numeric
    radiation: Radiation
    velocity: PathElement | None = None

    def __post_init__(self) -> None:
        positive("Surface", "area", self.area, "m²")
        if self.velocity is None:
            return
        if self.velocity.quantity_in != COLUMN or self.velocity.quantity_out != FLOOR_AVERAGE:
            raise PathError(
                f"Surface: velocity turns {self.velocity.quantity_in} into "
                f"{self.velocity.quantity_out}; it must turn {COLUMN} into {FLOOR_AVERAGE}"
            )

    def radiating_area(self, frequency: Frequency) -> xr.DataArray:
        """``σ S`` [m²]."""
        return self.area_in(Answers(frequency))

    def power(self, frequency: Frequency) -> xr.DataArray:
        """``σ S`` times the mean square velocity over that of the columns [m²]."""
        return self.power_in(Answers(frequency))

    def area_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`radiating_area`, with what other surfaces have asked before."""
        return answers.once(self.radiation.efficiency, "efficiency", self.radiation) * self.area

    def power_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`power`, with what other surfaces have asked before."""

        def power(_: xr.DataArray) -> xr.DataArray:
            area = self.area_in(answers)
            if self.velocity is None:
                return area
            return area * energy(answers.level_change(self.velocity))

        return answers.once(power, "power", self)


def _total(parts: list[xr.DataArray]) -> xr.DataArray:
    return reduce(lambda a, b: a + b, parts)


def _citations(surfaces: Mapping[str, Surface]) -> tuple[Citation, ...]:
    found = [c for s in surfaces.values() for c in s.radiation.citations]
    found += [c for s in surfaces.values() if s.velocity is not None for c in s.velocity.citations]
    return tuple(dict.fromkeys((ROOM_SUM, *found)))


def _velocity_valid(surfaces: Mapping[str, Surface], frequency: xr.DataArray) -> xr.DataArray:
    valid = xr.ones_like(frequency, dtype=bool)
    for surface in surfaces.values():
        if surface.velocity is not None:
            valid = valid & surface.velocity.valid(frequency)
    return valid


def _require_surfaces(where: str, surfaces: Mapping[str, Surface]) -> None:
    if not surfaces:
        raise ValueError(f"{where}: there is no surface; at least one must radiate")


@checked
@dataclass(frozen=True, eq=False)
class SurfaceMean:
    """From the columns to the radiation-weighted mean of all room surfaces.

    Parameters
    ----------
    surfaces : mapping of str to Surface
        All surfaces of the room that radiate.

    Notes
    -----
    ``10 lg (Σ σ S v² / Σ σ S)`` over the square of the columns' velocity.

    References
    ----------
    Energy sum of radiated power, derived.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.receiver import RadiatingPlate
    >>> slab = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    >>> mean = SurfaceMean({"floor": Surface(area=20.0, radiation=slab)})
    >>> mean.level_change(third_octaves(63, 63)).item()
    0.0
    """

    surfaces: Mapping[str, Surface]

    def __post_init__(self) -> None:
        _require_surfaces("SurfaceMean", self.surfaces)

    @property
    def quantity_in(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    @property
    def quantity_out(self) -> End:
        """Mean velocity of the room surfaces."""
        return SURFACES

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of radiation factors and floor amplification."""
        return _citations(self.surfaces)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Mean over surfaces [dB]."""
        return self.level_change_in(Answers(frequency))

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`, of surfaces that were asked before."""
        areas = [s.area_in(answers) for s in self.surfaces.values()]
        powers = [s.power_in(answers) for s in self.surfaces.values()]
        return stamp_change(
            decibel(_total(powers) / _total(areas)),
            long_name="room surfaces",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where all surface velocities are."""
        return _velocity_valid(self.surfaces, frequency)


@checked
@dataclass(frozen=True, eq=False)
class TreatedSurfaces:
    """What treatments of single surfaces gain in the mean of all surfaces of the room.

    A surface that is left out keeps radiating: a floating floor by itself gains a decibel or two.

    Parameters
    ----------
    surfaces : mapping of str to Surface
        The same as in :class:`SurfaceMean`.
    treatments : mapping of str to PathElement
        Level change of each treated surface, by the surface's name.

    Raises
    ------
    ValueError
        A treatment of a surface the room does not have.
    PathError
        A treatment that does not turn the velocity of a surface into itself.

    Notes
    -----
    ``10 lg (Σ σ S v² 10^(ΔL/10) / Σ σ S v²)``; the treated surface is taken to radiate with the
    factor of the untreated one.

    References
    ----------
    Energy sum of radiated power, derived.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.path import GivenChange
    >>> from groundborne.receiver import RadiatingPlate
    >>> plate = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    >>> both = {n: Surface(area=20.0, radiation=plate) for n in ("floor", "ceiling")}
    >>> f = third_octaves(63, 63)
    >>> gain = GivenChange(xr.DataArray([-20.0], coords={"frequency": [63.0]}),
    ...                    quantity_in=SURFACE, quantity_out=SURFACE)
    >>> TreatedSurfaces(both, {"floor": gain}).level_change(f).round(2).item()
    -2.97
    """

    surfaces: Mapping[str, Surface]
    treatments: Mapping[str, PathElement]

    def __post_init__(self) -> None:
        _require_surfaces("TreatedSurfaces", self.surfaces)
        for name, treatment in self.treatments.items():
            known("TreatedSurfaces", "surface", name, self.surfaces)
            if treatment.quantity_in != SURFACE or treatment.quantity_out != SURFACE:
                raise PathError(
                    f"TreatedSurfaces: the treatment of {name!r} turns {treatment.quantity_in} "
                    f"into {treatment.quantity_out}; it must turn {SURFACE} into itself"
                )

    @property
    def quantity_in(self) -> End:
        """Mean velocity of the room surfaces."""
        return SURFACES

    @property
    def quantity_out(self) -> End:
        """Mean velocity of the room surfaces, treated."""
        return SURFACES

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of sum and treatments."""
        found = [c for t in self.treatments.values() for c in t.citations]
        return tuple(dict.fromkeys((ROOM_SUM, *found)))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Gain in the mean over surfaces [dB]."""
        return self.level_change_in(Answers(frequency))

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`, of surfaces and treatments that were asked before."""
        before, after = [], []
        for name, surface in self.surfaces.items():
            power = surface.power_in(answers)
            before.append(power)
            treatment = self.treatments.get(name)
            kept = power if treatment is None else power * energy(answers.level_change(treatment))
            after.append(kept)
        return stamp_change(
            decibel(_total(after) / _total(before)),
            long_name="room isolation",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where all treatments are."""
        valid = xr.ones_like(frequency, dtype=bool)
        for treatment in self.treatments.values():
            valid = valid & treatment.valid(frequency)
        return valid


@checked
@dataclass(frozen=True, eq=False)
class RoomSound:
    """From the mean velocity of the room surfaces to the room-average sound pressure.

    Parameters
    ----------
    room : Room
        Gives the absorption area.
    surfaces : mapping of str to Surface
        All surfaces that radiate.
    air_impedance : float
        ρc [N s/m³].

    Notes
    -----
    ``20 lg(ρc v0/p0) + 10 lg(4 Σ σ S/A)``. A diffuse field is assumed: below the Schroeder
    frequency ``2000 √(T/V)`` it is an average over positions and bands, and single points of a
    small room may differ by far.

    References
    ----------
    Derived from textbook room acoustics; Sabine [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.receiver import RadiatingPlate
    >>> room = Room(length=5.0, width=4.0, height=2.5, reverberation_time=0.5)
    >>> slab = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    >>> sound = RoomSound(room, {"floor": Surface(area=20.0, radiation=slab)})
    >>> sound.level_change(third_octaves(63, 63)).round(1).item()
    -27.7
    """

    room: Room
    surfaces: Mapping[str, Surface]
    _: KW_ONLY
    air_impedance: Numeric = AIR_IMPEDANCE

    def __post_init__(self) -> None:
        _require_surfaces("RoomSound", self.surfaces)
        positive("RoomSound", "air_impedance", self.air_impedance, "N s/m³")

    @property
    def quantity_in(self) -> End:
        """Mean velocity of the room surfaces."""
        return SURFACES

    @property
    def quantity_out(self) -> End:
        """Room-average sound pressure."""
        return ROOM

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of room sum and radiation factors."""
        found = [c for s in self.surfaces.values() for c in s.radiation.citations]
        return tuple(dict.fromkeys((ROOM_SUM, SABINE, *found)))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Sound pressure level re 20 µPa minus velocity level re 1 nm/s [dB]."""
        return self.level_change_in(Answers(frequency))

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`, of surfaces that were asked before."""
        area = _total([s.area_in(answers) for s in self.surfaces.values()])
        v0 = REFERENCES["velocity"]["1 nm/s"]
        p0 = REFERENCES["sound pressure"]["20 µPa"]
        offset = 20 * np.log10(self.air_impedance * v0 / p0)
        area_gain = decibel(4 * area / self.room.absorption_area)
        return stamp_change(
            area_gain + offset,
            long_name="re-radiation",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere; the diffuse-field caution is in the notes."""
        return xr.ones_like(frequency, dtype=bool)
