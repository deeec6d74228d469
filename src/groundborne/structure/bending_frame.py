"""A regular frame in bending: what the horizontal motion of the ground makes of each storey."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.citation import DERIVED, Citation
from groundborne.structure.bending_beam import (
    Block,
    added,
    beam_stiffness,
    end_blocks,
    inverse,
    negative,
    product,
)
from groundborne.structure.lateral_foundation import LateralFoundation
from groundborne.structure.storey import FloorName

BENDING_FRAME = Citation(
    key="bending-frame",
    author="textbook structural dynamics",
    title="regular frame whose columns bend between floors that are rigid in their plane, by "
    "dynamic stiffness",
    mark="derived",
    status="transcribed",
)
COLUMN = "column"
"""Dim of columns that floors tie together."""


@runtime_checkable
class LateralMount(Protocol):
    """Mounts of one column as the frame sees them."""

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor [-] inside."""
        ...

    def lateral_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Complex horizontal stiffness [N/m] at frequencies in Hz."""
        ...


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SlabStrip:
    """The strip of a slab that holds the joints of a frame against rotation.

    Parameters
    ----------
    span : float or DataArray
        From column to column along the motion [m].
    bending_stiffness : float or DataArray
        E I of the strip [N m²].
    mass_per_length : float or DataArray
        [kg/m].
    loss_factor : float or DataArray
        Hysteretic [-], 0 to 1.

    Notes
    -----
    All joints of a floor turn alike, so that the strip bends in double curvature:
    ``12 E I/span`` towards 0 Hz, from both sides of the joint.

    Examples
    --------
    >>> strip = SlabStrip(span=6.0, bending_stiffness=6e7, mass_per_length=1500.0, loss_factor=0.0)
    >>> f = xr.DataArray([0.01], dims="frequency")
    >>> round(float(strip.rotational_stiffness(f).real[0]) / 1e6, 1)
    120.0
    """

    span: Numeric
    bending_stiffness: Numeric
    mass_per_length: Numeric
    loss_factor: Numeric

    def __post_init__(self) -> None:
        where = "SlabStrip"
        positive(where, "span", self.span, "m")
        positive(where, "bending_stiffness", self.bending_stiffness, "N m²")
        positive(where, "mass_per_length", self.mass_per_length, "kg/m")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")

    def rotational_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Moment over rotation of a joint [N m]."""
        found = beam_stiffness(
            frequency,
            bending_stiffness=self.bending_stiffness * (1 + 1j * self.loss_factor),
            mass_per_length=self.mass_per_length,
            length=self.span,
        )
        return 2 * (found["moment"] + found["carried"])


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FrameStorey:
    """One storey of a frame: a column in bending, and the floor on its head.

    Parameters
    ----------
    floor : str or int
        Name of the floor.
    height : float or DataArray
        Of the column [m], above 0.
    bending_stiffness : float or DataArray
        E I of the column along the motion [N m²], above 0.
    mass_per_length : float or DataArray
        Of the column [kg/m], above 0.
    loss_factor : float or DataArray
        Hysteretic, of the column [-], 0 to 1.
    floor_mass : float or DataArray
        That moves with the head of the column [kg], 0 or more.
    joint : SlabStrip, optional
        What holds the head against rotation; without it, nothing lets it turn.

    Examples
    --------
    >>> storey = FrameStorey(floor="1", height=3.0, bending_stiffness=6e7, mass_per_length=400.0,
    ...                      loss_factor=0.02, floor_mass=25e3)
    >>> round(12 * storey.bending_stiffness / storey.height**3 / 1e6, 1)
    26.7
    """

    floor: FloorName
    height: Numeric
    bending_stiffness: Numeric
    mass_per_length: Numeric
    loss_factor: Numeric
    floor_mass: Numeric
    joint: SlabStrip | None = None

    def __post_init__(self) -> None:
        where = f"FrameStorey {self.floor!r}"
        positive(where, "height", self.height, "m")
        positive(where, "bending_stiffness", self.bending_stiffness, "N m²")
        positive(where, "mass_per_length", self.mass_per_length, "kg/m")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "floor_mass", self.floor_mass, "kg")

    def stiffness(self, frequency: Frequency) -> dict[str, xr.DataArray]:
        """Of the column: see :func:`~groundborne.structure.bending_beam.beam_stiffness`."""
        return beam_stiffness(
            frequency,
            bending_stiffness=self.bending_stiffness * (1 + 1j * self.loss_factor),
            mass_per_length=self.mass_per_length,
            length=self.height,
        )


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class BendingFrame:
    """Columns that bend between floors, on a foundation that the ground moves horizontally.

    Parameters
    ----------
    storeys : tuple of FrameStorey
        From bottom to top, at least one; floor names differ. All have joints that turn, or none.
    foundation : LateralFoundation, optional
        Without it the motion of the foundation is imposed.
    under : str or int, optional
        Floor whose slab rests on mounts, on the heads of the columns below it.
    mounts : LateralMount, optional
        These mounts.

    Raises
    ------
    ValueError
        No storeys, repeated floor names, some joints that turn and some that do not, or mounts
        without a floor of the frame.

    Notes
    -----
    Floors are rigid in their plane and tie all columns together: of parameters with the dim
    ``column`` stiffness and mass are added up, and joints of a floor turn alike. Columns are held
    against rotation by the foundation. The head of a column that carries mounts is free to turn
    where joints are.

    Only the frame is in it. Walls, cores, bracing and infill carry horizontal motion upwards far
    better than columns in bending; the turning of the building on its soil, what vertical motion
    makes of horizontal, waves that are short against the plan, and the stretch of floors in their
    plane, are left out. Above the first sway modes the frame isolates its floors: in a building
    with walls it says too little.

    References
    ----------
    Derived: dynamic stiffness, eliminated from the roof down. One storey with held joints is a mass
    on ``12 E I/h³`` (structural handbooks).

    Examples
    --------
    >>> storey = FrameStorey(floor="1", height=3.0, bending_stiffness=6e7, mass_per_length=1e-3,
    ...                      loss_factor=0.02, floor_mass=25e3)
    >>> frame = BendingFrame(storeys=(storey,))
    >>> f = xr.DataArray([0.01, 5.2, 20.0], dims="frequency")
    >>> abs(frame.velocity_ratio(f)).round(2).values.ravel().tolist()
    [1.0, 49.97, 0.07]
    """

    storeys: tuple[FrameStorey, ...]
    foundation: LateralFoundation | None = None
    under: FloorName | None = None
    mounts: LateralMount | None = None

    def __post_init__(self) -> None:
        where = "BendingFrame"
        if not self.storeys:
            raise ValueError(f"{where}: storeys must be at least one FrameStorey, bottom to top")
        floors = list(self.floors)
        repeated = [name for i, name in enumerate(floors) if name in floors[:i]]
        if repeated:
            raise ValueError(f"{where}: floor {repeated[0]!r} is given twice; names must differ")
        turning = [storey.joint is not None for storey in self.storeys]
        if any(turning) and not all(turning):
            raise ValueError(
                f"{where}: the joints of floor {floors[turning.index(False)]!r} do not turn and "
                "others do; give all a SlabStrip, or none"
            )
        if (self.under is None) != (self.mounts is None):
            raise ValueError(f"{where}: under and mounts are given together, or neither is")
        if self.under is not None:
            known(where, "under", str(self.under), [str(name) for name in floors])

    @property
    def floors(self) -> tuple[FloorName, ...]:
        """Bottom to top: the coordinate on ``floor``."""
        return tuple(storey.floor for storey in self.storeys)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the method, the soil and the mounts."""
        parts = [part for part in (self.foundation, self.mounts) if part is not None]
        found = [BENDING_FRAME, DERIVED, *(c for part in parts for c in part.citations)]
        return tuple(dict.fromkeys(found))

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor of columns and mounts [-]."""
        found = [float(np.min(np.asarray(storey.loss_factor))) for storey in self.storeys]
        if self.mounts is not None:
            found.append(self.mounts.loss_factor_floor)
        return min(found)

    def on_mounts(self, mounts: LateralMount, *, under: FloorName) -> BendingFrame:
        """The same frame on mounts."""
        return replace(self, mounts=mounts, under=under)

    def velocity_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Horizontal velocity of each floor over that of the ground, or an imposed foundation [-].

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels.

        Returns
        -------
        xarray.DataArray
            Complex, on ``floor`` and the dims of frequency and parameters, without ``column``.
        """
        return self._climbed(frequency)[1]

    def foundation_ratio(self, frequency: Frequency) -> xr.DataArray:
        """Horizontal velocity of the foundation under the frame over that of the ground [-]."""
        return self._climbed(frequency)[0]

    @property
    def _columns(self) -> int:
        """How many columns there are; 1 where nothing differs from column to column."""
        found = [*self.storeys, *(s.joint for s in self.storeys), self.foundation]
        for part in found:
            for one in fields(part) if part is not None else ():
                value = getattr(part, one.name)
                if COLUMN in getattr(value, "dims", ()):
                    return int(value.sizes[COLUMN])
        return 1

    def _climbed(self, frequency: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
        count = self._columns
        omega = 2 * np.pi * frequency

        def of_all(value: Any) -> Any:
            """What columns do together."""
            if COLUMN in getattr(value, "dims", ()):
                return value.sum(COLUMN, skipna=False)
            return value * count

        turns = self.storeys[0].joint is not None
        above: Block | None = None
        steps: list[Callable[[list[Any]], list[Any]]] = []
        for storey in reversed(self.storeys):
            found = {name: of_all(x) for name, x in storey.stiffness(frequency).items()}
            lower, to_upper, to_lower, upper = end_blocks(found, turns=turns)
            joint = storey.joint
            turning = None if joint is None else of_all(joint.rotational_stiffness(frequency))
            node = _diagonal(-(omega**2) * of_all(storey.floor_mass), turning)
            if above is not None:
                node = added(node, above)
            lifted: Block | None = None
            if storey.floor == self.under and self.mounts is not None:
                spring = of_all(self.mounts.lateral_stiffness(frequency))
                freed = inverse(added(node, _diagonal(spring, 0.0 if turns else None)))
                node = _diagonal(spring - spring**2 * freed[0][0], 0.0 if turns else None)
                lifted = [[row[0] * spring] for row in freed]
            moved = negative(product(inverse(added(node, upper)), to_lower))
            steps.append(_step(moved, lifted))
            above = added(lower, product(to_upper, moved))
        assert above is not None
        base = xr.ones_like(frequency, dtype=complex)
        if self.foundation is not None:
            soil = 1j * omega * of_all(self.foundation.impedance(frequency))
            own = omega**2 * of_all(self.foundation.mass * self.foundation.share)
            base = soil / (soil - own + above[0][0])
        motion: list[Any] = [base, 0.0 * base][: 2 if turns else 1]
        storeys = []
        for step in reversed(steps):
            motion = step(motion)
            storeys.append(motion[0])
        labels = xr.DataArray(list(self.floors), dims="floor", name="floor")
        joined: xr.DataArray = xr.concat(list(xr.broadcast(*storeys)), dim=labels)
        return base, joined.transpose("floor", ...)


def _diagonal(force: Any, moment: Any | None) -> Block:
    """What acts on a joint by itself; one row where it does not turn."""
    return [[force]] if moment is None else [[force, 0.0 * force], [0.0 * force, moment]]


def _step(moved: Block, lifted: Block | None) -> Callable[[list[Any]], list[Any]]:
    """From the motion of a joint to that of the next floor, over mounts where there are some."""

    def climb(motion: list[Any]) -> list[Any]:
        head = [sum(m * x for m, x in zip(row, motion, strict=True)) for row in moved]
        return head if lifted is None else [row[0] * head[0] for row in lifted]

    return climb
