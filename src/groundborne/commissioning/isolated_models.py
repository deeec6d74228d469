"""A floating floor, and a building on mounts, as they may have been built: fast, with few numbers.

A fit asks for thousands of curves, and a false-alarm rate for as many again; so these work on plain
arrays, with the physics of :class:`~groundborne.isolation.BridgedFloor` and
:func:`~groundborne.isolation.bypassed_loss`, with which tests compare them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, positive, within
from groundborne.bands import exact, single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.isolation.rooms.bridge import (
    FIRST_MODES,
    PARALLEL_CONTACT,
    PLATE_ON_BED,
    POINT_BRIDGE,
    BridgedFloor,
)
from groundborne.isolation.transmissibility import HYSTERETIC

Array = np.ndarray[Any, Any]

_FINE = 0.02  # loss factor that single frequencies in bands are spaced for
_INTERIOR, _EDGE = 8.0, 3.5  # 1/(Y √(B′m″)) of a plate, see structure.plate


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FloorModel:
    """Level change of a floating floor over its slab, of what may be found out about it.

    Parameters
    ----------
    floor : BridgedFloor
        As designed: its plates, its mass, and of its layer the part that is not `air_stiffness`.
        All numbers single.
    frequency : DataArray
        Nominal bands [Hz].
    air_stiffness : float
        Of the air below as designed [N/m³], 0 or more; less than that of the whole layer.
    air_loss_factor : float
        Of that air [-], above 0 and at most 1.
    contact_stiffness : float, optional
        Dynamic stiffness of one contact [N/m]; none for contacts that do not give way.
    contacts_at_edge : bool
        Whether contacts meet the floating slab at its free edge.

    Raises
    ------
    ValueError
        A parameter out of bounds, or a floor that varies over dims.

    Notes
    -----
    A slab that moves as one on mounts and air, side by side; contacts as in ``BridgedFloor``:
    springs beside the layer below the fifth mode of the slab, power into its bending from there on.
    Between the first and the fifth mode neither is right, by several decibels.

    References
    ----------
    As of ``BridgedFloor``.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import FloatingFloor
    >>> layer = FloatingFloor(mass_per_area=240.0, stiffness_per_area=240.0 * (2*np.pi*10.0)**2,
    ...                       loss_factor=0.1)
    >>> floor = BridgedFloor(floor=layer, area=30.0, bending_stiffness=2.6e6, loss_factor=0.03,
    ...                      base_bending_stiffness=4.07e7, base_mass_per_area=600.0)
    >>> model = FloorModel(floor=floor, frequency=third_octaves(80, 100))
    >>> model(contacts=0.0).round(1).tolist(), model(contacts=1.0).round(1).tolist()
    ([-24.6, -24.9], [1.4, 0.4])
    """

    floor: BridgedFloor
    frequency: xr.DataArray
    air_stiffness: float = 0.0
    air_loss_factor: float = 0.05
    contact_stiffness: float | None = None
    contacts_at_edge: bool = False

    def __post_init__(self) -> None:
        where = "FloorModel"
        layer = self.floor.floor
        for name, value in (
            ("mass_per_area", layer.mass_per_area),
            ("stiffness_per_area", layer.stiffness_per_area),
            ("loss_factor", layer.loss_factor),
            ("area", self.floor.area),
            ("bending_stiffness", self.floor.bending_stiffness),
        ):
            if np.ndim(value):
                raise ValueError(f"{where}: {name} of the floor is an array; one floor is modelled")
        whole = float(layer.stiffness_per_area)
        within(where, "air_stiffness", self.air_stiffness, 0.0, whole, "N/m³")
        if self.air_stiffness >= whole:
            raise ValueError(
                f"{where}: air_stiffness is {self.air_stiffness:g} N/m³, all that the layer has; "
                "the mounts need a part"
            )
        positive(where, "air_loss_factor", self.air_loss_factor, "")
        within(where, "air_loss_factor", self.air_loss_factor, 0.0, 1.0, "")
        if self.contact_stiffness is not None:
            positive(where, "contact_stiffness", self.contact_stiffness, "N/m")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (HYSTERETIC, POINT_BRIDGE, PARALLEL_CONTACT, PLATE_ON_BED)

    @property
    def mount_stiffness(self) -> float:
        """Of the mounts as designed [N/m³]."""
        return float(self.floor.floor.stiffness_per_area) - self.air_stiffness

    @property
    def mount_frequency(self) -> float:
        """Of the floor on its mounts alone, as designed [Hz]."""
        return float(np.sqrt(self.mount_stiffness / float(self.floor.floor.mass_per_area))) / (
            2 * np.pi
        )

    @cached_property
    def _inside(self) -> Array:
        """Frequencies in every band [Hz]: frequency, single frequency."""
        return np.asarray(single_frequencies(self.frequency, loss_factor=_FINE).values, float)

    @cached_property
    def _middle(self) -> Array:
        return np.asarray(exact(self.frequency).values, float)

    def __call__(
        self,
        *,
        mount_frequency: Any = None,
        loss_factor: Any = None,
        air_stiffness: Any = None,
        contacts: Any = 0.0,
        contact_stiffness: Any = None,
        edge_contacts: Any = 0.0,
        mass_ratio: Any = 1.0,
    ) -> Array:
        """Level change by band [dB]; numbers, or arrays of one shape whose axes come first.

        Parameters
        ----------
        mount_frequency : float or ndarray, optional
            Of the floor as designed on its mounts alone [Hz].
        loss_factor : float or ndarray, optional
            Of the mounts [-].
        air_stiffness : float or ndarray, optional
            [N/m³].
        contacts : float or ndarray
            Number of contacts [-].
        contact_stiffness : float or ndarray, optional
            Of one contact [N/m]; that of the model by default.
        edge_contacts : float or ndarray
            Number of contacts at the edge that do not give way, besides [-].
        mass_ratio : float or ndarray
            Mass over that as designed [-]; mounts keep their stiffness.
        """
        design, floor = self.floor.floor, self.floor
        m0, whole = float(design.mass_per_area), float(design.stiffness_per_area)
        given = (
            self.mount_frequency if mount_frequency is None else mount_frequency,
            self._mount_loss(whole) if loss_factor is None else loss_factor,
            self.air_stiffness if air_stiffness is None else air_stiffness,
            contacts,
            edge_contacts,
            mass_ratio,
            (self.contact_stiffness or np.inf) if contact_stiffness is None else contact_stiffness,
        )
        f0, eta, air, count, edge, ratio, firm = (
            np.asarray(v, float)[..., None] for v in np.broadcast_arrays(*given)
        )
        mounts, mass = (2 * np.pi * f0) ** 2 * m0, m0 * ratio
        stiffness = mounts + air
        loss = (mounts * eta + air * self.air_loss_factor) / stiffness
        rigidity = float(floor.bending_stiffness)
        omega = 2 * np.pi * self._middle
        at_edge, inside = (1 / (of * np.sqrt(rigidity * mass)) for of in (_EDGE, _INTERIOR))
        upper = at_edge if self.contacts_at_edge else inside
        lower = 1 / (
            _INTERIOR
            * np.sqrt(float(floor.base_bending_stiffness) * float(floor.base_mass_per_area))
        )
        lost = omega * float(floor.loss_factor) * mass * float(floor.area)
        passed = count * upper / (((lower + upper) ** 2 + (omega / firm) ** 2) * lost)
        passed = passed + edge * at_edge / ((lower + at_edge) ** 2 * lost)
        passed = np.minimum(passed, float(floor.base_mass_per_area) / mass)
        bed = 8 * np.sqrt(rigidity * stiffness)
        bridged = stiffness + (count / (1 / bed + 1 / firm) + edge * bed) / float(floor.area)
        first = 2 * FIRST_MODES / float(floor.area) * np.sqrt(rigidity / mass)
        resonant = self._middle >= first
        limit = 10 ** (-float(floor.largest_loss) / 10)
        low = _layer(self._inside, np.where(resonant, stiffness, bridged), mass, loss) + limit
        found: Array = 10 * np.log10(low + np.where(resonant, passed, 0.0))
        return found

    def _mount_loss(self, whole: float) -> float:
        """Loss factor of the mounts alone [-], of that of the whole layer."""
        lost = float(self.floor.floor.loss_factor) * whole
        return max((lost - self.air_stiffness * self.air_loss_factor) / self.mount_stiffness, 1e-3)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class MountsModel:
    """Level change of a mass on mounts with rigid bridges and further ways beside them.

    Parameters
    ----------
    natural_frequency : float
        Of the mounts under their load, as designed [Hz], above 0.
    loss_factor : float
        Of the mounts [-], above 0 and at most 1.
    frequency : DataArray
        Nominal bands [Hz].
    largest_loss : float
        What arrives by other ways as designed lies so far below what arrives without isolation
        [dB], 0 to 120.
    bridge_loss_factor : float
        Of bridges [-], above 0 and at most 1.

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    A rigid mass on rigid ground; of a real frame only how a fault *changes* the prediction is to be
    taken from it.

    References
    ----------
    Transmissibility with hysteretic damping [from memory]; energies of further ways [derived].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> model = MountsModel(natural_frequency=4.0, loss_factor=0.1, frequency=third_octaves(63, 63))
    >>> model().round(1).tolist(), model(bypass=20.0).round(1).tolist()
    ([-25.0], [-20.0])
    """

    natural_frequency: float
    loss_factor: float
    frequency: xr.DataArray
    largest_loss: float = SINGLE_STAGE_LIMIT
    bridge_loss_factor: float = 0.02

    def __post_init__(self) -> None:
        where = "MountsModel"
        positive(where, "natural_frequency", self.natural_frequency, "Hz")
        for name in ("loss_factor", "bridge_loss_factor"):
            positive(where, name, getattr(self, name), "")
            within(where, name, getattr(self, name), 0.0, 1.0, "")
        within(where, "largest_loss", self.largest_loss, 0.0, 120.0, "dB")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (HYSTERETIC,)

    @cached_property
    def _inside(self) -> Array:
        return np.asarray(single_frequencies(self.frequency, loss_factor=_FINE).values, float)

    def __call__(
        self,
        *,
        natural_frequency: Any = None,
        loss_factor: Any = None,
        mass_ratio: Any = 1.0,
        bridge: Any = 0.0,
        bypass: Any = None,
    ) -> Array:
        """Level change by band [dB]; numbers, or arrays of one shape whose axes come first.

        Parameters
        ----------
        natural_frequency, loss_factor : float or ndarray, optional
            Of the mounts under the mass as designed [Hz], [-].
        mass_ratio : float or ndarray
            Mass over that as designed [-].
        bridge : float or ndarray
            Stiffness of bridges over that of the mounts [-].
        bypass : float or ndarray, optional
            What arrives by other ways lies so far below what arrives without isolation [dB].
        """
        given = (
            self.natural_frequency if natural_frequency is None else natural_frequency,
            self.loss_factor if loss_factor is None else loss_factor,
            mass_ratio,
            bridge,
            self.largest_loss if bypass is None else bypass,
        )
        f0, eta, ratio, beside, way = (
            np.asarray(v, float)[..., None] for v in np.broadcast_arrays(*given)
        )
        mounts = (2 * np.pi * f0) ** 2
        stiffness = mounts * (1 + beside)
        loss = (eta + beside * self.bridge_loss_factor) / (1 + beside)
        found: Array = 10 * np.log10(
            _layer(self._inside, stiffness, ratio, loss) + 10 ** (-way / 10)
        )
        return found


def _layer(inside: Array, stiffness: Array, mass: Array, loss: Array) -> Array:
    """Band means of ``|v2/v1|²`` of a mass on a lossy spring; a band may have its own spring."""
    ratio2 = (2 * np.pi * inside) ** 2 * (mass / stiffness)[..., None]
    eta2 = (loss**2)[..., None]
    mean: Array = ((1 + eta2) / ((1 - ratio2) ** 2 + eta2)).mean(axis=-1)
    return mean


def slab_resonance(
    frequency: xr.DataArray, *, resonance: Any, participation: Any, loss_factor: float
) -> Array:
    """What a mode of the slab adds to a level, ``|1 + g r²/(1 − r² + jη)|²`` with r = f/f_s [dB].

    Parameters
    ----------
    frequency : DataArray
        Nominal bands [Hz].
    resonance, participation : float or ndarray
        f_s [Hz], and g [-], of one shape whose axes come first.
    loss_factor : float
        η [-].
    """
    fs, g = (
        np.asarray(v, float)[..., None, None] for v in np.broadcast_arrays(resonance, participation)
    )
    inside = np.asarray(single_frequencies(frequency, loss_factor=loss_factor).values, float)
    r2 = (inside / fs) ** 2
    gain = abs(1 + g * r2 / (1 - r2 + 1j * loss_factor)) ** 2
    found: Array = 10 * np.log10(gain.mean(axis=-1))
    return found


AT_EDGE, INSIDE = "edge", "interior"


def with_contacts(model: FloorModel, *, place: str, stiffness: float | None) -> FloorModel:
    """The same floor with contacts of another kind."""
    from dataclasses import replace

    known("with_contacts", "place", place, (AT_EDGE, INSIDE))
    return replace(model, contacts_at_edge=place == AT_EDGE, contact_stiffness=stiffness)
