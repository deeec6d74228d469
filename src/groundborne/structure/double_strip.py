"""A one-way slab with a layer on it that bends: two beams on each other, in closed form.

The slab stands on two supports that move together and lets its ends turn; the layer lies on its bed
with free ends. Each strip of both obeys ``D1 w1⁗ − m1 ω² w1 + s (w1 − w2) = 0`` and the same with
the numbers exchanged; what is even about mid-span is a sum of four cosines of complex arguments,
which the four conditions at an end fix.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne.structure.thin_slab import Bending

_TERMS = 4


@dataclass(frozen=True, eq=False)
class DoubleStrip:
    """Answer to a unit motion of both supports.

    Parameters
    ----------
    wave : DataArray
        ``a h`` of the terms ``cos(a x)/cos(a h)`` on ``term``, complex; h is half the span.
    slab, layer : DataArray
        Their shares in the motion of slab and layer [-].
    """

    wave: xr.DataArray
    slab: xr.DataArray
    layer: xr.DataArray

    @classmethod
    def of(cls, slab: Bending, frequency: xr.DataArray) -> DoubleStrip:
        """Solve at frequencies in Hz."""
        floor = slab.floating_floor
        assert floor is not None
        square = (2 * np.pi * frequency) ** 2
        solved = xr.apply_ufunc(
            _solved,
            slab.bending_stiffness * (1 + 1j * slab.loss_factor),
            floor.stiffness_along_span * (1 + 1j * floor.bending_loss_factor),
            floor.stiffness_per_area * (1 + 1j * floor.loss_factor),
            slab.mass_per_area * square,
            floor.mass_per_area * square,
            slab.span_x / 2,
            output_core_dims=[["term"]] * 3,
            join="exact",
            keep_attrs=False,
            dask="parallelized",
            output_dtypes=[complex] * 3,
            dask_gufunc_kwargs={"output_sizes": {"term": _TERMS}},
        )
        return cls(*solved)

    def _share(self, on_layer: bool) -> xr.DataArray:
        return self.layer if on_layer else self.slab

    def mean(self, *, on_layer: bool) -> xr.DataArray:
        """Mean over the span, over the motion of the supports."""
        each: xr.DataArray = self._share(on_layer) * np.tan(self.wave) / self.wave
        return each.sum("term", skipna=False)

    def middle(self, *, on_layer: bool) -> xr.DataArray:
        """At mid-span, over the motion of the supports."""
        each: xr.DataArray = self._share(on_layer) / np.cos(self.wave)
        return each.sum("term", skipna=False)

    def mean_square(self, *, on_layer: bool) -> xr.DataArray:
        """Mean square over the span, over that of the supports."""
        found: xr.DataArray = xr.apply_ufunc(
            _mean_square,
            self.wave,
            self._share(on_layer) / np.cos(self.wave),
            input_core_dims=[["term"]] * 2,
            keep_attrs=False,
            dask="parallelized",
            dask_gufunc_kwargs={"meta": np.empty(0, float)},
        )
        return found


def _solved(d1: Any, d2: Any, bed: Any, m1: Any, m2: Any, half: Any) -> tuple[Any, Any, Any]:
    """Waves and shares of slab and layer, terms last."""
    d1, d2, bed, m1, m2, half = np.broadcast_arrays(d1, d2, bed, m1, m2, half)
    wave, ratio = _waves(d1, d2, bed, m1, m2)
    wave = wave * half[..., None]
    share = _shares(wave, ratio)
    return wave, share, share * ratio


def _mean_square(wave: Any, share: Any) -> Any:
    """Mean of ``|Σ share cos(a x)|²`` over the span, by the means of products of two cosines."""
    one, other = wave[..., :, None], np.conj(wave)[..., None, :]
    products = (_sinc(one + other) + _sinc(one - other)) / 2
    return (share[..., :, None] * np.conj(share)[..., None, :] * products).sum((-1, -2)).real


def _waves(d1: Any, d2: Any, bed: Any, m1: Any, m2: Any) -> tuple[Any, Any]:
    """Wave numbers of the four terms, and the layer's motion over the slab's in each."""
    slab, layer = bed - m1, bed - m2
    # (d1 x + slab)(d2 x + layer) = bed², x = a⁴; the sign that adds up loses no digits.
    linear = d1 * layer + d2 * slab
    constant = slab * layer - bed**2
    root = np.sqrt(linear**2 - 4 * d1 * d2 * constant)
    root = np.where((np.conj(linear) * root).real < 0, -root, root)
    q = -(linear + root) / 2
    fourth = np.stack([constant / q, q / (d1 * d2)], axis=-1)
    ratio = (d1[..., None] * fourth + slab[..., None]) / bed[..., None]
    wave = fourth**0.25
    return np.concatenate([wave, 1j * wave], axis=-1), np.concatenate([ratio, ratio], axis=-1)


def _shares(wave: Any, ratio: Any) -> Any:
    """Shares by the conditions at an end: slab moved and unbent, layer without moment or force."""
    bent = wave**2
    conditions = np.stack(
        [np.ones_like(wave), bent, bent * ratio, wave * bent * np.tan(wave) * ratio], axis=-2
    )
    size = np.abs(conditions).max(axis=-1, keepdims=True)
    moved = np.zeros((*wave.shape[:-1], _TERMS, 1), dtype=complex)
    moved[..., 0, 0] = 1.0
    return np.linalg.solve(conditions / size, moved / size)[..., 0]


def _sinc(x: Any) -> Any:
    """``sin x/x``, of complex numbers too."""
    return np.sinc(x / np.pi)
