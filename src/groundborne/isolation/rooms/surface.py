"""Isolation of one surface of a room: floating floor, lining on strips, hung ceiling."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, positive, within
from groundborne.bands import single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.bypass import EnergyPath, bypassed_loss
from groundborne.isolation.transmissibility import HYSTERETIC, hysteretic
from groundborne.levels import decibel, mean_square, stamp_change
from groundborne.path import SURFACE, End


def beside_the_path(change: xr.DataArray, *, largest_loss: Numeric) -> xr.DataArray:
    """Level change of a layer with the way beside it that limits a stage [dB].

    Parameters
    ----------
    change : DataArray
        Of the layer alone [dB].
    largest_loss : float or DataArray
        What arrives by the way lies so far below what arrives without the layer [dB], 0 or more.

    Examples
    --------
    >>> beside_the_path(xr.DataArray([-40.0, 5.0]), largest_loss=25.0).round(2).values.tolist()
    [-24.86, 5.0]
    """
    path = EnergyPath(name="whatever limits the stage", reduction=largest_loss)
    return xr.DataArray(-bypassed_loss(-change, paths=[path]))


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SurfaceIsolation:
    """One resilient stage under, in front of or below a surface, on a slab or wall that is heavy.

    Parameters
    ----------
    natural_frequency : float or DataArray
        Of the layer with its mass, the air behind it included [Hz], above 0 and at most 100.
    loss_factor : float or DataArray
        Hysteretic loss factor [-], above 0.
    largest_loss : float or DataArray
        What the stage comes close to and never reaches [dB]; 25 dB was the most found by
        measurement.

    Notes
    -----
    The level change is the band mean of the hysteretic transmissibility, to which the way that
    limits a stage adds its energy: ``10 lg[10^(ΔL/10) + 10^(−largest_loss/10)]``;
    :meth:`limited` tells where it passes more than the layer. Around its resonance the layer
    amplifies.

    References
    ----------
    Transmissibility: Harris; Bies and Hansen [from memory]. Limit: Walker and Mathers 1989 [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> floor = SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
    >>> floor.level_change(third_octaves(25, 63)).round(1).values.tolist()
    [-14.0, -18.0, -21.1, -23.1, -24.2]
    """

    natural_frequency: Numeric
    loss_factor: Numeric
    largest_loss: Numeric = SINGLE_STAGE_LIMIT

    def __post_init__(self) -> None:
        where = "SurfaceIsolation"
        positive(where, "natural_frequency", self.natural_frequency, "Hz")
        within(where, "natural_frequency", self.natural_frequency, 0.0, 100.0, "Hz")
        positive(where, "loss_factor", self.loss_factor, "")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        within(where, "largest_loss", self.largest_loss, 0.0, 60.0, "dB")

    @property
    def quantity_in(self) -> End:
        """Velocity of the surface as built without the layer."""
        return SURFACE

    @property
    def quantity_out(self) -> End:
        """Velocity of the surface with it."""
        return SURFACE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of curve and limit."""
        return (HYSTERETIC, WALKER_MATHERS)

    def _ideal(self, frequency: xr.DataArray) -> xr.DataArray:
        f = single_frequencies(frequency, loss_factor=self.loss_factor)
        ratio = hysteretic(f / self.natural_frequency, loss_factor=self.loss_factor)
        return decibel(mean_square(xr.DataArray(ratio), "single_frequency"))

    def limited(self, frequency: Frequency) -> xr.DataArray:
        """Where the way that limits a stage passes more than the layer."""
        limited: xr.DataArray = self._ideal(frequency) < -self.largest_loss
        return limited

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of the transmissibility, with the way beside it [dB]."""
        ideal = self._ideal(frequency)
        change = beside_the_path(ideal, largest_loss=self.largest_loss)
        return stamp_change(change, long_name="surface isolation", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)
