"""Loads while packs are released: the building as a plate on locked and on released supports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, not_negative, positive
from groundborne.sizing.lost_columns.floors_above import BOUNDS, FloorsAbove
from groundborne.sizing.movement.column_plan import ColumnPlan
from groundborne.sizing.release.stages import LockedPack
from groundborne.sizing.release.states import Array, States
from groundborne.structure.plate_on_springs import PlateOnSprings
from groundborne.structure.supports import named_columns, on_columns


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SupportLimits:
    """What columns, locks, jacks and packs bear while packs are released.

    Each is one number or one for each column; where left out there is no such limit.

    Parameters
    ----------
    column_least : float or DataArray
        Least load of a column [N], 0 or more: below 0 it would lift off.
    column : float or DataArray, optional
        Largest load of a column [N], above 0.
    lock : float or DataArray, optional
        Largest load of a lock [N], above 0, whether it carries the column or holds springs down.
    jack : float or DataArray, optional
        Largest load of a jack [N], above 0: while a column is worked on, the jack has the lock's.
    pack : float or DataArray, optional
        Largest load of the springs of a pack [N], above 0.
    travel : float or DataArray, optional
        Largest movement of a column since locking [m], above 0, down or up.

    Examples
    --------
    >>> SupportLimits(jack=0.0)
    Traceback (most recent call last):
    ...
    ValueError: SupportLimits: jack is 0; it must be above 0 N
    """

    column_least: Numeric = 0.0
    column: Numeric | None = None
    lock: Numeric | None = None
    jack: Numeric | None = None
    pack: Numeric | None = None
    travel: Numeric | None = None

    def __post_init__(self) -> None:
        where = "SupportLimits"
        not_negative(where, "column_least", self.column_least, "N")
        for name in ("column", "lock", "jack", "pack", "travel"):
            value = getattr(self, name)
            if value is not None:
                positive(where, name, value, "m" if name == "travel" else "N")


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ReleaseFrame:
    """The building while its packs are released, for one floor stiffness or several.

    Parameters
    ----------
    plates : mapping of str to PlateOnSprings
        The building above the packs under a name each, such as "stiff" and "soft": two bounds of
        its rigidity. Springs on ``column``: stiffness of a support with its lock on [N/m], finite;
        the column's own shortening may be in it.
    load : DataArray
        What each column carries when work begins, all packs locked [N] on ``column``, 0 or more.
    precompression : float or DataArray
        Locked into the springs of each pack [N], 0 or more.
    stiffness : float or DataArray
        Springs of each pack between the two [N/m], above 0 and below that of the locked support.
    limits : SupportLimits
        What must not be exceeded.

    Raises
    ------
    ValueError
        Plates with other columns or places, a locked support softer than its springs.

    Notes
    -----
    The building as it stands before work is free of stress in this model: what bends it is how
    its columns move from there. A support let down by ``e`` from a lock is stiff at that height;
    a released one is a spring of its own stiffness, compressed beforehand. Locks act both ways,
    and are set again at every let-down. The jack's own lift, to free a lock, is not in it; nor are
    impact, creep and the sag of jacks. Storeys above stiffen the plate: rigidity is the sum of all
    that bend with it, which the structural engineer states.

    References
    ----------
    Derived: superposition on :class:`~groundborne.structure.PlateOnSprings`.

    Examples
    --------
    >>> from groundborne.structure import PlatePart
    >>> at = {"column": ["A", "B", "C"]}
    >>> x = xr.DataArray([0.0, 6.0, 12.0], dims="column", coords=at)
    >>> strip = PlateOnSprings(x=x, y=0 * x, stiffness=4e9,
    ...     parts=[PlatePart(x=(-1.0, 13.0), y=(-1.0, 1.0), rigidity=1e9)])
    >>> frame = ReleaseFrame(plates={"soft": strip}, load=0 * x + 3e6, precompression=2.7e6,
    ...                      stiffness=1e8)
    >>> frame.remaining.values.round(6).tolist()
    [0.003, 0.003, 0.003]
    """

    plates: Mapping[str, PlateOnSprings]
    load: xr.DataArray
    precompression: Numeric
    stiffness: Numeric
    limits: SupportLimits = field(default_factory=SupportLimits)

    def __post_init__(self) -> None:
        where = "ReleaseFrame"
        load = named_columns(where, "load", self.load).astype(float)
        if load.dims != ("column",):
            raise ValueError(f"{where}: load has dims {load.dims}; 'column' only, one state")
        not_negative(where, "load", load, "N")
        object.__setattr__(self, "load", load)
        not_negative(where, "precompression", self.precompression, "N")
        positive(where, "stiffness", self.stiffness, "N/m")
        for name in ("precompression", "stiffness"):
            value = on_columns(where, name, getattr(self, name), load.column)
            if value.dims != ("column",):
                raise ValueError(f"{where}: {name} has dims {value.dims}; 'column' only")
            object.__setattr__(self, name, value)
        object.__setattr__(self, "plates", dict(self.plates))
        if not self.plates:
            raise ValueError(f"{where}: plates is empty; give one plate or several")
        for label, plate in self.plates.items():
            if plate.dim != "column":
                raise ValueError(
                    f"{where}: the springs of plate {label!r} are on {plate.dim!r}; 'column'"
                )
            locked = on_columns(where, f"plate {label!r}", plate.stiffness, load.column)
            finite(where, f"stiffness of plate {label!r}", locked)
            soft = (locked <= self.stiffness).values
            if soft.any():
                raise ValueError(
                    f"{where}: plate {label!r}: column {load.column.values[soft][0]} is no stiffer "
                    "locked than released; its spring is that of the locked support"
                )

    @classmethod
    def of_pack(
        cls,
        pack: LockedPack,
        load: xr.DataArray,
        *,
        plan: ColumnPlan,
        floors: FloorsAbove,
        lock_stiffness: Numeric,
        limits: SupportLimits | None = None,
    ) -> ReleaseFrame:
        """Locked packs under the floors of a building, between the bounds of their rigidity.

        Parameters
        ----------
        pack : LockedPack
            With a lock that holds both ways.
        load : DataArray
            When work begins [N], on ``column``, above 0.
        plan : ColumnPlan
            Positions.
        floors : FloorsAbove
            What bends, and the columns' stiffness; its packs are not used.
        lock_stiffness : float or DataArray
            Of blocks and bolts of each pack beside its springs [N/m], above 0. There is no default:
            the stiffer it is, the more load the locks of neighbours take.
        limits : SupportLimits, optional
            As for the class.

        Returns
        -------
        ReleaseFrame
            With plates "soft" and "stiff", and the stiffness of the springs between precompression
            and load; where those are within 0.1 %, over the last 1 %.

        Raises
        ------
        ValueError
            A lock that gives way by itself: such packs are not released by steps.
        """
        where = "ReleaseFrame.of_pack"
        if pack.lock != "both ways":
            raise ValueError(
                f"{where}: the lock is {pack.lock!r}; one that holds both ways is needed"
            )
        load = named_columns(where, "load", load).astype(float)
        positive(where, "load", load, "N")
        positive(where, "lock_stiffness", lock_stiffness, "N/m")
        locked = on_columns(where, "precompression", pack.precompression, load.column)
        near = abs(load - locked) <= 1e-3 * load
        other = xr.where(near, 0.99 * load, locked)
        way: Any = [
            on_columns(where, "deflection", pack.mount.static_deflection(q), load.column)
            for q in (load, other)
        ]
        springs = (load - other) / (way[0] - way[1])
        beside = on_columns(where, "lock_stiffness", lock_stiffness, load.column)
        held = replace(floors, mount_stiffness=springs + beside).support_stiffness(load)
        return cls(
            plates={b: floors.plate(plan.x, plan.y, held, bound=b) for b in BOUNDS},
            load=load,
            precompression=locked,
            stiffness=springs,
            limits=SupportLimits() if limits is None else limits,
        )

    @property
    def remaining(self) -> xr.DataArray:
        """What each column moves when released, were it alone [m], downwards."""
        gone: xr.DataArray = (self.load - self.precompression) / self.stiffness
        return gone.assign_attrs(units="m", long_name="movement if released now")


def states_of(frame: ReleaseFrame, columns: xr.DataArray) -> dict[str, States]:
    """Plates of a frame in plain arrays, in the order of the columns given."""

    def row(name: str, value: Any) -> Array:
        return np.asarray(on_columns("ReleaseFrame", name, value, columns).values, dtype=float)

    given = {n: row(n, getattr(frame, n)) for n in ("load", "precompression", "stiffness")}
    found = {}
    for label, plate in frame.plates.items():
        back = plate.x.indexes["column"].get_indexer(columns.values)
        reaction = plate.influence()["reaction"].transpose("raised", "column").values
        found[str(label)] = States(
            raise_=reaction[np.ix_(back, back)],
            locked=row("stiffness", plate.stiffness),
            place=np.stack([plate.x.values[back], plate.y.values[back]]),
            **given,
        )
    return found
