"""What slabs share: fields, checks, masses, wave numbers and the call of the modal sums."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.structure.floating import FloatingFloor
from groundborne.structure.plate import INTERIOR_FACTOR, PLATE_THEORY, plate_bending_stiffness

SLAB_MODES = Citation(
    key="slab-modal-impedance",
    author="groundborne",
    title="modal sums of a thin plate over a column grid and on edges that move together",
    mark="derived",
    status="transcribed",
)


_BOUNDS = (
    ("span_x", 0.01, 1e3, "m"),
    ("span_y", 0.01, 1e3, "m"),
    ("thickness", 1e-3, 20.0, "m"),
    ("youngs_modulus", 1e6, 1e14, "Pa"),
)


class Spans(Protocol):
    """What a sum over a grid is taken over."""

    @property
    def span_x(self) -> Numeric:
        """Column grid or panel [m]."""
        ...

    @property
    def span_y(self) -> Numeric:
        """Column grid or panel [m]."""
        ...


class Bending(Spans, Protocol):
    """What every slab has that bends, and may carry a floating floor."""

    @property
    def mass_per_area(self) -> Numeric:
        """Slab and superimposed mass [kg/m²]."""
        ...

    @property
    def bending_stiffness(self) -> Numeric:
        """Of a metre of width [N m]."""
        ...

    @property
    def loss_factor(self) -> Numeric:
        """Hysteretic loss factor."""
        ...

    @property
    def panel_share(self) -> Numeric:
        """Panels carried."""
        ...

    @property
    def floating_floor(self) -> FloatingFloor | None:
        """What floats on it."""
        ...


class Panel(Bending, Protocol):
    """The fields that slabs of one material share."""

    @property
    def thickness(self) -> Numeric:
        """[m]."""
        ...

    @property
    def youngs_modulus(self) -> Numeric:
        """[Pa]."""
        ...

    @property
    def density(self) -> Numeric:
        """[kg/m³]."""
        ...

    @property
    def poisson(self) -> Numeric:
        """Poisson's ratio."""
        ...

    @property
    def superimposed_mass(self) -> Numeric:
        """[kg/m²]."""
        ...


def check(where: str, slab: Panel) -> None:
    """Refuse fields out of bounds."""
    positive(where, "span_x", slab.span_x, "m")
    positive(where, "span_y", slab.span_y, "m")
    positive(where, "thickness", slab.thickness, "m")
    positive(where, "youngs_modulus", slab.youngs_modulus, "Pa")
    positive(where, "density", slab.density, "kg/m³")
    # Beyond these the sums over modes never end, or end in nothing.
    for name, low, high, unit in _BOUNDS:
        within(where, name, getattr(slab, name), low, high, unit)
    within(where, "poisson", slab.poisson, 0.0, 0.499, "")
    positive(where, "loss_factor", slab.loss_factor, "")
    within(where, "loss_factor", slab.loss_factor, 0.0, 1.0, "")
    not_negative(where, "superimposed_mass", slab.superimposed_mass, "kg/m²")
    positive(where, "panel_share", slab.panel_share, "of a panel")


def bending_stiffness(slab: Panel) -> Numeric:
    """B′ [N m]."""
    return plate_bending_stiffness(
        youngs_modulus=slab.youngs_modulus, thickness=slab.thickness, poisson=slab.poisson
    )


def mass_per_area(slab: Panel) -> Numeric:
    """Slab and superimposed mass [kg/m²]."""
    return slab.density * slab.thickness + slab.superimposed_mass


def point_mobility(slab: Panel) -> Numeric:
    """``1/(8 √(B′m″))`` [m/(N s)], as of an endless plate."""
    mobility: Numeric = 1 / (
        INTERIOR_FACTOR * np.sqrt(bending_stiffness(slab) * mass_per_area(slab))
    )
    return mobility


def mass(slab: Bending) -> Numeric:
    """All mass on the columns or edges [kg]."""
    floor = slab.floating_floor
    per_area = slab.mass_per_area + (0.0 if floor is None else floor.mass_per_area)
    return per_area * slab.span_x * slab.span_y * slab.panel_share


def citations(slab: Panel) -> tuple[Citation, ...]:
    """Name the sources of slab and floating floor."""
    own = (SLAB_MODES, PLATE_THEORY)
    return own if slab.floating_floor is None else (*own, *slab.floating_floor.citations)


def loss_factor_floor(slab: Bending) -> float:
    """Smaller loss factor of slab and floating floor."""
    smallest = float(np.min(np.asarray(slab.loss_factor)))
    floor = slab.floating_floor
    if floor is None:
        return smallest
    smallest = min(smallest, float(np.min(np.asarray(floor.loss_factor))))
    if floor.bends:
        smallest = min(smallest, float(np.min(np.asarray(floor.bending_loss_factor))))
    return smallest


def effective_mass(slab: Bending, frequency: xr.DataArray) -> Any:
    """Mass per area with that of a floating floor [kg/m²], complex if there is one."""
    own = slab.mass_per_area
    floor = slab.floating_floor
    return own if floor is None else own + floor.effective_mass(frequency)


def wavenumber4(slab: Bending, frequency: xr.DataArray) -> xr.DataArray:
    """``κ⁴ = ω² m″/(B′(1 + jη))`` [m⁻⁴] with the mass of a floating floor in it."""
    stiffness = slab.bending_stiffness * (1 + 1j * slab.loss_factor)
    # Frequency last: the modal sums then read their arrays in order.
    z: xr.DataArray = effective_mass(slab, frequency) / stiffness * (2 * np.pi * frequency) ** 2
    return z.astype(complex)


def modal_sum(
    function: Any, slab: Spans, z: xr.DataArray, *more: xr.DataArray, dtype: type = complex
) -> xr.DataArray:
    """Evaluate a sum over modes or waves of a grid by dimension name.

    A function of :mod:`groundborne.structure.panel`, or of :mod:`groundborne.structure.lattice`
    with the phases as `more`.
    """
    result: xr.DataArray = xr.apply_ufunc(
        lambda z, a, b, *rest: function(z, np.asarray(a, float), np.asarray(b, float), *rest),
        z,
        slab.span_x,
        slab.span_y,
        *more,
        join="exact",
        keep_attrs=False,
        dask="parallelized",
        dask_gufunc_kwargs={"meta": np.empty(0, dtype)},
    )
    return result


def modulus_for(where: str, trial: Any, parameters: Any, first_resonance: Numeric) -> Numeric:
    """Modulus [Pa] that gives a slab a first resonance, from one of 1e9 Pa."""
    positive(where, "first_resonance", first_resonance, "Hz")
    if "youngs_modulus" in parameters:
        raise ValueError(
            f"{where}: youngs_modulus is given as well as first_resonance, which sets it"
        )
    modulus: Numeric = 1e9 * (first_resonance / trial(youngs_modulus=1e9).first_resonance) ** 2
    return modulus


def top_ratio(slab: Bending, frequency: xr.DataArray, on_floating_floor: bool) -> Any:
    """Velocity of the top surface over that of the slab, where a floor on it is limp [-]."""
    if slab.floating_floor is None or not on_floating_floor:
        return 1.0
    return slab.floating_floor.velocity_ratio(frequency)
