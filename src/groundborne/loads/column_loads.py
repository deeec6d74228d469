"""Loads of columns at the isolation plane, what each floor adds to them, and what of them moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.csv_columns import is_wind
from groundborne.loads.at_plane import above, load_names, on_column, require_dims, with_sums
from groundborne.loads.psi import PSI, Psi, factors
from groundborne.usual_values import derived

APART = derived("distance of columns")
APART_SAID = "the median distance of a column to the next one"
SAME_PLACE = 0.05
"""Columns nearer than this stand in one place [m]."""


@checked(renamed={"levels": "by_floor", "levels_file": "by_floor_file"})
@dataclass(frozen=True, kw_only=True, eq=False)
class ColumnLoads:
    """Characteristic loads of the columns at the isolation plane, and floor by floor.

    Sizing combines them; in a study the load on the mounts and the mass that moves in its column
    lines are :meth:`quasi_permanent` and :meth:`quasi_permanent_by_floor`.

    Parameters
    ----------
    data : Dataset
        On ``column``: position ``x``, ``y`` [m]; ``permanent`` and ``imposed`` [N], which may have
        further dims such as ``sample`` and may be left out where `by_floor` give them; where given
        ``structure``, ``superimposed`` (parts of the permanent load), ``wind_x``, ``wind_y`` (each
        taken both ways), any further ``wind_NAME`` (one direction, as it stands, with signs),
        ``accidental`` [N], ``category`` of the imposed load or ``imposed_share``, the share of it
        that moves [-], ``panel_share``, ``part`` of the building, ``row`` of the file, and
        ``lowest``, the lowest floor above the isolation plane, which is the first of `by_floor` if
        not given. All loads are downwards. Only wind and accident may lift, below 0: of an imposed
        load that does, no case takes the lifting end.
    revision : str
        Label of the issue of the table; empty where it is not known.
    by_floor : Dataset, optional
        On ``column`` and ``floor``, lowest first: ``permanent`` and ``imposed`` load that the
        floor adds [N], of its slab, of what rests on it and of the column that stands on it, 0
        where there is none; where given ``structure``, ``superimposed``, ``category`` and
        ``imposed_share``, and ``row`` of the file. What `data` holds is then the sum over the
        floors from ``lowest`` up; where it holds it already, to the whole kilonewton, that sum
        stands in its place.
    file, by_floor_file : str
        Names of both for messages.
    doubles : tuple of str
        Names or positions that stand twice, one sentence each.

    Raises
    ------
    ValueError
        A load is missing, not finite, without the dim ``column``, or lifts that must not; loads of
        columns are not those of their floors; a floor is unknown; no floor lies above the plane;
        the columns stand as far apart as in millimetres.

    Examples
    --------
    >>> at = {"column": ["A1"], "floor": ["0", "1", "roof"]}
    >>> by_floor = xr.Dataset({"permanent": (("column", "floor"), [[300e3, 250e3, 200e3]]),
    ...                      "imposed": (("column", "floor"), [[90e3, 90e3, 30e3]]),
    ...                      "category": ("floor", ["B", "B", "H"])}, coords=at)
    >>> data = xr.Dataset({"x": ("column", [0.0]), "y": ("column", [0.0]),
    ...                    "lowest": ("column", ["1"])}, coords={"column": ["A1"]})
    >>> loads = ColumnLoads(data=data, by_floor=by_floor, revision="P1")
    >>> float(loads.data["permanent"][0]), float(loads.quasi_permanent()[0])
    (450000.0, 477000.0)
    """

    data: xr.Dataset
    revision: str = ""
    by_floor: xr.Dataset | None = None
    file: str = ""
    by_floor_file: str = ""
    doubles: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        where = self._where
        if self.by_floor is not None:
            require_dims(where, "permanent", self.by_floor, "column", "floor")
            require_dims(where, "imposed", self.by_floor, "column", "floor")
            file = self.by_floor_file or where
            data = with_sums(self.data, self.by_floor, self.above_plane, where=where, file=file)
            object.__setattr__(self, "data", data)
        for name in ("x", "y", "permanent", "imposed"):
            require_dims(where, name, self.data, "column", alone=name in "xy")
        for name in ("x", "y", *load_names(self.data)):
            by_column = self.data[name].transpose("column", ...)
            bad = ~np.isfinite(np.asarray(by_column.values, dtype=float))
            if bad.any():
                at = str(self.data["column"].values[np.argwhere(bad)[0][0]])
                raise ValueError(f"{where}: {name} of column {at!r} is not a finite number")
        positive(where, "permanent", self.data["permanent"], "N")
        not_negative(where, "imposed (only wind and accident may lift)", self.data["imposed"], "N")
        place = np.stack([self.data[k].values for k in "xy"], axis=1)
        for apart in nearest(place):
            low, high = APART.possible
            within(where, APART_SAID, apart, low, high, "m", "are x and y in mm?")

    @property
    def _where(self) -> str:
        return self.file or "ColumnLoads"

    @property
    def has_wind(self) -> bool:
        """Whether any wind is known."""
        return bool(self.winds)

    @property
    def winds(self) -> dict[str, xr.DataArray]:
        """What the wind adds at each column [N], downwards, by direction.

        ``x+``, ``x-``, ``y+`` and ``y-`` where the table holds that axis, then any further
        direction by its name.
        """
        found: dict[str, xr.DataArray] = {}
        for name in load_names(self.data):
            if name in ("wind_x", "wind_y"):
                found[f"{name[-1]}+"], found[f"{name[-1]}-"] = self.data[name], -self.data[name]
            elif is_wind(name):
                found[name.removeprefix("wind_")] = self.data[name]
        return found

    @property
    def has_floors(self) -> bool:
        """Whether it is known what each floor adds."""
        return self.by_floor is not None

    @property
    def names(self) -> list[str]:
        """Labels of the columns, in the order of the file."""
        return [str(c) for c in self.data["column"].values]

    @property
    def above_plane(self) -> xr.DataArray:
        """Which floors bear on the plane, on ``column`` and ``floor``.

        Raises
        ------
        ValueError
            There are no floors, or a floor is unknown.
        """
        return above(self._by_floor, self.data.get("lowest"), where=self._where)

    def of_imposed(self, name: str) -> xr.DataArray | None:
        """What is known of the imposed load: of each floor, else of each column, else None.

        Parameters
        ----------
        name : str
            ``category`` or ``imposed_share``.
        """
        for held in (self.by_floor, self.data):
            if held is not None and name in held:
                return held[name].reset_coords(drop=True).drop_attrs(deep=False)
        return None

    def psi(
        self, name: str, *, table: Mapping[str, Psi] | None = None, category: str = ""
    ) -> Numeric:
        """One psi factor of the imposed load, by the category of each column or floor [-].

        Parameters
        ----------
        name : str
            ``psi0``, ``psi1`` or ``psi2``.
        table : mapping of str to Psi, optional
            Factors by category; the recommended ones of EN 1990 if not given.
        category : str
            Where the loads name none.

        Raises
        ------
        ValueError
            A category is unknown, or there is none.
        """
        known("ColumnLoads.psi", "name", name, ("psi0", "psi1", "psi2"))
        table = PSI if table is None else table
        held = self.of_imposed("category")
        if held is None and not category:
            raise ValueError(
                f"{self._where}: the share of the imposed load that moves is not known; give it as "
                "'imposed_share', or a column 'category' of the loads, whose psi2 it then is"
            )
        if held is None:
            return float(getattr(table[known(self._where, "category", category, table)], name))
        return factors(held, name, table, where=partial(self._cell, "category", held))

    def moving_share(
        self, *, table: Mapping[str, Psi] | None = None, category: str = ""
    ) -> Numeric:
        """Share of the imposed load that moves with the building, and that mounts ride under [-].

        The share that the loads name, else psi2 of their categories: the quasi-permanent part.

        Parameters
        ----------
        table, category
            As for :meth:`psi`.

        Returns
        -------
        float or DataArray
            With the dims it was given on: ``column``, ``floor``, ``sample``.

        References
        ----------
        EN 1990:2002, Table A1.1 [seen second-hand; roofs, snow, wind and temperature from memory].
        """
        held = self.of_imposed("imposed_share")
        return self.psi("psi2", table=table, category=category) if held is None else held

    def imposed(self, share: Numeric = 1.0) -> xr.DataArray:
        """A share of the imposed load at the plane, on ``column`` [N].

        Parameters
        ----------
        share : float or DataArray
            0 to 1; on ``floor`` too where there are floors.

        Raises
        ------
        ValueError
            It is out of bounds, or differs between floors and the loads do not.
        """
        within(self._where, "share of the imposed load", share, 0.0, 1.0, "")
        if self.by_floor is not None:
            load: Any = share * self._by_floor["imposed"] * self.above_plane
            return on_column(load.sum("floor"))
        if "floor" in getattr(share, "dims", ()):
            raise ValueError(
                f"{self._where}: the share of the imposed load differs between floors, and the "
                "loads are not given floor by floor"
            )
        return on_column(share * self.data["imposed"])

    def quasi_permanent(self, share: Numeric | None = None) -> xr.DataArray:
        """Permanent load and the share of the imposed one that moves, at the plane [N].

        Parameters
        ----------
        share : float or DataArray, optional
            As for :meth:`imposed`; :meth:`moving_share` if not given.

        Returns
        -------
        DataArray
            On ``column`` and the dims of loads and share.
        """
        moving = self.imposed(self.moving_share() if share is None else share)
        return on_column(self.data["permanent"] + moving)

    def quasi_permanent_by_floor(self, share: Numeric | None = None) -> xr.DataArray:
        """What of :meth:`quasi_permanent` each floor adds, on ``column`` and ``floor`` [N].

        Floors below the plane are among them.

        Raises
        ------
        ValueError
            There are no floors.
        """
        share = self.moving_share() if share is None else share
        load: Any = self._by_floor["permanent"] + share * self._by_floor["imposed"]
        return on_column(load)

    def with_share(self, share: Numeric) -> ColumnLoads:
        """Return the same loads, of which a share of the imposed one moves.

        Parameters
        ----------
        share : float or DataArray
            As for :meth:`imposed`, with any dims.

        Raises
        ------
        ValueError
            They name a share already; it is out of bounds or of other columns or floors.
        """
        if self.of_imposed("imposed_share") is not None:
            raise ValueError(
                f"{self._where}: the share of the imposed load that moves is given twice, with the "
                "loads ('imposed_share') and beside them; leave one out"
            )
        self.imposed(share)  # refuses what does not fit
        array = xr.DataArray(share).reset_coords(drop=True)
        if "floor" in array.dims:
            return replace(self, by_floor=self._by_floor.assign(imposed_share=array))
        return replace(self, data=self.data.assign(imposed_share=array))

    def of_revision(self, revision: str) -> ColumnLoads:
        """Return the same loads as of an issue that their table does not note.

        Raises
        ------
        ValueError
            They are of another one.
        """
        if self.revision and self.revision != revision:
            raise ValueError(
                f"{self._where}: the loads are of revision {self.revision!r}, and {revision!r} was "
                "asked for"
            )
        return replace(self, revision=revision)

    def of_part(self, name: str) -> ColumnLoads:
        """Loads of the columns of one part of the building.

        Raises
        ------
        ValueError
            No column is in it.
        """
        parts = self.data["part"].values.astype(str) if "part" in self.data else np.array([""])
        known(self._where, "part", name, dict.fromkeys(parts.tolist()))
        here = parts == name
        by_floor = None if self.by_floor is None else self.by_floor.isel(column=here)
        return replace(self, data=self.data.isel(column=here), by_floor=by_floor)

    def _cell(self, name: str, held: xr.DataArray, at: Any) -> str:
        """File, row and column of a cell of `held`, for messages."""
        told = self.by_floor is not None and name in self.by_floor
        table, file = (self._by_floor, self.by_floor_file) if told else (self.data, self.file)
        place = {str(dim): int(i) for dim, i in zip(held.dims, at, strict=True)}
        if "row" not in table:
            labels = (f"{dim} {str(held[dim].values[i])!r}" for dim, i in place.items())
            return f"{file or 'loads'}, {' on '.join(labels)}, column {name!r}"
        rows = table["row"]
        row = rows.isel({dim: i for dim, i in place.items() if dim in rows.dims})
        return f"{file or 'loads'}, row {int(row)}, column {name!r}"

    @property
    def _by_floor(self) -> xr.Dataset:
        if self.by_floor is None:
            raise ValueError(f"{self._where}: the loads are not given floor by floor")
        return self.by_floor


def nearest(place: np.ndarray[Any, Any]) -> list[float]:
    """Median distance of a column to the next one [m]; nothing where there is no other."""
    apart = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    found = np.where(apart > SAME_PLACE, apart, np.inf).min(axis=1)
    return [float(np.median(found))] if np.isfinite(found).all() else []
