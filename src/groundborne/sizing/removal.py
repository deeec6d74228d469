"""One column lost: what its neighbours carry, and whether their packs go solid."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, not_negative, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.load_table import ColumnLoads
from groundborne.sizing.loads import check_load
from groundborne.sizing.schedule import CAUTIONS, Schedule

REMOVAL = Citation(
    key="column-removal-shares",
    author="practice of isolation design",
    title="supports next to a lost one carry 1.3 to 2 times their load",
    mark="common practice",
    status="practice",
)
SUDDEN = 2.0
"""Dynamic factor of an elastic support that is loaded at once and in full [derived]."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Removal:
    """Loads after the loss of each of several columns.

    Parameters
    ----------
    load : DataArray
        Load [N], dims (lost, column); 0 at the lost column itself.
    before : DataArray
        Load before any loss [N], on ``column``.
    share : DataArray
        Share of the lost column's load that each other column takes [-], dims (lost, column).
    dynamic : float
        Factor on the load that is handed over.
    case : str
        Case the loads are taken from.
    """

    load: xr.DataArray
    before: xr.DataArray
    share: xr.DataArray
    dynamic: float
    case: str

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the rule."""
        return (REMOVAL,)

    @property
    def increase(self) -> xr.DataArray:
        """Largest load after a loss over the load before, on ``column`` [-]."""
        return self.load.max("lost") / self.before

    def worst(self) -> xr.DataArray:
        """Largest load of each column over all losses, as one more case [N]."""
        worst = self.load.max("lost").expand_dims(case=["removal"])
        worst.attrs = {"units": "N"}
        return worst

    def add_to(self, load: xr.DataArray) -> xr.DataArray:
        """Put the case ``removal`` behind the cases of a combination.

        Parameters
        ----------
        load : DataArray
            Result of :func:`~groundborne.sizing.combine`, dims (case, column).
        """
        check_load("Removal.add_to", load)
        both = xr.concat([load, self.worst()], dim="case", join="exact", combine_attrs="override")
        both.attrs = dict(load.attrs)
        both.name = load.name
        return both


@checked(infinite=("return",))  # columns that share no line
def adjacent_columns(loads: ColumnLoads, *, off_grid: float = 0.5) -> xr.DataArray:
    """Next column along the grid in each of the four directions.

    Parameters
    ----------
    loads : ColumnLoads
        Gives the positions.
    off_grid : float
        How far a column may stand beside the line of another [m].

    Returns
    -------
    DataArray
        Distance [m] to the next columns, infinite elsewhere, dims (lost, column).

    Raises
    ------
    ValueError
        `off_grid` is not above 0.

    Examples
    --------
    >>> import xarray as xr
    >>> at = ("column", [0.0, 6.0, 13.0])
    >>> data = xr.Dataset({"x": at, "y": ("column", [0.0] * 3), "permanent": ("column", [5e6] * 3),
    ...     "imposed": ("column", [1e5] * 3)}, coords={"column": ["A", "B", "C"]})
    >>> adjacent_columns(ColumnLoads(data=data, revision="P1")).values[1].tolist()
    [6.0, inf, 7.0]
    """
    positive("adjacent_columns", "off_grid", off_grid, "m")
    x, y = (np.asarray(loads.data[n].values, dtype=float) for n in ("x", "y"))
    distance = np.full((x.size, x.size), np.inf)
    for along, across in ((x, y), (y, x)):
        step = along[None, :] - along[:, None]
        on_line = np.abs(across[None, :] - across[:, None]) <= off_grid
        for sign in (1.0, -1.0):
            ahead = np.where(on_line & (sign * step > off_grid), sign * step, np.inf)
            near = np.where(ahead == ahead.min(axis=1, keepdims=True), ahead, np.inf)
            distance = np.minimum(distance, near)
    names = loads.data["column"].values
    return xr.DataArray(
        distance,
        coords={"lost": names, "column": names},
        dims=("lost", "column"),
        attrs={"units": "m"},
    )


@checked
def remove_columns(
    loads: ColumnLoads,
    load: xr.DataArray,
    *,
    lost: Sequence[str] | None = None,
    dynamic: float = 1.5,
    case: str = "accidental",
    off_grid: float = 0.5,
) -> Removal:
    """Hand the load of a lost column to the next ones on the grid, for each of several columns.

    Parameters
    ----------
    loads : ColumnLoads
        Gives the positions.
    load : DataArray
        Combined loads [N], dims (case, column).
    lost : sequence of str, optional
        Columns to lose, one at a time; all where not given.
    dynamic : float
        Factor on what is handed over, 1 to 2. 1.5 is an assumption in the middle of common
        practice; 2 is the bound for an elastic support that is loaded at once [derived].
    case : str
        Case the loads are taken from.
    off_grid : float
        How far a column may stand beside the line of another [m].

    Returns
    -------
    Removal
        Loads after each loss.

    Raises
    ------
    ValueError
        A column or case is unknown, or a column has no neighbour on the grid.

    Notes
    -----
    The load goes to the next column in each direction of the grid, in inverse proportion to the
    distance: between two of them that is the lever rule. Catenary action, walls and transfer
    beams are not in it: what the frame really does is the structural engineer's to say.

    References
    ----------
    Neighbours carry 1.3 to 2 times their load [common practice]; factor 2 [derived].

    Examples
    --------
    >>> import xarray as xr
    >>> from groundborne.sizing.loads import combine
    >>> at = ("column", [0.0, 6.0, 12.0])
    >>> data = xr.Dataset({"x": at, "y": ("column", [0.0] * 3), "permanent": ("column", [5e6] * 3),
    ...     "imposed": ("column", [0.0] * 3)}, coords={"column": ["A", "B", "C"]})
    >>> loads = ColumnLoads(data=data, revision="P1")
    >>> found = remove_columns(loads, combine(loads), lost=["B"], dynamic=2.0)
    >>> (found.load.sel(lost="B") / 1e6).values.tolist()
    [10.0, 0.0, 10.0]
    """
    within("remove_columns", "dynamic", dynamic, 1.0, SUDDEN, "")
    check_load("remove_columns", load, need=case)
    names = loads.names
    if [str(c) for c in load["column"].values] != names:
        raise ValueError("remove_columns: load and loads hold different columns")
    chosen = names if lost is None else list(lost)
    for name in chosen:
        known("remove_columns", "lost", name, names)
    distance = adjacent_columns(loads, off_grid=off_grid).sel(lost=chosen)
    weight = 1 / distance
    total = weight.sum("column")
    if bool((total == 0).any()):
        name = str(distance["lost"].values[int(np.argmax(total.values == 0))])
        raise ValueError(
            f"remove_columns: {name!r} has no other column on its grid lines within {off_grid:g} "
            "m; raise off_grid, or take its loss from the structural engineer"
        )
    share = weight / total
    before = load.sel(case=case).drop_vars("case")
    taken = before.sel(column=chosen).rename(column="lost").drop_vars("lost")
    taken = taken.assign_coords(lost=share["lost"].values)
    after = before + dynamic * share * taken
    itself = share["lost"] == share["column"]
    after = xr.where(itself, 0.0, after).transpose("lost", "column")
    after.attrs = {
        "units": "N",
        "long_name": "load after the loss of a column",
        "rule": (
            f"the load of the lost column ({case}) goes to the next columns on the grid in inverse "
            f"proportion to the distance, times {dynamic:g}"
        ),
    }
    return Removal(load=after, before=before, share=share, dynamic=dynamic, case=case)


@checked
def removal_travel(removal: Removal, *, schedule: Schedule, gap: float = 0.0) -> xr.Dataset:
    """Travel that is left to solid in every pack after each loss.

    Parameters
    ----------
    removal : Removal
        Loads after the losses.
    schedule : Schedule
        Packs under the same columns.
    gap : float
        Travel that must be left [m]; less is flagged.

    Returns
    -------
    Dataset
        ``travel_left`` [m] and ``flagged``, dims (lost, column), and ``increase`` [-], the largest
        load of a column over its load before. The attribute ``sentences`` (a JSON list) names the
        packs that would go solid.

    Raises
    ------
    ValueError
        The columns differ.

    Examples
    --------
    >>> import numpy as np, xarray as xr
    >>> names = {"column": ["A", "B"]}
    >>> stiffness = xr.DataArray([1e7, 1e7], coords=names)
    >>> packs = xr.Dataset({"static_stiffness": stiffness, "deflection": 0 * stiffness + 0.02,
    ...     "stop_gap_most": 0 * stiffness + 0.03}).assign(pack=("column", ["2 × S", "2 × S"]))
    >>> from groundborne.sizing.schedule import Schedule
    >>> load = xr.DataArray([[0.0, 6e5]], coords={"lost": ["A"], **names}, dims=("lost", "column"))
    >>> lost = Removal(load=load, before=3e5 + 0 * stiffness, share=load * 0, dynamic=1.5,
    ...     case="accidental")
    >>> json.loads(removal_travel(lost, schedule=Schedule(data=packs)).attrs["sentences"])
    ['A lost: the pack of B (2 × S) would go solid: 60.0 mm under 600 kN, 50.0 mm of travel']
    """
    data = schedule.data
    if [str(c) for c in data["column"].values] != [str(c) for c in removal.load["column"].values]:
        raise ValueError("removal_travel: schedule and removal hold different columns")
    not_negative("removal_travel", "gap", gap, "m")
    down = removal.load / data["static_stiffness"]
    travel = data["stop_gap_most"] + data["deflection"]
    left = (travel - down).transpose("lost", "column")
    flagged = left < gap
    sentences = []
    packs, lost, columns = data["pack"].values, left["lost"].values, left["column"].values
    for i, j in zip(*(a.tolist() for a in np.nonzero(flagged.values)), strict=True):
        word = (
            "go solid" if left.values[i, j] < 0 else f"come closer than {gap * 1e3:g} mm to solid"
        )
        sentences.append(
            f"{lost[i]} lost: the pack of {columns[j]} ({packs[j]}) would {word}: "
            f"{down.values[i, j] * 1e3:.1f} mm under {removal.load.values[i, j] / 1e3:.0f} kN, "
            f"{travel.values[j] * 1e3:.1f} mm of travel"
        )
    found = xr.Dataset(
        {
            "travel_left": left.assign_attrs(units="m"),
            "flagged": flagged,
            "increase": removal.increase.assign_attrs(units="1"),
        }
    )
    found.attrs = {
        "sentences": json.dumps(sentences, ensure_ascii=False),
        "rule": str(removal.load.attrs.get("rule", "")),
        "citations": citation_texts(removal.citations),
        "cautions": json.dumps(CAUTIONS, ensure_ascii=False),
    }
    return found
