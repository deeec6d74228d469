"""What crosses the isolation plane beside the mounts: stairs, risers, facade, soil, dampers, stops.

Springs isolate what only they carry. A riser pipe held on both sides, a stair flight, backfill
against a wall above the plane or a stop that touches carries vibration past them, and often more of
it than the mounts let through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import LabelError, Numeric, not_negative, within
from groundborne.citation import DERIVED, Citation
from groundborne.isolation.mount import Mount
from groundborne.twoport import TwoPort

CROSSING = Citation(
    key="crossing-beside-the-mounts",
    author="groundborne",
    title="massless complex stiffness across the isolation plane, in parallel with the mounts",
    mark="derived",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Crossing:
    """One kind of thing that crosses the isolation plane.

    Parameters
    ----------
    name : str
        What it is, for notes and the report.
    stiffness : float or DataArray
        Vertical dynamic stiffness of all of it together [N/m], 0 or more: ``E A/L`` of a member
        in series with its sleeve or connector, ``G A/t`` of a board against soil.
    loss_factor : float or DataArray
        Of that stiffness [-], 0 to 1.
    damping : float or DataArray
        Viscous damping of all of it together [N s/m], 0 or more: a damper; soil on a wall above
        the plane is ``ρ v_s`` times its area of contact.
    columns : sequence of str
        Columns beside which it crosses, each with an equal part; empty where all share it, each by
        the floor area it carries.

    Raises
    ------
    ValueError
        A number out of bounds, a column named twice, or a crossing with neither stiffness nor
        damping.

    Notes
    -----
    It carries no permanent load: what is built in after release hangs from both sides. Whether a
    pipe, stair or cable tray has a sleeve that lets it move is for the register of crossings on
    site; one that was forgotten is found only by measurement.

    Examples
    --------
    >>> riser = Crossing(name="DN100 riser, flexible connector", stiffness=5e5, loss_factor=0.1)
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> complex(riser.dynamic_stiffness(f).round(0)[0])
    (500000+50000j)
    """

    name: str
    stiffness: Numeric = 0.0
    loss_factor: Numeric = 0.1
    damping: Numeric = 0.0
    columns: Sequence[str] = ()

    def __post_init__(self) -> None:
        where = f"Crossing {self.name!r}"
        if not self.name.strip():
            raise ValueError("Crossing: the name is empty; say what crosses the plane")
        not_negative(where, "stiffness", self.stiffness, "N/m")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "damping", self.damping, "N s/m")
        if not np.any(np.asarray(self.stiffness) > 0) and not np.any(np.asarray(self.damping) > 0):
            raise ValueError(
                f"{where}: it has neither stiffness nor damping; give one, or leave it out"
            )
        object.__setattr__(self, "columns", tuple(self.columns))
        for column in self.columns:
            if list(self.columns).count(column) > 1:
                raise ValueError(f"{where}: column {column!r} is named twice")

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """``k (1 + jη) + jωc`` of all of it together [N/m]."""
        spring = self.stiffness * (1 + 1j * self.loss_factor)
        whole: xr.DataArray = spring + 2j * np.pi * frequency * self.damping
        return whole

    def shares(self, weights: xr.DataArray) -> xr.DataArray:
        """Part of it that falls to each column [-].

        Parameters
        ----------
        weights : DataArray
            Share of each column in the floor area carried, on ``column``.

        Raises
        ------
        LabelError
            It crosses beside a column that is not there.
        """
        if not self.columns:
            return weights
        if "column" not in weights.dims:
            raise LabelError(
                f"Crossing {self.name!r}: it names columns {', '.join(map(repr, self.columns))}, "
                "and the building is one line without columns; leave them out"
            )
        labels = weights["column"].values.tolist()
        missing = [c for c in self.columns if c not in labels]
        if missing:
            raise LabelError(
                f"Crossing {self.name!r}: there is no column {missing[0]!r}; known are "
                f"{', '.join(map(repr, labels))}"
            )
        here = xr.DataArray(np.isin(labels, list(self.columns)), coords={"column": labels})
        return here / len(self.columns)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class CrossedMount:
    """Mounts with what crosses the isolation plane beside them.

    Parameters
    ----------
    mount : Mount
        The mounts themselves; they alone carry the building.
    crossings : sequence of Crossing
        At least one.
    weights : DataArray
        Share of each column in the floor area carried [-], on ``column``; 1 for one line.

    Notes
    -----
    Parallel to a massless mount of stiffness k that carries a rigid mass, a crossing of stiffness
    ``k_b`` raises the natural frequency by ``√(1 + k_b/k)``.

    References
    ----------
    Derived.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> spring = LinearMount(stiffness=4e6, loss_factor=0.02)
    >>> stair = Crossing(name="stair on 10 mm rubber", stiffness=1e6, loss_factor=0.1)
    >>> both = CrossedMount(mount=spring, crossings=[stair], weights=xr.DataArray(1.0))
    >>> f = xr.DataArray([1.0], dims="frequency")
    >>> float(both.dynamic_stiffness(f).real[0])
    5000000.0
    """

    mount: Mount
    crossings: Sequence[Crossing]
    weights: xr.DataArray

    def __post_init__(self) -> None:
        if not self.crossings:
            raise ValueError("CrossedMount: there is no crossing; take the mount itself")
        object.__setattr__(self, "crossings", tuple(self.crossings))

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the mounts, and the model of crossings."""
        return tuple(dict.fromkeys((*self.mount.citations, CROSSING, DERIVED)))

    @property
    def loss_factor_floor(self) -> float:
        """Smallest loss factor of mounts and crossings."""
        own = [
            float(np.min(np.asarray(c.loss_factor)))
            for c in self.crossings
            if np.any(np.asarray(c.stiffness) > 0) and np.all(np.asarray(c.loss_factor) > 0)
        ]
        return min([self.mount.loss_factor_floor, *own])

    def beside(self, frequency: Frequency) -> xr.DataArray:
        """Dynamic stiffness of all crossings at each column [N/m]."""
        total = xr.zeros_like(frequency, dtype=complex)
        for crossing in self.crossings:
            total = total + crossing.shares(self.weights) * crossing.dynamic_stiffness(frequency)
        return total

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness of mounts and crossings together [N/m]."""
        whole: xr.DataArray = self.mount.dynamic_stiffness(frequency) + self.beside(frequency)
        return whole

    def static_deflection(self, load: Numeric) -> Numeric:
        """Of the mounts, which alone carry [m]."""
        return self.mount.static_deflection(load)

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Forces of mounts and crossings added at both ends."""
        impedance = self.beside(frequency) / (2j * np.pi * frequency)
        return self.mount.two_port(frequency).beside(impedance)
