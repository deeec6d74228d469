"""A plate condensed to its springs: what loads anywhere do to them, and how it is read."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from groundborne.structure.lifting_springs import Springs
from groundborne.structure.plate_mesh import PlateMesh

Array = np.ndarray[Any, Any]
_AT_ONCE = 64
"""Loads solved at once: memory is that many times the unknowns."""


@dataclass(frozen=True, eq=False)
class CondensedPlate:
    """Elements (None: rigid) on springs of compliance ``soft`` [m/N] at ``x``, ``y`` [m].

    Rigid motions are taken about the middle of the springs, each of magnitude 1 at the springs.
    """

    mesh: PlateMesh | None
    x: Array
    y: Array
    soft: Array
    dim: str

    @cached_property
    def _at_springs(self) -> Any:
        assert self.mesh is not None
        return self.mesh.functions(self.x, self.y, "w", f"the {self.dim}")

    def _rigid(self, x: Array, y: Array) -> Array:
        return self._about_middle(np.stack([np.ones(x.size), x, y], axis=1))

    def _about_middle(self, motion: Array) -> Array:
        """From motions 1, x and y to those of this model, shape (..., 3)."""
        x, y = self.x.mean(), self.y.mean()
        far = max(float(np.hypot(self.x - x, self.y - y).max()), 1e-3)
        shift = np.diag([1, 1 / far, 1 / far])
        shift[0, 1:] = -x / far, -y / far
        return np.asarray(motion @ shift)

    @cached_property
    def springs(self) -> Springs:
        """The springs with the compliance of the plate between them."""
        count = self.x.size
        bend = np.zeros((count, count))
        if self.mesh is not None:
            for some in np.array_split(np.arange(count), -(-count // _AT_ONCE)):
                bend[:, some] = self._at_springs @ self.mesh.solve(self._at_springs[some].T)
        return Springs(bend=bend, soft=self.soft, rigid=self._rigid(self.x, self.y))

    @cached_property
    def by_pressure(self) -> tuple[Array, Array]:
        """Bending at the springs, and force and moments, of 1 Pa on each part."""
        mesh = self.mesh
        if mesh is None:
            raise ValueError(
                "PlateOnSprings.response: pressure on a rigid plate without parts has no area; "
                "give loads at points"
            )
        total = self._about_middle(mesh.rigid).T @ mesh.pressure
        bent = self._at_springs @ mesh.solve(mesh.pressure)
        return self.springs.bent_by(bent, total), total

    def by_points(self, place: tuple[Array, Array]) -> tuple[Array, Array]:
        """The same of 1 N at each of several points."""
        total = self._rigid(*place).T
        if self.mesh is None:
            return np.zeros((self.x.size, place[0].size)), total
        there = self.mesh.functions(*place, "w", "a point load")
        bent = self._at_springs @ self.mesh.solve(there.T)
        return self.springs.bent_by(bent, total), total

    def read(
        self,
        spot: tuple[Array, Array],
        *,
        forces: Array,
        pressure: Array,
        point_load: Array,
        place: tuple[Array, Array] | None,
        motion: Array,
    ) -> dict[str, Array]:
        """Deflection [m] and moments [N m/m] at points, each of shape (cases, points).

        `forces` are loads less reactions at the springs, `motion` the rigid motion of the springs,
        all with cases in rows.
        """
        mesh = self.mesh
        if mesh is None:
            return {"deflection_at": motion @ self._rigid(*spot).T}
        operators = {"deflection_at": mesh.functions(*spot, "w", "a point of at")}
        for name, operator in mesh.moments(*spot, "a point of at").items():
            operators[f"moment_{name}"] = operator
        rigid, fit = self._about_middle(mesh.rigid), self.springs.fit
        there = None if place is None else mesh.functions(*place, "w", "a point load").T
        found: dict[str, list[Array]] = {name: [] for name in operators}
        for some in np.array_split(np.arange(len(motion)), -(-len(motion) // _AT_ONCE)):
            load = self._at_springs.T @ forces[some].T + mesh.pressure @ pressure[some].T
            if there is not None:
                load = load + there @ point_load[some].T
            unknown = mesh.solve(load)
            # A rigid motion in it is arbitrary. That of the springs is known; what they do not
            # feel (springs in one line) is put to nought in the mean of the nodes.
            unknown += rigid @ (motion[some].T - fit @ (self._at_springs @ unknown))
            for free in self.springs.free_motion.T:
                turn = (rigid @ free)[::4]
                unknown -= np.outer(rigid @ free, turn @ unknown[::4] / (turn @ turn))
            for name, operator in operators.items():
                found[name].append((operator @ unknown).T)
        return {name: np.concatenate(rows) for name, rows in found.items()}
