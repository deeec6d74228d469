"""Equipment on a floor: a rigid mass, on mounts of its own or without, and what reaches it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, known, not_negative, positive
from groundborne.citation import Citation
from groundborne.levels import decibel, mean_square, stamp_change
from groundborne.path import EQUIPMENT, MID_SPAN, End, valid_between
from groundborne.structure import Mobility, RigidMass
from groundborne.structure.element import GRAVITY
from groundborne.structure.storey import LineMount
from groundborne.twoport import VIGRAN_MOBILITY, rigid_link

AXES = ("x", "y", "z")
"""Axes of equipment; z is the vertical."""

ON_FLOOR = Citation(
    key="equipment-on-floor",
    author="groundborne",
    title="rigid mass on mounts on a floor that gives way, each axis by itself",
    mark="derived",
    status="transcribed",
)

Mounting = LineMount | Mapping[str, LineMount]
"""Mounts along the vertical, or along each axis."""

_LOW = 0.01  # Hz; there every mount is a spring


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Equipment:
    """An instrument, machine or table in a room, and the step from its floor to it.

    Parameters
    ----------
    name : str
        Short and unique.
    room : str
        Room it stands in, on its floor at mid-span.
    mass : float or DataArray
        What moves with it, the table included [kg], above 0.
    mounts : mount, or mapping of str to mount, optional
        What it stands on: anything with a ``two_port(frequency)``, such as
        :class:`~groundborne.isolation.LinearMount` or a spring and a dashpot
        :class:`~groundborne.isolation.InParallel`, all feet as one. It acts along the vertical;
        mounts along several axes are given by axis. None where the equipment stands on the floor.
    floor : Mobility, float or DataArray, optional
        How the floor gives way under it: a mobility, or a number [m/(N s)], 0 for a floor that does
        not give way. Studies take that of the slab where it is not given.
    horizontal : mapping of str to float or DataArray
        By axis (``x``, ``y``): level of the horizontal velocity of the floor there over that of its
        vertical velocity [dB], measured or stated; may carry ``frequency``. Nothing is shown along
        an axis that is not given.
    criteria : str or mapping of str to str
        Name of a set of criteria in a study, or one for each axis.
    background : DataArray, optional
        Vertical velocity of the floor there without trains, energy mean over the period: labelled
        level [dB] on ``frequency``. A period rms contains it.
    rigid_up_to : float, optional
        Frequency up to which the equipment is rigid [Hz]; bands above are marked. None where it is
        not known.

    Raises
    ------
    ValueError
        A parameter out of bounds, an unknown axis, an axis with a level and without mounts where
        others have mounts, or mounts that are solid under the mass.

    Notes
    -----
    With the free velocity v0 of the floor behind its mobility Ys, mounts of a two-port a, b, c, d
    and ``Yr = 1/(jωm)``: ``v/v0 = Yr/(c + d Yr + a Ys + b Ys Yr)``, without mounts
    ``Yr/(Ys + Yr)``, so that a heavy instrument loads a light floor. The level change of a band is
    the energy mean over single frequencies inside it. Along x and y the floor does not give way.

    Each axis moves by itself: rocking, which mounts below the centre of gravity bring, is not in
    it, nor are modes of the equipment. Near the frequency of its mounts a table moves more than the
    floor. An endless plate for the floor holds in the mean above its first resonances; where the
    mass is not small against that of the floor its first resonance moves, and the floor should be
    given as a mass on a spring, :class:`~groundborne.structure.SpringFoundation`.

    References
    ----------
    Vigran 2008, eq. 2.43, massless isolator between mobilities [seen].

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> spring = LinearMount.tuned(natural_frequency=4.0, mass=300.0, loss_factor=0.1)
    >>> table = Equipment(name="balance", room="lab", mass=300.0, mounts=spring, floor=0.0)
    >>> table.level_change([4.0, 16.0]).round(1).values.tolist()
    [[17.1, -23.2]]
    """

    name: str
    room: str
    mass: Numeric
    mounts: Mounting | None = None
    floor: Mobility | Numeric | None = None
    horizontal: Mapping[str, Numeric] = field(default_factory=dict)
    criteria: str | Mapping[str, str] = ""
    background: xr.DataArray | None = None
    rigid_up_to: float | None = None

    def __post_init__(self) -> None:
        where = f"Equipment {self.name!r}"
        if not self.name.strip() or not self.room.strip():
            raise ValueError(f"{where}: its name or room is empty; words are needed")
        positive(where, "mass", self.mass, "kg")
        if not isinstance(self.floor, Mobility) and self.floor is not None:
            not_negative(where, "floor", self.floor, "m/(N s)")
        if self.rigid_up_to is not None:
            positive(where, "rigid_up_to", self.rigid_up_to, "Hz")
        for axis, level in self.horizontal.items():
            known(where, "axis of horizontal", axis, AXES[:2])
            finite(where, f"horizontal level along {axis}", level)
        if isinstance(self.criteria, Mapping):
            _one_for_each(where, "criteria", self.criteria, self.axes)
        if self.background is not None:
            levels.require(self.background, where=f"{where}: background", quantity="velocity")
            if self.background.dims != ("frequency",):
                raise ValueError(
                    f"{where}: background has the dims {list(self.background.dims)}; "
                    "('frequency',) is needed"
                )
        self._check_mounts(where)

    def _check_mounts(self, where: str) -> None:
        if self.mounts is None:
            return
        if not isinstance(self.mounts, Mapping):
            if self.horizontal:
                raise ValueError(
                    f"{where}: horizontal levels are given, and the mounts act along the vertical "
                    f"only; give mounts by axis ({', '.join(self.axes)}), or leave the axis out"
                )
        else:
            _one_for_each(where, "mounts", self.mounts, self.axes)
        vertical: Any = self.mounts_along("z")
        if np.any(np.asarray(_stiffness(vertical)) <= 0):
            raise ValueError(f"{where}: its mounts have no stiffness and carry nothing")
        deflection = getattr(vertical, "static_deflection", None)
        if deflection is not None:
            try:
                deflection(self.mass * GRAVITY)
            except ValueError as error:
                raise ValueError(f"{where}: under {self._kilograms} kg: {error}") from None

    @property
    def _kilograms(self) -> str:
        return f"{float(np.max(np.asarray(self.mass))):g}"

    @property
    def axes(self) -> tuple[str, ...]:
        """Axes that something can be said of, in order; the vertical always."""
        return tuple(axis for axis in AXES if axis == "z" or axis in self.horizontal)

    @property
    def quantity_in(self) -> End:
        """Velocity of the floor at mid-span, as it is without the equipment."""
        return MID_SPAN

    @property
    def quantity_out(self) -> End:
        """Velocity of the equipment."""
        return EQUIPMENT

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formula, the mounts and the floor."""
        parts: list[Any] = [self.mounts_along(axis) for axis in self.axes]
        parts += [self.floor] * isinstance(self.floor, Mobility)
        found = [c for part in parts if part is not None for c in part.citations]
        return tuple(dict.fromkeys((ON_FLOOR, VIGRAN_MOBILITY, *found)))

    def mounts_along(self, axis: str) -> LineMount | None:
        """Mounts along an axis; None where the equipment stands on the floor.

        Parameters
        ----------
        axis : str
            One of :attr:`axes`.
        """
        known(f"Equipment {self.name!r}", "axis", axis, self.axes)
        return self.mounts[axis] if isinstance(self.mounts, Mapping) else self.mounts

    @property
    def natural_frequency(self) -> Numeric:
        """Vertical, on its mounts on a floor that does not give way [Hz]; infinite without."""
        mounts = self.mounts_along("z")
        if mounts is None:
            return np.inf
        frequency: Numeric = np.sqrt(_stiffness(mounts) / self.mass) / (2 * np.pi)
        return frequency

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Velocity of the equipment over the vertical velocity of the free floor [dB].

        Parameters
        ----------
        frequency : DataArray
            Nominal labels [Hz].

        Returns
        -------
        xarray.DataArray
            On ``axis``, ``frequency`` and the dims of the parameters.

        Raises
        ------
        ValueError
            Nothing says how the floor gives way.
        """
        rows = xr.broadcast(*(self._along(axis, frequency) for axis in self.axes))
        change: xr.DataArray = xr.concat(
            list(rows), dim=xr.Variable("axis", list(self.axes)), join="exact", coords="minimal",
            compat="override",
        )  # fmt: skip
        return stamp_change(
            change.transpose("axis", ..., "frequency"),
            long_name="floor to equipment",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """Bands in which the equipment is said to be rigid."""
        if self.rigid_up_to is None:
            return xr.ones_like(frequency, dtype=bool)
        return valid_between(frequency, 0.0, self.rigid_up_to)

    def _along(self, axis: str, frequency: xr.DataArray) -> xr.DataArray:
        mounts = self.mounts_along(axis)
        floor = self._floor() if axis == "z" else 0.0
        given = isinstance(floor, Mobility)
        parts: list[Any] = [part for part in (mounts, floor if given else None) if part is not None]
        f = bands.single_frequencies(
            frequency, loss_factor=min((p.loss_factor_floor for p in parts), default=1)
        )
        own = RigidMass(mass=self.mass).driving_point_mobility(f)
        below: Any = floor.driving_point_mobility(f) if isinstance(floor, Mobility) else floor
        port = rigid_link(f) if mounts is None else mounts.two_port(f)
        ratio = port.velocity_ratio(source_mobility=below, receiver_mobility=own)
        change = decibel(mean_square(ratio, "single_frequency")).reset_coords(drop=True)
        level = self.horizontal.get(axis, 0.0)
        if isinstance(level, xr.DataArray) and "frequency" in level.dims:
            ends = frequency["frequency"].values[[0, -1]]
            level = bands.select(level, float(ends[0]), float(ends[1]))
        total: xr.DataArray = change + level
        return total.drop_attrs(deep=False)

    def _floor(self) -> Mobility | Numeric:
        if self.floor is None:
            raise ValueError(
                f"Equipment {self.name!r}: nothing says how the floor gives way under it; give "
                "floor a mobility, or 0 for a floor that does not give way"
            )
        return self.floor


def _one_for_each(where: str, name: str, given: Mapping[str, Any], axes: tuple[str, ...]) -> None:
    """Refuse a mapping by axis that lacks an axis or has others."""
    for axis in given:
        known(where, f"axis of {name}", axis, AXES)
    for axis in axes:
        if axis not in given:
            raise ValueError(
                f"{where}: {name} are given along {', '.join(given) or 'no axis'}, and not along "
                f"{axis}; give them, or leave its level out of horizontal"
            )
    for axis in given:
        if axis not in axes:
            raise ValueError(
                f"{where}: {name} are given along {axis}, and horizontal holds no level along it; "
                "give it, or leave the axis out"
            )


def _stiffness(mounts: LineMount) -> Any:
    """Static part of the transfer stiffness [N/m]."""
    low = xr.DataArray(_LOW)
    found: Any = (2j * np.pi * low / mounts.two_port(low).c).real
    return found if found.ndim else float(found)
