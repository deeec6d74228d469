"""Coupling and storeys from mechanics, beside the empirical elements."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import known
from groundborne.bands import single_frequencies
from groundborne.citation import DERIVED, Citation
from groundborne.levels import decibel, mean_square, stamp_change
from groundborne.path import COLUMN, FOUNDATION, FREE_FOUNDATION, GROUND, End
from groundborne.structure import (
    ColumnLine,
    Mobility,
    column_mean,
    column_weights,
    free_velocity_ratio,
    known_failures,
)
from groundborne.structure.phases import DIMS, IN_PHASE
from groundborne.structure.response import foundation_mobility
from groundborne.structure.tributary import TRIBUTARY

COUPLING_BY_IMPEDANCE = Citation(
    key="coupling-by-impedance",
    author="groundborne",
    title="foundation velocity over free velocity, Zf/(Zf + Zb)",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class MechanicalCoupling:
    """From the free ground to the loaded foundation, by impedances instead of a table.

    It holds the building's reaction, and of a foundation with a mass the part that its own mass
    takes. Averaging of short waves over a large raft is
    :class:`~groundborne.propagation.FreeFoundation`, behind which it stands with ``from_free``. A
    column line already holds this step: do not put both into one path.

    Parameters
    ----------
    foundation : Mobility
        Soil and foundation without the building.
    building : Mobility
        The building as its foundation meets it: a mass, a rod, or a
        :class:`~groundborne.structure.ColumnLine`.
    from_free : bool
        Whether it starts from the foundation free of the building; else from the ground.

    Notes
    -----
    ``v/v_free = Zf/(Zf + Zb)``, energy mean over single frequencies inside each band; from the
    ground times :func:`~groundborne.structure.free_velocity_ratio`, so that the soil carries the
    mass of the foundation as it carries the building. A foundation that does not tell its soil from
    its mass is taken to follow the ground.

    References
    ----------
    Derived from the definition of a mobility.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import RigidMass, SpringFoundation
    >>> soil = SpringFoundation(stiffness=3.3e8, damping=1.75e6, loss_factor=0.05)
    >>> step = MechanicalCoupling(foundation=soil, building=RigidMass(mass=100e3))
    >>> step.level_change(third_octaves(31.5, 31.5)).round(1).item()
    -17.3
    """

    foundation: Mobility
    building: Mobility
    from_free: bool = False

    @property
    def quantity_in(self) -> End:
        """Velocity of the ground, or of the foundation free of the building."""
        return FREE_FOUNDATION if self.from_free else GROUND

    @property
    def quantity_out(self) -> End:
        """Velocity of the foundation."""
        return FOUNDATION

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of foundation and building."""
        parts = (*self.foundation.citations, *self.building.citations)
        return tuple(dict.fromkeys((COUPLING_BY_IMPEDANCE, *parts)))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of ``|Zf/(Zf + Zb)|²`` [dB]."""
        loss = min(self.foundation.loss_factor_floor, self.building.loss_factor_floor)
        f = single_frequencies(frequency, loss_factor=loss)
        # Columns of a building with phases move with those over a foundation that bends, too.
        phases = getattr(self.building, "phases", IN_PHASE)
        below = foundation_mobility(self.foundation, f, phases)
        above = self.building.driving_point_mobility(f)
        ratio = above / (above + below)
        if not self.from_free and _tells_soil(self.foundation):
            ratio = ratio * free_velocity_ratio(self.foundation, f)
        square = mean_square(ratio, "single_frequency")
        return stamp_change(
            decibel(square.mean([d for d in DIMS if d in square.dims], skipna=False)),
            long_name="coupling by impedances",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere; what the mobilities cover is theirs to say."""
        return xr.ones_like(frequency, dtype=bool)


@checked(renamed={"level": "floor"})
@dataclass(frozen=True, kw_only=True, eq=False)
class LineStoreys:
    """From the foundation to the column at one floor of a line.

    Parameters
    ----------
    line : ColumnLine
        With or without mounts.
    floor : str or int
        One of its floors.
    loaded : bool
        Whether it starts from the foundation as measured under the standing building, without
        mounts; else from the foundation free of the building.

    Raises
    ------
    ValueError
        A floor the line does not have.

    Notes
    -----
    Where the line carries ``column``, the energy mean over columns is taken, weighted by the area
    they carry (:func:`~groundborne.structure.column_weights`).

    From the loaded foundation the free velocity is recovered first: the change is that from the
    free velocity to the floor, less that from the free velocity to the foundation of the same line
    without mounts, each a band mean for a free velocity that is flat within the band.

    References
    ----------
    See :class:`~groundborne.structure.ColumnLine`.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import RigidMass, SpringFoundation, Storey
    >>> storey = Storey(floor=1, height=3.6, area=0.25, youngs_modulus=35e9, density=2450.0,
    ...                 loss_factor=0.02, slab=RigidMass(mass=50e3))
    >>> line = ColumnLine(storeys=(storey,), foundation=SpringFoundation(
    ...     stiffness=1e9, damping=6e6))
    >>> LineStoreys(line=line, floor=1).level_change(third_octaves(63, 63)).round(1).item()
    -12.8
    """

    line: ColumnLine
    floor: str | int
    loaded: bool = False

    def __post_init__(self) -> None:
        if self.floor not in self.line.floors:
            known("LineStoreys", "floor", str(self.floor), [str(n) for n in self.line.floors])

    @property
    def quantity_in(self) -> End:
        """Velocity of the foundation, free of the building or under it."""
        return FOUNDATION if self.loaded else FREE_FOUNDATION

    @property
    def quantity_out(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the line."""
        return tuple(dict.fromkeys((*self.line.citations, TRIBUTARY, DERIVED)))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of the velocity ratio at the floor [dB]."""
        at = self.line.column_mean_square(frequency).sel(floor=self.floor, drop=True)
        weights = column_weights(line=self.line)
        mean = column_mean(at, weights=weights)
        if self.loaded:
            standing = self.line.without_isolation().foundation_mean_square(frequency)
            mean = mean / column_mean(standing, weights=weights)
        return stamp_change(
            decibel(mean), long_name="storeys, by column line", citations=self.citations
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True but where :func:`~groundborne.structure.known_failures` says that the line fails."""
        return ~known_failures(frequency, line=self.line)


def _tells_soil(foundation: Mobility) -> bool:
    return hasattr(foundation, "soil_impedance") or hasattr(foundation, "velocity_in_wave")
