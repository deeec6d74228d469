"""Jacks of a floor in plan: lines, cells, neighbours, and the order in which they are turned."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, TableError, finite, known, not_negative, positive, within
from groundborne.tables import read_table
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

ORDERS = ("middle outward", "row by row")
"""Orders of lifting within one pass."""

Array = np.ndarray[Any, Any]


@checked(bare=("x", "y"))
@dataclass(frozen=True, kw_only=True, eq=False)
class JackGrid:
    """Jacks on the lines of a rectangular grid; the plan is made of cells with four jacks.

    Parameters
    ----------
    x, y : DataArray
        Position [m] on ``jack``, which names the jacks.
    overhang : float
        How far the floor reaches beyond the outermost jacks [m]. 0 where left out: nothing is
        continued unasked.
    line_tolerance : float
        Jacks whose positions differ by no more than this [m] stand on one line.

    Raises
    ------
    ValueError
        Jacks without names, named or placed twice, in no cell of four, or on lines less than 0.05
        or more than 100 m apart, which no floor spans: millimetres.

    Notes
    -----
    Cells may be missing (an L-shaped floor, an opening); a jack outside every cell is refused, for
    there is no floor above it. How the floor follows its jacks is not in the plan, but in
    :class:`~groundborne.sizing.JackedFloor`.

    Examples
    --------
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 1.5, 0.0, 1.5], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 1.2, 1.2], dims="jack", coords=names))
    >>> grid.rectangles
    (((0.0, 1.5), (0.0, 1.2)),)
    >>> grid.order("row by row").values.tolist()
    ['A1', 'B1', 'B2', 'A2']
    """

    x: xr.DataArray
    y: xr.DataArray
    overhang: float = 0.0
    line_tolerance: float = 0.05

    def __post_init__(self) -> None:
        where = "JackGrid"
        for name in ("x", "y"):
            given = getattr(self, name)
            if given.dims != ("jack",):
                raise ValueError(f"{where}: {name} must be a DataArray with dim 'jack' only")
            if "jack" not in given.coords:
                raise ValueError(f"{where}: {name} does not name its jacks; give 'jack' labels")
            finite(where, name, given)
        not_negative(where, "overhang", self.overhang, "m")
        positive(where, "line_tolerance", self.line_tolerance, "m")
        self._require_one_each()
        for name, lines in zip("xy", self._lines, strict=True):
            if lines.size > 1:
                within(where, f"distance between lines of jacks by {name}", np.diff(lines), 0.05,
                       100.0, "m", "is it in mm?")  # fmt: skip
        used = np.unique(self.cells)
        alone = np.setdiff1d(np.arange(self.x.size), used)
        if alone.size:
            raise ValueError(
                f"{where}: jack {self.names[int(alone[0])]} at ({float(self.x[alone[0]]):g}, "
                f"{float(self.y[alone[0]]):g}) m is a corner of no rectangle of four jacks on "
                f"neighbouring lines ({alone.size} such in all); line jacks up, or widen "
                f"line_tolerance (now {self.line_tolerance:g} m)"
            )

    def _require_one_each(self) -> None:
        i, j = self._place
        flat = i * self._lines[1].size + j
        _, first, back = np.unique(flat, return_index=True, return_inverse=True)
        again = np.flatnonzero(first[back] != np.arange(flat.size))
        if again.size:
            one, two = self.names[int(first[back[again[0]]])], self.names[int(again[0])]
            raise ValueError(f"JackGrid: by x and y, jacks {one} and {two} are at the same place")

    @property
    def jack(self) -> xr.DataArray:
        """Labels of the jacks."""
        return self.x["jack"]

    @property
    def names(self) -> list[str]:
        """Labels of the jacks as texts."""
        return [str(n) for n in self.x["jack"].values]

    @cached_property
    def _lines(self) -> tuple[Array, Array]:
        return _lines(self.x.values, self.line_tolerance), _lines(
            self.y.values, self.line_tolerance
        )

    @cached_property
    def _place(self) -> tuple[Array, Array]:
        """Number of the line in x and in y on which each jack stands."""
        lx, ly = self._lines
        return (
            np.abs(self.x.values[:, None] - lx).argmin(axis=1),
            np.abs(self.y.values[:, None] - ly).argmin(axis=1),
        )

    @cached_property
    def _table(self) -> Array:
        lx, ly = self._lines
        table = np.full((lx.size, ly.size), -1)
        table[self._place] = np.arange(self.x.size)
        return table

    @cached_property
    def cells(self) -> Array:
        """Jacks at the corners of each whole cell, shape (cells, 4): 00, 10, 01, 11."""
        t = self._table
        corners = np.stack([t[:-1, :-1], t[1:, :-1], t[:-1, 1:], t[1:, 1:]], axis=-1)
        return np.asarray(corners.reshape(-1, 4)[(corners >= 0).all(axis=-1).ravel()])

    @cached_property
    def neighbours(self) -> tuple[Array, Array]:
        """Numbers of the two jacks of each pair on neighbouring lines."""
        t = self._table
        first = np.concatenate([t[:-1].ravel(), t[:, :-1].ravel()])
        second = np.concatenate([t[1:].ravel(), t[:, 1:].ravel()])
        both = (first >= 0) & (second >= 0)
        return first[both], second[both]

    def outside(self, *, x: Numeric, y: Numeric) -> Array:
        """How far points lie outside every cell [m], along x or y, whichever is more; 0 inside.

        A floor that reaches `overhang` beyond its jacks reaches as far at its corners, in x and in
        y, so that a point is on it where this is `overhang` at most.

        Parameters
        ----------
        x, y : float or array
            Positions [m].

        Returns
        -------
        numpy array
            One distance per point.
        """
        return self._nearest(np.atleast_1d(x), np.atleast_1d(y))[1]

    def _nearest(self, x: Array, y: Array) -> tuple[Array, Array]:
        x0, x1, y0, y1 = self._edges
        dx = np.maximum(np.maximum(x0 - x[:, None], x[:, None] - x1), 0.0)
        dy = np.maximum(np.maximum(y0 - y[:, None], y[:, None] - y1), 0.0)
        apart = np.maximum(dx, dy)
        cell = apart.argmin(axis=1)
        return cell, apart[np.arange(x.size), cell]

    @cached_property
    def _edges(self) -> tuple[Array, Array, Array, Array]:
        (lx, ly), (i, j) = self._lines, self._place
        low, high = self.cells[:, 0], self.cells[:, 3]
        return lx[i[low]], lx[i[high]], ly[j[low]], ly[j[high]]

    @cached_property
    def rectangles(self) -> tuple[tuple[tuple[float, float], tuple[float, float]], ...]:
        """The floor as rectangles, from and to in x and in y [m]: cells, and `overhang` beyond."""
        lines = []
        for line in self._lines:
            beyond = np.unique(np.concatenate([line - self.overhang, line + self.overhang]))
            apart = np.abs(beyond[:, None] - line).min(axis=1)
            beyond = beyond[(apart > 1e-3) & (np.diff(beyond, prepend=-np.inf) > 1e-3)]
            lines.append(np.sort(np.concatenate([line, beyond])))
        x0, x1, y0, y1 = self._edges
        o = self.overhang + 1e-9

        def covered() -> Array:
            mx, my = ((line[1:] + line[:-1]) / 2 for line in lines)
            along = (mx[:, None] > x0 - o) & (mx[:, None] < x1 + o)
            over = (my[:, None] > y0 - o) & (my[:, None] < y1 + o)
            return np.asarray(along.astype(int) @ over.T.astype(int) > 0)

        # Lines beyond the jacks count only where the floor ends.
        whole = np.pad(covered(), 1)
        for axis, line in enumerate(lines):
            ends = np.diff(whole, axis=axis).any(axis=1 - axis)
            lines[axis] = line[ends | np.isin(line, self._lines[axis])]
        (xs, ys), inside = lines, covered()
        return tuple(
            ((float(xs[i]), float(xs[i + 1])), (float(ys[j]), float(ys[j + 1])))
            for i, j in np.argwhere(inside).tolist()
        )

    def lines_beside(self, apart: Array) -> tuple[list[float], list[float]]:
        """Lines in x and in y beside every line of jacks and inside the floor [m].

        Parameters
        ----------
        apart : array
            How far from the line of jacks, either side [m], ascending.
        """
        if np.size(apart) == 0:
            raise ValueError("JackGrid.lines_beside: apart is empty; a distance is needed")
        edges = np.array(self.rectangles, float).transpose(1, 0, 2).reshape(2, -1)
        found = []
        for line, edge in zip(self._lines, edges, strict=True):
            beside = np.sort((line[:, None] + np.concatenate([-apart, apart])).ravel())
            beside = beside[np.diff(beside, prepend=-np.inf) > apart[0] / 2]
            inside = (beside > edge.min()) & (beside < edge.max())
            far = np.abs(beside[:, None] - edge).min(axis=1) >= apart[0] * (1 - 1e-9)
            found.append(beside[inside & far].tolist())
        return found[0], found[1]

    def order(self, name: str) -> xr.DataArray:
        """Names of the jacks in the order in which they are turned within a pass.

        Parameters
        ----------
        name : str
            ``"middle outward"``, or ``"row by row"`` (to and fro, for the shortest way).

        Returns
        -------
        DataArray
            On ``turn``.
        """
        known("JackGrid.order", "name", name, ORDERS)
        i, j = self._place
        if name == "row by row":
            chosen = np.lexsort((np.where(j % 2 == 0, i, -i), j))
        else:
            x, y = self.x.values - self.x.values.mean(), self.y.values - self.y.values.mean()
            # Rounded, or equal distances would be told apart by rounding alone.
            chosen = np.lexsort((np.arctan2(y, x), np.hypot(x, y).round(6)))
        return xr.DataArray(np.asarray(self.names)[chosen], dims="turn")

    def pass_differential(self, movement: xr.DataArray, *, order: str) -> xr.DataArray:
        """Largest difference between neighbours while jacks are turned one after another.

        Parameters
        ----------
        movement : DataArray
            Rise at each jack in each pass [m], dims ``lift_pass`` and ``jack``; level before.
        order : str
            See :meth:`order`.

        Returns
        -------
        DataArray
            On ``lift_pass`` [m]: the largest over all pairs and all moments of the pass.
        """
        if set(movement.dims) != {"lift_pass", "jack"}:
            raise ValueError(
                f"JackGrid.pass_differential: movement has the dims "
                f"{', '.join(map(str, movement.dims)) or 'none'}; lift_pass and jack are needed"
            )
        rank = np.empty(self.x.size, int)
        rank[self.numbers(order)] = np.arange(self.x.size)
        finite("JackGrid.pass_differential", "movement", movement)
        rise = movement.transpose("lift_pass", "jack").sel(jack=self.x["jack"].values)
        first, second = self.neighbours
        step = rise.values
        before = np.cumsum(step, axis=0) - step
        start = before[:, first] - before[:, second]
        lead = np.where(rank[first] < rank[second], step[:, first], -step[:, second])
        end = start + step[:, first] - step[:, second]
        worst = np.max(np.abs([start, start + lead, end]), axis=(0, 2))
        return xr.DataArray(
            worst,
            dims="lift_pass",
            coords={"lift_pass": rise["lift_pass"].values},
            attrs={"units": "m"},
        )

    def numbers(self, order: str) -> Array:
        """Numbers of the jacks in the order in which they are turned; see :meth:`order`."""
        back = {name: k for k, name in enumerate(self.names)}
        return np.array([back[str(n)] for n in self.order(order).values])


@checked
def read_jacks(path: str | FilePath, *, overhang: float = 0.0) -> JackGrid:
    r"""Read the plan of jacks, one row each.

    Parameters
    ----------
    path : str or Path
        CSV file: ``jack``, ``x_m``, ``y_m``, and where known ``load_kn``, the share of weight.
    overhang : float
        See :class:`JackGrid` [m].

    Returns
    -------
    JackGrid
        With the coordinate ``load`` [N] on ``x`` where the file has it.

    Raises
    ------
    TableError
        Columns missing or unknown, a jack named twice, a load that is not above 0, distances or
        loads that cannot be.

    Warns
    -----
    UnusualValueWarning
        Distances or loads that look like another unit.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "jacks.csv"
    >>> _ = file.write_text("jack,x_m,y_m\nA1,0,0\nB1,1.5,0\nA2,0,1.5\nB2,1.5,1.5\n")
    >>> read_jacks(file).names
    ['A1', 'B1', 'A2', 'B2']
    """
    table = read_table(path, place="jacks")
    table.require(["jack", "x_m", "y_m"], ["load_kn"])
    names = table.unique("jack").astype(str)
    place = table.positions()
    _check_spacing(table.file, place)
    coords: dict[str, Any] = {"jack": names}
    if table.has("load_kn"):
        load = table.numbers(["load_kn"], above=0.0, unit="kN")[:, 0]
        area = float(np.prod(np.ptp(place, axis=0)))
        if area > 0:
            judge(
                derived("load of jacks per area"),
                [load.sum() / area],
                subject=lambda _: f"{table.file}: all 'load_kn' over the plan by 'x_m' and 'y_m'",
                error=TableError,
            )
        coords["load"] = ("jack", load * 1e3, {"units": "N"})
    with table.naming():
        return JackGrid(
            x=xr.DataArray(place[:, 0], dims="jack", coords=coords),
            y=xr.DataArray(place[:, 1], dims="jack", coords={"jack": names}),
            overhang=overhang,
        )


def _check_spacing(file: str, place: Array) -> None:
    """Hold the median distance to the next jack against practice."""
    apart = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    if place.shape[0] > 1:
        judge(
            derived("distance of jacks"),
            [np.median(apart.min(axis=1))],
            subject=lambda _: f"{file}: the distance of neighbouring jacks by 'x_m' and 'y_m'",
            error=TableError,
        )


def _lines(position: Array, tolerance: float) -> Array:
    """Means of the groups into which positions fall where gaps are wider than the tolerance."""
    place = np.sort(np.asarray(position, float))
    group = np.concatenate([[0], np.cumsum(np.diff(place) > tolerance)])
    return np.bincount(group, weights=place) / np.bincount(group)


def on_jacks(where: str, name: str, value: Numeric, grid: JackGrid) -> xr.DataArray:
    """A number for every jack, or the numbers given by name, in the grid's order."""
    finite(where, name, value)
    if not isinstance(value, xr.DataArray) or value.ndim == 0:
        if np.ndim(value):
            raise ValueError(f"{where}: {name} must be a number or a DataArray on 'jack'")
        return xr.full_like(grid.x, float(value), dtype=float)
    if value.dims != ("jack",) or "jack" not in value.coords:
        raise ValueError(f"{where}: {name} must have the dim 'jack' only, with labels")
    missing = [n for n in grid.names if n not in value["jack"].values.astype(str).tolist()]
    extra = [n for n in value["jack"].values.astype(str).tolist() if n not in grid.names]
    if missing or extra:
        raise ValueError(
            f"{where}: {name} does not fit the jacks: missing {missing or 'none'}, "
            f"unknown {extra or 'none'}"
        )
    if value.size != grid.x.size:
        raise ValueError(f"{where}: {name} names a jack twice")
    return value.sel(jack=grid.jack.values).astype(float)
