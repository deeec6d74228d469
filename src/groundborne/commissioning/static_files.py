"""Deflections and gaps that were read on site, from CSV tables.

A level survey of a floor is read by :func:`groundborne.sizing.read_survey`.
"""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import TableError
from groundborne.cells import Cells
from groundborne.csv_columns import DEFLECTIONS, GAPS


@checked
def read_deflections(path: str | FilePath) -> xr.Dataset:
    r"""Read deflections of mounts, one row for each column.

    Parameters
    ----------
    path : str or Path
        CSV file: ``column``, ``deflection_mm`` from the free height, and optional ``load_kn`` on
        the column when it was read.

    Returns
    -------
    xarray.Dataset
        On ``column``: ``deflection`` [m] and, where it was given, ``load`` [N], for
        :func:`~groundborne.commissioning.check_deflection`.

    Raises
    ------
    TableError
        With all that is wrong in the file: columns that repeat, unknown names, cells that are no
        numbers or cannot be.

    Warns
    -----
    UnusualValueWarning
        Deflections or loads that look like another unit.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "deflections.csv"
    >>> _ = file.write_text("column,deflection_mm\nA1,19.5\nB1,20.4\n")
    >>> read_deflections(file)["deflection"].round(4).values.tolist()
    [0.0195, 0.0204]
    """
    return Cells.read(path, DEFLECTIONS).dataset()


@checked(infinite=("return",))
def read_gaps(path: str | FilePath) -> xr.Dataset:
    r"""Read clear gaps, one row for each point, with what they have to be.

    Parameters
    ----------
    path : str or Path
        CSV file: ``point``, ``gap_mm``, ``least_mm``, optional ``most_mm`` and, in words,
        ``where``.

    Returns
    -------
    xarray.Dataset
        On ``point``: ``gap``, ``least`` and ``most`` [m], infinite where there is no such limit,
        for :func:`~groundborne.commissioning.check_gaps`.

    Raises
    ------
    TableError
        With all that is wrong in the file: points that repeat, unknown names, cells that are no
        numbers or cannot be, limits out of order.

    Warns
    -----
    UnusualValueWarning
        Gaps that look like another unit.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "gaps.csv"
    >>> _ = file.write_text("point,gap_mm,least_mm\nP1,10.5,8\nP2,0,8\n")
    >>> read_gaps(file)["gap"].values.tolist()
    [0.0105, 0.0]
    """
    cells = Cells.read(path, GAPS)
    found = cells.dataset()
    if "most" not in found:
        found = found.assign(most=xr.full_like(found["gap"], np.inf))
    pairs = zip(found["least"].values, found["most"].values, strict=True)
    errors = [
        f"{cells.where(at, 'most_mm')}: {1e3 * most:g} is no more than least_mm, {1e3 * least:g}; "
        "it must be above"
        for at, (least, most) in enumerate(pairs)
        if most <= least
    ]
    if errors:
        raise TableError(*errors)
    return found
