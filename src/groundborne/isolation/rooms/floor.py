"""Concrete floors on jack-up mounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.rooms.floor_on_mounts import FloorOnMounts
from groundborne.isolation.rooms.sprung_surface import SprungSurface, require_capacity
from groundborne.structure import plate_bending_stiffness
from groundborne.structure.element import GRAVITY
from groundborne.structure.plate import PLATE_THEORY

CORNER_SUPPORTED = Citation(
    key="corner-supported-plate",
    author="Leissa",
    title="Vibration of plates: square plate on four corner points, λ² = 7.12",
    mark="from memory",
    status="transcribed",
)
JACK_UP_PRACTICE = Citation(
    key="jack-up-practice",
    author="common practice",
    title="jack-up floors: two-way moment q a²/9 of the slab on its mounts",
    mark="common practice",
    status="practice",
)
PLATE_ON_MOUNTS = Citation(
    key="plate-on-mounts",
    author="groundborne",
    title="plate with free edges on a grid of mounts: it moves like a mass on springs while its "
    "bending waves are longer than five mount spacings",
    mark="derived",
)

CORNER_FACTOR = 7.12
"""``2π f a² √(m″/B′)`` of a square plate on its corners [-], from memory."""
SPACINGS_IN_A_WAVE = 5.0
"""Least bending wavelength over the wider mount spacing for a slab that moves as one [-]."""
LEAST_STIFF_RATIO = 3.0
"""Frequency up to which a stiff slab has to move as one, over that of the floor [-]: there a mass
on springs gains 18 dB."""
MOMENT_DIVISOR = 9.0
"""``M = q a²/9`` of a slab on a grid of points [-], common practice, the larger of 1/9 to 1/11."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class JackUpFloor(SprungSurface):
    """A concrete slab that is cast on the structural slab and lifted on its mounts.

    Parameters
    ----------
    thickness : float or DataArray
        Of the concrete [m], above 0.
    density : float or DataArray
        Of the concrete [kg/m³], above 0.
    youngs_modulus : float or DataArray
        Dynamic modulus of the concrete [Pa], above 0.
    mount_stiffness : float or DataArray
        Dynamic stiffness of one mount at its load [N/m], above 0.
    mount_loss_factor : float or DataArray
        Hysteretic loss factor of the mounts [-], above 0 and at most 1.
    spacing_x, spacing_y : float or DataArray
        Mount grid [m], above 0.
    air_gap : float or DataArray
        Between the slabs, after lifting and with all load on [m], above 0.
    air_state : str
        As for :func:`~groundborne.isolation.air_stiffness`; sealed unless shown otherwise.
    superimposed_mass : float or DataArray
        Finishes and what stands on the floor for good [kg/m²].
    finish_thickness : float or DataArray
        Of the finishes [m].
    imposed_load : float or DataArray
        Largest load besides [N/m²]; it counts for the mounts' capacity, not for the frequency.
    mount_capacity : float or DataArray, optional
        Most a mount may carry [N].
    dynamic_to_static : float or DataArray
        Dynamic over static stiffness of the mounts [-], 1 to 5.
    poisson : float or DataArray
        Poisson's ratio of the concrete.

    Raises
    ------
    ValueError
        A parameter out of bounds, or mounts that are overloaded.

    Notes
    -----
    Interior mounts carry one field of the grid; edge rows depend on the plan and are the
    engineer's to check, as are cracking, punching at the mount sleeves and the load case of
    lifting. Nothing here is a structural design: local codes and a licensed engineer decide.

    Losses are those of a slab that moves as one, or with the slab below it. Above
    :attr:`stiff_up_to` its free edges and the gaps between mounts make it bend by itself, and
    single bands lose less: 100 mm on a vented 1.8 m grid, 9 × 7.2 m, 5 dB less at 40 Hz;
    :meth:`on_mounts` works it out.

    References
    ----------
    Springs in parallel, gas law [derived]; slab between mounts: Leissa [from memory]; slab as a
    whole on its mounts [derived]; moments: common practice.

    Examples
    --------
    >>> floor = JackUpFloor(thickness=0.1, density=2500.0, youngs_modulus=30e9,
    ...                     mount_stiffness=1.4e6, mount_loss_factor=0.1, spacing_x=1.5,
    ...                     spacing_y=1.5, air_gap=0.05)
    >>> floor.frequencies.round(1).values.tolist(), floor.frequencies["air"].values.tolist()
    ([18.7, 16.4, 17.0, 7.9], ['sealed', 'filled', 'standard', 'vented'])
    >>> round(float(floor.panel_frequency), 1), bool(floor.panel_is_stiff)
    (51.4, False)
    >>> round(float(floor.stiff_up_to), 1)
    11.4
    """

    thickness: Numeric
    density: Numeric
    youngs_modulus: Numeric
    mount_stiffness: Numeric
    mount_loss_factor: Numeric
    spacing_x: Numeric
    spacing_y: Numeric
    air_gap: Numeric
    air_state: str = "sealed"
    superimposed_mass: Numeric = 0.0
    finish_thickness: Numeric = 0.0
    imposed_load: Numeric = 0.0
    mount_capacity: Numeric | None = None
    dynamic_to_static: Numeric = 1.0
    poisson: Numeric = 0.2

    def __post_init__(self) -> None:
        where = "JackUpFloor"
        units = {
            "thickness": "m", "density": "kg/m³", "youngs_modulus": "Pa",
            "mount_stiffness": "N/m", "mount_loss_factor": "", "spacing_x": "m", "spacing_y": "m",
        }  # fmt: skip
        for name, unit in units.items():
            positive(where, name, getattr(self, name), unit)
        within(where, "thickness", self.thickness, 1e-3, 10.0, "m")
        within(where, "mount_loss_factor", self.mount_loss_factor, 0.0, 1.0, "")
        within(where, "dynamic_to_static", self.dynamic_to_static, 1.0, 5.0, "")
        within(where, "poisson", self.poisson, 0.0, 0.499, "")
        not_negative(where, "superimposed_mass", self.superimposed_mass, "kg/m²")
        not_negative(where, "finish_thickness", self.finish_thickness, "m")
        not_negative(where, "imposed_load", self.imposed_load, "N/m²")
        self._check_air("air_gap")
        require_capacity(
            where,
            support="mount",
            load=self.largest_mount_load,
            capacity=self.mount_capacity,
            remedy="set them closer, or take a mount for that load",
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        own = (CORNER_SUPPORTED, PLATE_ON_MOUNTS, JACK_UP_PRACTICE, PLATE_THEORY)
        return (*self._own_citations(), *own)

    @property
    def in_words(self) -> str:
        """What it is."""
        return "jack-up concrete floor"

    @property
    def air(self) -> tuple[Numeric, str]:
        """Depth [m] and state of the air."""
        return self.air_gap, self.air_state

    def _support_loss_factor(self) -> Numeric:
        return self.mount_loss_factor

    def _layer_bending_stiffness(self) -> Numeric:
        return self.bending_stiffness

    @property
    def mass_per_area(self) -> Numeric:
        """Concrete and superimposed mass [kg/m²]."""
        return self.thickness * self.density + self.superimposed_mass

    @property
    def support_stiffness_per_area(self) -> Numeric:
        """Dynamic stiffness of the mounts [N/m³]."""
        return self.mount_stiffness / (self.spacing_x * self.spacing_y)

    @property
    def build_up(self) -> Numeric:
        """Air gap, concrete and finishes [m]."""
        return self.air_gap + self.thickness + self.finish_thickness

    @property
    def mount_load(self) -> Numeric:
        """What an interior mount carries of what moves with the floor [N]."""
        return self.mass_per_area * GRAVITY * self.spacing_x * self.spacing_y

    @property
    def largest_mount_load(self) -> Numeric:
        """The same with the imposed load [N]."""
        return self.mount_load + self.imposed_load * self.spacing_x * self.spacing_y

    @property
    def static_deflection(self) -> Numeric:
        """Of an interior mount under :attr:`mount_load` [m]."""
        return self.mount_load * self.dynamic_to_static / self.mount_stiffness

    @property
    def bending_stiffness(self) -> Numeric:
        """B′ of the uncracked slab [N m]."""
        return plate_bending_stiffness(
            youngs_modulus=self.youngs_modulus, thickness=self.thickness, poisson=self.poisson
        )

    @property
    def panel_frequency(self) -> Numeric:
        """Bending of the slab between mounts that do not move [Hz].

        ``7.12 √(B′/m″)/(2π a²)``, a field with free edges on its four corners and with the wider
        spacing a: the lower bound for the edge of a floor. Inside, where the slab runs on, the
        lowest is ``π² √(B′/m″)/(2π a²)``, 1.4 times higher.
        """
        widest = np.maximum(self.spacing_x, self.spacing_y)
        root = np.sqrt(self.bending_stiffness / self.mass_per_area)
        frequency: Numeric = CORNER_FACTOR * root / (2 * np.pi * widest**2)
        return frequency

    @property
    def stiff_up_to(self) -> Numeric:
        """Frequency up to which the slab moves as one on its mounts [Hz].

        ``2π √(B′/m″)/(25 a²)``: there its bending waves are as long as five of the wider mount
        spacings, at 0.22 of :attr:`panel_frequency`. By a plate with free edges on springs, bands
        below lie within 2 dB of a mass on springs where each mount stands in the middle of its
        field, within 5 dB where rows along the edges carry half fields; up to a third of
        :attr:`panel_frequency` it is about 5 and 8 dB, up to all of it 14 and 19 dB. It depends on
        plan and damping, not on the stiffness of the mounts.
        """
        widest = np.maximum(self.spacing_x, self.spacing_y)
        root = np.sqrt(self.bending_stiffness / self.mass_per_area)
        frequency: Numeric = 2 * np.pi * root / (SPACINGS_IN_A_WAVE * widest) ** 2
        return frequency

    @property
    def panel_is_stiff(self) -> bool | Numeric:
        """Whether the slab moves as one up to three times its natural frequency.

        A mass on springs gains 18 dB there; a slab that bends before may gain several decibels
        less in single bands, see :attr:`stiff_up_to`.
        """
        return self.stiff_up_to >= LEAST_STIFF_RATIO * self.natural_frequency

    @property
    def notes(self) -> tuple[str, ...]:
        """From where on the slab bends by itself, in words; nothing for a stiff one."""
        if bool(np.all(self.panel_is_stiff)):
            return ()
        lowest = float(np.min(np.asarray(self.stiff_up_to)))
        widest = float(np.max(np.maximum(self.spacing_x, self.spacing_y)))
        said = (
            f"from {lowest:.0f} Hz on bending waves of the floating slab are shorter than five "
            f"mount spacings of {widest:.2g} m: single bands may lose several decibels less than "
            "said; a closer grid or a thicker slab moves that up"
        )
        return (said,)

    def on_mounts(
        self,
        *,
        fields_x: int,
        fields_y: int,
        rows_at_edges: bool = False,
        bending_loss_factor: Numeric = 0.03,
    ) -> FloorOnMounts:
        """The slab with its free edges on its mounts, over a base that moves as one.

        Parameters
        ----------
        fields_x, fields_y, rows_at_edges, bending_loss_factor
            As for :class:`FloorOnMounts`.

        Returns
        -------
        FloorOnMounts
            It says what bands above :attr:`stiff_up_to` lose.
        """
        gap, state = self.air
        return FloorOnMounts(
            mass_per_area=self.mass_per_area,
            bending_stiffness=self.bending_stiffness,
            spacing_x=self.spacing_x,
            spacing_y=self.spacing_y,
            fields_x=fields_x,
            fields_y=fields_y,
            mount_stiffness=self.mount_stiffness,
            mount_loss_factor=self.mount_loss_factor,
            air_gap=gap,
            air_state=state,
            rows_at_edges=rows_at_edges,
            bending_loss_factor=bending_loss_factor,
            poisson=self.poisson,
        )

    @property
    def bending_stress(self) -> Numeric:
        """Static stress of the uncracked slab on a grid of points, ``6 (q a²/9)/h²`` [Pa].

        With own weight, superimposed mass and imposed load; the peak at a mount is higher.
        """
        load = self.mass_per_area * GRAVITY + self.imposed_load
        widest = np.maximum(self.spacing_x, self.spacing_y)
        stress: Numeric = 6 * load * widest**2 / (MOMENT_DIVISOR * self.thickness**2)
        return stress

    def stays_uncracked(self, *, tensile_strength: Numeric) -> bool | Numeric:
        """Whether :attr:`bending_stress` stays below the concrete's tensile strength.

        Parameters
        ----------
        tensile_strength : float or DataArray
            Of the concrete in bending [Pa], from the structural engineer.
        """
        positive("JackUpFloor.stays_uncracked", "tensile_strength", tensile_strength, "Pa")
        return self.bending_stress <= tensile_strength


@checked
def poured_thickness(*, volume: Numeric, area: Numeric) -> Numeric:
    """Mean thickness of a floor from the concrete that went into it.

    Parameters
    ----------
    volume : float or DataArray
        Concrete poured [m³], above 0.
    area : float or DataArray
        Of the floor [m²], above 0.

    Returns
    -------
    float or DataArray
        [m]; against the thickness ordered it tells whether the floor is heavier than its mounts
        were chosen for.

    Raises
    ------
    ValueError
        A parameter that is not above 0.

    References
    ----------
    Common practice: 350 m² and 40 m³ is a floor about 115 mm thick.

    Examples
    --------
    >>> round(1e3 * poured_thickness(volume=40.0, area=350.0))
    114
    """
    positive("poured_thickness", "volume", volume, "m³")
    positive("poured_thickness", "area", area, "m²")
    return volume / area
