"""A thin plate in bending, of rectangles and beams, as finite elements."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from groundborne.citation import Citation
from groundborne.structure.plate_parts import PlateBeam, PlatePart

PLATE_ELEMENT = Citation(
    key="bogner-fox-schmit-element",
    author="Bogner, Fox and Schmit",
    year="1965",
    title="conforming rectangular element of a thin plate: bicubic Hermite functions, 16 unknowns",
    mark="from memory",
    status="transcribed",
)

Array = np.ndarray[Any, Any]

_DERIVATIVES = {"w": (0, 0), "xx": (2, 0), "yy": (0, 2), "xy": (1, 1)}
_HERMITE = np.array(  # coefficients of 1, s, s², s³ on a unit element: w1, w1', w2, w2'
    [[1.0, 0, -3, 2], [0, 1, -2, 1], [0, 0, 3, -2], [0, 0, -1, 1]]
)
_MOST_UNKNOWNS = 400_000


class PlateMesh:
    """Elements of a plate; not public: :class:`PlateOnSprings` is built on it.

    Unknowns at each node are ``w``, ``∂w/∂x``, ``∂w/∂y`` and ``∂²w/∂x∂y``, the derivatives times
    the element size, so that they are of one magnitude.
    """

    def __init__(
        self,
        parts: Sequence[PlatePart],
        beams: Sequence[PlateBeam],
        element_size: float,
        lines: tuple[Sequence[float], Sequence[float]] = ((), ()),
    ) -> None:
        self.parts, self.beams, self.size = tuple(parts), tuple(beams), element_size
        self.x = _lines([e for part in parts for e in part.x], element_size, lines[0])
        self.y = _lines([e for part in parts for e in part.y], element_size, lines[1])
        self.owner = self._owner()
        """Number of the part each cell belongs to, −1 where there is none."""
        self.cells = np.argwhere(self.owner >= 0)
        _require_one_piece(self.owner)
        used = np.zeros((self.x.size, self.y.size), bool)
        for i, j in ((0, 0), (1, 0), (0, 1), (1, 1)):
            used[self.cells[:, 0] + i, self.cells[:, 1] + j] = True
        self.node = np.full(used.shape, -1)
        self.node[used] = np.arange(used.sum())
        self.unknowns = 4 * int(used.sum())
        if self.unknowns > _MOST_UNKNOWNS:
            raise ValueError(
                f"PlateOnSprings: element_size {element_size:g} m makes {self.unknowns} unknowns; "
                f"at most {_MOST_UNKNOWNS} are solved, take larger elements"
            )

    def _owner(self) -> Array:
        owner = np.full((self.x.size - 1, self.y.size - 1), -1)
        middle_x, middle_y = (self.x[1:] + self.x[:-1]) / 2, (self.y[1:] + self.y[:-1]) / 2
        for number, part in enumerate(self.parts):
            inside = np.outer(
                (middle_x > part.x[0]) & (middle_x < part.x[1]),
                (middle_y > part.y[0]) & (middle_y < part.y[1]),
            )
            if (owner[inside] >= 0).any():
                other = int(owner[inside].max())
                raise ValueError(
                    f"PlateOnSprings: parts {other} and {number} overlap; each place of a plate "
                    "has one rigidity, so cut one of them"
                )
            owner[inside] = number
        return owner

    @cached_property
    def _unknown_of_cell(self) -> Array:
        """Shape (cells, 16): unknown of end and derivative along x (4) times along y (4)."""
        end, order = np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1])
        node = self.node[
            self.cells[:, 0, None, None] + end[:, None], self.cells[:, 1, None, None] + end
        ]
        return np.asarray((4 * node + order[:, None] + 2 * order).reshape(-1, 16))

    @cached_property
    def rigid(self) -> Array:
        """Unknowns of w = 1, w = x and w = y, shape (unknowns, 3)."""
        i, j = np.nonzero(self.node >= 0)
        motion = np.zeros((self.node.max() + 1, 4, 3))
        at = self.node[i, j]
        motion[at, 0] = np.stack([np.ones(i.size), self.x[i], self.y[j]], axis=1)
        motion[at, 1, 1] = motion[at, 2, 2] = self.size
        return motion.reshape(-1, 3)

    @cached_property
    def stiffness(self) -> Any:
        """Sparse matrix of bending energy, without any support."""
        from scipy import sparse

        lx, ly = np.diff(self.x)[self.cells[:, 0]], np.diff(self.y)[self.cells[:, 1]]
        bend = np.array([part.rigidities for part in self.parts])[self.owner[tuple(self.cells.T)]]
        ix, iy = ({d: _integrals(le, self.size, *d) for d in _PAIRS} for le in (lx, ly))

        def product(a: tuple[int, int], b: tuple[int, int], weight: Array) -> Array:
            both = np.einsum("e,eij,ekl->eikjl", weight, ix[a], iy[b])
            return np.asarray(both.reshape(-1, 16, 16))

        matrix = (
            product((2, 2), (0, 0), bend[:, 0])
            + product((0, 0), (2, 2), bend[:, 1])
            + product((2, 0), (0, 2), bend[:, 2])
            + product((0, 2), (2, 0), bend[:, 2])
            + product((1, 1), (1, 1), 4 * bend[:, 3])
        )
        unknown = self._unknown_of_cell
        row, column = np.broadcast_arrays(unknown[:, :, None], unknown[:, None, :])
        shape = (self.unknowns, self.unknowns)
        whole = sparse.coo_matrix((matrix.ravel(), (row.ravel(), column.ravel())), shape=shape)
        total = whole.tocsc()
        for beam in self.beams:
            total = total + self._beam(beam)
        return total.tocsc()

    def _beam(self, beam: PlateBeam) -> Any:
        """Energy of a beam: five Gauss points are exact on each piece within an element."""
        from scipy import sparse

        start, end = np.array(beam.start), np.array(beam.end)
        along = end - start
        cuts = [0.0, 1.0]
        for axis, lines in enumerate((self.x, self.y)):
            if along[axis] != 0:
                cuts.extend((lines - start[axis]) / along[axis])
        cut = np.unique(np.clip(cuts, 0.0, 1.0))
        cut = cut[np.concatenate([[True], np.diff(cut) > 1e-12])]
        gauss, weight = np.polynomial.legendre.leggauss(5)
        t = np.concatenate([(a + b) / 2 + (b - a) / 2 * gauss for a, b in pairwise(cut)])
        share = np.concatenate([(b - a) / 2 * weight for a, b in pairwise(cut)]) * beam.length
        place = start + t[:, None] * along
        cos, sin = along / beam.length
        x, y = place.T
        xx, yy, xy = (self.functions(x, y, d, "a beam") for d in ("xx", "yy", "xy"))
        bent = cos**2 * xx + 2 * cos * sin * xy + sin**2 * yy
        twisted = cos * sin * (yy - xx) + (cos**2 - sin**2) * xy
        return (
            bent.T @ sparse.diags(share * beam.bending_stiffness) @ bent
            + twisted.T @ sparse.diags(share * beam.torsion_stiffness) @ twisted
        ).tocsc()

    def moments(self, x: Array, y: Array, what: str) -> dict[str, Any]:
        """Sparse operators of bending and twisting moments per width, tension below positive."""
        bend = np.array([part.rigidities for part in self.parts]).T
        place = x, y

        def of(derivative: str, rigidity: Array) -> Any:
            return self.functions(*place, derivative, what, weight=-rigidity)

        return {
            "x": of("xx", bend[0]) + of("yy", bend[2]),
            "y": of("yy", bend[1]) + of("xx", bend[2]),
            "xy": of("xy", 2 * bend[3]),
        }

    def functions(
        self, x: Array, y: Array, derivative: str, what: str, *, weight: Array | None = None
    ) -> Any:
        """Sparse (points, unknowns): deflection, or a second derivative of it, at points.

        On lines between elements second derivatives jump; there the mean of the sides is taken.
        `weight` (one for each part) multiplies them.
        """
        from scipy import sparse

        near = 1e-9 * max(np.ptp(self.x), np.ptp(self.y))
        found = []
        for sx, sy in ((-near, -near), (-near, near), (near, -near), (near, near)):
            i = np.searchsorted(self.x, x + sx, side="right") - 1
            j = np.searchsorted(self.y, y + sy, side="right") - 1
            inside = (i >= 0) & (i < self.x.size - 1) & (j >= 0) & (j < self.y.size - 1)
            cell = np.where(inside, self._number_of_cell[i * inside, j * inside], -1)
            found.append(np.stack([np.flatnonzero(cell >= 0), cell[cell >= 0]]))
        point, cell = np.unique(np.concatenate(found, axis=1), axis=1)
        sides = np.bincount(point, minlength=x.size)
        if (sides == 0).any():
            at = int(np.argmax(sides == 0))
            raise ValueError(
                f"PlateOnSprings: {what} at ({x[at]:g}, {y[at]:g}) m lies outside the plate; give "
                "parts, or an overhang, that reach it"
            )
        i, j = self.cells[cell].T
        order_x, order_y = _DERIVATIVES[derivative]
        along = _hermite(x[point] - self.x[i], np.diff(self.x)[i], self.size, order_x)
        across = _hermite(y[point] - self.y[j], np.diff(self.y)[j], self.size, order_y)
        value = (along[:, :, None] * across[:, None, :]).reshape(-1, 16) / sides[point][:, None]
        if weight is not None:
            value = value * weight[self.owner[i, j]][:, None]
        row = np.repeat(point, 16)
        unknown = self._unknown_of_cell[cell].ravel()
        shape = (x.size, self.unknowns)
        return sparse.coo_matrix((value.ravel(), (row, unknown)), shape=shape).tocsr()

    @cached_property
    def _number_of_cell(self) -> Array:
        number = np.full(self.owner.shape, -1)
        number[tuple(self.cells.T)] = np.arange(len(self.cells))
        return number

    @cached_property
    def pressure(self) -> Array:
        """Load on the unknowns under 1 Pa on each part, shape (unknowns, parts)."""
        lx, ly = np.diff(self.x)[self.cells[:, 0]], np.diff(self.y)[self.cells[:, 1]]
        along, across = (
            np.stack([le / 2, le**2 / 12 / self.size, le / 2, -(le**2) / 12 / self.size], axis=1)
            for le in (lx, ly)
        )
        force = (along[:, :, None] * across[:, None, :]).reshape(-1, 16)
        part = np.repeat(self.owner[tuple(self.cells.T)], 16)
        total = np.zeros((self.unknowns, len(self.parts)))
        np.add.at(total, (self._unknown_of_cell.ravel(), part), force.ravel())
        return total

    @cached_property
    def factor(self) -> Any:
        """Factorised stiffness on three springs, which carry nothing of loads in equilibrium."""
        from scipy import sparse
        from scipy.sparse.linalg import splu

        i, j = np.nonzero(self.node >= 0)
        x, y = self.x[i] - self.x.mean(), self.y[j] - self.y.mean()
        first = int(np.argmax(np.hypot(x, y)))
        second = int(np.argmax(np.hypot(x - x[first], y - y[first])))
        apart = (x - x[first]) * (y[second] - y[first]) - (y - y[first]) * (x[second] - x[first])
        third = int(np.argmax(np.abs(apart)))
        held = 4 * self.node[i, j][[first, second, third]]
        rigid = max(max(part.rigidities) for part in self.parts)
        spring = np.full(3, rigid / (np.ptp(self.x) * np.ptp(self.y)))
        shape = (self.unknowns, self.unknowns)
        springs = sparse.coo_matrix((spring, (held, held)), shape=shape)
        options = {"SymmetricMode": True}
        matrix = (self.stiffness + springs).tocsc()
        return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)

    def solve(self, forces: Any) -> Array:
        """Unknowns under loads (unknowns, cases); arbitrary by a rigid motion."""
        dense = forces.toarray() if hasattr(forces, "toarray") else forces
        return np.asarray(self.factor.solve(np.asarray(dense, order="F")))


_PAIRS = ((2, 2), (0, 0), (2, 0), (0, 2), (1, 1))


def _powers(s: Array, derivative: int) -> Array:
    """Derivatives of 1, s, s², s³, shape (..., 4)."""
    found = np.zeros((*s.shape, 4))
    for k in range(derivative, 4):
        found[..., k] = float(np.prod(np.arange(k, k - derivative, -1))) * s ** (k - derivative)
    return found


def _hermite(at: Array, length: Array, size: float, derivative: int) -> Array:
    """Hermite functions at a place within elements, shape (places, 4)."""
    unit = _powers(at / length, derivative) @ _HERMITE.T
    scale = np.stack([np.ones_like(length), length / size] * 2, axis=-1)
    return np.asarray(unit * scale / length[:, None] ** derivative)


def _integrals(length: Array, size: float, first: int, second: int) -> Array:
    """Integral of products of derivatives of Hermite functions, shape (elements, 4, 4)."""
    gauss, weight = np.polynomial.legendre.leggauss(4)
    at = (gauss + 1) / 2
    one, two = (_powers(at, d) @ _HERMITE.T for d in (first, second))
    unit = np.einsum("g,gi,gj->ij", weight / 2, one, two)
    scale = np.stack([np.ones_like(length), length / size] * 2, axis=-1)
    power = length ** (1 - first - second)
    return np.asarray(unit * scale[:, :, None] * scale[:, None, :] * power[:, None, None])


def _lines(edges: Sequence[float], size: float, further: Sequence[float]) -> Array:
    """Edges of the parts and further lines, and equal steps of the size or less between them."""
    edge = np.unique([*edges, *further])
    gap = np.diff(edge)
    if (gap < size * 1e-3).any():
        at = int(np.argmin(gap))
        raise ValueError(
            f"PlateOnSprings: edges of parts at {edge[at]:.6g} and {edge[at + 1]:.6g} m are less "
            f"than a thousandth of the element size ({size:g} m) apart; make them meet"
        )
    count = np.ceil(gap / size * (1 - 1e-9)).astype(int)
    if count.sum() > _MOST_UNKNOWNS:
        raise ValueError(
            f"PlateOnSprings: element_size {size:g} m cuts {float(gap.sum()):g} m too finely; take "
            "larger elements"
        )
    steps = [
        np.linspace(a, b, n, endpoint=False)
        for (a, b), n in zip(pairwise(edge), count, strict=True)
    ]
    return np.concatenate([*steps, edge[-1:]])


def _require_one_piece(owner: Array) -> None:
    from scipy import ndimage

    if ndimage.label(owner >= 0)[1] > 1:
        raise ValueError(
            "PlateOnSprings: the parts do not all meet along edges; a plate is one piece, so make "
            "one model of each"
        )
