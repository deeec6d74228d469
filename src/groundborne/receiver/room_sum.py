"""The sound that the surfaces of a room make together."""

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
from groundborne.path import COLUMN, ROOM, SURFACE, SURFACES, End, PathElement
from groundborne.path.answers import Answers
from groundborne.path.element import sources_of_parts
from groundborne.receiver.room import Room
from groundborne.receiver.surface import Surface, valid_in_all

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


def _total(parts: list[xr.DataArray]) -> xr.DataArray:
    return reduce(lambda a, b: a + b, parts)


def _power(
    surfaces: Mapping[str, Surface],
    answers: Answers,
    kept: Mapping[str, xr.DataArray] | None = None,
) -> xr.DataArray:
    """Power of all surfaces over ``ρc`` and the mean square velocity of the columns [m²].

    Each is taken times what is `kept` of it. Floor and ceiling that share a field in which they
    move in phase, or towards one another, add what their mean velocities do together.
    """
    kept = kept or {}
    powers = {name: surface.power_in(answers) for name, surface in surfaces.items()}
    total = _total([p if n not in kept else p * kept[n] for n, p in powers.items()])
    pair = {s.part: (n, s) for n, s in surfaces.items() if s.part != "wall"}
    if len(pair) < 2 or pair["floor"][1].field is not pair["ceiling"][1].field:
        return total
    field = pair["floor"][1].field
    if field is None or field.phase == "incoherent":
        return total
    both: xr.DataArray | float = 1.0
    for name, surface in pair.values():
        both = both * surface.powers_in(answers).moving * kept.get(name, 1.0)
    area = field.modal_share(answers.frequency) * field.together_area(answers.frequency)
    together: xr.DataArray = 2 * area * both**0.5
    return total + together if field.phase == "counter-phase" else total - together


def _citations(surfaces: Mapping[str, Surface]) -> tuple[Citation, ...]:
    found = [c for s in surfaces.values() for c in s.radiation.citations]
    found += [c for s in surfaces.values() if s.velocity is not None for c in s.velocity.citations]
    found += [c for s in surfaces.values() for c in s.citations]
    return tuple(dict.fromkeys((ROOM_SUM, *found)))


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
    ``10 lg (Σ σ S v² / Σ σ S)`` over the square of the columns' velocity. Surfaces that stand in a
    :class:`ModalField`, or whose mean velocity radiates as a piston, count with the power that
    makes the same mean square in a diffuse field (:meth:`Surface.power`); the divisor, which
    :class:`RoomSound` multiplies by again, stays that of bending waves in a diffuse field.

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
        """Sources of radiation, motion and field of all surfaces."""
        return _citations(self.surfaces)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Mean over surfaces [dB]."""
        return self.level_change_in(Answers(frequency))

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`, of surfaces that were asked before."""
        areas = [s.area_in(answers) for s in self.surfaces.values()]
        return stamp_change(
            decibel(_power(self.surfaces, answers) / _total(areas)),
            long_name="room surfaces",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where all surfaces are."""
        return valid_in_all(self.surfaces.values(), frequency)

    def sources_outside(self, frequency: xr.DataArray) -> tuple[Citation, ...]:
        """Sources of what is used outside its range, of all surfaces."""
        return sources_of_parts(self.surfaces.values(), frequency)


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
        kept = {n: energy(answers.level_change(t)) for n, t in self.treatments.items()}
        before, after = (_power(self.surfaces, answers, keep) for keep in ({}, kept))
        return stamp_change(
            decibel(after / before),
            long_name="room isolation",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where all treatments are."""
        return valid_in_all(self.treatments.values(), frequency)


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
    ``20 lg(ρc v0/p0) + 10 lg(4 Σ σ S/A)``, as of a diffuse field; modes below the Schroeder
    frequency are in the mean velocity of the surfaces, where these stand in a
    :class:`ModalField`. Without it the result below that frequency is an average over positions
    and bands, and single points of a small room may differ by far.

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
        """True everywhere; where a field of modes is not, the surfaces are not."""
        return xr.ones_like(frequency, dtype=bool)
