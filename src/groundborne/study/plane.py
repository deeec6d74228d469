"""Where a building can be isolated, with two mobilities standing for ground and building."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, StudyError, not_negative, positive
from groundborne.isolation import (
    BaseIsolation,
    Bypassed,
    CrossedMount,
    Crossing,
    DistributedMount,
    IdealIsolation,
    LinearMount,
    Mount,
)
from groundborne.isolation.base import THEORY
from groundborne.path import FOUNDATION, FREE_FOUNDATION, PathElement, TransmissionPath, Where
from groundborne.receiver import Surface
from groundborne.structure import Mobility, RigidMass
from groundborne.structure.element import GRAVITY
from groundborne.study.bypass import NO_BYPASS, Bypass
from groundborne.study.masses import require_one_mass

Surfaces = Mapping[str, Surface]


@runtime_checkable
class Plane(Protocol):
    """A cut through the building: what the mounts carry, and what they change."""

    @property
    def floor(self) -> str:
        """The lowest floor above the mounts."""
        ...

    @property
    def mass(self) -> Numeric:
        """Mass on the mounts under the quasi-permanent load [kg]; mounts are tuned on it."""
        ...

    @property
    def moving_mass(self) -> Numeric:
        """Mass above the mounts in the model that gives the levels [kg]."""
        ...

    @property
    def crossings(self) -> tuple[Crossing, ...]:
        """What is listed to cross the plane beside the mounts."""
        ...

    @property
    def bypass(self) -> Bypass:
        """What is counted beside mounts and listed crossings."""
        ...

    def beside(self, mount: Mount) -> tuple[Crossing, ...]:
        """Crossings that are listed, and those that nobody listed."""
        ...

    def crossed(self, mount: Mount) -> Mount:
        """Mounts with what crosses the plane beside them."""
        ...

    @property
    def words(self) -> str:
        """How base isolation is predicted, in a sentence for a report."""
        ...

    def isolate(
        self, mount: Mount, path: TransmissionPath, surfaces: Surfaces | None, above: xr.DataArray
    ) -> tuple[TransmissionPath, Surfaces | None]:
        """Path and surfaces of the building on mounts."""
        ...

    def changes(self, mount: Mount, frequency: Frequency) -> xr.Dataset:
        """What the mounts change, per band: see :func:`base_changes`."""
        ...


@checked
def tuned_mount(
    plane: Plane,
    *,
    natural_frequency: Numeric,
    loss_factor: Numeric,
    dynamic_to_static: Numeric = 1.0,
    own_mass_per_load: Numeric = 0.0,
    travel_to_solid: Numeric = np.inf,
) -> Mount:
    """Mounts that give what the plane carries a natural frequency on a rigid base.

    Parameters
    ----------
    plane : Plane
        Gives the mass: that of the column loads, which the mounts are bought for and settle
        under. In the model they ride under :attr:`Plane.moving_mass`, and where a result names a
        frequency of mounts it is that one.
    natural_frequency : float or DataArray
        [Hz], above 0 and at most 100.
    loss_factor, dynamic_to_static : float or DataArray
        As in :class:`~groundborne.isolation.LinearMount`.
    own_mass_per_load : float or DataArray
        Mass of the part of the mount that gives way, over the load it carries [kg/N]; 0 for a
        massless mount, else internal modes (surge) are included.
    travel_to_solid : float or DataArray
        Deflection at which the mounts go solid [m]; the static deflection must stay below it.

    Returns
    -------
    Mount
        With the dims of the mass, such as ``column``.

    Raises
    ------
    ValueError
        A parameter out of bounds, or mounts that go solid under what they carry.

    Examples
    --------
    >>> from groundborne.structure import RigidMass
    >>> mass = RigidMass(mass=1e6)
    >>> plane = MobilityPlane(floor="0", mass=1e6, below=mass, above=mass)
    >>> mount = tuned_mount(plane, natural_frequency=5.0, loss_factor=0.05)
    >>> from groundborne.study.masses import natural_frequency
    >>> round(float(natural_frequency(mount, plane.moving_mass)), 2)
    5.0
    """
    linear = LinearMount.tuned(
        natural_frequency=natural_frequency,
        mass=plane.mass,
        loss_factor=loss_factor,
        dynamic_to_static=dynamic_to_static,
        travel_to_solid=travel_to_solid,
    )
    linear.static_deflection(plane.mass * GRAVITY)  # refuses mounts that go solid
    not_negative("tuned_mount", "own_mass_per_load", own_mass_per_load, "kg/N")
    if not np.any(np.asarray(own_mass_per_load) > 0):
        return linear
    return DistributedMount(
        stiffness=linear.stiffness,
        mass=own_mass_per_load * plane.mass * GRAVITY,
        loss_factor=loss_factor,
        dynamic_to_static=dynamic_to_static,
        travel_to_solid=travel_to_solid,
    )


def with_crossings(mount: Mount, crossings: tuple[Crossing, ...], weights: xr.DataArray) -> Mount:
    """Mounts with crossings beside them, or the mounts themselves where there are none."""
    if not crossings:
        return mount
    return CrossedMount(mount=mount, crossings=crossings, weights=weights)


def base_changes(
    predicted: xr.DataArray,
    alone: xr.DataArray,
    low: xr.DataArray,
    high: xr.DataArray,
    power: xr.DataArray,
    ideal: xr.DataArray,
) -> xr.Dataset:
    """Level changes of base isolation under their names in a result [dB].

    ``base_change`` is the mean, ``base_change_without_bypass`` the same by the mounts alone,
    without crossings and other ways; ``base_change_low`` and ``base_change_high`` are the spread of
    the former over floors and columns, ``power_change`` the change in power through the mounts,
    ``ideal_change`` single-degree-of-freedom theory.
    """
    words = {
        "base_change": (predicted, "base isolation, predicted"),
        "base_change_without_bypass": (alone, "base isolation by the mounts alone"),
        "base_change_low": (low, "base isolation, most that any floor and column gains"),
        "base_change_high": (high, "base isolation, least that any floor and column gains"),
        "power_change": (power, "base isolation, power through the mounts"),
        "ideal_change": (ideal, f"base isolation, {THEORY}"),
    }
    data = {}
    for name, (array, text) in words.items():
        data[name] = array.drop_attrs(deep=False).reset_coords(drop=True)
        data[name].attrs = {"long_name": text, "units": "dB"}
    return xr.Dataset(data)


def insert_at_foundation(path: TransmissionPath, isolation: PathElement) -> TransmissionPath:
    """Put isolation where the velocity is that of the foundation.

    Raises
    ------
    StudyError
        The path never gives that velocity.
    """
    gives = path.giving(FOUNDATION)
    if gives is not None:
        return path.insert(after=gives, isolation=isolation)
    if path.quantity_in == FOUNDATION:
        return path.insert(before=path.names[0], isolation=isolation)
    if any(e.quantity_in == FREE_FOUNDATION for e in path.elements.values()):
        raise StudyError(
            "the path climbs the building by column lines, and the isolation plane stands between "
            "two mobilities of its own, which would describe soil and building a second time; "
            "isolate with the Frame of these lines, or climb by another model"
        )
    raise StudyError(
        "the path never gives the velocity of the foundation, so there is no place to isolate; "
        "split its first step into coupling and building"
    )


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class MobilityPlane:
    """A plane between two mobilities: quick, and blind to the modes of the frame.

    Parameters
    ----------
    floor : str
        The lowest floor above the mounts.
    mass : float or DataArray
        Mass on the mounts under the quasi-permanent load [kg].
    below, above : Mobility
        What lies below and above the mounts, for the same mounts as `mass`.
    crossings : tuple of Crossing
        What is listed to cross the plane beside the mounts.
    bypass : Bypass
        What is counted beside both.

    Raises
    ------
    ValueError
        A mass that is not above 0, or a rigid mass above that is another than `mass`.
    """

    floor: str
    mass: Numeric
    below: Mobility
    above: Mobility
    crossings: tuple[Crossing, ...] = ()
    bypass: Bypass = field(default_factory=Bypass)

    def __post_init__(self) -> None:
        positive("MobilityPlane", "mass", self.mass, "kg")
        require_one_mass("MobilityPlane", carried=self.mass, moving=self.moving_mass)

    @property
    def moving_mass(self) -> Numeric:
        """That of a rigid mass above; other mobilities state none, and `mass` stands for it."""
        return self.above.mass if isinstance(self.above, RigidMass) else self.mass

    @property
    def words(self) -> str:
        """How base isolation is predicted."""
        return (
            "Predicted: insertion loss between the mobilities below and above the mounts (Vigran "
            "2008, eq. 2.43 [seen])."
        )

    def beside(self, mount: Mount) -> tuple[Crossing, ...]:
        """Crossings that are listed, and those that nobody listed."""
        return (*self.crossings, *self.bypass.unlisted(mount, xr.DataArray(1.0)))

    def crossed(self, mount: Mount) -> Mount:
        """Mounts with what crosses the plane beside them."""
        return with_crossings(mount, self.beside(mount), xr.DataArray(1.0))

    def _base(self, mount: Mount) -> PathElement:
        """Mounts with crossings, and with the ways beside them."""
        base = BaseIsolation(self.crossed(mount), below=self.below, above=self.above)
        paths = self.bypass.of(mount)
        return Bypassed(base, paths=paths) if paths else base

    def isolate(
        self, mount: Mount, path: TransmissionPath, surfaces: Surfaces | None, above: xr.DataArray
    ) -> tuple[TransmissionPath, Surfaces | None]:
        """Insert the loss between the mobilities, for rooms above the plane only."""
        return insert_at_foundation(path, Where(self._base(mount), above)), surfaces

    def changes(self, mount: Mount, frequency: Frequency) -> xr.Dataset:
        """One change for all floors, and in power the same: the load above is one mobility."""
        change = self.base_change(mount, frequency)
        alone = replace(self, crossings=(), bypass=NO_BYPASS).base_change(mount, frequency)
        power = BaseIsolation(self.crossed(mount), below=self.below, above=self.above).level_change(
            frequency
        )
        ideal = IdealIsolation(mount, self.moving_mass).level_change(frequency)
        return base_changes(change, alone, change, change, power, ideal)

    def base_change(self, mount: Mount, frequency: Frequency) -> xr.DataArray:
        """The mean of :meth:`changes` alone [dB]."""
        return self._base(mount).level_change(frequency)
