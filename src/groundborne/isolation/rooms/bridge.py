"""Rigid contacts that short-circuit a floating floor: what they lose, and which is worst.

A duct, a pipe, mortar in the perimeter joint, a fixing through the layer: each passes vibration
beside the resilient layer. Below the first modes of the floating slab it acts as a spring in
parallel with the layer; above them it feeds power into the slab at a point.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.bands import exact, single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.rooms.surface import beside_the_path
from groundborne.isolation.transmissibility import HYSTERETIC, hysteretic
from groundborne.levels import decibel, energy, mean_square, stamp_change
from groundborne.path import SURFACE, End
from groundborne.structure import FloatingFloor, InfinitePlate
from groundborne.structure.plate import PLATE_POINT

POINT_BRIDGE = Citation(
    key="point-bridge-power-balance",
    author="groundborne",
    title="power through point contacts into a resonant slab, capped at equal modal energy",
    locator="after the method of Cremer and Heckl, which is from memory",
    mark="derived",
    status="transcribed",
)
PARALLEL_CONTACT = Citation(
    key="contact-in-parallel",
    author="groundborne",
    title="contacts as springs beside the layer, √(f0² + N k/(4π² m)), each in series with the "
    "floating slab on its bed",
    mark="derived",
    status="transcribed",
)
PLATE_ON_BED = Citation(
    key="plate-on-bed-point-stiffness",
    author="Hertz; Timoshenko and Woinowsky-Krieger",
    title="point stiffness of a plate on an elastic bed, 8 √(B′ s′)",
    mark="from memory",
    status="transcribed",
)

FIRST_MODES = 5
"""Modes of the floating slab below which it has no resonant field [-]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Contact:
    """Alike rigid contacts between a floating slab and the structure.

    Parameters
    ----------
    name : str
        As it should stand in a table.
    count : float or DataArray
        How many, 0 or more.
    stiffness : float or DataArray, optional
        Dynamic stiffness of one contact [N/m]; none for one that does not give way at all.
    at_edge : bool
        The contact meets the floating slab at its free edge.

    Raises
    ------
    ValueError
        A count or stiffness out of bounds.

    Examples
    --------
    >>> Contact(name="mortar in the joint", count=2, at_edge=True).at_edge
    True
    """

    name: str
    count: Numeric = 1
    stiffness: Numeric | None = None
    at_edge: bool = False

    def __post_init__(self) -> None:
        not_negative("Contact", f"count of {self.name!r}", self.count, "")
        if self.stiffness is not None:
            positive("Contact", f"stiffness of {self.name!r}", self.stiffness, "N/m")


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class BridgedFloor:
    """A floating slab with rigid contacts.

    Parameters
    ----------
    floor : FloatingFloor
        The layer without contacts.
    area : float or DataArray
        Of the floating slab [m²], above 0.
    bending_stiffness : float or DataArray
        B′ of the floating slab [N m], above 0.
    loss_factor : float or DataArray
        Of the floating slab's bending, what it loses into the layer included [-], above 0 and at
        most 1.
    base_bending_stiffness, base_mass_per_area : float or DataArray
        Of the slab below [N m], [kg/m²], above 0.
    contacts : tuple of Contact
        May be empty.
    largest_loss : float or DataArray
        What the floor without contacts comes close to and never reaches [dB].

    Raises
    ------
    ValueError
        A parameter out of bounds, or two contacts of one name.

    Notes
    -----
    From the fifth mode of the floating slab upwards (:attr:`resonant_from`) a contact passes
    ``v2²/v1² = N Re Y2/(|Y1 + Y2 + jω/k|² η ω m2″ S)`` with the point mobilities of both slabs.
    Contacts are taken to act independently, and together no more than ``m1″/m2″``: equal modal
    energy (:meth:`capped` tells where). That adds to what the layer passes:
    ``10 lg(10^(ΔL/10) + v2²/v1²)``. Below, each contact is a spring beside the layer, in series
    with the floating slab on its bed, ``8 √(B′ s′)``: the floor's resonance rises and it passes
    what such a floor passes.

    Where both meet the curve steps: neither holds within the first modes, where a single contact
    may lose more or less than either by several decibels, and :meth:`valid` is False there.

    References
    ----------
    Derived after Cremer and Heckl [from memory]; plate on a bed: Hertz [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import plate_bending_stiffness
    >>> below, above = (plate_bending_stiffness(youngs_modulus=30e9, thickness=h, poisson=0.2)
    ...                 for h in (0.25, 0.1))
    >>> layer = FloatingFloor(mass_per_area=240.0, stiffness_per_area=240.0 * (2*np.pi*10.0)**2,
    ...                       loss_factor=0.1)
    >>> floor = BridgedFloor(floor=layer, area=30.0, bending_stiffness=above, loss_factor=0.03,
    ...                      base_bending_stiffness=below, base_mass_per_area=600.0,
    ...                      contacts=(Contact(name="pipe"),))
    >>> floor.level_change(third_octaves(50, 100)).round(1).values.tolist()
    [3.4, 2.4, 1.4, 0.4]
    >>> floor.without_contacts.level_change(third_octaves(50, 100)).round(1).values.tolist()
    [-23.1, -24.2, -24.6, -24.9]
    """

    floor: FloatingFloor
    area: Numeric
    bending_stiffness: Numeric
    loss_factor: Numeric
    base_bending_stiffness: Numeric
    base_mass_per_area: Numeric
    contacts: tuple[Contact, ...] = ()
    largest_loss: Numeric = SINGLE_STAGE_LIMIT

    def __post_init__(self) -> None:
        where = "BridgedFloor"
        positive(where, "area", self.area, "m²")
        positive(where, "bending_stiffness", self.bending_stiffness, "N m")
        positive(where, "loss_factor", self.loss_factor, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        positive(where, "base_bending_stiffness", self.base_bending_stiffness, "N m")
        positive(where, "base_mass_per_area", self.base_mass_per_area, "kg/m²")
        within(where, "largest_loss", self.largest_loss, 0.0, 60.0, "dB")
        names = [contact.name for contact in self.contacts]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"{where}: two contacts are called {twice[0]!r}; name them apart")

    @property
    def quantity_in(self) -> End:
        """Velocity of the slab below."""
        return SURFACE

    @property
    def quantity_out(self) -> End:
        """Velocity of the floating slab."""
        return SURFACE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        own = (POINT_BRIDGE, PARALLEL_CONTACT, PLATE_ON_BED, PLATE_POINT)
        return (*own, HYSTERETIC, WALKER_MATHERS, *self.floor.citations)

    @property
    def without_contacts(self) -> BridgedFloor:
        """The same floor with none."""
        return replace(self, contacts=())

    @property
    def resonant_from(self) -> Numeric:
        """Frequency below which the floating slab has five modes, ``(10/S) √(B′/m″)`` [Hz]."""
        speed: Numeric = np.sqrt(self.bending_stiffness / self.floor.mass_per_area)
        return 2 * FIRST_MODES / self.area * speed

    @property
    def bridged_frequency(self) -> Numeric:
        """Natural frequency of the floor as a rigid mass with the contacts beside it [Hz]."""
        bed = 8 * np.sqrt(self.bending_stiffness * self.floor.stiffness_per_area)
        stiffness: Numeric = 0.0
        for contact in self.contacts:
            compliance = 1 / bed
            if contact.stiffness is not None:
                compliance = compliance + 1 / contact.stiffness
            stiffness = stiffness + contact.count / compliance
        total = self.floor.stiffness_per_area + stiffness / self.area
        frequency: Numeric = np.sqrt(total / self.floor.mass_per_area) / (2 * np.pi)
        return frequency

    def _uncapped(self, frequency: xr.DataArray) -> xr.DataArray:
        """Sum over contacts of ``v2²/v1²`` at frequencies in Hz [-]."""
        omega = 2 * np.pi * frequency
        upper = {
            edge: InfinitePlate(
                bending_stiffness=self.bending_stiffness,
                mass_per_area=self.floor.mass_per_area,
                position="edge" if edge else "interior",
            ).driving_point_mobility(frequency)
            for edge in (False, True)
        }
        lower = InfinitePlate(
            bending_stiffness=self.base_bending_stiffness, mass_per_area=self.base_mass_per_area
        ).driving_point_mobility(frequency)
        lost = omega * self.loss_factor * self.floor.mass_per_area * self.area
        total = xr.zeros_like(frequency, dtype=float)
        for contact in self.contacts:
            here = upper[contact.at_edge]
            through = lower + here
            if contact.stiffness is not None:
                through = through + 1j * omega / contact.stiffness
            total = total + contact.count * here.real / (abs(through) ** 2 * lost)
        return total

    def _cap(self) -> Numeric:
        return self.base_mass_per_area / self.floor.mass_per_area

    def bridge_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Mean square velocity passed by the contacts over that of the slab below, capped [-].

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels; meaningful from :attr:`resonant_from` upwards.
        """
        ratio = self._uncapped(frequency)
        capped: xr.DataArray = ratio.where(~(ratio > self._cap()), self._cap())
        return capped

    def capped(self, frequency: Frequency) -> xr.DataArray:
        """Bands where equal modal energy limits what the contacts pass."""
        f = exact(frequency)
        capped: xr.DataArray = (self._uncapped(f) > self._cap()) & self.resonant(frequency)
        return capped

    def resonant(self, frequency: Frequency) -> xr.DataArray:
        """Bands from the fifth mode of the floating slab upwards."""
        resonant: xr.DataArray = exact(frequency) >= self.resonant_from
        return resonant

    def _layer(self, frequency: xr.DataArray, natural_frequency: Numeric) -> xr.DataArray:
        f = single_frequencies(frequency, loss_factor=self.floor.loss_factor)
        ratio = hysteretic(f / natural_frequency, loss_factor=self.floor.loss_factor)
        ideal = decibel(mean_square(xr.DataArray(ratio), "single_frequency"))
        return beside_the_path(ideal, largest_loss=self.largest_loss)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Of the floating slab's surface over the slab below [dB]."""
        layer = energy(self._layer(frequency, self.floor.natural_frequency))
        above = decibel(layer + self.bridge_ratio(exact(frequency)))
        below = self._layer(frequency, self.bridged_frequency)
        change = xr.where(self.resonant(frequency), above, below)
        return stamp_change(change, long_name="bridged floor", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """False from the first to the fifth mode, where neither formula holds."""
        f = exact(frequency)
        outside: xr.DataArray = (f >= self.resonant_from) | (f < self.resonant_from / FIRST_MODES)
        return outside

    def allowed_contacts(
        self, frequency: Frequency, *, loss: Numeric, contact: Contact
    ) -> xr.DataArray:
        """How many contacts of a kind raise the level of the floor by no more than `loss`.

        Parameters
        ----------
        frequency : DataArray
            Nominal labels [Hz], all from :attr:`resonant_from` upwards.
        loss : float or DataArray
            Rise against the floor without any contact [dB], above 0.
        contact : Contact
            The kind; its count is not used.

        Returns
        -------
        xarray.DataArray
            ``(10^(loss/10) − 1) 10^(ΔL/10)/(v2²/v1² of one)`` [-]; below 1 not a single one.
            The cap is left out, which lets it err on the strict side only.

        Raises
        ------
        ValueError
            A loss that is not above 0, or a band below the slab's fifth mode.
        """
        where = "BridgedFloor.allowed_contacts"
        positive(where, "loss", loss, "dB")
        if not bool(self.resonant(frequency).all()):
            first = float(np.max(np.asarray(self.resonant_from)))
            raise ValueError(
                f"{where}: a band lies below {first:.0f} Hz, the fifth mode of the floating slab; "
                "ask for bands above, or use bridged_frequency"
            )
        one = replace(self, contacts=(replace(contact, count=1),))._uncapped(exact(frequency))
        clean = energy(self._layer(frequency, self.floor.natural_frequency))
        allowed: xr.DataArray = clean / one * (10 ** (loss / 10) - 1)
        allowed.attrs = {"units": "1", "long_name": "contacts allowed"}
        return allowed
