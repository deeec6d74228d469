"""Level survey of a lifted floor, read strictly: every complaint names file, row and point."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import TableError, finite, positive
from groundborne.csv_columns import find_column
from groundborne.sizing.jacking.grid import JackGrid
from groundborne.tables import Table, read_table
from groundborne.usual_ranges import judge
from groundborne.usual_values import derived

_QUANTITIES = {"level_mm": "level", "gap_mm": "gap"}
_SAME_PLACE = 0.05
_LOOSE_SPACING = 1.1
"""Share of the spacing up to which a grid set out by hand counts as regular."""
_MOST_LISTED = 8

Array = np.ndarray[Any, Any]


class SurveyError(TableError):
    """A survey that cannot be used as it stands."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Survey:
    """Points of one survey.

    Parameters
    ----------
    data : Dataset
        On ``point``: ``x``, ``y``, ``height`` [m]: level or gap, upwards.
    quantity : str
        ``"level"`` or ``"gap"``.
    file : str
        Name for messages.
    missing : tuple of str
        Sentences on points of the grid that were not taken.
    """

    data: xr.Dataset
    quantity: str
    file: str = ""
    missing: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.quantity not in _QUANTITIES.values():
            raise ValueError(f"Survey: quantity is {self.quantity!r}; it is 'level' or 'gap'")
        for name in ("x", "y", "height"):
            if name not in self.data or self.data[name].dims != ("point",):
                raise ValueError(f"Survey: {name!r} on the dim 'point' is needed")
            finite("Survey", name, self.data[name])

    @property
    def names(self) -> list[str]:
        """Labels of the points."""
        return [str(n) for n in self.data["point"].values]


@checked
def read_survey(
    path: str | FilePath,
    *,
    grid: JackGrid,
    spacing: float = 2.0,
    accept_missing: bool = False,
) -> Survey:
    r"""Read levels or gaps of a floor, one row per point.

    Parameters
    ----------
    path : str or Path
        CSV file: ``point``, ``x_m``, ``y_m`` and either ``level_mm`` or ``gap_mm``.
    grid : JackGrid
        Jacks in plan, in the same axes.
    spacing : float
        Of the survey grid [m]; 2 is common practice.
    accept_missing : bool
        Whether missing points are kept as sentences in ``missing`` or refused.

    Returns
    -------
    Survey
        In metres.

    Raises
    ------
    SurveyError
        Points outside the plan, doubled, missing, or with a negative gap; all are named.

    Warns
    -----
    UnusualValueWarning
        Gaps, or a spread of levels, that look like another unit.

    Notes
    -----
    A point is missing where two lines of the survey cross inside the plan and nothing was taken,
    or where a jack is further than one diagonal of half the spacing from any point.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> names = {"jack": ["A1", "B1", "A2", "B2"]}
    >>> grid = JackGrid(x=xr.DataArray([0.0, 1.5, 0.0, 1.5], dims="jack", coords=names),
    ...                 y=xr.DataArray([0.0, 0.0, 1.5, 1.5], dims="jack", coords=names))
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "survey.csv"
    >>> _ = file.write_text("point,x_m,y_m,gap_mm\nP1,0,0,49\nP2,1.5,0,-3\nP3,0,1.5,50\n")
    >>> read_survey(file, grid=grid)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    groundborne.sizing.correction.survey.SurveyError: survey.csv, row 3: point P2 has a gap of ...
    """
    positive("read_survey", "spacing", spacing, "m")
    table = read_table(path)
    given = [c for c in _QUANTITIES if table.has(c)]
    bare = [c for c in ("level", "gap", "level_m", "gap_m", "x", "y") if table.has(c)]
    if bare:
        raise SurveyError(
            f"{table.file}: column {bare[0]!r} has no unit or another one; write 'x_m', 'y_m' and "
            "'level_mm' or 'gap_mm'"
        )
    if len(given) != 1:
        raise SurveyError(
            f"{table.file}: {'both' if given else 'neither'} 'level_mm' and 'gap_mm'; a survey has "
            "one of them"
        )
    table.require(["point", "x_m", "y_m", given[0]])
    names = table.text("point").astype(str)
    place = table.positions()
    height = table.numbers([given[0]], unit="mm")[:, 0]
    complaints = [
        *_outside(table, names, place, grid),
        *_doubled(table, names, place),
        *(_negative(table, names, height) if given[0] == "gap_mm" else ()),
    ]
    if complaints:
        raise SurveyError(_some(complaints))
    table.judge(given[0], height, find_column("survey", given[0]))
    judge(
        derived("spread of a survey"),
        [np.ptp(height)],
        subject=lambda _: f"{table.file}, column {given[0]!r}: the largest less the smallest",
        error=SurveyError,
    )
    missing = _missing(table, place, grid, spacing)
    if missing and not accept_missing:
        raise SurveyError(
            f"{_some(missing)}; measure there, or read with accept_missing if that cannot be done"
        )
    data = xr.Dataset(
        {
            "x": ("point", place[:, 0], {"units": "m"}),
            "y": ("point", place[:, 1], {"units": "m"}),
            "height": ("point", height * 1e-3, {"units": "m"}),
        },
        coords={"point": names},
    )
    return Survey(
        data=data, quantity=_QUANTITIES[given[0]], file=table.file, missing=tuple(missing)
    )


