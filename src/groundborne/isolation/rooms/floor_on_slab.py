"""A floating floor on the slab that carries it, both bending."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, within
from groundborne.bands import exact, single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.rooms.surface import beside_the_path
from groundborne.isolation.transmissibility import coupled_frequencies
from groundborne.levels import decibel, stamp_change
from groundborne.path import SURFACE, End
from groundborne.structure import BareSlab, EdgeSupportedSlab, FloatingFloor, Mobility

FLOOR_ON_SLAB = Citation(
    key="floor-on-slab",
    author="groundborne",
    title="surface mean square of a floating floor over that of the bare slab, mode by mode",
    mark="derived",
    status="transcribed",
)


@checked(infinite=("return",))
@dataclass(frozen=True, kw_only=True, eq=False)
class FloorOnSlab:
    """A floating floor (or hung ceiling) on the slab that carries it, mode by mode.

    Parameters
    ----------
    floor : FloatingFloor
        The layer, from ``.layer()`` of a floor or ceiling.
    slab : BareSlab
        The bare slab, without a floating floor of its own.
    below : Mobility, optional
        Mobility of what carries the slab, at the column or the edges. Without it columns and edges
        move the same with and without the layer.
    largest_loss : float or DataArray
        What the stage comes close to and never reaches [dB], as for :class:`SurfaceIsolation`.

    Raises
    ------
    ValueError
        A slab that has a floating floor already, or a limit out of bounds.

    Notes
    -----
    Level change: surface mean square of the layer over that of the bare slab, each as an energy
    mean over single frequencies in the band. The layer loads every mode of the slab, which splits
    into two; a layer tuned to a slab mode moves that mode aside but brings two others. Beside
    ``below`` the column answers to slab and layer together.

    On a :class:`FlatSlab` the layer bends with every mode as far as its own stiffness lets it, and
    runs on over the panels. On a :class:`OneWaySlab` it bends with free ends, as long as the span:
    beams on elements 0.6 m apart agree within 1 dB to 50 Hz, where a limp layer of the slab's own
    weight would be 10 dB off. On an :class:`EdgeSupportedSlab` its free edges do not follow the
    slab's modes and it is taken as limp: 100 mm of concrete on 6 × 4.5 m of 200 mm then loses up
    to 12 dB less from 25 Hz upwards than this says, by finite elements. There bands above
    :attr:`local_up_to` are not valid.

    References
    ----------
    Derived; limit: Walker and Mathers 1989 [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.structure import FlatSlab
    >>> slab = FlatSlab(span_x=8.0, span_y=7.5, thickness=0.28, youngs_modulus=38e9,
    ...                 density=2400.0, poisson=0.2, loss_factor=0.05)
    >>> floor = FloatingFloor(mass_per_area=250.0, stiffness_per_area=1e6, loss_factor=0.1)
    >>> floor_on_slab = FloorOnSlab(floor=floor, slab=slab)
    >>> [round(float(f), 1) for f in floor_on_slab.coupled_frequencies]
    [8.6, 15.5]
    >>> floor_on_slab.level_change(third_octaves(8, 63))[[0, -1]].round(1).values.tolist()
    [16.8, -23.9]
    """

    floor: FloatingFloor
    slab: BareSlab
    below: Mobility | None = None
    largest_loss: Numeric = SINGLE_STAGE_LIMIT

    def __post_init__(self) -> None:
        if self.slab.floating_floor is not None:
            raise ValueError(
                "FloorOnSlab: slab has a floating_floor already; give the bare slab, and the layer "
                "as floor"
            )
        within("FloorOnSlab", "largest_loss", self.largest_loss, 0.0, 60.0, "dB")

    @property
    def quantity_in(self) -> End:
        """Velocity of the bare slab's surface."""
        return SURFACE

    @property
    def quantity_out(self) -> End:
        """Velocity of the layer's surface."""
        return SURFACE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of formula, slab, layer and limit."""
        carried = () if self.below is None else self.below.citations
        own = (FLOOR_ON_SLAB, WALKER_MATHERS, *self.slab.citations, *self.floor.citations)
        return tuple(dict.fromkeys((*own, *carried)))

    @property
    def loaded_slab(self) -> BareSlab:
        """The slab with the layer on it, limp where the slab stands on its edges."""
        edges = isinstance(self.slab, EdgeSupportedSlab)
        return replace(self.slab, floating_floor=self.floor.limp() if edges else self.floor)

    @property
    def coupled_frequencies(self) -> tuple[Numeric, Numeric]:
        """The two into which layer and first mode of the slab turn, supports at rest [Hz]."""
        mass = self.slab.mass_per_area
        return coupled_frequencies(
            lower_stiffness=mass * (2 * np.pi * self.slab.first_resonance) ** 2,
            lower_mass=mass,
            upper_stiffness=self.floor.stiffness_per_area,
            upper_mass=self.floor.mass_per_area,
        )

    @property
    def local_up_to(self) -> Numeric:
        """Frequency up to which a stiff layer on a slab on its edges may be taken as limp [Hz].

        Where waves of the slab bend the layer with a quarter of its bed's stiffness,
        ``B2′ ω² m1″/B1′ = s′/4``; infinite for a limp layer.
        """
        if not self.floor.bends:
            return np.inf
        bed = self.floor.stiffness_per_area * self.slab.bending_stiffness
        bent = self.floor.bending_stiffness * self.slab.mass_per_area
        frequency: Numeric = np.sqrt(bed / bent) / (4 * np.pi)
        return frequency

    def _surface(self, slab: BareSlab, f: xr.DataArray) -> xr.DataArray:
        """Mean square of the top surface for a unit free velocity of what is below."""
        ratio = slab.surface_mean_square_ratio(f, on_floating_floor=True)
        if self.below is None:
            return ratio
        ys, yr = self.below.driving_point_mobility(f), slab.driving_point_mobility(f)
        return ratio * abs(yr / (ys + yr)) ** 2

    def unlimited_change(self, frequency: Frequency) -> xr.DataArray:
        """Level change by the formula alone, without the largest loss [dB].

        Parameters
        ----------
        frequency : DataArray
            Nominal labels [Hz].
        """
        loaded = self.loaded_slab
        floor = 1.0 if self.below is None else self.below.loss_factor_floor
        f = single_frequencies(frequency, loss_factor=min(loaded.loss_factor_floor, floor))
        top, bare = (
            self._surface(slab, f).mean("single_frequency", skipna=False)
            for slab in (loaded, self.slab)
        )
        change = decibel(top / bare)
        return stamp_change(change, long_name="floor on slab", citations=self.citations)

    def limited(self, frequency: Frequency) -> xr.DataArray:
        """Where the way that limits a stage passes more than the layer."""
        limited: xr.DataArray = self.unlimited_change(frequency) < -self.largest_loss
        return limited

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Level change, with the way that limits a stage beside it [dB]."""
        ideal = self.unlimited_change(frequency)
        change = beside_the_path(ideal, largest_loss=self.largest_loss)
        return stamp_change(change, long_name="floor on slab", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """Up to :attr:`local_up_to` on a slab on its edges, else everywhere."""
        if not isinstance(self.slab, EdgeSupportedSlab):
            return xr.ones_like(frequency, dtype=bool)
        valid: xr.DataArray = exact(frequency) <= self.local_up_to
        return valid
