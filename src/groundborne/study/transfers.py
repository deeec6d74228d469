"""Steps of a path that are measured or tabulated by floor, room or column, beside their models."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path as FilePath

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.bands import require_labels, stacked
from groundborne.cells import Cells
from groundborne.citation import Citation
from groundborne.key import KeyTable
from groundborne.path import End, GivenChange, PathElement, TransmissionPath, Where
from groundborne.study.building import Building
from groundborne.study.frame import Frame
from groundborne.study.given import Given
from groundborne.study.keys import declared
from groundborne.study.keys.path import MEASURED_HERE
from groundborne.study.table_files import with_bands

Transfers = Mapping[str, Cells]
"""Tables of transfers by the step they belong to."""


@checked
def read_transfers(path: str | FilePath) -> xr.DataArray:
    r"""Read transfers by floor, room or column from a CSV table.

    Parameters
    ----------
    path : str or Path
        First column ``floor``, ``room`` or ``column``, which names the rows, then one column for
        each band, such as ``31.5 Hz``, ascending and without a gap [dB].

    Returns
    -------
    DataArray
        As in the file [dB], dims (``floor``, ``room`` or ``column``; ``frequency``).

    Raises
    ------
    TableError
        With all that is wrong in the file: rows that repeat, bands that are missing or named in
        another unit, cells that are no numbers or out of bounds.

    Notes
    -----
    A path takes it as a :class:`~groundborne.path.GivenChange`. In a study rooms look transfers by
    floor up by ``transfer.sel(floor=study.building.rooms["floor_of_room"])``, and
    :class:`~groundborne.path.Where` lays it over another step for the floors it holds.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "transfers.csv"
    >>> _ = file.write_text("floor,50 Hz,63 Hz\n1,-3.5,-2\n2,-4,-1.5\n")
    >>> read_transfers(file).sel(floor="2").values.tolist()
    [-4.0, -1.5]
    """
    of = declared("path.storeys").rows("table")[0].inner
    assert isinstance(of, KeyTable)
    return transfer_of(Cells.read(FilePath(path), with_bands(of, FilePath(path))))


def transfer_of(cells: Cells) -> xr.DataArray:
    """The numbers of a table on the dim of its rows, any further ones, and ``frequency`` [dB]."""
    label = cells.of.label
    names = [name for name in cells.of.names if name != label]
    labels = require_labels([float(name.split()[0]) for name in names], cells.file)
    values = stacked(xr.broadcast(*(cells[name] for name in names)), labels)
    return values.transpose(label, ..., "frequency").drop_attrs(deep=False)


def over_model(
    model: PathElement | None,
    given: Given,
    cells: Cells | None,
    building: Building,
    *,
    of: str,
    ends: tuple[End, End],
    sign: float = 1.0,
    frame: Frame | None = None,
    before: PathElement | None = None,
    after: PathElement | None = None,
) -> PathElement:
    """The table of a step where it has a row, and its model where it has none.

    Parameters
    ----------
    model : PathElement or None
        Of the step; None where there is only the table.
    given : Given
        The step.
    cells : Cells or None
        Its table, if it has one.
    building : Building
        Floors, rooms and columns of the part.
    of : str
        ``floor_of_room`` or ``ceiling_floor``: the floor a table by floor is looked up for.
    ends : tuple of End
        What the numbers lead from and to.
    sign : float
        -1 where they are losses.
    frame : Frame or None
        Column lines, by which rooms hear columns.
    before : PathElement, optional
        Leads from where the model begins to where the numbers do.
    after : PathElement, optional
        What mounts, or an option in the building, change where the numbers lead to; else nothing.

    Raises
    ------
    StudyError
        A floor, room or column with neither row nor model; a model that leads elsewhere; columns
        that no line carries.
    """
    here = MEASURED_HERE in given.of.names and bool(given[MEASURED_HERE])
    if here and cells is None and given["model"] != "given":
        raise StudyError(
            f"{given.where}: {MEASURED_HERE!r} is said of the model {given['model']!r}; it is of "
            'numbers, in the model "given" or in a table'
        )
    if cells is None:
        assert model is not None  # its numbers are needed where there is no table
        return model
    label = cells.of.label
    if label == "column" and (frame is None or "column" not in frame.column_weights.dims):
        raise StudyError(
            f"{given.where}: the rows of {cells.file} are of columns, and only column lines with a "
            "column table say what each room hears of them; give rows by floor or room"
        )
    where = building.rooms["room"]
    if label == "column" and frame is not None:
        where = frame.column_weights["column"]
    names = building.rooms[of] if label == "floor" else where
    held = np.isin(names.values.astype(str), cells.labels)
    if not held.all() and model is None:
        raise StudyError(f"{given.where}: {_lacking(cells, names.values[~held], building, of)}")
    if not held.any():
        assert model is not None
        return model
    dim = str(where.dims[0])
    # Where the table has no row another step stands, so that the 0 dB put there are never used.
    row = [cells.labels.index(n) if h else 0 for n, h in zip(names.values, held, strict=True)]
    inside = xr.DataArray(held, coords={dim: where.values})
    rows = transfer_of(cells).rename({label: "row"}).drop_vars("row")
    picked = rows.isel(row=xr.DataArray(row, coords=inside.coords))
    numbers: PathElement = GivenChange(
        xr.where(inside, sign * picked, 0.0).transpose(dim, ..., "frequency"),
        quantity_in=ends[0],
        quantity_out=ends[1],
        citations=_source(given),
        measured=here,
    )
    around = {"before": before, "transfer": numbers, "changed": after}
    numbers = TransmissionPath(**{name: part for name, part in around.items() if part is not None})
    if held.all():
        return numbers
    assert model is not None
    if (model.quantity_in, model.quantity_out) != (numbers.quantity_in, numbers.quantity_out):
        raise StudyError(
            f"{given.where}: {cells.file} gives the {numbers.quantity_out}, and the model "
            f"{given['model']!r} the {model.quantity_out}; both have to give the same, since each "
            "stands for some places"
        )
    return Where(numbers, inside, otherwise=model)


def _source(given: Given) -> tuple[Citation, ...]:
    words = given["table_source"]
    if words is None:
        return ()
    return (Citation(key="input", author=words, mark="input", status="assumed"),)


def _lacking(cells: Cells, names: np.ndarray, building: Building, of: str) -> str:
    """Which places have no row, and what would be right."""
    label = cells.of.label
    missing = list(dict.fromkeys(names.astype(str).tolist()))
    whose = ""
    if label == "floor":
        rooms = building.rooms["room"].values[building.rooms[of].values == missing[0]].tolist()
        kind = "ceiling" if of == "ceiling_floor" else "floor"
        whose = f", which is the {kind} of room {', '.join(map(repr, rooms))}"
    more = f" (nor for {', '.join(map(repr, missing[1:]))})" if missing[1:] else ""
    return (
        f"{cells.file} has no row for {label} {missing[0]!r}{whose}{more}; give a row for each "
        f"{label}, or the spectrum or another model that stands for those without"
    )
