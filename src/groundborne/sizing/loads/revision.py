"""What changed between two revisions of the column loads, row by row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from groundborne._arguments import checked
from groundborne._checks import not_negative
from groundborne.loads.at_plane import load_names
from groundborne.loads.column_loads import ColumnLoads

_COLUMNS = ["kind", "column", "row_before", "row_after", "quantity", "before", "after", "units"]


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class RevisionChanges:
    """Differences of two load tables.

    Parameters
    ----------
    before, after : str
        Labels of the revisions.
    table : DataFrame
        One row for each difference: ``kind`` (``doubled``, ``added``, ``missing``, ``renamed``,
        ``moved``, ``changed``, ``dropped``), ``column``, rows in both files (0 where it has none),
        ``quantity``, ``before``, ``after`` (as text) and ``units``.
    sentences : tuple of str
        The same in words, each with file, row and column.
    """

    before: str
    after: str
    table: pd.DataFrame
    sentences: tuple[str, ...]

    @property
    def is_clean(self) -> bool:
        """Whether nothing changed."""
        return not self.sentences

    def of(self, name: str) -> list[str]:
        """Columns with a kind of difference, in order and once each.

        Parameters
        ----------
        name : str
            As in `table`.
        """
        return list(dict.fromkeys(self.table.loc[self.table["kind"] == name, "column"].tolist()))


@checked
def compare_revisions(
    first: ColumnLoads,
    second: ColumnLoads,
    *,
    tolerance: float = 0.01,
    least_change: float = 1e3,
    distance: float = 0.1,
) -> RevisionChanges:
    """Compare two revisions of the loads, row by row.

    Parameters
    ----------
    first, second : ColumnLoads
        The revision before and the one after.
    tolerance : float
        Change of a load that is passed over, as a share of the load before [-].
    least_change : float
        Change that is passed over whatever its share [N].
    distance : float
        Columns closer than this stand at the same position [m].

    Returns
    -------
    RevisionChanges
        Doubled, added, missing, renamed (another name at the same position), moved and changed
        columns, and loads that only one table holds.

    Raises
    ------
    ValueError
        A tolerance below 0.

    Examples
    --------
    >>> import xarray as xr
    >>> def loads(name, load, revision):
    ...     data = xr.Dataset({"x": ("column", [0.0]), "y": ("column", [0.0]),
    ...         "permanent": ("column", [load]), "imposed": ("column", [1e5])},
    ...         coords={"column": [name]})
    ...     return ColumnLoads(data=data, revision=revision)
    >>> found = compare_revisions(loads("C1", 5e6, "P1"), loads("C01", 6e6, "P2"))
    >>> for sentence in found.sentences:
    ...     print(sentence)
    P2: 'C1' of P1 is now called 'C01' (same position)
    P2, column 'permanent': 'C01' is 6000 kN, was 5000 kN in P1 (+20.0 %)
    """
    for name, value in (
        ("tolerance", tolerance), ("least_change", least_change), ("distance", distance),
    ):  # fmt: skip
        not_negative("compare_revisions", name, value, "")
    old: Any = _frame(first)
    new: Any = _frame(second)
    rows: list[tuple[str, str, int, int, str, str, str, str]] = []
    sentences: list[str] = []
    for loads in (first, second):
        sentences += loads.doubles
        rows += [("doubled", s, 0, 0, "", "", "", "") for s in loads.doubles]
    renamed = _renamed(old, new, distance)
    for a, b in renamed.items():
        sentences.append(
            f"{_place(second, new, b)}: {a!r} of {first.revision} is now called {b!r} (same "
            "position)"
        )
        rows.append(("renamed", b, old.at[a, "row"], new.at[b, "row"], "column", a, b, ""))
    for a in old.index[~old.index.isin(new.index) & ~old.index.isin(list(renamed))]:
        sentences.append(
            f"{_place(first, old, a)}: {a!r} ({old.at[a, 'permanent'] / 1e3:g} kN permanent) is "
            f"missing in {second.revision}"
        )
        rows.append(("missing", a, old.at[a, "row"], 0, "column", a, "", ""))
    for b in new.index[~new.index.isin(old.index) & ~new.index.isin(list(renamed.values()))]:
        sentences.append(
            f"{_place(second, new, b)}: {b!r} ({new.at[b, 'permanent'] / 1e3:g} kN permanent) is "
            f"new; {first.revision} does not hold it"
        )
        rows.append(("added", b, 0, new.at[b, "row"], "column", "", b, ""))
    for name in load_names({*old, *new}):
        if (name in old) != (name in new):
            has, lacks = (first, second) if name in old else (second, first)
            sentences.append(f"{has.revision} holds {name!r}, and {lacks.revision} does not")
            rows.append(("dropped", "", 0, 0, name, str(name in old), str(name in new), ""))
    moved = old.rename(index=renamed)
    both = new.index[new.index.isin(moved.index)]
    a, b = moved.loc[both], new.loc[both]
    far = np.hypot(a["x"] - b["x"], a["y"] - b["y"])
    for name in both[far > distance]:
        before, after = (f"({t.at[name, 'x']:g}, {t.at[name, 'y']:g})" for t in (a, b))
        sentences.append(
            f"{_place(second, new, name)}, columns 'x_m' and 'y_m': {name!r} stands at {after} m, "
            f"was at {before} m in {first.revision}"
        )
        rows.append(("moved", name, a.at[name, "row"], b.at[name, "row"], "x, y", before, after,
                     "m"))  # fmt: skip
    for quantity in (q for q in load_names(new) if q in old):
        change = b[quantity] - a[quantity]
        large = (change.abs() > tolerance * a[quantity].abs()) & (change.abs() > least_change)
        for name in both[large]:
            was, now = a.at[name, quantity] / 1e3, b.at[name, quantity] / 1e3
            share = f" ({100 * (now / was - 1):+.1f} %)" if was else ""
            sentences.append(
                f"{_place(second, new, name)}, column {quantity!r}: {name!r} is {now:g} kN, was "
                f"{was:g} kN in {first.revision}{share}"
            )
            rows.append(("changed", name, a.at[name, "row"], b.at[name, "row"], quantity,
                         f"{was:g}", f"{now:g}", "kN"))  # fmt: skip
    return RevisionChanges(
        before=first.revision,
        after=second.revision,
        table=pd.DataFrame(rows, columns=_COLUMNS),
        sentences=tuple(sentences),
    )


def _frame(loads: ColumnLoads) -> pd.DataFrame:
    """One row for each name; of a doubled name the first."""
    frame = loads.data.to_dataframe()
    frame = frame[~frame.index.duplicated()]
    if "row" not in frame:
        frame = frame.assign(row=0)
    return frame


def _place(loads: ColumnLoads, frame: Any, name: str) -> str:
    row = int(frame.at[name, "row"])
    file = loads.file or loads.revision
    return f"{file}, row {row}" if row else file


def _renamed(old: Any, new: Any, distance: float) -> dict[str, str]:
    """Names that vanished, with the new name nearest to their position."""
    gone, came = old.loc[~old.index.isin(new.index)], new.loc[~new.index.isin(old.index)]
    if gone.empty or came.empty:
        return {}
    apart = np.hypot(
        gone["x"].to_numpy()[:, None] - came["x"].to_numpy(),
        gone["y"].to_numpy()[:, None] - came["y"].to_numpy(),
    )
    nearest = apart.argmin(axis=1)
    close = apart.min(axis=1) <= distance
    # Two that vanished cannot both have become the same one.
    mutual = apart.argmin(axis=0)[nearest] == np.arange(len(gone))
    return dict(zip(gone.index[close & mutual], came.index[nearest[close & mutual]], strict=True))
