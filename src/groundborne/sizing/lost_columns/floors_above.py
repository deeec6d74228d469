"""Floors above the isolation plane as one plate on the packs, between two bounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, counted, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.structure.plate import plate_bending_stiffness
from groundborne.structure.plate_on_springs import PlateOnSprings
from groundborne.structure.plate_parts import PlateBeam, PlatePart
from groundborne.structure.supports import on_columns

FLOORS_TOGETHER = Citation(
    key="floors-bend-together",
    author="groundborne",
    title="floors tied by columns that do not shorten bend alike: their rigidities add up",
    mark="derived",
    status="transcribed",
)
CRACKED = Citation(
    key="cracked-flat-slab",
    author="ACI 318",
    year="2014",
    title="flat plates and flat slabs keep a quarter of their second moment of area",
    locator="Table 6.6.3.1.1(a)",
    mark="from memory",
    status="transcribed",
)
_MOST_DEFLECTION = 0.5
BOUNDS = ("soft", "stiff")
"""Floors cracked, and not: what is true lies between, or beyond where walls are built in."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FloorsAbove:
    """Floors above the packs, all bending alike, between two bounds of rigidity.

    Parameters
    ----------
    storeys : int
        Floors above the isolation plane that bend together, the one on it and the roof included.
    thickness : float
        Of a slab [m]; 0.25 where left out (common practice of flat slabs).
    youngs_modulus : float
        Of the slabs [Pa]; 33 GPa where left out (concrete C30/37).
    poisson : float
        Poisson's ratio.
    cracked : float
        Rigidity left in the soft bound over that of the uncracked slab, above 0 to 1.
    mount_stiffness : float or DataArray, optional
        Static stiffness of each pack [N/m] on ``column``. Where left out, packs that all go down
        by `deflection` under the load of the case. Packs that would go down by more than 0.5 m are
        refused.
    deflection : float
        Of packs not yet chosen [m]; 15 mm where left out: springs of 4 Hz.
    column_stiffness : float or DataArray, optional
        Of each column or pier beside its pack, in series with it [N/m]; rigid where left out.
    outline : sequence of pairs
        Rectangles ``((x0, x1), (y0, y1))`` [m] that the floors cover, meeting along edges; the box
        round all columns and `overhang` where left out.
    overhang : float
        How far the floors reach beyond the outermost columns [m].
    beams : sequence of PlateBeam
        Transfer beams and walls in the sense of the stiff bound; the soft bound takes `cracked` of
        them.

    Notes
    -----
    Walls that rise through several storeys make a building stiffer than the stiff bound unless
    they are given as beams.

    The bounds are those of the rigidity, and no envelope of what follows from it: a load of a
    column need not lie between its values at the two. With rigidities in between, on the layouts
    tried, it was up to 0.6 % of its load before beyond both.

    The elements are those :class:`~groundborne.structure.PlateOnSprings` takes by itself. Against
    finer ones, on the layouts tried, the load of the worst neighbour of a lost column was within
    1.3 %, those of other columns within 4.6 % of what they carried before.

    References
    ----------
    Rigidities add up [derived]; cracked: ACI 318-14 Table 6.6.3.1.1(a) [from memory]; C30/37: EN
    1992-1-1 Table 3.1 [from memory]; thickness and deflection: common practice.

    Examples
    --------
    >>> (FloorsAbove(storeys=25, thickness=0.23).rigidity / 1e8).round(2).values.tolist()
    [2.18, 8.71]
    """

    storeys: int
    thickness: float = 0.25
    youngs_modulus: float = 33e9
    poisson: float = 0.2
    cracked: float = 0.25
    mount_stiffness: Numeric | None = None
    deflection: float = 0.015
    column_stiffness: Numeric | None = None
    outline: Sequence[tuple[tuple[float, float], tuple[float, float]]] = ()
    overhang: float = 0.5
    beams: Sequence[PlateBeam] = ()

    def __post_init__(self) -> None:
        where = "FloorsAbove"
        if self.storeys < 1:
            raise ValueError(f"{where}: storeys is {self.storeys}; a whole number, 1 or more")
        within(where, "thickness", self.thickness, 0.02, 5.0, "m")
        within(where, "youngs_modulus", self.youngs_modulus, 1e8, 1e12, "Pa")
        within(where, "poisson", self.poisson, 0.0, 0.5, "")
        within(where, "cracked", self.cracked, 1e-3, 1.0, "")
        within(where, "deflection", self.deflection, 1e-5, _MOST_DEFLECTION, "m", "is it in mm?")
        not_negative(where, "overhang", self.overhang, "m")
        for name in ("mount_stiffness", "column_stiffness"):
            if getattr(self, name) is not None:
                positive(where, name, getattr(self, name), "N/m")

    @property
    def rigidity(self) -> xr.DataArray:
        """Of all floors together [N m], on ``rigidity``: soft and stiff."""
        one = plate_bending_stiffness(
            youngs_modulus=self.youngs_modulus, thickness=self.thickness, poisson=self.poisson
        )
        return xr.DataArray(
            self.storeys * float(one) * np.array([self.cracked, 1.0]),
            coords={"rigidity": list(BOUNDS)},
            attrs={"units": "N m", "long_name": "bending rigidity of all floors"},
        )

    def support_stiffness(self, load: xr.DataArray) -> xr.DataArray:
        """Of each column with its pack [N/m], on ``column``.

        Parameters
        ----------
        load : DataArray
            On each column [N]; gives the stiffness of packs not yet chosen.
        """
        where = "FloorsAbove.support_stiffness"
        mount: Any = load / self.deflection
        if self.mount_stiffness is not None:
            mount = on_columns(where, "mount_stiffness", self.mount_stiffness, load["column"])
            within(where, "deflection of packs under load, by mount_stiffness,", abs(load) / mount,
                   0.0, _MOST_DEFLECTION, "m",
                   "mount_stiffness is in N/m, is it given in N/mm or kN/mm?")  # fmt: skip
        soft = 1 / mount
        if self.column_stiffness is not None:
            soft = soft + 1 / on_columns(
                where, "column_stiffness", self.column_stiffness, load["column"]
            )
        total: xr.DataArray = (1 / soft).drop_attrs()
        return total

    def plate(
        self, x: xr.DataArray, y: xr.DataArray, stiffness: Numeric, *, bound: str
    ) -> PlateOnSprings:
        """The floors on their columns.

        Parameters
        ----------
        x, y : DataArray
            Positions [m] on ``column``.
        stiffness : float or DataArray
            Of each column with its pack [N/m].
        bound : str
            ``"soft"`` or ``"stiff"``.

        Returns
        -------
        PlateOnSprings
            With the rigidity of that bound.
        """
        if bound not in BOUNDS:
            raise ValueError(f"FloorsAbove.plate: bound is {bound!r}; known are {BOUNDS}")
        rigidity = float(self.rigidity.sel(rigidity=bound))
        share = self.cracked if bound == "soft" else 1.0
        out = self.overhang
        box = ((float(x.min()) - out, float(x.max()) + out),
               (float(y.min()) - out, float(y.max()) + out))  # fmt: skip
        parts = [
            PlatePart(x=along, y=across, rigidity=rigidity, poisson=self.poisson)
            for along, across in (self.outline or [box])
        ]
        beams = [
            replace(
                beam,
                bending_stiffness=share * beam.bending_stiffness,
                torsion_stiffness=share * beam.torsion_stiffness,
            )
            for beam in self.beams
        ]
        return PlateOnSprings(x=x, y=y, stiffness=stiffness, parts=parts, beams=beams)

    def said(self) -> str:
        """What is assumed, in words."""
        soft, stiff = (float(v) for v in self.rigidity)
        under = (
            f"packs that go down {self.deflection * 1e3:g} mm under the loads"
            if self.mount_stiffness is None
            else "packs of the stiffness given"
        )
        columns = (
            "rigid columns" if self.column_stiffness is None else "columns of the stiffness given"
        )
        beams = f" and {counted(len(self.beams), 'beam')}" if self.beams else ""
        return (
            f"{counted(self.storeys, 'floor')} of {self.thickness * 1e3:g} mm, "
            f"{self.youngs_modulus / 1e9:g} GPa{beams} bend together: {stiff:.3g} N m uncracked "
            f"(stiff), {soft:.3g} N m with {self.cracked:g} of it left (soft); on {under}, under "
            f"{columns}"
        )
