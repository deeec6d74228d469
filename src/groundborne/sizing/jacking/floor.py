"""A floor on its jacks as a plate on mounts: what turning a jack does, between two bounds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, not_negative, positive, within
from groundborne.citation import DERIVED, Citation, citation_texts
from groundborne.sizing.jacking.grid import JackGrid, on_jacks
from groundborne.sizing.jacking.rules import CAUTIONS
from groundborne.structure import PlateOnSprings, PlatePart
from groundborne.structure.element import GRAVITY

BOUNDS = ("uncracked", "cracked")
"""States of the slab between which it lies."""
ELEMENTS = 6
"""Elements between neighbouring jacks, beside those close to their lines."""
BESIDE = (1 / 24, 1 / 8)
"""Lines of the mesh on either side of each line of jacks, of the distance between jacks.

Moments over mounts are then within 1 % of the largest moment, and those between mounts within 2 %,
against finer meshes and another plate.
"""

_COMPRESSED = (1e-6, 0.3)
"""What the weight of a floor can compress its mounts by [m]."""

CRACKED = Citation(
    key="cracked-slab-factor",
    author="ACI 318",
    title="moment of inertia of flat slabs for elastic analysis under factored loads",
    locator="0.25 of the gross section",
    mark="from memory",
    status="transcribed",
)
WOOD_ARMER = Citation(
    key="wood-armer",
    author="Wood; Armer",
    year="1968",
    title="moments for reinforcement along x and y: the bending and the twisting moment added",
    mark="from memory",
    status="transcribed",
)

Array = np.ndarray[Any, Any]


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class JackedFloor:
    """A slab on jacks, each over one mount, while it is lifted or corrected.

    Parameters
    ----------
    grid : JackGrid
        Jacks in plan, and how far the slab reaches beyond them.
    thickness : float
        Of the slab [m].
    youngs_modulus : float
        Of its concrete at that age [Pa].
    mount_stiffness : float or DataArray
        Static stiffness of each mount [N/m], on ``jack``; above 0. One under which the weight
        would compress a mount by less than 1 µm or more than 0.3 m is refused.
    density : float
        Of the slab [kg/m³]; 2400 where left out (common practice).
    superimposed : float
        Mass that lies on it while jacks are turned [kg/m²].
    cracked : float
        Rigidity of the cracked slab over that of the whole one [-], above 0 and up to 1.
    poisson : float
        Poisson's ratio.

    Raises
    ------
    ValueError
        Numbers out of bounds, mounts that are not the jacks of the grid.

    Notes
    -----
    Thin elastic plate with free edges on linear springs
    (:class:`~groundborne.structure.PlateOnSprings`), which all bear: mounts that hang loose are to
    be taken up first. Everything is given for the whole and for the cracked slab; a real one lies
    between, and neither creep nor shrinkage nor walls on the floor are in it. A jack above a stiff
    slab's mounts lifts the slab by a tenth or a fifth of its own rise and takes load from its
    neighbours; only a slab without stiffness (`thickness` towards 0) would follow each jack.

    References
    ----------
    Derived from the plate on springs; `cracked` ACI 318 (from memory); `density` common practice.

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "C1", "A2", "B2", "C2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 1.5, 3.0] * 2, dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0] * 3 + [1.5] * 3, dims="jack", coords=names))
    >>> floor = JackedFloor(grid=grid, thickness=0.12, youngs_modulus=30e9, mount_stiffness=0.5e6)
    >>> floor.influence()["rise"].sel(raised="B1", jack="B1").round(2).values.tolist()
    [0.36, 0.43]
    >>> float(floor.load().sum("jack")[0].round())
    12709.0
    """

    grid: JackGrid
    thickness: float
    youngs_modulus: float
    mount_stiffness: Numeric
    density: float = 2400.0
    superimposed: float = 0.0
    cracked: float = 0.25
    poisson: float = 0.2

    def __post_init__(self) -> None:
        where = "JackedFloor"
        within(where, "thickness", self.thickness, 1e-3, 1.0, "m")
        within(where, "youngs_modulus", self.youngs_modulus, 1e8, 1e12, "Pa")
        within(where, "density", self.density, 100.0, 10_000.0, "kg/m³")
        not_negative(where, "superimposed", self.superimposed, "kg/m²")
        within(where, "cracked", self.cracked, 0.01, 1.0, "")
        within(where, "poisson", self.poisson, 0.0, 0.5, "")
        positive(where, "mount_stiffness", self.mount_stiffness, "N/m")
        stiffness = on_jacks(where, "mount_stiffness", self.mount_stiffness, self.grid)
        object.__setattr__(self, "mount_stiffness", _plain(stiffness))
        within(
            where,
            "compression of a mount by its part of the weight, by mount_stiffness,",
            self.weight / stiffness.size / self.mount_stiffness,
            *_COMPRESSED,
            "m",
            "mount_stiffness is in N/m, is it given in N/mm or kN/mm?",
        )

    @property
    def weight(self) -> float:
        """Of the whole floor [N]."""
        return self.pressure * sum(float(np.ptp(a) * np.ptp(b)) for a, b in self.grid.rectangles)

    @property
    def pressure(self) -> float:
        """Weight of the floor [Pa]."""
        return (self.thickness * self.density + self.superimposed) * GRAVITY

    @property
    def rigidity(self) -> xr.DataArray:
        """Bending rigidity per width [N m], on ``bound``."""
        whole = self.youngs_modulus * self.thickness**3 / (12 * (1 - self.poisson**2))
        return xr.DataArray(
            [whole, whole * self.cracked],
            dims="bound",
            coords={"bound": list(BOUNDS)},
            attrs={"units": "N m"},
        )

    def plate(self, rigidity: float) -> PlateOnSprings:
        """The floor on its mounts, of one rigidity [N m]."""
        x, y = self.grid.x, self.grid.y
        parts = [PlatePart(x=a, y=b, rigidity=rigidity, poisson=self.poisson)
                 for a, b in self.grid.rectangles]  # fmt: skip
        first, second = self.grid.neighbours
        apart = np.hypot(x.values[first] - x.values[second], y.values[first] - y.values[second])
        return PlateOnSprings(
            x=_plain(x),
            y=_plain(y),
            stiffness=self.mount_stiffness,
            parts=parts,
            element_size=float(np.median(apart)) / ELEMENTS,
            lines=self.grid.lines_beside(float(np.median(apart)) * np.array(BESIDE)),
        )

    def require_on(self, what: str, at: xr.Dataset) -> None:
        """Refuse points that are not on the floor.

        Parameters
        ----------
        what : str
            Who asks, and the argument that holds the points.
        at : Dataset
            ``x`` and ``y`` [m] on ``point``.
        """
        finite(what, "x", at["x"])
        finite(what, "y", at["y"])
        x, y = (at[n].values[:, None] for n in "xy")
        (west, east), (south, north) = np.array(self.grid.rectangles, float).transpose(1, 2, 0)
        on = (x >= west - 1e-9) & (x <= east + 1e-9) & (y >= south - 1e-9) & (y <= north + 1e-9)
        off = np.flatnonzero(~on.any(axis=1))
        if off.size:
            first = int(off[0])
            name = f"{at['point'].values[first]} " if "point" in at.coords else ""
            raise ValueError(
                f"{what}: point {name}at ({x[first, 0]:g}, {y[first, 0]:g}) m is not on the floor "
                f"({off.size} such in all); mend its position, or how far the floor reaches"
            )

    @cached_property
    def plates(self) -> dict[str, PlateOnSprings]:
        """The plate at each bound."""
        return {b: self.plate(float(self.rigidity.sel(bound=b))) for b in BOUNDS}

    def influence(self, *, x: Numeric | None = None, y: Numeric | None = None) -> xr.Dataset:
        """What raising each jack by one metre does, at each bound.

        Parameters
        ----------
        x, y : float or DataArray, optional
            Points of the floor [m], on ``point``.

        Returns
        -------
        Dataset
            On ``bound`` and ``raised`` (the jack that is turned): ``rise`` [-] of the floor and
            ``load`` [N/m] on the mount at each ``jack``; with points ``rise_at`` [-] on ``point``.

        Raises
        ------
        ValueError
            A point off the floor; x without y.
        """
        at = None
        if x is not None or y is not None:
            if x is None or y is None:
                raise ValueError("JackedFloor.influence: x and y are needed together")
            at = points(x, y)
            self.require_on("JackedFloor.influence: x and y", at)
        each = []
        for bound, plate in self.plates.items():
            found = plate.influence(at=at).rename(reaction="load")
            each.append(found.assign_coords(bound=bound).drop_attrs(deep=False))
        whole = xr.concat(each, dim="bound")
        whole.attrs = {"cautions": " ".join(CAUTIONS), "citations": self.citations}
        return whole

    def load(self, *, raised: Numeric = 0.0) -> xr.DataArray:
        """Load on each mount by the weight of the floor, with jacks raised beyond level.

        Parameters
        ----------
        raised : float or DataArray
            Of each jack beyond a level that all have in common [m], on ``jack``.

        Returns
        -------
        DataArray
            [N] on ``bound`` and ``jack``; 0 where a mount hangs loose.

        Raises
        ------
        ValueError
            Jacks that are not those of the grid.
        """
        finite("JackedFloor.load", "raised", raised)
        up = _plain(on_jacks("JackedFloor.load", "raised", raised, self.grid))
        each = [
            p.response(pressure=self.pressure, raised=up).reaction for p in self.plates.values()
        ]
        bound = xr.DataArray(list(BOUNDS), dims="bound", name="bound")
        found: xr.DataArray = xr.concat(each, dim=bound)
        return found.assign_attrs(units="N", cautions=" ".join(CAUTIONS))

    @property
    def citations(self) -> str:
        """Sources, as one text."""
        return citation_texts([CRACKED, WOOD_ARMER, DERIVED])


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class JackLimits:
    """What mounts may carry and the slab may bend while jacks are turned; the engineer's figures.

    Parameters
    ----------
    least_load, most_load : float or DataArray
        Between which the load on each mount stays [N], on ``jack``; the least above 0, so that no
        mount comes loose.
    sagging, hogging : float
        Largest moment per width [N m/m] with tension below and above, twisting included.

    Examples
    --------
    >>> JackLimits(least_load=0.0, most_load=9e3, sagging=4e3, hogging=4e3)
    Traceback (most recent call last):
    ...
    ValueError: JackLimits: least_load is 0; it must be above 0 N
    """

    least_load: Numeric
    most_load: Numeric
    sagging: float
    hogging: float

    def __post_init__(self) -> None:
        where = "JackLimits"
        for name in ("least_load", "most_load"):
            positive(where, name, getattr(self, name), "N")
        for name in ("sagging", "hogging"):
            positive(where, name, getattr(self, name), "N m/m")

    def loads(self, where: str, grid: JackGrid) -> tuple[Array, Array]:
        """Least and most on each mount [N], in the order of the grid."""
        low, high = (
            on_jacks(where, name, getattr(self, name), grid).values
            for name in ("least_load", "most_load")
        )
        crossed = np.flatnonzero(low >= high)
        if crossed.size:
            at = int(crossed[0])
            raise ValueError(
                f"{where}: least_load is {low[at]:g} N and most_load {high[at]:g} N at mount "
                f"{grid.names[at]}; the most must be above the least"
            )
        return low, high


def points(x: Numeric, y: Numeric) -> xr.Dataset:
    """Places on the dim ``point``; labels of DataArrays are kept."""
    if isinstance(x, xr.DataArray) and x.dims == ("point",):
        return xr.Dataset({"x": x, "y": y})
    return xr.Dataset(
        {
            n: ("point", np.atleast_1d(np.asarray(v, float)))
            for n, v in zip("xy", (x, y), strict=True)
        }
    )


def _plain(values: xr.DataArray) -> xr.DataArray:
    """Without coordinates other than the jacks' names."""
    return values.reset_coords(drop=True).drop_attrs()
