"""A building on its mounts pushed sideways: movement, turning in plan, and stops that close."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Words, checked
from groundborne._checks import Numeric, finite, known, not_negative, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.loads import ColumnLoads
from groundborne.sizing.packs.schedule import Schedule
from groundborne.structure.supports import named_columns, on_columns

Array = np.ndarray[Any, Any]

RIGID_PLAN = Citation(
    key="rigid-plan-torsion",
    author="Unified Facilities Criteria",
    year="2005",
    title="UFC 3-310-03A",
    locator="worked example: a force off the centre of rigidity gives each element T R d / Σ R d²",
    mark="seen",
    status="transcribed",
)
STOPS = Citation(
    key="stops-with-clearance",
    author="groundborne",
    title="stops that push once their clearance is used up, in equilibrium with the mounts",
    mark="derived",
    status="transcribed",
)

LATERAL_CAUTION = (
    "A check of movement on a rigid plan with linear mounts and stops, no design: the wind, the "
    "stops, their anchorage and whether friction may be counted are the structural engineer's; "
    "local codes and licensed engineers govern."
)
"""Stands beside every result."""

DIRECTIONS = {"x+": (1.0, 0.0), "x-": (-1.0, 0.0), "y+": (0.0, 1.0), "y-": (0.0, -1.0)}
_MOST_CLEARANCE = 0.3
_STEPS = 200
_SETTLED = 1e-12


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LateralStops:
    """Stops that a building meets when it moves sideways.

    Parameters
    ----------
    x, y : DataArray
        Position [m] on ``stop``, which names them.
    direction : DataArray of str
        On ``stop``: the movement of the building that each stops, ``x+``, ``x-``, ``y+`` or
        ``y-``. A stop that works both ways is two.
    clearance : float or DataArray
        Gap at rest [m], from 0 to 0.3: beyond that a stop stops no building on mounts.
    stiffness : float or DataArray
        Of the stop with what holds it [N/m], above 0.

    Raises
    ------
    ValueError
        Names or places that do not fit together, an unknown direction, or a number out of bounds.

    Examples
    --------
    >>> at = {"stop": ["W", "E"]}
    >>> stops = LateralStops(
    ...     x=xr.DataArray([0.0, 30.0], coords=at), y=xr.DataArray([6.0, 6.0], coords=at),
    ...     direction=xr.DataArray(["x-", "x+"], coords=at), clearance=0.01, stiffness=5e8)
    >>> stops.clearance.values.tolist()
    [0.01, 0.01]
    """

    x: xr.DataArray
    y: xr.DataArray
    direction: Words
    clearance: Numeric
    stiffness: Numeric

    def __post_init__(self) -> None:
        where = "LateralStops"
        x = _named(where, "x", self.x)
        for name, array in (("y", self.y), ("direction", self.direction)):
            other = _named(where, name, array)
            if other["stop"].values.tolist() != x["stop"].values.tolist():
                raise ValueError(f"{where}: {name} holds other stops than x, or another order")
        for word in np.unique(self.direction.values.astype(str)).tolist():
            known(where, "direction", word, DIRECTIONS)
        within(where, "clearance", self.clearance, 0.0, _MOST_CLEARANCE, "m", "is it in mm?")
        positive(where, "stiffness", self.stiffness, "N/m")
        for name in ("clearance", "stiffness"):
            value: Any = getattr(self, name)
            if isinstance(value, xr.DataArray):
                if value.ndim:
                    _named(where, name, value)
                    value = value.sel(stop=x["stop"])
                value = value.reset_coords(drop=True)
            object.__setattr__(self, name, xr.zeros_like(x, dtype=float).drop_attrs() + value)


def _named(where: str, name: str, array: xr.DataArray) -> xr.DataArray:
    if array.dims != ("stop",) or "stop" not in array.coords:
        raise ValueError(f"{where}: {name} is needed on the dim 'stop', with names")
    if array.indexes["stop"].has_duplicates:
        raise ValueError(f"{where}: {name} names a stop twice")
    return array


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LateralPlan:
    """Mounts in plan, rigidly joined, with stops.

    Parameters
    ----------
    x, y : DataArray
        Position of the mounts [m] on ``column``, which names them.
    kx, ky : float or DataArray
        Lateral stiffness of each mount under its working load [N/m], 0 or more; static for wind.
    stops : LateralStops, optional
        None where left out.

    Raises
    ------
    ValueError
        Positions without names, or mounts that leave the plan free to move or turn.

    Examples
    --------
    >>> at = {"column": ["SW", "SE", "NE", "NW"]}
    >>> plan = LateralPlan(x=xr.DataArray([0.0, 20.0, 20.0, 0.0], coords=at),
    ...                    y=xr.DataArray([0.0, 0.0, 10.0, 10.0], coords=at), kx=2e7, ky=2e7)
    >>> found = plan.response(fx=0.0, fy=8e5, x=12.0, y=5.0)
    >>> float(found.eccentricity_x), (found.force_y / 1e3).round(1).values.tolist()
    (2.0, [-168.0, -232.0, -232.0, -168.0])
    """

    x: xr.DataArray
    y: xr.DataArray
    kx: Numeric
    ky: Numeric
    stops: LateralStops | None = None

    def __post_init__(self) -> None:
        where = "LateralPlan"
        x = named_columns(where, "x", self.x).astype(float)
        finite(where, "x", x)
        object.__setattr__(self, "x", x)
        for name in ("y", "kx", "ky"):
            value = getattr(self, name)
            if name != "y":
                not_negative(where, name, value, "N/m")
            object.__setattr__(self, name, on_columns(where, name, value, x["column"]))
            if getattr(self, name).dims != ("column",):
                raise ValueError(f"{where}: {name} must have dim 'column' only; one plan at a time")
        for name in ("kx", "ky"):
            positive(where, f"sum of {name}", float(self._values(name).sum()), "N/m")
        positive(where, "stiffness against turning", float(self._diagonal[2]), "N m/rad")

    @classmethod
    def of(
        cls, schedule: Schedule, loads: ColumnLoads, *, stops: LateralStops | None = None
    ) -> LateralPlan:
        """Packs of a schedule at the columns of a load table.

        Parameters
        ----------
        schedule : Schedule
            Gives the lateral stiffness of the packs, alike along x and y.
        loads : ColumnLoads
            Gives the positions.
        stops : LateralStops, optional
            As for the class.
        """
        k = schedule.data["lateral_stiffness"].drop_attrs()
        x, y = (loads.data[n].drop_attrs().drop_vars("row", errors="ignore") for n in ("x", "y"))
        return cls(x=x, y=y, kx=k, ky=k, stops=stops)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formulas."""
        return (RIGID_PLAN, STOPS)

    def _values(self, name: str) -> Array:
        found: Array = np.asarray(getattr(self, name).values, dtype=float)
        return found

    @property
    def centre(self) -> tuple[float, float]:
        """Centre of stiffness of the mounts [m]: a force through it turns nothing."""
        x, y, kx, ky = (self._values(n) for n in ("x", "y", "kx", "ky"))
        return float(ky @ x / ky.sum()), float(kx @ y / kx.sum())

    @property
    def _diagonal(self) -> Array:
        """Stiffness of the mounts along x, along y and against turning about their centre."""
        x, y, kx, ky = (self._values(n) for n in ("x", "y", "kx", "ky"))
        cx, cy = self.centre
        return np.array([kx.sum(), ky.sum(), kx @ (y - cy) ** 2 + ky @ (x - cx) ** 2])

    @property
    def torsional_stiffness(self) -> float:
        """``Σ kx (y - yc)² + ky (x - xc)²`` of the mounts [N m/rad]."""
        return float(self._diagonal[2])

    def corners(self) -> xr.Dataset:
        """Corners of the rectangle around mounts and stops: ``x``, ``y`` [m] on ``corner``."""
        ends = []
        for name in ("x", "y"):
            held = [self._values(name)]
            if self.stops is not None:
                held.append(getattr(self.stops, name).values)
            ends.append((min(a.min() for a in held), max(a.max() for a in held)))
        (west, east), (south, north) = ends
        return xr.Dataset(
            {
                "x": ("corner", [west, east, east, west]),
                "y": ("corner", [south, south, north, north]),
            },
            coords={"corner": ["x- y-", "x+ y-", "x+ y+", "x- y+"]},
        )

    def response(
        self, *, fx: Numeric, fy: Numeric, x: Numeric, y: Numeric, friction: Numeric = 0.0
    ) -> xr.Dataset:
        """Where the building goes under a force at a point of the plan, at rest.

        Parameters
        ----------
        fx, fy : float or DataArray
            Force [N]; dims of their own hold cases.
        x, y : float or DataArray
            Point of the force in plan [m].
        friction : float or DataArray
            Force [N], 0 or more, that friction takes off this force along its line; not counted
            unless told.

        Returns
        -------
        xarray.Dataset
            ``rotation`` [rad], anticlockwise; ``eccentricity_x``, ``eccentricity_y`` of the force
            from the centre of stiffness [m]; on ``column`` ``movement_x``, ``movement_y`` [m],
            ``force_x``, ``force_y`` [N] of the mounts on the building, ``share`` of the force [-];
            on ``corner`` ``corner_x``, ``corner_y``, ``corner_movement`` [m]; with stops on
            ``stop`` ``stop_movement`` towards each [m], ``gap_left`` [m] (0 where it touches),
            ``stop_force`` [N], ``touches``; ``friction_x``, ``friction_y`` [N] on the building;
            ``residual_force`` [N], ``residual_moment`` [N m]: what equilibrium lacks.

        Raises
        ------
        ValueError
            A number that is not finite, or friction below 0.

        Notes
        -----
        Floor and mounts stay plane and rigid in plan; tilt and sway of the building above are
        those of :func:`~groundborne.sizing.wind_movement`. A stop pushes with its stiffness times
        what the building moves beyond the clearance, and never pulls.

        References
        ----------
        UFC 3-310-03A, worked example of torsion [seen]; stops derived from equilibrium.
        """
        where = "LateralPlan.response"
        for name, value in {"fx": fx, "fy": fy, "x": x, "y": y}.items():
            finite(where, name, value)
        not_negative(where, "friction", friction, "N")
        given = [
            a if isinstance(a, xr.DataArray) else xr.DataArray(float(a))
            for a in (fx, fy, x, y, friction)
        ]
        force_x, force_y, at_x, at_y, rub = xr.broadcast(*given)
        size = np.hypot(force_x, force_y)
        taken: Any = (rub / xr.where(size > 0, size, 1.0)).clip(max=1.0)
        cx, cy = self.centre
        left = [force_x * (1 - taken), force_y * (1 - taken)]
        turning = left[1] * (at_x - cx) - left[0] * (at_y - cy)
        loads = np.stack([a.values.ravel() for a in (*left, turning)], axis=-1)
        moved = np.array([self._solved(one) for one in loads]).reshape(*force_x.shape, 3)
        move = [force_x.copy(data=moved[..., i]) for i in range(3)]
        result = self._at_mounts(move)
        result["eccentricity_x"], result["eccentricity_y"] = at_x - cx, at_y - cy
        result["rotation"] = move[2]
        result["friction_x"], result["friction_y"] = -force_x * taken, -force_y * taken
        held = [result["force_x"].sum("column"), result["force_y"].sum("column")]
        arm_x, arm_y = self.x - cx, self._on("y") - cy
        moment = (result["force_y"] * arm_x - result["force_x"] * arm_y).sum("column")
        if self.stops is not None:
            push = self._at_stops(result, move)
            for i in range(2):
                held[i] = held[i] + push[i].sum("stop")
            moment = moment + (push[1] * (self.stops.x - cx) - push[0] * (self.stops.y - cy)).sum(
                "stop"
            )
        lacking: Any = np.hypot(left[0] + held[0], left[1] + held[1])
        result["share"] = np.hypot(result["force_x"], result["force_y"]) / xr.where(
            size > 0, size, np.inf
        )
        result["residual_force"], result["residual_moment"] = lacking, abs(turning + moment)
        units = {"rotation": "rad", "share": "1", "touches": "1", "residual_moment": "N m"}
        for name in map(str, result.data_vars):
            forces = name.startswith(("force", "stop_force", "friction", "residual_force"))
            result[name].attrs["units"] = units.get(name, "N" if forces else "m")
        result.attrs = {
            "caution": LATERAL_CAUTION,
            "citations": citation_texts(self.citations),
            "friction": "counted as told" if bool((taken > 0).any()) else "not counted",
        }
        return result

    def _on(self, name: str) -> xr.DataArray:
        array: xr.DataArray = getattr(self, name)
        return array

    def _at_mounts(self, move: list[xr.DataArray]) -> xr.Dataset:
        """What mounts and corners do."""
        cx, cy = self.centre
        corners = self.corners()
        dx = move[0] - move[2] * (self._on("y") - cy)
        dy = move[1] + move[2] * (self.x - cx)
        ex, ey = move[0] - move[2] * (corners["y"] - cy), move[1] + move[2] * (corners["x"] - cx)
        return xr.Dataset(
            {
                "movement_x": dx,
                "movement_y": dy,
                "force_x": -self._on("kx") * dx,
                "force_y": -self._on("ky") * dy,
                "corner_x": ex,
                "corner_y": ey,
                "corner_movement": np.hypot(ex, ey),
            }
        )

    def _at_stops(self, result: xr.Dataset, move: list[xr.DataArray]) -> list[xr.DataArray]:
        """Put what stops do into the result; their force on the building along x and y."""
        assert self.stops is not None  # asked before
        row = [xr.DataArray(a, dims="stop", coords=self.stops.x.coords) for a in self._rows.T]
        towards = sum((m * r for m, r in zip(move, row, strict=True)), start=0.0 * row[0])
        clearance: Any = self.stops.clearance
        force = self.stops.stiffness * (towards - clearance).clip(min=0.0)
        result["stop_movement"] = towards
        result["gap_left"] = (clearance - towards).clip(min=0.0)
        result["stop_force"], result["touches"] = force, towards >= clearance
        return [-force * row[0], -force * row[1]]

    @property
    def _rows(self) -> Array:
        """Movement towards each stop per unit of the three movements of the plan."""
        if self.stops is None:
            return np.zeros((0, 3))
        cx, cy = self.centre
        n = np.array([DIRECTIONS[d] for d in self.stops.direction.values.astype(str).tolist()])
        x, y = self.stops.x.values - cx, self.stops.y.values - cy
        return np.stack([n[:, 0], n[:, 1], n[:, 1] * x - n[:, 0] * y], axis=1)

    def _solved(self, load: Array) -> Array:
        """The three movements at which mounts and stops balance a load: least of the energy.

        The energy is convex and of second degree on either side of each contact, so that Newton
        steps, halved where they overshoot, end at the exact balance.
        """
        bare, rows = np.diag(self._diagonal), self._rows
        if self.stops is None:
            found: Array = load / self._diagonal
            return found
        stiff, clearance = np.asarray(self.stops.stiffness), np.asarray(self.stops.clearance)

        def energy(u: Array) -> float:
            beyond = np.maximum(rows @ u - clearance, 0.0)
            return float(0.5 * u @ bare @ u - load @ u + 0.5 * (stiff * beyond**2).sum())

        u: Array = load / self._diagonal
        for _ in range(_STEPS):
            on = rows @ u > clearance
            held = rows[on]
            matrix = bare + held.T @ (stiff[on, None] * held)
            step = np.linalg.solve(matrix, load + held.T @ (stiff[on] * clearance[on])) - u
            full: Array = u + step
            small = np.abs(step).max() <= _SETTLED * max(1e-12, np.abs(u).max())
            if small or np.array_equal(rows @ full > clearance, on):
                return full
            size = 1.0
            while size > _SETTLED and energy(u + size * step) > energy(u):
                size *= 0.5
            u = u + size * step
        raise ValueError(
            f"LateralPlan.response: no balance of mounts and stops was found in {_STEPS} steps; "
            "look at stiffness and clearance of the stops"
        )
