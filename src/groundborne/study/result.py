"""Saving a result to NetCDF and reading it back without loss."""

from __future__ import annotations

import json
from pathlib import Path as FilePath
from typing import Literal

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.files import require_plain, write_files

_WHOLE_NUMBERS = "whole_numbers"

Engine = Literal["scipy", "netcdf4"]


@checked
def save_result(
    result: xr.Dataset, path: str | FilePath, *, engine: Engine = "scipy", overwrite: bool = False
) -> None:
    """Write a result to one NetCDF file, whole or not at all.

    Parameters
    ----------
    result : Dataset
        From an evaluation.
    path : str or Path
        File to write, ending in ``.nc``.
    engine : str
        ``scipy`` (NetCDF 3, always there) or ``netcdf4`` (NetCDF 4, compressed, with the time of
        writing in its head; needs the ``io`` extra).
    overwrite : bool
        Whether an existing file may be replaced; it stays until the new one is whole.

    Raises
    ------
    StudyError
        Another ending, the file exists, its folder does not, the disk is full or refuses, or
        netCDF4 is not installed.

    Examples
    --------
    >>> import tempfile
    >>> file = FilePath(tempfile.mkdtemp()) / "result.nc"
    >>> save_result(xr.Dataset({"margin": ("room", [1.5])}), file)
    >>> read_result(file)["margin"].values.tolist()
    [1.5]
    """
    if FilePath(path).suffix.lower() != ".nc":
        raise StudyError(
            f"save_result: {FilePath(path).name!r} must end in .nc; a result is a NetCDF file"
        )
    content = result_bytes(result, engine=engine)
    write_files({FilePath(path): content}, where="save_result", overwrite=overwrite)


def result_bytes(result: xr.Dataset, *, engine: Engine = "scipy") -> bytes:
    """Content of the NetCDF file of a result.

    Parameters
    ----------
    result : Dataset
        From an evaluation.
    engine : str
        As for :func:`save_result`.

    Raises
    ------
    StudyError
        netCDF4 is not installed.
    """
    # NetCDF 3 knows no 64-bit whole numbers; what it narrows is told, and restored on reading.
    whole = {str(n): v.dtype.str for n, v in result.variables.items() if v.dtype.kind in "iu"}
    result = result.assign_attrs({_WHOLE_NUMBERS: json.dumps(whole)}) if whole else result
    encoding = {}
    if engine == "netcdf4":
        numeric = [n for n, v in result.variables.items() if v.dtype.kind in "if" and v.ndim]
        encoding = {n: {"zlib": True, "complevel": 4} for n in numeric}
    try:
        return bytes(result.to_netcdf(engine=engine, encoding=encoding))
    except (ImportError, ValueError) as error:
        if engine == "netcdf4" and "netcdf4" in str(error).lower():
            raise StudyError(
                "save_result: the engine 'netcdf4' needs the package netCDF4; install the extra "
                "'io', or use the engine 'scipy'"
            ) from error
        raise


@checked
def read_result(path: str | FilePath, *, engine: Engine = "scipy") -> xr.Dataset:
    """Read a result back into memory.

    Parameters
    ----------
    path : str or Path
        File written by :func:`save_result`.
    engine : str
        The engine it was written with.

    Returns
    -------
    xarray.Dataset
        Equal to what was saved, attributes included.

    Raises
    ------
    StudyError
        The file does not exist or is not NetCDF.

    Examples
    --------
    >>> read_result("nowhere.nc")
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: read_result: there is no file nowhere.nc
    """
    if not FilePath(path).exists():
        raise StudyError(f"read_result: there is no file {path}")
    file = require_plain(path, error=StudyError, wanted="a NetCDF file")
    try:
        with xr.open_dataset(file, engine=engine) as dataset:
            loaded = dataset.load()
    except Exception as error:  # what a reader says of a file that is not its own varies
        raise StudyError(
            f"read_result: {file.name} is not a NetCDF file of this engine: {error}"
        ) from None
    kinds = str(loaded.attrs.pop(_WHOLE_NUMBERS, "{}"))
    try:
        for name, kind in json.loads(kinds).items():
            loaded[name] = loaded[name].astype(kind)
    except (ValueError, TypeError, AttributeError, KeyError) as error:
        raise StudyError(
            f"read_result: {file.name}: its attribute {_WHOLE_NUMBERS!r} is {kinds[:60]!r}, which "
            f"is not what was written ({error}); the file is damaged"
        ) from None
    for name in [n for n, v in loaded.variables.items() if v.dtype.kind in "OU"]:
        loaded[name] = loaded[name].astype(str)
    return loaded.drop_encoding()
