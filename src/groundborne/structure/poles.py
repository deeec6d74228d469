"""A slab with a floating floor on it as partial fractions of its modal sums.

Every mode of the panel answers with ``F(k⁴)``, a rational function of the fourth power of its wave
number. Written as ``Σ c/(k⁴ − z)``, each pole ``z`` needs one modal sum in closed form
(:mod:`groundborne.structure.panel`), however many modes there are: one pole for a bare slab or a
floor that reacts locally, two for a floor that bends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne.structure import panel, thin_slab
from groundborne.structure.thin_slab import Panel


@dataclass(frozen=True, eq=False)
class Poles:
    """Answer of a panel's modes to a unit pressure of their shape.

    Parameters
    ----------
    at : tuple of DataArray
        Poles ``z`` [m⁻⁴], complex.
    slab, top : tuple of DataArray
        Numerators of slab and floating floor, one for each pole [1/(N m)]; `top` is that of the
        slab where nothing floats.
    """

    at: tuple[xr.DataArray, ...]
    slab: tuple[Any, ...]
    top: tuple[Any, ...]

    @classmethod
    def of(cls, slab: Panel, frequency: xr.DataArray) -> Poles:
        """Poles at frequencies in Hz."""
        floor = slab.floating_floor
        if floor is not None and floor.bends:
            return cls._of_two_plates(slab, frequency)
        below = 1 / _stiffness(slab)
        above = below if floor is None else below * floor.velocity_ratio(frequency)
        return cls((thin_slab.wavenumber4(slab, frequency),), (below,), (above,))

    @classmethod
    def _of_two_plates(cls, slab: Panel, frequency: xr.DataArray) -> Poles:
        """``B1 k⁴ − m1 ω² + s (1 − T)`` with ``T = s/(s + B2 k⁴ − m2 ω²)``, inverted."""
        floor = slab.floating_floor
        assert floor is not None
        square = (2 * np.pi * frequency) ** 2
        b1, b2 = _stiffness(slab), floor.bending_stiffness * (1 + 1j * floor.bending_loss_factor)
        bed = floor.stiffness_per_area * (1 + 1j * floor.loss_factor)
        m1, m2 = thin_slab.mass_per_area(slab) * square, floor.mass_per_area * square
        free = bed - m2
        linear = b1 * free - m1 * b2 + bed * b2
        constant = -m1 * free - bed * m2
        root: Any = np.sqrt(linear**2 - 4 * b1 * b2 * constant)
        # The sign that adds up, so that a thin floor's far pole costs no digits.
        root = xr.where((np.conj(linear) * root).real < 0, -root, root)
        q = -(linear + root) / 2
        first, second = constant / q, q / (b1 * b2)
        scale = b1 * b2 * (first - second)
        return cls(
            (first, second),
            ((b2 * first + free) / scale, -(b2 * second + free) / scale),
            (bed / scale, -bed / scale),
        )

    def total(
        self, function: Any, slab: Panel, shares: tuple[Any, ...], *more: xr.DataArray
    ) -> xr.DataArray:
        """``Σ w F(k⁴)`` with a function that :func:`~thin_slab.modal_sum` takes."""
        parts = [
            share * thin_slab.modal_sum(function, slab, z, *more)
            for share, z in zip(shares, self.at, strict=True)
        ]
        result: xr.DataArray = sum(parts[1:], start=parts[0])
        return result

    def mean_square(self, function: Any, slab: Panel, shares: tuple[Any, ...]) -> xr.DataArray:
        """``Σ w |F(k⁴)|²``.

        Products of two poles follow from ``Σ w/((k⁴ − z1)(k⁴ − z2*)) = (S(z1) − S(z2)*)/(z1 −
        z2*)``.
        """
        result: xr.DataArray = xr.DataArray(0.0)
        for share, z in zip(shares, self.at, strict=True):
            own = thin_slab.modal_sum(
                lambda z, a, b: panel.squared_sum(function, z, a, b), slab, z, dtype=float
            )
            result = result + abs(share) ** 2 * own
        if len(self.at) == 2:
            first, second = (thin_slab.modal_sum(function, slab, z) for z in self.at)
            product = (first - np.conj(second)) / (self.at[0] - np.conj(self.at[1]))
            result = result + 2 * (shares[0] * np.conj(shares[1]) * product).real
        return result


def _stiffness(slab: Panel) -> Any:
    return thin_slab.bending_stiffness(slab) * (1 + 1j * slab.loss_factor)