def _outside(table: Table, names: Array, place: Array, grid: JackGrid) -> list[str]:
    apart = grid.outside(x=place[:, 0], y=place[:, 1])
    return [
        f"{table.file}, row {table.rows[i]}: point {names[i]} at ({place[i, 0]:g}, "
        f"{place[i, 1]:g}) m lies {apart[i]:.3g} m outside the jacks, and the floor reaches "
        f"{grid.overhang:g} m beyond them"
        for i in np.flatnonzero(apart > grid.overhang + 1e-9).tolist()
    ]


def _doubled(table: Table, names: Array, place: Array) -> list[str]:
    _, first, back = np.unique(names, return_index=True, return_inverse=True)
    again = np.flatnonzero(first[back] != np.arange(names.size))
    found = [
        f"{table.file}, row {table.rows[i]}: point {names[i]} was given in row "
        f"{table.rows[first[back[i]]]} already"
        for i in again.tolist()
    ]
    apart = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    late, early = np.nonzero(np.tril(apart < _SAME_PLACE, k=-1))
    return found + [
        f"{table.file}, row {table.rows[i]}: point {names[i]} stands where {names[j]} of row "
        f"{table.rows[j]} does, at ({place[j, 0]:g}, {place[j, 1]:g}) m"
        for i, j in zip(late.tolist(), early.tolist(), strict=True)
        if names[i] != names[j]
    ]


def _negative(table: Table, names: Array, gap: Array) -> list[str]:
    return [
        f"{table.file}, row {table.rows[i]}: point {names[i]} has a gap of {gap[i]:g} mm; a floor "
        "is not below what it stands on, measure again"
        for i in np.flatnonzero(gap < 0).tolist()
    ]


def _missing(table: Table, place: Array, grid: JackGrid, spacing: float) -> list[str]:
    """Crossings of survey lines without a point, and jacks with no point near."""
    lines = [_lines(place[:, k]) for k in (0, 1)]
    cross = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1).reshape(-1, 2)
    inside = grid.outside(x=cross[:, 0], y=cross[:, 1]) <= grid.overhang + 1e-9
    cross = cross[inside]
    jacks = np.stack([grid.x.values, grid.y.values], axis=1)
    reach = _LOOSE_SPACING * spacing / np.sqrt(2)
    open_cross = _nearest(cross, place) > 0.25 * spacing
    open_jack = _nearest(jacks, place) > reach
    return [
        f"{table.file}: no point was taken at ({a:g}, {b:g}) m, where survey lines cross"
        for a, b in cross[open_cross].tolist()
    ] + [
        f"{table.file}: no point was taken within {reach:.2g} m of jack {grid.names[i]} at "
        f"({jacks[i, 0]:g}, {jacks[i, 1]:g}) m; the grid of {spacing:g} m is not kept"
        for i in np.flatnonzero(open_jack).tolist()
    ]


def _nearest(here: Array, there: Array) -> Array:
    apart = np.hypot(*(here[:, None, :] - there[None, :, :]).transpose(2, 0, 1))
    return np.asarray(apart.min(axis=1))


def _lines(position: Array) -> Array:
    place = np.sort(position)
    group = np.concatenate([[0], np.cumsum(np.diff(place) > _SAME_PLACE)])
    return np.bincount(group, weights=place) / np.bincount(group)


def _some(sentences: list[str]) -> str:
    more = len(sentences) - _MOST_LISTED
    return "; ".join(sentences[:_MOST_LISTED]) + (f"; and {more} more" if more > 0 else "")
