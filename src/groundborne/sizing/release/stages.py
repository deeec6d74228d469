"""Packs locked while the building grows: when each begins to move, and by how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
import xarray as xr

from groundborne._arguments import Words, checked
from groundborne._checks import Numeric, finite, known, no_nan, not_negative, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.movement.column_plan import MOVEMENT, ColumnPlan
from groundborne.structure.supports import named_columns, on_columns

LOCKED_PACKS = Citation(
    key="locked-packs",
    author="isolation practice",
    title="a pack locked at a share p of its load moves the last 1 − p of its deflection",
    mark="common practice",
    status="practice",
)

CREEP_LAW = Citation(
    key="rubber-creep-log-law",
    author="Lindley",
    title="Engineering Design with Natural Rubber",
    locator="creep per decade of time, from one minute after loading",
    mark="from memory",
    status="transcribed",
)

CAUTION = (
    "Jacking, locking and release are for the licensed engineer and a specialist contractor; "
    "local codes govern. These figures plan the work and release nothing."
)

FRAME_FOLLOWS = (
    "the frame follows: every column carries its own load whatever the others do; a stiff frame "
    "hands load on to its neighbours, which the structural engineer's analysis decides"
)

Lock = Literal["one way", "both ways"]

_MINUTES_PER_YEAR = 365.25 * 24 * 60


class CarriesLoad(Protocol):
    """Whatever shortens under a load: any mount."""

    def static_deflection(self, load: Numeric) -> Numeric:
        """Shortening [m] under a load [N]."""
        ...


@checked
def creep(
    deflection: Numeric,
    *,
    years: Numeric,
    per_decade: Numeric,
    ageing_per_year: Numeric = 0.0,
    first_reading: float = 1.0,
) -> Numeric:
    """Creep of a mount under a lasting load.

    Parameters
    ----------
    deflection : float or DataArray
        Elastic deflection under the lasting load at the first reading [m], 0 or more.
    years : float or DataArray
        Time under load, longer than the first reading and at most 200.
    per_decade : float or DataArray
        Creep per tenfold time over the deflection [-], 0 to 0.3; 0.03 to 0.05 for natural rubber
        of 60 IRHD.
    ageing_per_year : float or DataArray
        Chemical part, which grows with time itself, over the deflection [1/a], 0 to 0.05.
    first_reading : float
        When the deflection is read [minutes after loading], above 0.

    Returns
    -------
    float or DataArray
        Creep [m] beyond the deflection. Give ranges on a dim (``option``, ``sample``).

    Raises
    ------
    ValueError
        A parameter out of bounds.

    References
    ----------
    Lindley (from memory): ``d₁ (A lg(t/t₁) + B t)``. Fifty years are 7.4 decades of a minute.

    Examples
    --------
    >>> round(float(creep(10e-3, years=50, per_decade=0.04)) * 1e3, 2)
    2.97
    """
    where = "creep"
    not_negative(where, "deflection", deflection, "m")
    positive(where, "first_reading", first_reading, "minutes")
    within(where, "years", years, first_reading / _MINUTES_PER_YEAR, 200.0, "a")
    within(where, "per_decade", per_decade, 0.0, 0.3, "")
    within(where, "ageing_per_year", ageing_per_year, 0.0, 0.05, "1/a")
    decades = np.log10(years * _MINUTES_PER_YEAR / first_reading)
    crept: Numeric = deflection * (per_decade * decades + ageing_per_year * years)
    return crept


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class LockedPack:
    """Packs whose springs were compressed and locked before the columns came on.

    Parameters
    ----------
    mount : object with ``static_deflection(load)``
        The springs of each column; parameters on ``column`` for all columns at once.
    precompression : float or DataArray
        Load locked into the springs [N], 0 or more.
    lock : {"one way", "both ways"}
        ``one way``: bolts that keep the springs from rising; the pack gives way by itself as soon
        as the column brings more than the precompression. ``both ways``: bolts and blocks; nothing
        moves until release, and the blocks carry what the springs do not.

    Raises
    ------
    ValueError
        A negative precompression, an unknown lock, or a mount that cannot be deflected.

    Notes
    -----
    Springs and locks are elastic and the lock itself does not give way. Relaxation of rubber
    while locked is left out.

    References
    ----------
    Common practice: locked at a share p of its load, a pack moves the last 1 − p on release.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> springs = LinearMount(stiffness=100e6)
    >>> pack = LockedPack.at_share(mount=springs, load=3e6, share=0.9, lock="both ways")
    >>> pack.precompression
    2700000.0
    """

    mount: CarriesLoad
    precompression: Numeric
    lock: Lock

    def __post_init__(self) -> None:
        where = "LockedPack"
        if not callable(getattr(self.mount, "static_deflection", None)):
            raise ValueError(
                f"{where}: mount is {type(self.mount).__name__}; an object with "
                "static_deflection(load) is needed"
            )
        not_negative(where, "precompression", self.precompression, "N")
        known(where, "lock", self.lock, ("one way", "both ways"))

    @classmethod
    def at_share(
        cls, *, mount: CarriesLoad, load: Numeric, share: Numeric, lock: Lock
    ) -> LockedPack:
        """Packs locked at a share of the load they are to carry.

        Parameters
        ----------
        mount, lock
            As for the class.
        load : float or DataArray
            Load in use [N], 0 or more.
        share : float or DataArray
            Precompression over load, 0 to 1.2.

        Returns
        -------
        LockedPack
            With ``precompression = share × load``.
        """
        where = "LockedPack.at_share"
        not_negative(where, "load", load, "N")
        within(where, "share", share, 0.0, 1.2, "")
        if isinstance(load, xr.DataArray) and isinstance(share, xr.DataArray):
            share = _matched(where, "share", share, load)
        return cls(mount=mount, precompression=share * load, lock=lock)


def _matched(where: str, name: str, value: xr.DataArray, load: xr.DataArray) -> xr.DataArray:
    if "column" in value.dims and "column" in load.dims:
        return on_columns(where, name, value, named_columns(where, "load", load).column)
    return value


def _stages(where: str, load: xr.DataArray) -> list[str]:
    if "stage" not in load.dims or "stage" not in load.coords:
        raise ValueError(f"{where}: load must have a dim 'stage' with names, in building order")
    return [str(s) for s in load["stage"].values]


def _released(
    where: str, stages: list[str], after: str | xr.DataArray | None, load: xr.DataArray
) -> xr.DataArray:
    """First stage after which each column is released, as a number; past the end if never."""
    never: xr.DataArray = xr.full_like(load["column"], len(stages), dtype=int).drop_attrs()
    if after is None:
        return never
    if not isinstance(after, xr.DataArray):
        return never * 0 + stages.index(known(where, "released_after", after, stages))
    named = named_columns(where, "released_after", after)
    number = named.copy(
        data=[stages.index(known(where, "released_after", str(s), stages)) for s in named.values]
    )
    return on_columns(where, "released_after", number, load.column).astype(int)


@checked
def stage_movement(
    pack: LockedPack,
    load: xr.DataArray,
    *,
    plan: ColumnPlan | None = None,
    released_after: str | Words | None = None,
    years: float = 50.0,
    creep_per_decade: Numeric = 0.0,
    ageing_per_year: Numeric = 0.0,
) -> xr.Dataset:
    """Movement of every column at every stage of construction, with its packs locked at first.

    Parameters
    ----------
    pack : LockedPack
        Packs of all columns.
    load : DataArray
        Column load at the end of each stage [N] on ``stage, column``, 0 or more; stages in
        building order.
    plan : ColumnPlan, optional
        Positions, for movement between neighbours and tilt.
    released_after : str or DataArray, optional
        Stage at whose end the packs are released, for all or by ``column``; never where left out.
    years, creep_per_decade, ageing_per_year
        Of :func:`creep`, under the load of the last stage. A dim on the last two holds a range.

    Returns
    -------
    xarray.Dataset
        On ``stage, column``: ``movement`` [m], downwards since locking, after any release at the
        end of the stage; ``stage_movement``, the part since the stage before; ``spring_load`` and
        ``lock_load`` [N], the latter above 0 where the lock holds the springs down and below 0
        where it carries the column, 0 once released; ``free`` to move; ``remaining`` [m], what
        release at this stage would bring. On ``column``: ``begins_to_move``, a stage or "never";
        ``moves_on_release`` [m], 0 if never released; ``deflection`` of the springs at the last
        stage, ``creep`` and ``movement_long_term`` [m].
        With a plan also ``differential`` on ``stage, pair``, ``tilt`` on ``stage`` and both
        ``_long_term``. Below 0 a movement is a rise: springs locked at more than the load lift
        the column when released.

    Raises
    ------
    ValueError
        Loads without stages or columns, an unknown stage, columns that differ, or a deflection
        that is not a number (beyond the range of the mount).

    References
    ----------
    Derived from equilibrium of column, springs and lock; the share that moves on release is
    common practice. Creep: Lindley (from memory).

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> load = xr.DataArray([[1e6], [2e6], [3e6]], dims=("stage", "column"),
    ...                     coords={"stage": ["L8", "top", "in use"], "column": ["A1"]})
    >>> pack = LockedPack.at_share(mount=LinearMount(stiffness=100e6), load=3e6, share=0.9,
    ...                            lock="both ways")
    >>> moved = stage_movement(pack, load, released_after="in use")
    >>> (moved.deflection * 1e3).round(6).values, (moved.moves_on_release * 1e3).round(6).values
    (array([30.]), array([3.]))
    """
    where = "stage_movement"
    load = named_columns(where, "load", load)
    not_negative(where, "load", load, "N")
    stages = _stages(where, load)
    load = load.astype(float).assign_coords(stage=stages)
    preload = on_columns(where, "precompression", pack.precompression, load.column)
    if "stage" in preload.dims:
        raise ValueError(f"{where}: precompression has a dim 'stage'; packs are locked once")

    elastic = _deflected(where, pack, load)
    beyond = elastic - _deflected(where, pack, preload)
    released = _released(where, stages, released_after, load)
    is_released = xr.DataArray(np.arange(len(stages)), coords={"stage": stages}) >= released
    if pack.lock == "one way":
        locked, held = beyond.clip(min=0.0), np.maximum(load, preload)
        gives_way = load > preload
    else:
        locked, held = xr.zeros_like(beyond), preload + 0 * load
        gives_way = xr.zeros_like(load, dtype=bool)
    free = is_released | gives_way
    movement = xr.where(is_released, beyond, locked)
    spring_load = xr.where(is_released, load, held)
    number = free.argmax("stage")
    begins = xr.DataArray(np.array([*stages, "never"])[xr.where(free.any("stage"), number, -1)])
    at_release = (beyond - locked).isel(stage=released.clip(max=len(stages) - 1))
    on_release = xr.where(released < len(stages), at_release.drop_vars("stage"), 0.0)
    last = elastic.isel(stage=-1, drop=True)
    crept = creep(last, years=years, per_decade=creep_per_decade, ageing_per_year=ageing_per_year)
    long_term = movement.isel(stage=-1, drop=True) + crept
    metres = {
        "movement": (movement, "movement since locking"),
        "stage_movement": (movement - movement.shift(stage=1, fill_value=0.0), "of this stage"),
        "remaining": (xr.where(is_released, 0.0, beyond - locked), "movement if released now"),
        "moves_on_release": (on_release, "movement on release"),
        "deflection": (last, "deflection of the springs at the last stage"),
        "creep": (xr.zeros_like(last) + crept, f"creep in {years:g} years"),
        "movement_long_term": (long_term, f"movement with {years:g} years of creep"),
    }
    result = xr.Dataset(
        {
            **{n: v.assign_attrs(units="m", long_name=text) for n, (v, text) in metres.items()},
            "load": load.assign_attrs(units="N"),
            "spring_load": spring_load.assign_attrs(units="N"),
            "lock_load": (spring_load - load).assign_attrs(units="N"),
            "free": free,
            "begins_to_move": begins.rename(dict(zip(begins.dims, number.dims, strict=True))),
        },
        attrs={
            "citations": citation_texts([LOCKED_PACKS, CREEP_LAW, MOVEMENT]),
            "assumption": FRAME_FOLLOWS,
            "caution": CAUTION,
        },
    )
    for name in metres:
        no_nan(where, result[name])
    if plan is not None:
        for end, moved in (("", movement), ("_long_term", long_term)):
            result[f"differential{end}"] = plan.differential(moved)
            result[f"tilt{end}"] = plan.plane(moved)["tilt"]
    return result


def _deflected(where: str, pack: LockedPack, load: xr.DataArray) -> xr.DataArray:
    """Deflection on the columns of the load, none lost on the way."""
    deflection: Any = pack.mount.static_deflection(load)
    finite(where, "deflection of the mount", deflection)
    return on_columns(where, "deflection of the mount", deflection, load.column)
