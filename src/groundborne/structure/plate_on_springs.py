"""A horizontal plate on vertical springs at rest: floor, raft, or all floors of a building."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, not_negative, positive
from groundborne.citation import DERIVED, citation_texts
from groundborne.structure.lifting_springs import ACTIVE_SET, TippingCase, TippingError, at_rest
from groundborne.structure.plate_cases import Cases, on_parts, on_points, on_springs, places
from groundborne.structure.plate_condensed import CondensedPlate
from groundborne.structure.plate_mesh import PLATE_ELEMENT, PlateMesh
from groundborne.structure.plate_parts import PlateBeam, PlatePart

CAUTION = (
    "thin elastic plate on linear springs at rest; cracking beyond the stated rigidity, walls, "
    "catenary action and strength are not in it: the licensed structural engineer decides"
)

Array = np.ndarray[Any, Any]


@checked(infinite=("stiffness",))
@dataclass(frozen=True, kw_only=True, eq=False)
class PlateOnSprings:
    """A plate in bending on springs at named points, which push and, unless held down, never pull.

    Loads and deflections are positive downwards, reactions of springs upwards on the plate.

    Parameters
    ----------
    x, y : DataArray
        Position of the springs [m] on one dim (``column``, ``jack``, ...), which names them. The
        order of `x` is that of every result.
    stiffness : float or DataArray
        Of each spring [N/m], above 0; infinite for a rigid support. A column and the mount below
        it act in series.
    parts : sequence of PlatePart
        Rectangles that meet along edges and do not overlap. None of them: a rigid plate.
    beams : sequence of PlateBeam
        Beams that bend with the plate.
    element_size : float, optional
        Largest side of an element [m]; where left out, half the median distance of a spring to
        the next one, and no more than a quarter of the plate's longer side.
    lines : tuple of two sequences of float
        Further lines of the mesh: x of those along y, and y of those along x [m], within the
        plate. Lines close beside springs make the moments there more accurate.

    Raises
    ------
    ValueError
        Springs without names, off the plate or two at one place; parts that overlap or fall apart.

    Notes
    -----
    Elements after Bogner, Fox and Schmit: bicubic, conforming, without shear deformation. Springs,
    loads and beams act through the functions of the elements and need no node, so that force and
    moment equilibrium hold to rounding on any mesh. The plate is condensed to its springs once;
    lost, softened and lifted springs are dense algebra on them.

    A plate without rigidity is a set of independent springs: a load on a spring is its reaction;
    a very small `rigidity` comes to that.

    References
    ----------
    Bogner, Fox and Schmit 1965 [from memory]; Goldfarb and Idnani 1983 [from memory]; the
    condensation is derived.

    Examples
    --------
    >>> at = {"column": ["A", "B", "C"]}
    >>> x = xr.DataArray([0.0, 6.0, 12.0], dims="column", coords=at)
    >>> strip = PlateOnSprings(x=x, y=0 * x, stiffness=1e8,
    ...     parts=[PlatePart(x=(-1.0, 13.0), y=(-1.0, 1.0), rigidity=1e9)])
    >>> held = strip.response(xr.DataArray([0.0, 3e5, 0.0], dims="column", coords=at))
    >>> held.reaction.round(-2).values.tolist()
    [44700.0, 210600.0, 44700.0]
    >>> strip.response(0 * x + 1e5, factor=strip.lose(["B"])).reaction.round().values.tolist()
    [[150000.0, 0.0, 150000.0]]
    """

    x: xr.DataArray
    y: xr.DataArray
    stiffness: Numeric
    parts: Sequence[PlatePart] = ()
    beams: Sequence[PlateBeam] = ()
    element_size: float | None = None
    lines: tuple[Sequence[float], Sequence[float]] = ((), ())

    def __post_init__(self) -> None:
        where = "PlateOnSprings"
        if self.x.ndim != 1:
            raise ValueError(f"{where}: x has dims {self.x.dims}; one, which names the springs")
        dim = str(self.x.dims[0])
        if dim not in self.x.coords:
            raise ValueError(f"{where}: x does not name its springs; give {dim!r} labels")
        if self.x.size == 0:
            raise ValueError(f"{where}: x holds no spring; at least one is needed")
        object.__setattr__(self, "x", self.x.astype(float).compute())
        for name in ("y", "stiffness"):
            object.__setattr__(self, name, on_springs(where, name, getattr(self, name), self.x))
        finite(where, "x", self.x)
        finite(where, "y", self.y)
        for name in ("y", "stiffness"):
            if getattr(self, name).dims != (dim,):
                raise ValueError(
                    f"{where}: {name} has dims {getattr(self, name).dims}; {dim!r} only, one plate "
                    "at a time (other stiffnesses are factors of a response)"
                )
        k: Any = self.stiffness
        if bool((k <= 0).any()):
            at = int(np.argmax(k.values <= 0))
            raise ValueError(
                f"{where}: stiffness is {k.values[at]:g} at {dim} {self.x[dim].values[at]}; it "
                "must be above 0 N/m (a lost spring is a factor of 0)"
            )
        object.__setattr__(self, "parts", tuple(self.parts))
        object.__setattr__(self, "beams", tuple(self.beams))
        place = np.stack([self.x.values, self.y.values], axis=1)
        _, first, back = np.unique(place, axis=0, return_index=True, return_inverse=True)
        again = np.flatnonzero(first[back.ravel()] != np.arange(len(place)))
        if again.size:
            names = self.x[dim].values
            raise ValueError(
                f"{where}: by x and y, {names[first[back.ravel()[again[0]]]]} and "
                f"{names[again[0]]} are at the same place"
            )
        if self.element_size is not None:
            positive(where, "element_size", self.element_size, "m")
        if not self.parts:
            if self.beams:
                raise ValueError(f"{where}: beams are given without parts; a rigid plate has none")
            if np.isinf(k.values).any():
                raise ValueError(
                    f"{where}: stiffness is infinite under a rigid plate; nothing says then who "
                    "carries what"
                )

    # -- Model -------------------------------------------------------------------------------------

    @property
    def dim(self) -> str:
        """Dim of the springs."""
        return str(self.x.dims[0])

    @cached_property
    def _plate(self) -> CondensedPlate:
        x, y = self.x.values, np.asarray(self.y)
        mesh = None
        if self.parts:
            size = self.element_size
            if size is None:
                apart = np.hypot(x[:, None] - x, y[:, None] - y)
                np.fill_diagonal(apart, np.inf)
                edges = [[e for p in self.parts for e in getattr(p, axis)] for axis in "xy"]
                wide = max(np.ptp(e) for e in edges)
                size = float(min(wide / 4, np.median(apart.min(axis=1)) / 2))
            mesh = PlateMesh(self.parts, self.beams, size, self.lines)
        soft = 1 / np.asarray(self.stiffness)
        return CondensedPlate(mesh=mesh, x=x, y=y, soft=soft, dim=self.dim)

    # -- Answers -----------------------------------------------------------------------------------

    def lose(self, names: Sequence[Any] | None = None) -> xr.DataArray:
        """Factors by which single springs are lost, one at a time.

        Parameters
        ----------
        names : sequence, optional
            Springs that may be lost; all where left out.

        Returns
        -------
        DataArray
            0 at the lost spring and 1 elsewhere, on ``lost`` and the dim of the springs.

        Raises
        ------
        ValueError
            An unknown name.
        """
        label = self.x[self.dim]
        known = label.values.tolist()
        wanted = known if names is None else list(names)
        for name in wanted:
            if wanted.count(name) > 1:
                raise ValueError(f"PlateOnSprings.lose: names hold {name!r} twice; keep one")
        unknown = [str(n) for n in wanted if n not in known]
        if unknown or not wanted:
            raise ValueError(
                f"PlateOnSprings.lose: names holds {', '.join(unknown) or 'nothing'}; known are "
                f"{', '.join(map(str, known))}"
            )
        lost = xr.DataArray(wanted, dims="lost", coords={"lost": wanted})
        return (lost != label.drop_attrs()).astype(float)

    def response(
        self,
        load: Numeric = 0.0,
        *,
        pressure: Numeric = 0.0,
        point_load: xr.DataArray | None = None,
        raised: Numeric = 0.0,
        factor: Numeric = 1.0,
        holds_down: bool | xr.DataArray = False,
        at: xr.Dataset | None = None,
    ) -> xr.Dataset:
        """Reactions and deflections at rest, for any number of cases at once.

        Parameters
        ----------
        load : float or DataArray
            Downwards at each spring [N], on the dim of the springs.
        pressure : float or DataArray
            Downwards on the plate [Pa]; on ``part`` (in the order of `parts`) one for each.
        point_load : DataArray, optional
            Downwards [N] anywhere on the plate, on ``load_point`` with coordinates ``x`` and ``y``.
        raised : float or DataArray
            How far each spring has been raised against the plate (turned jack, shim) [m]; below 0
            let down.
        factor : float or DataArray
            Stiffness of each spring over its own, 0 or more; 0 is lost.
        holds_down : bool or DataArray
            Whether springs can pull; one answer, or one for each spring.
        at : Dataset, optional
            Points ``x`` and ``y`` [m] on ``point``, where the plate is read.

        Other dims of the arguments are cases; they broadcast by name.

        Returns
        -------
        Dataset
            On the springs: ``reaction`` [N], ``deflection`` of the plate [m], ``gap`` [m] between
            plate and spring where it has lifted off (and 0), ``hold_down`` [N], the pull that
            would keep it down were all springs held. With `at`, on ``point``: ``deflection_at``
            [m] and, unless the plate is rigid, ``moment_x``, ``moment_y``, ``moment_xy`` [N m/m]
            with tension below positive, of strips along x and y; they jump between elements and
            grow without limit under a point load, where they depend on the mesh.

        Raises
        ------
        ValueError
            Numbers out of bounds, unknown names, points off the plate.
        TippingError
            No set of pushing springs holds the plate in equilibrium.
        """
        where = "PlateOnSprings.response"
        not_negative(where, "factor", factor, "")
        own = {self.dim, "part", "load_point"}
        arrays = {
            name: on_springs(where, name, value, self.x)
            for name, value in (
                ("load", load),
                ("raised", raised),
                ("factor", factor),
                ("holds_down", xr.DataArray(holds_down) * 1.0),
            )
        }
        arrays["pressure"] = on_parts(where, pressure, len(self.parts))
        arrays["point_load"] = on_points(where, point_load)
        cases = Cases.of(where, arrays, own)
        given = {name: cases.rows(array, own) for name, array in arrays.items()}
        place = None if point_load is None else places(where, "point_load", point_load.coords)
        plate = self._plate
        bend = given["load"] @ plate.springs.bending.T
        total = given["load"] @ plate.springs.rigid
        if given["pressure"].any():
            bent, sum_ = plate.by_pressure
            bend, total = bend + given["pressure"] @ bent.T, total + given["pressure"] @ sum_.T
        if place is not None:
            bent, sum_ = plate.by_points(place)
            bend, total = bend + given["point_load"] @ bent.T, total + given["point_load"] @ sum_.T
        try:
            found = at_rest(
                plate.springs,
                total=total,
                bend=bend,
                raised=given["raised"],
                factor=given["factor"],
                held=given["holds_down"] > 0,
            )
        except TippingCase as error:
            raise TippingError(
                f"{where}: {cases.said(error.case) or 'the plate'}: no pushing springs hold these "
                "loads in equilibrium, the plate tips; hold springs down, or mend the layout"
            ) from None
        label = self.x[self.dim].drop_attrs()
        words = {
            "reaction": ("N", "reaction, upwards"),
            "deflection": ("m", "deflection, downwards"),
            "gap": ("m", "gap between plate and spring"),
            "hold_down": ("N", "pull that would hold the plate down"),
        }
        result = xr.Dataset(
            {n: cases.spread(getattr(found, n), label, *said) for n, said in words.items()},
            attrs={
                "caution": CAUTION,
                "citations": citation_texts([PLATE_ELEMENT, ACTIVE_SET, DERIVED]),
            },
        )
        if at is None:
            return result
        spot = places(where, "at", at)
        read = plate.read(
            spot,
            forces=given["load"] - found.reaction,
            pressure=given["pressure"],
            point_load=given["point_load"],
            place=place,
            motion=found.motion,
        )
        for name, values in read.items():
            unit = ("m", "deflection") if name == "deflection_at" else ("N", "moment per width")
            result[name] = cases.spread(values, at["x"].rename(None), *unit)
        return result

    def influence(self, *, at: xr.Dataset | None = None) -> xr.Dataset:
        """What raising each spring by one metre does, while all springs bear.

        Parameters
        ----------
        at : Dataset, optional
            Points ``x`` and ``y`` [m] on ``point``.

        Returns
        -------
        Dataset
            On ``raised`` (names of the springs): ``reaction`` [N/m] and ``rise`` [-] at the
            springs, ``rise_at`` [-] at the points, upwards.

        Examples
        --------
        >>> at = {"jack": ["A", "B", "C"]}
        >>> x = xr.DataArray([0.0, 1.0, 0.0], dims="jack", coords=at)
        >>> y = xr.DataArray([0.0, 0.0, 1.0], dims="jack", coords=at)
        >>> table = PlateOnSprings(x=x, y=y, stiffness=1e6)
        >>> bool(abs(table.influence()["rise"] - [[1, 0, 0], [0, 1, 0], [0, 0, 1]]).max() < 1e-9)
        True
        """
        names = self.x[self.dim].values
        one = xr.DataArray(
            np.eye(names.size),
            dims=("raised", self.dim),
            coords={"raised": names, self.dim: names},
        )
        found = self.response(raised=one, holds_down=True, at=at)
        result = xr.Dataset(
            {"reaction": found["reaction"], "rise": -found["deflection"]}, attrs=found.attrs
        )
        if at is not None:
            result["rise_at"] = -found["deflection_at"]
        result["reaction"].attrs["units"] = "N/m"
        return result
