"""One column lost: what the others carry, and who is relieved."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, within
from groundborne.citation import Citation, citation_texts
from groundborne.loads import ColumnLoads
from groundborne.sizing.loads.cases import CAUTIONS, check_load
from groundborne.sizing.lost_columns.floors_above import CRACKED, FLOORS_TOGETHER, FloorsAbove
from groundborne.sizing.lost_columns.handing_over import ROUGH, loads_by_frame, shares_by_distance
from groundborne.structure.lifting_springs import ACTIVE_SET
from groundborne.structure.plate_mesh import PLATE_ELEMENT

REMOVAL = Citation(
    key="column-loss-shares",
    author="practice of isolation design",
    title="supports next to a lost one carry 1.3 to 2 times their load",
    mark="common practice",
    status="practice",
)
SUDDEN = 2.0
"""Dynamic factor of an elastic support that is loaded at once and in full [derived]."""
RULES = ("frame", "inverse distance")
"""How the load of a lost column finds its way: by the floors as plates, or by a rough rule."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ColumnLoss:
    """Loads after the loss of each of several columns, for each bound of the floors' rigidity.

    Parameters
    ----------
    load : DataArray
        Load [N], dims (rigidity, lost, column); 0 at the lost column itself and where the
        building lifts off, below 0 where a column held down pulls.
    before : DataArray
        Load before any loss [N], on ``column``.
    share : DataArray
        Change of each other column's load over the load of the lost one times the dynamic factor
        [-], dims (rigidity, lost, column); below 0 where a column is relieved. It adds up to 1.
    hold_down : DataArray
        Pull [N], same dims: of a column held down what its tie takes, and of one that lifts off
        what holding it, and nothing more than is held already, would take. 0 elsewhere.
    offset : DataArray
        Distance from the lost column to the resultant of what is handed over [m], dims
        (rigidity, lost): 0 where moments balance.
    dynamic : float
        Factor on the load that is handed over.
    case : str
        Case the loads are taken from.
    made_for : Dataset
        ``load`` [N] on (case, column), the combined loads it was worked out from, and their
        ``revision`` as an attribute: it is added to no others, and held against no packs chosen
        for others.
    """

    load: xr.DataArray
    before: xr.DataArray
    share: xr.DataArray
    hold_down: xr.DataArray
    offset: xr.DataArray
    dynamic: float
    case: str
    made_for: xr.Dataset

    def require_of(self, where: str, load: xr.DataArray, revision: str) -> None:
        """Refuse loads, or a part of their cases, that are not those it was made for.

        Parameters
        ----------
        where : str
            Who asks.
        load : DataArray
            Loads [N] on (case, column), in the order of the columns here.
        revision : str
            Of these loads; empty where it is not known.
        """
        own = str(self.made_for.attrs.get("revision", ""))
        if revision and own and revision != own:
            raise ValueError(
                f"{where}: the column loss is of revision {own!r} and these loads are of "
                f"{revision!r}; work it out again with lose_columns"
            )
        cases = [c for c in load["case"].values.tolist() if c in self.made_for["case"].values]
        mine, theirs = (
            a.sel(case=cases).transpose("case", "column").values
            for a in (self.made_for["load"], load)
        )
        off = np.argwhere(~np.isclose(mine, theirs, rtol=1e-9, atol=1e-6))
        if off.size:
            i, j = off[0]
            raise ValueError(
                f"{where}: the column loss was made for other loads: column "
                f"{self.made_for['column'].values[j]} carries {mine[i, j] / 1e3:.6g} kN there in "
                f"the case {cases[i]!r} and {theirs[i, j] / 1e3:.6g} kN here; work it out again "
                "with lose_columns"
            )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the rule."""
        if "inverse distance" in self.load["rigidity"].values:
            return (REMOVAL,)
        return (PLATE_ELEMENT, ACTIVE_SET, FLOORS_TOGETHER, CRACKED, REMOVAL)

    @property
    def increase(self) -> xr.DataArray:
        """Largest load after a loss, for either bound, over the load before, on ``column`` [-]."""
        return self.load.max(["rigidity", "lost"]) / self.before

    @property
    def lifted(self) -> xr.DataArray:
        """Whether a column lifts off its pack, dims (rigidity, lost, column)."""
        return (self.load == 0) & (self.load["lost"] != self.load["column"])

    @property
    def _of_others(self) -> xr.DataArray:
        """Loads of columns while another one is lost."""
        return self.load.where(self.load["lost"] != self.load["column"])

    def worst(self) -> xr.DataArray:
        """Largest load of each column over all losses and both bounds, as one more case [N].

        While the column itself is lost it has none; where nothing else is, it is that before.
        """
        return self._case("column loss", self._of_others.max(["rigidity", "lost"]))

    def least(self) -> xr.DataArray:
        """Least load of each column over the losses of others and both bounds, as a case [N].

        0 where it lifts off, below 0 where it is held down and pulls.
        """
        return self._case("column loss least", self._of_others.min(["rigidity", "lost"]))

    def _case(self, name: str, load: xr.DataArray) -> xr.DataArray:
        found: xr.DataArray = load.fillna(self.before).expand_dims(case=[name])
        return found.assign_attrs({"units": "N", **said_of(self)})

    def _notes(self) -> list[str]:
        rule = self.load.attrs.get("rule", "rule not stated")
        notes = [f"cases 'column loss' and 'column loss least': {rule}"]
        pull = self.hold_down.max("rigidity").transpose("lost", "column")
        columns = pull["column"].values
        lifted = self.lifted.any("rigidity").transpose("lost", "column")
        pulls = (self.load < 0).any("rigidity").transpose("lost", "column")
        for name in pull["lost"].values:
            each = [m.sel(lost=name).values for m in (lifted, pulls, pull)]
            for which, word in (
                (each[0], "would lift off; to hold one of them alone takes"),
                (each[1], "held down, would pull with"),
            ):
                if which.any():
                    forces = ", ".join(f"{p / 1e3:.0f}" for p in each[2][which])
                    notes.append(
                        f"{name} lost: {', '.join(map(str, columns[which]))} {word} {forces} kN"
                    )
        return notes

    def worst_neighbours(self) -> xr.Dataset:
        """Who takes most of each lost column, and who is relieved most.

        Returns
        -------
        Dataset
            On (rigidity, lost): ``neighbour`` and its ``share`` [-] of the lost load, ``load``
            [N] after it; ``relieved`` and its ``relief`` [-], below 0, or 0 where nobody is;
            ``offset`` [m]. Attributes say what was assumed.
        """
        other = self.load["lost"] != self.load["column"]
        most = self.share.where(other, -np.inf)
        least = self.share.where(other, np.inf)
        first, last = most.idxmax("column"), least.idxmin("column")
        return xr.Dataset(
            {
                "neighbour": first,
                "share": most.max("column").assign_attrs(units="1"),
                "load": self.load.sel(column=first).drop_vars("column"),
                "relieved": last,
                "relief": least.min("column").clip(max=0.0).assign_attrs(units="1"),
                "offset": self.offset,
            },
            attrs=said_of(self),
        )

    def add_to(self, load: xr.DataArray) -> xr.DataArray:
        """Put the cases ``column loss`` and ``column loss least`` behind those of a combination.

        Parameters
        ----------
        load : DataArray
            Result of :func:`~groundborne.sizing.combine`, dims (case, column).

        Returns
        -------
        DataArray
            With what is assumed, who lifts off, and every pull, among the notes that go to the
            schedule. The least loads are held against the rules of packs, and a pull comes back
            from :func:`~groundborne.sizing.hold_down`.

        Raises
        ------
        ValueError
            The loads are unfit, of other columns, hold a column loss already, or are not those it
            was made for: another revision, or other loads.
        """
        where = "ColumnLoss.add_to"
        check_load(where, load)
        cases = [self.worst(), self.least()]
        for name in (str(one["case"].item()) for one in cases):
            if name in load["case"].values:
                raise ValueError(
                    f"{where}: load holds the case {name!r} already; add a column loss to what "
                    "combine gives, with all columns that may be lost in it"
                )
        if load["column"].values.tolist() != self.load["column"].values.tolist():
            raise ValueError(f"{where}: load and loss hold different columns")
        self.require_of(where, load, str(load.attrs.get("revision", "")))
        both = xr.concat([load, *cases], dim="case", join="exact", combine_attrs="override")
        notes = [*json.loads(load.attrs.get("notes", "[]")), *self._notes()]
        both.attrs = {
            **load.attrs,
            "notes": json.dumps(notes, ensure_ascii=False),
            "cautions": json.dumps(CAUTIONS, ensure_ascii=False),
        }
        both.name = load.name
        return both


@checked
def lose_columns(
    loads: ColumnLoads,
    load: xr.DataArray,
    *,
    floors: FloorsAbove | None = None,
    lost: Sequence[str] | None = None,
    dynamic: float = 1.5,
    case: str = "accidental",
    held: Sequence[str] = (),
    rule: str = "frame",
    off_grid: float = 0.5,
) -> ColumnLoss:
    """Hand the load of a lost column to the others, for each of several columns.

    Parameters
    ----------
    loads : ColumnLoads
        Gives the positions.
    load : DataArray
        Combined loads [N], dims (case, column).
    floors : FloorsAbove, optional
        What hands the loads over; needed by the rule ``"frame"``.
    lost : sequence of str, optional
        Columns to lose, one at a time; all where not given.
    dynamic : float
        Factor on what is handed over, 1 to 2. 1.5 is an assumption in the middle of common
        practice; 2 is the bound for an elastic support that is loaded at once [derived].
    case : str
        Case the loads are taken from.
    held : sequence of str
        Columns that are held down and may pull; none where left out.
    rule : str
        ``"frame"``: the floors as a plate on the packs, soft and stiff. ``"inverse distance"``: a
        rough rule by which the next column in each direction of the grid takes a part in inverse
        proportion to the distance. It breaks the balance of moments at edges and corners.
    off_grid : float
        How far a column may stand beside the line of another [m], for the rough rule.

    Returns
    -------
    ColumnLoss
        Loads after each loss, on ``rigidity``: ``soft`` and ``stiff``, or ``inverse distance``.

    Raises
    ------
    ValueError
        A column or case is unknown, loads and load are of two revisions, no floors are given, the
        building tips when a column is lost,
        or (rough rule) a column has no neighbour on the grid.

    Notes
    -----
    Before the loss every column carries its load and the floors are level. Then one pack is gone,
    and its column's load, times the dynamic factor, stands on the floors: forces and moments
    balance to rounding, columns beyond the next ones are relieved, and packs that would have to
    pull are left (``lifted``, ``hold_down``). Walls, catenary action and the strength of what
    hands over are not in it: what the frame really does is the structural engineer's to say.

    References
    ----------
    Plate on springs and least energy without tension [derived]; neighbours carry 1.3 to 2 times
    their load [common practice]; factor 2 [derived].

    Examples
    --------
    >>> import xarray as xr
    >>> from groundborne.sizing.loads.cases import combine
    >>> at = ("column", [0.0, 6.0, 12.0, 18.0])
    >>> data = xr.Dataset({"x": at, "y": ("column", [0.0] * 4), "permanent": ("column", [5e6] * 4),
    ...     "imposed": ("column", [0.0] * 4)}, coords={"column": ["A", "B", "C", "D"]})
    >>> loads = ColumnLoads(data=data, revision="P1")
    >>> found = lose_columns(loads, combine(loads), floors=FloorsAbove(storeys=8), lost=["B"])
    >>> (found.load.sel(lost="B") / 1e6).round(1).values.tolist()
    [[7.8, 0.0, 11.6, 3.1], [7.8, 0.0, 11.5, 3.2]]
    """
    where = "lose_columns"
    within(where, "dynamic", dynamic, 1.0, SUDDEN, "")
    known(where, "rule", rule, RULES)
    check_load(where, load, need=case)
    names = loads.names
    if [str(c) for c in load["column"].values] != names:
        raise ValueError(f"{where}: load and loads hold different columns")
    if load.attrs.get("revision", loads.revision) != loads.revision:
        raise ValueError(
            f"{where}: load is of revision {load.attrs['revision']!r} and loads are of "
            f"{loads.revision!r}; combine the loads that are given"
        )
    chosen = names if lost is None else list(lost)
    if not chosen:
        raise ValueError(f"{where}: lost holds no column; name some, or leave it out to lose each")
    for name in chosen:
        known(where, "lost", name, names)
        if chosen.count(name) > 1:
            raise ValueError(f"{where}: lost holds {name!r} twice; keep one")
    for name in held:
        known(where, "held", name, names)
    before = load.sel(case=case).drop_vars("case")
    gone = xr.DataArray(chosen, dims="lost", coords={"lost": chosen})
    itself = gone == before["column"].drop_attrs()
    handed = dynamic * before.sel(column=gone).drop_vars("column")
    if rule == "frame":
        if floors is None:
            raise ValueError(
                f"{where}: the rule 'frame' needs floors, such as FloorsAbove(storeys=8); who "
                "takes the load of a lost column depends on how stiff they are"
            )
        after, pull = loads_by_frame(loads, before, floors, handed, itself, held)
        said = floors.said()
    else:
        after = before + shares_by_distance(loads, chosen, off_grid) * handed
        after = xr.where(itself, 0.0, after).expand_dims(rigidity=[rule])
        pull = xr.zeros_like(after)
        said = "to the next columns on the grid in inverse proportion to the distance; " + ROUGH
    change = xr.where(itself, 0.0, after - before)
    place = loads.data[["x", "y"]].drop_vars("row", errors="ignore")
    arm = [
        ((change * place[k]).sum("column") / handed - place[k].sel(column=gone).drop_vars("column"))
        for k in ("x", "y")
    ]
    dims = ("rigidity", "lost", "column")
    after = after.transpose(*dims)
    after.attrs = {
        "units": "N",
        "long_name": "load after the loss of a column",
        "rule": f"the load of the lost column ({case}) times {dynamic:g} is handed over: {said}",
        "cautions": json.dumps(CAUTIONS, ensure_ascii=False),
    }
    offset: Any = np.hypot(*arm)
    return ColumnLoss(
        load=after,
        before=before,
        share=(change / handed).transpose(*dims),
        hold_down=pull.transpose(*dims).assign_attrs(units="N"),
        offset=offset.assign_attrs(units="m"),
        dynamic=dynamic,
        case=case,
        made_for=xr.Dataset({"load": load}, attrs={"revision": loads.revision}),
    )


def said_of(loss: ColumnLoss) -> dict[str, str]:
    """What goes with every table of a loss."""
    return {
        "rule": str(loss.load.attrs.get("rule", "")),
        "citations": citation_texts(loss.citations),
        "cautions": json.dumps(CAUTIONS, ensure_ascii=False),
    }
