"""A radiating surface of a room: how it moves, and how much of that becomes sound."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import reduce
from operator import and_
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import LevelError, Numeric, PathError, known, labels_at, positive
from groundborne.citation import Citation
from groundborne.levels import energy
from groundborne.path import COLUMN, FLOOR_AVERAGE, End, PathElement
from groundborne.path.answers import Answers
from groundborne.path.element import sources_of_parts
from groundborne.receiver.modal_field import ModalField
from groundborne.receiver.radiation import BAFFLED_PISTON, PistonRadiation, Radiation

SURFACE_MEAN = End("velocity", "of the floor, mean over the surface with its phase")
"""The motion of a surface as a whole; its square is part of that of the surface average."""

RADIATION_SPLIT = Citation(
    key="radiation-split",
    author="textbook acoustics",
    title="power of a plate by its mean velocity, as a piston, and by the rest, as bending waves",
    mark="derived",
    status="transcribed",
)

PARTS = ("wall", "floor", "ceiling")
"""What a surface is to the modes of a room."""

PISTON_UP_TO = 1.5
"""Times the first resonance of a floor of which only the surface average is known: up to there it
may move as a whole. Common practice."""

_ROUNDING = 1e-6


@dataclass(frozen=True)
class Power:
    """Radiated power over ``ρc`` times the mean square velocity of the columns.

    Parameters
    ----------
    piston, rest : DataArray
        By the motion as a whole and by the rest [m²].
    moving : DataArray
        Mean square of the motion as a whole over that of the columns [-].
    """

    piston: xr.DataArray
    rest: xr.DataArray
    moving: xr.DataArray

    @property
    def total(self) -> xr.DataArray:
        """Both [m²]."""
        return self.rest + self.piston


def valid_in_all(parts: Iterable[Any], frequency: xr.DataArray) -> xr.DataArray:
    """True where all parts are; everywhere where there is none."""
    everywhere = xr.ones_like(frequency, dtype=bool)
    return reduce(and_, (part.valid(frequency) for part in parts), everywhere)


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
    mean_velocity : PathElement, optional
        Level change to the mean velocity of the surface (``SURFACE_MEAN``), which radiates as a
        piston; the rest of the surface average radiates by bending waves. From the columns, or
        from the surface average, of which it is then a share whatever `velocity` is.
    piston_up_to : float or DataArray, optional
        Where the mean velocity is not known: up to this frequency [Hz] the surface average radiates
        as a piston or by bending waves, whichever is louder, above it by bending waves. 1.5 times
        the first resonance of the floor is common practice (``PISTON_UP_TO``). Without it and
        without `mean_velocity` all radiates by bending waves.
    sideways : PathElement, optional
        Level change from the columns to a further motion of the surface as a whole, at right angles
        to itself (``SURFACE_MEAN``), that owes nothing to the first: a wall that the horizontal
        motion of its storey moves. It radiates as a piston, and its power is added.
    field : ModalField, optional
        Modes of the room it stands in; without it the field is diffuse at all frequencies.
    part : str
        ``"floor"`` or ``"ceiling"`` are heard by modes, where there is a `field`; a ``"wall"`` in a
        diffuse field.

    Raises
    ------
    PathError
        `velocity` does not start at the columns, or gives a mid-span velocity: radiation follows
        the surface average; or `mean_velocity` starts at neither of the two, or does not give the
        mean of the surface.
    ValueError
        An area or frequency that is not above 0, both a mean velocity and a frequency in place of
        it, or a radiation that knows of no piston where one is needed.

    Notes
    -----
    ``W = ρc S [σ_f |v̄|² + σ_r (<v²> − |v̄|²)]``. Of the first mode of a simply supported panel
    64/π⁴ = 0.657 of the mean square is its mean. In a field of modes the power is that which makes
    the same mean square in a diffuse field.

    References
    ----------
    Derived.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.path import COLUMN, Unchanged
    >>> from groundborne.receiver import RadiatingPlate
    >>> slab = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    >>> floor = Surface(area=20.0, radiation=slab, mean_velocity=Unchanged(COLUMN, SURFACE_MEAN))
    >>> floor.power(third_octaves(31.5, 31.5)).round(2).item()
    14.8
    """

    area: Numeric
    radiation: Radiation
    velocity: PathElement | None = None
    mean_velocity: PathElement | None = None
    piston_up_to: Numeric | None = None
    sideways: PathElement | None = None
    field: ModalField | None = None
    part: str = "wall"

    def __post_init__(self) -> None:
        positive("Surface", "area", self.area, "m²")
        known("Surface", "part", self.part, PARTS)
        if self.piston_up_to is not None:
            positive("Surface", "piston_up_to", self.piston_up_to, "Hz")
            if self.mean_velocity is not None:
                raise ValueError(
                    "Surface: piston_up_to stands for a mean velocity that is not known, and "
                    "mean_velocity is given; leave one of them out"
                )
        pistons = self._splits or self.sideways is not None
        if pistons and not isinstance(self.radiation, PistonRadiation):
            raise ValueError(
                f"Surface: {type(self.radiation).__name__} has no piston_efficiency, by which the "
                "mean velocity radiates; use RadiatingPlate, or leave mean_velocity, piston_up_to "
                "and sideways out"
            )
        for name, element, starts, end in (
            ("velocity", self.velocity, (COLUMN,), FLOOR_AVERAGE),
            ("mean_velocity", self.mean_velocity, (COLUMN, FLOOR_AVERAGE), SURFACE_MEAN),
            ("sideways", self.sideways, (COLUMN,), SURFACE_MEAN),
        ):
            if element is not None and (
                element.quantity_in not in starts or element.quantity_out != end
            ):
                raise PathError(
                    f"Surface: {name} turns {element.quantity_in} into {element.quantity_out}; "
                    f"it must turn {' or '.join(map(str, starts))} into {end}"
                )

    @property
    def _splits(self) -> bool:
        return self.mean_velocity is not None or self.piston_up_to is not None

    @property
    def _motions(self) -> tuple[PathElement, ...]:
        """Steps to what moves it."""
        steps = (self.velocity, self.mean_velocity, self.sideways)
        return tuple(step for step in steps if step is not None)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of radiation, motion and field."""
        own = (c for step in self._motions for c in step.citations)
        found = [*self.radiation.citations, *own]
        if self._splits:
            found += [RADIATION_SPLIT]
        if self._splits or self.sideways is not None:
            found += [BAFFLED_PISTON]
        if self.field is not None:
            found += self.field.citations
        return tuple(dict.fromkeys(found))

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where what is known of its motion and of the field is."""
        return valid_in_all(self._limited, frequency)

    def sources_outside(self, frequency: xr.DataArray) -> tuple[Citation, ...]:
        """Sources of what is used outside its range, of its motion and of the field."""
        return sources_of_parts(self._limited, frequency)

    @property
    def _limited(self) -> tuple[Any, ...]:
        """What has a range of its own."""
        return self._motions if self.field is None else (*self._motions, self.field)

    def radiating_area(self, frequency: Frequency) -> xr.DataArray:
        """``σ S`` of bending waves in a diffuse field [m²]."""
        return self.area_in(Answers(frequency))

    def area_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`radiating_area`, with what other surfaces have asked before."""
        return answers.once(self.radiation.efficiency, "efficiency", self.radiation) * self.area

    def power(self, frequency: Frequency) -> xr.DataArray:
        """Power over ``ρc`` and the mean square velocity of the columns [m²].

        In a diffuse field, without a mean velocity, ``σ S`` times the mean square velocity over
        that of the columns.
        """
        return self.power_in(Answers(frequency))

    def power_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`power`, with what other surfaces have asked before."""
        return answers.once(lambda _: self.powers_in(answers).total, "power", self)

    def powers(self, frequency: Frequency) -> Power:
        """Power by the motion as a whole and by the rest."""
        return self.powers_in(Answers(frequency))

    def powers_in(self, answers: Answers) -> Power:
        """As :meth:`powers`, with what other surfaces have asked before."""
        found = self._driven(answers)
        if self.sideways is None:
            return found
        further = energy(answers.level_change(self.sideways))
        area = self._piston_area(answers.frequency)
        return replace(found, piston=found.piston + area * further)

    def _driven(self, answers: Answers) -> Power:
        """Of the motion that comes from the columns."""
        frequency = answers.frequency
        area = self.area_in(answers)
        none = xr.zeros_like(frequency, dtype=float)
        square = None if self.velocity is None else energy(answers.level_change(self.velocity))
        rest = area if self.field is None else area * self._rest_gain(frequency)
        if not self._splits:
            return Power(none, rest if square is None else rest * square, none)
        if square is None:
            square = xr.ones_like(frequency, dtype=float)
        piston = self._piston_area(frequency)
        if self.mean_velocity is not None:
            moving = energy(answers.level_change(self.mean_velocity))
            if self.mean_velocity.quantity_in == FLOOR_AVERAGE:
                moving = moving * square
            return Power(piston * moving, rest * self._beside(square, moving), moving)
        assert self.piston_up_to is not None
        whole = (frequency <= self.piston_up_to) & (piston > rest)
        moving = xr.where(whole, square, 0.0)
        return Power(piston * moving, rest * xr.where(whole, 0.0, square), moving)

    def _beside(self, square: xr.DataArray, moving: xr.DataArray) -> xr.DataArray:
        """Surface average without the mean; refuse a mean that is larger than it."""
        left = square - moving
        bad = left < -_ROUNDING * moving
        if bool(bad.any()):
            at = int(np.argmax(np.ravel(bad.values)))
            raise LevelError(
                f"Surface: at {labels_at(bad, at)} the mean velocity is larger than the surface "
                "average, of which it is a part; both must come of one motion"
            )
        return left.where(left > 0, 0.0)

    def _piston_area(self, frequency: xr.DataArray) -> xr.DataArray:
        assert isinstance(self.radiation, PistonRadiation)
        area = self.radiation.piston_efficiency(frequency) * self.area
        if self.field is None:
            return area
        diffuse: xr.DataArray = area * self.field.diffuse_gain(frequency)
        if self.part == "wall":
            return diffuse
        share = self.field.modal_share(frequency)
        mixed: xr.DataArray = share * self.field.piston_area(frequency) + (1 - share) * diffuse
        return mixed

    def _rest_gain(self, frequency: xr.DataArray) -> xr.DataArray:
        assert self.field is not None
        diffuse = self.field.diffuse_gain(frequency)
        if self.part == "wall":
            return diffuse
        share = self.field.modal_share(frequency)
        known_mean = self.mean_velocity is not None
        modal = self.field.rest_gain if known_mean else self.field.random_gain
        return share * modal(frequency) + (1 - share) * diffuse


@checked
def in_field(surfaces: Mapping[str, Surface], *, field: ModalField | None) -> dict[str, Surface]:
    """The surfaces of a room in its field of modes, or in a diffuse one.

    Parameters
    ----------
    surfaces : mapping of str to Surface
        By name; those named ``floor`` and ``ceiling`` are heard by modes.
    field : ModalField or None
        None for a field that is diffuse at all frequencies.

    Returns
    -------
    dict
        The same surfaces, to be given to the sums over a room.

    Examples
    --------
    >>> from groundborne.receiver import RadiatingPlate, Room
    >>> slab = RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    >>> room = Room(length=5.0, width=4.0, height=2.6, reverberation_time=0.5)
    >>> floor = {"floor": Surface(area=20.0, radiation=slab)}
    >>> in_field(floor, field=ModalField(room=room))["floor"].part
    'floor'
    """
    return {
        name: replace(
            surface, field=field, part=name if field is not None and name in PARTS else "wall"
        )
        for name, surface in surfaces.items()
    }
