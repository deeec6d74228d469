"""A column's share of a foundation that carries many."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, positive
from groundborne.citation import DERIVED, Citation
from groundborne.structure.element import Mobility


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SharedFoundation:
    """The part of a raft or pile group that one column line may call its own.

    All columns are taken to move in phase, so that each sees its share of the whole impedance.

    Parameters
    ----------
    foundation : Mobility
        The whole foundation.
    share : float or DataArray
        Part of its impedance that falls to the column [-], above 0: by area for a raft, by number
        for piles.

    Raises
    ------
    ValueError
        A share that is not above 0.

    Examples
    --------
    >>> from groundborne.structure import RigidMass
    >>> part = SharedFoundation(foundation=RigidMass(mass=600e3), share=1 / 6)
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> whole = RigidMass(mass=100e3).driving_point_mobility(f)
    >>> bool(abs(part.driving_point_mobility(f) / whole - 1).max() < 1e-12)
    True
    """

    foundation: Mobility
    share: Numeric

    def __post_init__(self) -> None:
        positive("SharedFoundation", "share", self.share, "")

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the foundation."""
        return tuple(dict.fromkeys((DERIVED, *self.foundation.citations)))

    @property
    def loss_factor_floor(self) -> float:
        """That of the foundation."""
        return self.foundation.loss_factor_floor

    def driving_point_mobility(self, frequency: Frequency) -> xr.DataArray:
        """Mobility of the whole over the share [m/(N s)]."""
        return self.foundation.driving_point_mobility(frequency) / self.share

    def soil_impedance(self, frequency: Frequency) -> xr.DataArray:
        """Share of the impedance of the soil, without the mass of the foundation [N s/m].

        Raises
        ------
        ValueError
            A foundation that does not tell soil from mass.
        """
        of_whole = getattr(self.foundation, "soil_impedance", None)
        if of_whole is None:
            raise ValueError(
                f"SharedFoundation: {type(self.foundation).__name__} does not tell its soil from "
                "its mass; give it a method soil_impedance(frequency)"
            )
        share: xr.DataArray = of_whole(frequency) * self.share
        return share
