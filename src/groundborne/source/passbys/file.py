"""Passby levels into a CSV file that `read_passbys` reads back exactly."""

from __future__ import annotations

import csv
import io
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, TableError, no_nan
from groundborne.bands import label, require_labels
from groundborne.files import write_files
from groundborne.levels import require
from groundborne.source.passbys.spectra import Passbys
from groundborne.tables import like_a_formula, safe_line

KIND, PASSBY, BACKGROUND = "kind", "passby", "background"
_TEXT = ("train_type", "track")
_NUMBERS = ("speed_kmh", "duration_s")
_NO_KIND = "-"


@checked
def write_passbys(passbys: Passbys, path: str | FilePath, *, overwrite: bool = False) -> FilePath:
    """Write passbys, and their background if there is one, as one CSV row each.

    Parameters
    ----------
    passbys : Passbys
        Velocity levels re 1 nm/s.
    path : str or Path
        File to write. With a background it has a column ``kind`` (``passby`` or ``background``),
        to be named when it is read.
    overwrite : bool
        Whether an existing file may be replaced; it stays until the new one is whole.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    TableError
        The file is there already, the disk is full or refuses, or a text would not be read back
        as it is.
    LevelError
        The levels are not velocity levels re 1 nm/s.

    Notes
    -----
    Bands that are only upper limits are listed in the remarks at the head; the numbers themselves
    carry no mark in the file.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from groundborne.levels import stamp
    >>> from groundborne.source.passbys.spectra import read_passbys
    >>> level = stamp(xr.DataArray([[81.5]], coords={"passby": ["P1"], "frequency": [50.0]}),
    ...               quantity="velocity", reference="1 nm/s", long_name="velocity level",
    ...               time_weighting="S max")
    >>> file = write_passbys(Passbys(level), pathlib.Path(tempfile.mkdtemp()) / "passbys.csv")
    >>> read_passbys(file, quantity="velocity", reference="1 nm/s",
    ...              time_weighting="S max").level.item()
    81.5
    """
    where = "write_passbys"
    file = FilePath(path)
    if not overwrite and (file.exists() or file.is_symlink()):
        # Before the work; it is looked at again when the file takes its place.
        raise TableError(f"{file}: the file is there already; give overwrite=True to replace it")
    level = _checked(passbys.level, where, "passby")
    labels = require_labels(level["frequency"], where)
    meta = [c for c in (*_TEXT, *_NUMBERS) if c in level.coords]
    header = ["passby", *meta, *(f"{label(f)} Hz" for f in labels.tolist())]
    rows = _rows(level, "passby", [_column(level, c) for c in meta])
    if passbys.background is not None:
        floor = _checked(passbys.background, where, "segment")
        if not np.array_equal(floor["frequency"].values, labels):
            raise LevelError(f"{where}: the background is on other bands than the passbys")
        header.insert(1, KIND)
        # The reader wants every cell filled; it drops these columns from the background.
        blank = [[_NO_KIND if c in _TEXT else "1"] * floor.sizes["segment"] for c in meta]
        rows = [[name, PASSBY, *rest] for name, *rest in rows]
        rows += [[name, BACKGROUND, *rest] for name, *rest in _rows(floor, "segment", blank)]
    names = [row[0] for row in rows]
    if len(set(names)) != len(names):
        raise TableError(f"{where}: the names of passbys and background segments repeat")
    text = io.StringIO()
    text.writelines(f"# {safe_line(note)}\n" for note in _notes(passbys))
    csv.writer(text, lineterminator="\n").writerows([header, *rows])
    content = text.getvalue().encode("utf-8")
    write_files({file: content}, where=where, overwrite=overwrite, error=TableError)
    return file


def upper_limit_notes(level: xr.DataArray) -> tuple[str, ...]:
    """One remark for each passby with bands that are upper limits only."""
    if "upper_limit" not in level.coords:
        return ()
    flags = level["upper_limit"].transpose("passby", "frequency")
    bands = np.array([label(f) for f in level["frequency"].values.tolist()])
    named = zip(level["passby"].values.tolist(), flags.values, strict=True)
    return tuple(
        f"{name}: not detectable, upper limit only, at {', '.join(bands[row].tolist())} Hz"
        for name, row in named
        if row.any()
    )


def _notes(passbys: Passbys) -> list[str]:
    return list(dict.fromkeys([*passbys.notes, *upper_limit_notes(passbys.level)]))


def _checked(level: xr.DataArray, where: str, dim: str) -> xr.DataArray:
    require(level, where=where, quantity="velocity")
    if level.attrs["reference"] != "1 nm/s":
        raise LevelError(f"{where}: levels re {level.attrs['reference']}; 1 nm/s is needed")
    no_nan(where, level)
    return level.transpose(dim, "frequency")


def _rows(level: xr.DataArray, dim: str, columns: list[list[str]]) -> list[list[str]]:
    names = [_whole(str(n)) for n in level[dim].values.tolist()]
    values = [[repr(v) for v in row] for row in level.values.astype(float).tolist()]
    meta = zip(*columns, strict=True) if columns else [()] * len(names)
    return [[name, *about, *row] for name, about, row in zip(names, meta, values, strict=True)]


def _column(level: xr.DataArray, name: str) -> list[str]:
    values: list[Any] = level[name].values.tolist()
    if name in _NUMBERS:
        return [repr(float(v)) for v in values]
    return [_whole(str(v)) for v in values]


def _whole(text: str) -> str:
    """Refuse what the reader would strip, split or take for a remark."""
    if (
        text != text.strip()
        or not text
        or like_a_formula(text)
        or text[0] == "#"
        or not text.isprintable()
    ):
        raise TableError(
            f"write_passbys: {text!r} would not be read back as it is; use one that begins with a "
            "letter or digit and has no blanks at its ends"
        )
    return text
