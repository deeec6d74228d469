"""One column of a building with its slabs, mounts and foundation: what reaches each floor."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known
from groundborne.bands import single_frequencies
from groundborne.citation import DERIVED, Citation
from groundborne.levels import decibel, stamp_change
from groundborne.structure import line_floors, response
from groundborne.structure.element import Mobility
from groundborne.structure.phases import IN_PHASE, ColumnPhases
from groundborne.structure.reverberant import POWER_BALANCE
from groundborne.structure.slab import Slab
from groundborne.structure.storey import FloorName, IsolationPlane, Storey, line_mass

COLUMN_LINE = Citation(
    key="column-line",
    author="Cremer and Heckl",
    title="Structure-borne Sound: columns as longitudinal rods, slabs as shunt impedances",
    mark="from memory",
    status="transcribed",
)
POWER_FLOW = Citation(
    key="power-flow-insertion",
    author="Talbot and Hunt (authors from memory)",
    year="2000",
    title="journal abstract on base-isolated buildings",
    locator="power through the mounts as the measure, not the motion of a single point",
    mark="seen second-hand",
    status="transcribed",
)


@checked(renamed={"base_level": "base_floor", "level": "floor"})
@dataclass(frozen=True, kw_only=True, eq=False)
class ColumnLine:
    """A column from its foundation to the roof, driven by the free velocity of the ground.

    Parameters
    ----------
    storeys : tuple of Storey
        From bottom to top, at least one; floor names differ.
    foundation : Mobility
        Soil, piles and footing under the column.
    base_slab : Slab or RigidMass, optional
        Slab at the foot of the first segment, on the foundation: a ground floor, the column's
        share of a raft.
    base_floor : str or int
        Name of that floor.
    isolation : IsolationPlane, optional
        Where the mounts are.
    phases : ColumnPhases
        How the columns of the grid around this one move against each other.

    Raises
    ------
    ValueError
        No storeys, repeated floor names, an isolation plane outside the building. Whatever asks
        for the mounts (:attr:`mass_above`, :meth:`insertion_loss` and so on) refuses a line
        without.

    Notes
    -----
    Mobilities, ratios and power are at frequencies [Hz]; what is of bands (mean squares, insertion
    losses) takes nominal one-third-octave labels [Hz].

    Segments are longitudinal rods of complex modulus, slabs shunt impedances. From the roof down,
    ``Z_in = Z_c (Z_L + j Z_c tan kL)/(Z_c + j Z_L tan kL)``, plus the slab, and so on; from the
    foundation up, ``v_L/v_0 = 1/(cos kL + j (Z_L/Z_c) sin kL)``. The ground is its free velocity
    behind the mobility of the foundation, so what stands on it acts back on it. Rooms below the
    mounts are in the line like those above.

    Every parameter may be a DataArray; dims such as ``column``, ``sample`` or ``option`` broadcast
    by name and pass through. Equal segments and slabs are evaluated once. What does not depend on
    a dim is not repeated along it. Chunk large samples, or pass dask arrays, to bound the memory.

    All motion is vertical and columns of the same grid move alike; bending of columns, rocking,
    and paths around the mounts (stairs, pipes, soil against basement walls) are not in it. The
    line explains and ranks designs; a structural engineer must confirm stiffnesses and loads.

    References
    ----------
    Cremer and Heckl [from memory]; recursion derived.

    Examples
    --------
    >>> from groundborne.structure import RigidMass, SpringFoundation
    >>> storey = Storey(floor=1, height=3.6, area=0.25, youngs_modulus=35e9, density=2450.0,
    ...                 loss_factor=0.02, slab=RigidMass(mass=50e3))
    >>> line = ColumnLine(storeys=(storey, replace(storey, floor=2)),
    ...                   foundation=SpringFoundation(stiffness=1e9, damping=6e6))
    >>> f = xr.DataArray([0.01], dims="frequency")
    >>> abs(line.velocity_ratio(f)).round(4).values.ravel().tolist()
    [1.0, 1.0]
    """

    storeys: tuple[Storey, ...]
    foundation: Mobility
    base_slab: Slab | Mobility | None = None
    base_floor: FloorName = "base"
    isolation: IsolationPlane | None = None
    phases: ColumnPhases = IN_PHASE

    def __post_init__(self) -> None:
        where = "ColumnLine"
        if not self.storeys:
            raise ValueError(f"{where}: storeys must be at least one Storey, bottom to top")
        floors = self._nodes
        repeated = [n for i, n in enumerate(floors) if n in floors[:i]]
        if repeated:
            raise ValueError(
                f"{where}: the floor {repeated[0]!r} is given twice; names must differ"
            )
        if len({type(floor) for floor in self.floors}) > 1:
            raise ValueError(f"{where}: floors mix names and numbers: {self.floors}; use one kind")
        self._plane()  # refuses what is not in the line

    @property
    def _nodes(self) -> tuple[FloorName, ...]:
        return (self.base_floor, *(s.floor for s in self.storeys))

    @property
    def floors(self) -> tuple[FloorName, ...]:
        """Floors with a slab, bottom to top: the coordinate on ``floor``."""
        return self._nodes if self.base_slab is not None else self._nodes[1:]

    @property
    def slabs(self) -> tuple[Slab | Mobility, ...]:
        """Slabs of these floors."""
        above = tuple(s.slab for s in self.storeys)
        return above if self.base_slab is None else (self.base_slab, *above)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the method and of every part."""
        mount = () if self.isolation is None else self.isolation.mount.citations
        parts = [c for part in (self.foundation, *self.slabs) for c in part.citations]
        own = () if self.phases.in_phase else (*self.phases.citations, POWER_BALANCE)
        return tuple(dict.fromkeys((COLUMN_LINE, DERIVED, *own, *parts, *mount)))

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor in the line [-]."""
        found = [float(np.min(np.asarray(s.loss_factor))) for s in self.storeys]
        found += [part.loss_factor_floor for part in (self.foundation, *self.slabs)]
        if self.isolation is not None:
            found.append(self.isolation.mount.loss_factor_floor)
        return min(found)

    def without_isolation(self) -> ColumnLine:
        """Return the same building standing on its columns, without mounts."""
        return replace(self, isolation=None)

    def _plane(self) -> tuple[int, bool] | None:
        plane = self.isolation
        return None if plane is None else plane.in_line(self._nodes, bare=self.base_slab is None)

    @property
    def total_mass(self) -> Numeric:
        """Columns and slabs, without the foundation [kg]."""
        return self._mass_from(0)

    @property
    def mass_above(self) -> Numeric:
        """Mass the mounts carry [kg]; a slab above them without a finite mass is refused."""
        node, on = self._require_plane("mass_above")
        return self._mass_from(node, on=on)

    def mass_from(self, floor: FloorName) -> Numeric:
        """Mass of the slab of a floor and of all above it [kg]: what mounts under it carry.

        A floor without a slab is a ValueError, and so is a slab from there up without a mass.
        """
        if floor not in self.floors:
            known("ColumnLine.mass_from", "floor", str(floor), [str(n) for n in self.floors])
        return self._mass_from(self._nodes.index(floor))

    def _mass_from(self, node: int, *, on: bool = False) -> Numeric:
        slabs = (self.base_slab, *(s.slab for s in self.storeys))
        return line_mass(self.storeys, dict(zip(self._nodes, slabs, strict=True)), node, on=on)

    def _require_plane(self, what: str) -> tuple[int, bool]:
        plane = self._plane()
        if plane is None:
            raise ValueError(f"ColumnLine.{what}: the line has no isolation; give it one first")
        return plane

    def rigid_body_frequency(self) -> Numeric:
        """Natural frequency of the mass above, as a rigid body on the mounts on rigid ground [Hz].

        The stiffness is that of the mounts near zero frequency. The building itself, with columns,
        slabs and soil that give way, resonates lower.
        """
        self._require_plane("rigid_body_frequency")
        assert self.isolation is not None
        f = xr.DataArray(0.01)
        stiffness = (2j * np.pi * f / self.isolation.mount.two_port(f).c).real
        frequency: Numeric = np.sqrt(stiffness / self.mass_above) / (2 * np.pi)
        return frequency

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility of the line seen from its foundation, foundation not included [m/(N s)].

        Complex; the real part is 0 or more.
        """
        return response.input_mobility(self._terms(frequency))

    def mobilities_at_plane(self, frequency: Frequency) -> tuple[xr.DataArray, xr.DataArray]:
        """Mobilities of all below and all above the mounts, as the mounts meet them [m/(N s)]."""
        self._require_plane("mobilities_at_plane")
        return response.plane_mobilities(self._terms(frequency))

    def velocity_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Velocity of the column at each slab over the free velocity of the ground.

        Returns
        -------
        xarray.DataArray
            Complex [-], dims ``floor`` (bottom to top) and those of frequency and parameters.
        """
        ratio = response.velocities(self._terms(frequency), floors=len(self.floors))
        return ratio.assign_coords(floor=np.array(self.floors))

    def _terms(self, frequency: xr.DataArray) -> response.Terms:
        return response.terms_of(
            frequency,
            storeys=self.storeys,
            base_slab=self.base_slab,
            foundation=self.foundation,
            isolation=self.isolation,
            plane=self._plane(),
            phases=self.phases,
        )

    def _squares(self, terms: response.Terms) -> xr.DataArray:
        squared = response.squares(terms, floors=len(self.floors))
        return squared.assign_coords(floor=np.array(self.floors))

    def transmitted_power(self, frequency: Frequency) -> xr.DataArray:
        """Power through the isolation plane over the square of the free velocity [N s/m].

        Time mean of force times velocity above the mounts, for an rms free velocity of 1 m/s.
        """
        self._require_plane("transmitted_power")
        return response.power(self._terms(frequency))

    def column_mean_square(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of ``|v/v_free|²`` at the column of each floor [-].

        Dims ``floor``, those of the parameters, and ``frequency``. The free velocity is taken as
        flat within each band.
        """
        return response.mean_square(self._squares(self._terms(self._lines(frequency))))

    def foundation_mean_square(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of ``|v/v_free|²`` of the foundation under the line [-].

        What the building and its soil make of the free velocity: a source measured on the loaded
        foundation is this much above the free velocity that drives the line.
        """
        nodes = response.squares(self._terms(self._lines(frequency)), floors=len(self._nodes))
        return response.mean_square(nodes.isel(floor=0))

    def mid_panel_mean_square(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Band mean of ``|v/v_free|²`` at mid-panel of each floor [-].

        Parameters
        ----------
        on_floating_floor : bool
            On the floating floor where a slab has one, else on the structural slab.

        Returns
        -------
        xarray.DataArray
            As :meth:`column_mean_square`. A rigid mass moves like its column.

        Raises
        ------
        ValueError
            A slab that has no mid-panel (an infinite plate).
        """
        return self._at_place("mid_panel", frequency, on_floating_floor)

    def surface_mean_square(
        self, frequency: Frequency, *, on_floating_floor: bool = False
    ) -> xr.DataArray:
        """Band mean of the surface mean square of ``v/v_free`` of each floor [-].

        Parameters, result and errors as of :meth:`mid_panel_mean_square`.
        """
        return self._at_place("surface", frequency, on_floating_floor)

    def _at_place(self, place: str, frequency: Frequency, on_top: bool) -> xr.DataArray:
        return self.floor_mean_squares(frequency, places=(place,), on_floating_floor=on_top)[place]

    def floor_mean_squares(
        self,
        frequency: Frequency,
        *,
        places: Sequence[str] = ("column", "surface", "mid_panel"),
        on_floating_floor: bool = False,
        other_slabs: Mapping[str, tuple[FloorName, Slab]] | None = None,
    ) -> dict[str, xr.DataArray]:
        """Band means of ``|v/v_free|²`` at several places of each floor, from one solution [-].

        Parameters
        ----------
        places : sequence of str
            ``column``, ``surface`` (mean of the square), ``slab`` (the same of the structural slab
            whatever floats on it), ``mid_panel``, and ``mean`` (square of the mean velocity of the
            surface).
        on_floating_floor : bool
            As for :meth:`mid_panel_mean_square`.
        other_slabs : mapping of str to (floor, Slab), optional
            Slabs beside those of the line, by a name of their own: what a slab of another kind on
            a floor does, moved by the same columns. It does not load the line.

        Returns
        -------
        dict of str to xarray.DataArray
            By place, each as :meth:`column_mean_square`; on ``floor`` the floors and after them the
            names of `other_slabs`.

        Raises
        ------
        ValueError
            An unknown place, or a slab that has no such place.
        """
        for place in places:
            known("ColumnLine.floor_mean_squares", "place", place, line_floors.PLACES)
        others = line_floors.besides(other_slabs or {}, self.floors)
        smallest = min([self.loss_factor_floor, *(s.loss_factor_floor for _, s in others.values())])
        f = single_frequencies(frequency, loss_factor=smallest)
        return line_floors.mean_squares(
            self._squares(self._terms(f)),
            f,
            slabs=dict(zip(self.floors, self.slabs, strict=True)),
            others=others,
            places=places,
            on_floating_floor=on_floating_floor,
            phases=self.phases,
        )

    def insertion_loss(self, frequency: Frequency) -> xr.DataArray:
        """Insertion loss of the mounts at the column of each floor, per band [dB].

        Returns
        -------
        xarray.DataArray
            Ten times the logarithm of the band's mean square without mounts over that with
            them; positive lowers the level. Dims as :meth:`column_mean_square`.
        """
        self._require_plane("insertion_loss")
        ratio = self._without_over_with(
            frequency, lambda terms: response.mean_square(self._squares(terms))
        )
        return stamp_change(
            decibel(ratio.transpose("floor", ..., "frequency")),
            long_name="insertion loss at the columns",
            citations=self.citations,
        )

    def power_insertion_loss(self, frequency: Frequency) -> xr.DataArray:
        """Insertion loss in power through the isolation plane, per band [dB].

        Power without mounts over that with them: one number for all that is above the mounts,
        where the loss in velocity moves with the point it is measured at.

        References
        ----------
        Idea of Talbot and Hunt 2000 (abstract).
        """
        self._require_plane("power_insertion_loss")
        ratio = self._without_over_with(
            frequency, lambda terms: response.power(terms).mean("single_frequency", skipna=False)
        )
        return stamp_change(
            decibel(ratio.transpose(..., "frequency")),
            long_name="insertion loss in power through the mounts",
            citations=(*self.citations, POWER_FLOW),
        )

    def _without_over_with(
        self, frequency: xr.DataArray, measure: Callable[[response.Terms], xr.DataArray]
    ) -> xr.DataArray:
        """What bands hold without the mounts over what they hold with them, all else asked once."""
        isolated = self._terms(self._lines(frequency))
        return measure(replace(isolated, mount=None)) / measure(isolated)

    def _lines(self, frequency: xr.DataArray) -> xr.DataArray:
        return single_frequencies(frequency, loss_factor=self.loss_factor_floor)
