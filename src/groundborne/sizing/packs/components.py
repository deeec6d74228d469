"""Lists of springs, bearings and pads from which packs are made."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import TableError, known
from groundborne.tables import Table, read_table

KINDS = ("spring", "bearing", "pad")
"""Kinds of component; a pack holds one kind."""

# Name in the dataset, column, unit; what they may be stands in `csv_columns`.
_NUMBERS: tuple[tuple[str, str, str], ...] = (
    ("static_stiffness", "static_stiffness_n_m", "N/m"),
    ("dynamic_stiffness", "dynamic_stiffness_n_m", "N/m"),
    ("loss_factor", "loss_factor", "1"),
    ("own_mass", "own_mass_kg", "kg"),
    ("least_load", "least_load_n", "N"),
    ("rated_load", "rated_load_n", "N"),
    ("largest_load", "largest_load_n", "N"),
    ("largest_deflection", "largest_deflection_m", "m"),
    ("lateral_stiffness", "lateral_stiffness_n_m", "N/m"),
    ("height", "height_m", "m"),
    ("plan_x", "plan_x_m", "m"),
    ("plan_y", "plan_y_m", "m"),
    ("stiffness_tolerance", "stiffness_tolerance", "1"),
    ("creep_per_decade", "creep_per_decade", "1"),
)
_STEEL_LINEARITY = 0.05
_LINEARITY = 3.0


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Components:
    """Springs, bearings and pads with what a pack needs to know of them.

    Parameters
    ----------
    data : Dataset
        On ``component``: ``kind``; ``static_stiffness``, ``dynamic_stiffness``,
        ``lateral_stiffness`` [N/m]; ``loss_factor``, ``stiffness_tolerance``, ``creep_per_decade``
        [-]; ``own_mass`` of the part that gives way [kg]; ``least_load``, ``rated_load``,
        ``largest_load`` [N]; ``largest_deflection`` (travel to solid, or to the limit of strain),
        ``height``, ``plan_x``, ``plan_y`` [m]; ``certificate`` (text, may be empty) and ``file``.
    notes : tuple of str
        What the files say of themselves, and what replaced what.
    """

    data: xr.Dataset
    notes: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """Labels."""
        return [str(c) for c in self.data["component"].values]

    def of(self, name: str) -> Components:
        """Only one kind.

        Parameters
        ----------
        name : str
            As in :data:`KINDS`.

        Raises
        ------
        ValueError
            There is none of the kind.
        """
        known("Components", "kind", name, KINDS)
        here = self.data["kind"].values == name
        if not here.any():
            raise ValueError(f"Components: the list holds no {name}; it holds {self.names}")
        return Components(data=self.data.isel(component=np.flatnonzero(here)), notes=self.notes)


@checked
def read_components(path: str | FilePath) -> Components:
    r"""Read a component list.

    Parameters
    ----------
    path : str or Path
        CSV file with the columns of :class:`Components`, each number with its unit in the name:
        ``component``, ``kind``, ``static_stiffness_n_m``, ``dynamic_stiffness_n_m``,
        ``loss_factor``, ``own_mass_kg``, ``least_load_n``, ``rated_load_n``, ``largest_load_n``,
        ``largest_deflection_m``, ``lateral_stiffness_n_m``, ``height_m``, ``plan_x_m``,
        ``plan_y_m``, ``stiffness_tolerance``, ``creep_per_decade``, ``certificate``.

    Returns
    -------
    Components
        In the order of the file.

    Raises
    ------
    TableError
        A cell is missing or impossible, or numbers of one row contradict each other.

    Warns
    -----
    UnusualValueWarning
        A number outside its usual range.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "springs.csv"
    >>> header = "component,kind," + ",".join(c for _, c, *_ in _NUMBERS) + ",certificate"
    >>> row = "S1,spring,8.6e5,8.6e5,0.01,28,5e3,2.15e4,5.2e4,0.06,6e5,0.33,0.22,0.22,0.05,0.001,"
    >>> _ = file.write_text(header + "\n" + row + "\n")
    >>> read_components(file).names
    ['S1']
    """
    table = read_table(path, place="components")
    table.require(["component", "kind", *(c for _, c, *_ in _NUMBERS), "certificate"])
    names = table.unique("component").astype(str)
    kinds = table.text("kind").astype(str)
    odd = ~np.isin(kinds, KINDS)
    if odd.any():
        at = int(np.argmax(odd))
        raise TableError(
            f"{table.file}, row {table.rows[at]}, column 'kind': {str(kinds[at])!r} is unknown; "
            f"known are {', '.join(map(repr, KINDS))}"
        )
    data: dict[str, Any] = {"kind": ("component", kinds)}
    values: dict[str, np.ndarray[Any, Any]] = {}
    for name, column, unit in _NUMBERS:
        values[name] = table.numbers([column], unit=unit)[:, 0]
        data[name] = ("component", values[name], {"units": unit})
    _check_rows(table, kinds, values)
    data["certificate"] = ("component", table.text("certificate", empty=True).astype(str))
    data["file"] = ("component", np.full(names.size, table.file))
    return Components(data=xr.Dataset(data, coords={"component": names}), notes=table.notes)


def _check_rows(
    table: Table, kinds: np.ndarray[Any, Any], values: dict[str, np.ndarray[Any, Any]]
) -> None:
    """Refuse rows whose numbers contradict each other."""
    static, dynamic = values["static_stiffness"], values["dynamic_stiffness"]
    reach = values["largest_deflection"] * static / values["largest_load"]
    steel = kinds == "spring"
    wrong = {
        "dynamic_stiffness_n_m is below static_stiffness_n_m; no part is softer in vibration": (
            dynamic < static * (1 - 1e-9)
        ),
        "dynamic_stiffness_n_m is more than 5 times static_stiffness_n_m": dynamic > 5 * static,
        "least_load_n, rated_load_n and largest_load_n must ascend": (
            (values["least_load"] >= values["rated_load"])
            | (values["rated_load"] >= values["largest_load"])
        ),
        "largest_deflection_m is not largest_load_n over static_stiffness_n_m, within 5 %, as it "
        "must be for a steel spring": steel & (np.abs(reach - 1) > _STEEL_LINEARITY),
        "largest_deflection_m is more than 3 times off largest_load_n over static_stiffness_n_m; "
        "a unit is wrong": (reach > _LINEARITY) | (reach < 1 / _LINEARITY),
        "largest_deflection_m is not below height_m": (
            values["largest_deflection"] >= values["height"]
        ),
    }
    for why, bad in wrong.items():
        if bad.any():
            at = int(np.argmax(bad))
            name = str(table.text("component")[at])
            raise TableError(f"{table.file}, row {table.rows[at]}: {name!r}: {why}")


@checked
def merge_components(first: Components, second: Components) -> Components:
    """Add a list to another; certified rows of the second replace rows of the first.

    Parameters
    ----------
    first : Components
        A generic list.
    second : Components
        Your own. A name that is in both needs a certificate here, and then replaces the generic
        row; the notes say so.

    Returns
    -------
    Components
        Rows of the first that stay, then those of the second.

    Raises
    ------
    ValueError
        A name is in both and the second row has no certificate, or is of another kind.

    Examples
    --------
    >>> import xarray as xr
    >>> def part(name, certificate):
    ...     data = {"kind": ("component", ["spring"]), "certificate": ("component", [certificate]),
    ...             "static_stiffness": ("component", [1e6])}
    ...     return Components(data=xr.Dataset(data, coords={"component": [name]}))
    >>> both = merge_components(part("S1", ""), part("S1", "report 12, invented"))
    >>> both.names, both.notes
    (['S1'], ("'S1' is taken from certificate 'report 12, invented'",))
    """
    ours, theirs = np.array(second.names), np.array(first.names)
    shared = np.isin(ours, theirs)
    certificates = second.data["certificate"].values
    bare = shared & (certificates == "")
    if bare.any():
        name = str(ours[bare][0])
        raise ValueError(
            f"merge_components: {name!r} is in both lists, and the second has no certificate for "
            "it; name the certificate, or give the part another name"
        )
    common = ours[shared].tolist()
    before = first.data["kind"].sel(component=common).values
    changed = before != second.data["kind"].values[shared]
    if changed.any():
        name = common[int(np.argmax(changed))]
        raise ValueError(f"merge_components: {name!r} is of another kind in the second list")
    kept = first.data.isel(component=np.flatnonzero(~np.isin(theirs, ours)))
    notes = tuple(
        f"{name!r} is taken from certificate {text!r}"
        for name, text in zip(common, certificates[shared].tolist(), strict=True)
    )
    data = xr.concat([kept, second.data], dim="component", join="exact", combine_attrs="override")
    return Components(data=data, notes=(*first.notes, *second.notes, *notes))
