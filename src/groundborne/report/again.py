"""A study run again from the folder of its report, and its numbers held against those there."""

from __future__ import annotations

import hashlib
import json
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path as FilePath, PurePosixPath
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.citation import ValidityWarning
from groundborne.files import read_plain
from groundborne.report.words import plain_text
from groundborne.study import Study, read_study
from groundborne.study.belonging import CHECKSUM, study_checksum
from groundborne.study.model import Progress, silent
from groundborne.study.samples import ERRORS
from groundborne.usual_ranges import UnusualValueWarning

INPUTS = "inputs"
"""Folder of a report that holds the files of its study."""

_DEEPEST = 6

_TOLD = {CHECKSUM, "version", "settings", "changes", "cannot_rerun", "inputs", "tables"}
"""What a report says that a rerun needs."""


@checked
@dataclass(frozen=True, kw_only=True)
class Rerun:
    """What a study gave when it ran again.

    Parameters
    ----------
    tables : tuple of str
        Tables that were compared.
    differ : dict of str to str
        By table that has another SHA-256, what differs, in words.
    changed : dict of str to str
        By file of the folder that is not as the report was written, what became of it, in words.
    unlisted : bool
        Whether the list of what was written is gone, so that only tables were held against it.
    """

    tables: tuple[str, ...]
    differ: Mapping[str, str]
    changed: Mapping[str, str] = field(default_factory=dict)
    unlisted: bool = False

    @property
    def same(self) -> bool:
        """Whether every table is the same, byte for byte, and every file as it was written."""
        return not (self.differ or self.changed)


def input_paths(study: Study) -> dict[str, str]:
    """Where the files of a study go in a report, by their names in the study file.

    Parameters
    ----------
    study : Study
        Its tables may lie in folders beside its own; those then lie beside the study file's in
        the same way.
    """
    names = list(study.inputs)
    up = max((PurePosixPath(n.replace("\\", "/")).parts.count("..") for n in names), default=0)
    below = [f"level{n}" for n in range(1, up + 1)]
    found = {}
    for name in names:
        parts = list(below)
        for part in PurePosixPath(name.replace("\\", "/")).parts:
            if part == "..":
                parts = parts[:-1]
            elif part != ".":
                parts.append(part)
        found[name] = "/".join([INPUTS, *parts])
    return found


def input_contents(study: Study) -> dict[str, bytes]:
    """Files of a study as a report keeps them; none where they cannot be kept in one folder."""
    if _outside(study):
        return {}
    paths = input_paths(study)
    return {paths[n]: plain_text(t).encode("utf-8") for n, t in study.inputs.items()}


def _outside(study: Study) -> list[str]:
    """Files that a study names by where they lie on one machine, or too far away to be kept."""
    odd = []
    for name in study.inputs:
        path = PurePosixPath(name.replace("\\", "/"))
        if path.is_absolute() or ":" in name or len(path.parts) >= _DEEPEST:
            odd.append(name)
    return odd


def why_no_rerun(study: Study, result: xr.Dataset) -> str:
    """Why a study cannot run again from its files, in a sentence; empty where it can."""
    if not study.inputs:
        return "the study was put together in a script, and there are no files of it"
    outside = _outside(study)
    if outside:
        return f"the study names {outside[0]!r}, which lies outside what a report can hold"
    after = study.changed_after(study.described())
    if after:
        return (
            f"a script changed {after[0].key!r} after the files were read; tables/evaluated.csv "
            "holds every value"
        )
    if any(_value(d.now) is None for d in study.changes):
        keys = ", ".join(repr(d.key) for d in study.changes if _value(d.now) is None)
        return f"the study was read with {keys} in place of what is in its files, not one number"
    if CHECKSUM not in result.attrs:
        return "the result does not say which study it was evaluated from"
    doubts = json.loads(str(result.attrs.get("doubts", "[]")))
    if len(doubts) > len(study.uncertain) + len(study.alternatives):
        return "other models with weights were given in a script, and its files hold none of them"
    if "sample" in result.dims:
        return "values of the study are sampled, and its files hold none of the samples"
    return ""


def _value(text: str) -> Any:
    """A change as it was given: a number or a word; None for what is longer than that."""
    try:
        return float(text)
    except ValueError:
        plain = text.strip("'\"")
        return plain if plain and not any(c in plain for c in "[]{}(),=") else None


@checked
def rerun(folder: str | FilePath, *, progress: Progress = silent) -> Rerun:
    """Run a study again from the folder of its report, and compare every table.

    Parameters
    ----------
    folder : str or Path
        That :func:`write_report` wrote.
    progress : callable
        Called as ``progress(stage, fraction)``.

    Returns
    -------
    Rerun
        Whether the tables are the same by their SHA-256, and where not by how much they differ;
        and which files of the folder were changed since, or are gone.

    Raises
    ------
    StudyError
        No report, an input file that was changed since, a study that cannot run again from its
        files, or one that another version of this library reads otherwise.

    Notes
    -----
    On another machine the last bits of a number may differ, and with them a digit that is printed;
    what differs then is told in numbers. What was measured at handover is not in the files of a
    study, and its tables are not made again.

    Examples
    --------
    >>> rerun("nowhere")
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: rerun: 'nowhere' holds no report.json; name its folder
    """
    from groundborne.report.document import table_contents
    from groundborne.report.facts import Facts
    from groundborne.report.folder import listed_files
    from groundborne.report.handover_tables import PREFIX

    place = FilePath(folder)
    told = _told(place)
    if told["cannot_rerun"]:
        raise StudyError(f"rerun: {told['cannot_rerun']}")
    progress("reading", 0.0)
    study = _read(place, told)
    if study.described() and study_checksum(study.described()) != told[CHECKSUM]:
        raise StudyError(
            f"rerun: the study in {place / INPUTS} is read with other values than the report was "
            f"written from, by version {told['version']}; use that version"
        )
    result, mechanics = _evaluated(study, place, told, progress)
    now = table_contents(Facts(study=study, result=result, mechanics=mechanics))
    differ = {}
    for name, content in now.items():
        file = name.removeprefix("tables/")
        if hashlib.sha256(content).hexdigest() != told["tables"].get(file):
            differ[file] = _difference(place / name, content)
    gone = [
        file
        for file in told["tables"]
        if f"tables/{file}" not in now and not file.startswith(PREFIX)
    ]
    differ |= dict.fromkeys(gone, "is not made any more")
    written = listed_files(place)
    return Rerun(
        tables=tuple(n.removeprefix("tables/") for n in now),
        differ=differ,
        changed=_changed(place, {f"tables/{n}": d for n, d in told["tables"].items()} | written),
        unlisted=not written,
    )


def _changed(place: FilePath, digests: Mapping[str, str]) -> dict[str, str]:
    """Files that are not as the report was written."""
    found = {}
    for name, digest in digests.items():
        file = place / name
        if not file.is_file():
            found[name] = "is gone since the report was written"
        elif hashlib.sha256(file.read_bytes()).hexdigest() != digest:
            found[name] = "was changed since the report was written"
    return found


def _told(place: FilePath) -> dict[str, Any]:
    from groundborne.report.traces import FORMAT

    file = place / "report.json"
    if not file.is_file():
        raise StudyError(f"rerun: {str(place)!r} holds no report.json; name its folder")
    try:
        told: dict[str, Any] = json.loads(read_plain(file, error=StudyError, wanted="JSON"))
        known = told["format"] == FORMAT and told.keys() >= _TOLD
    except (ValueError, KeyError, TypeError):
        known = False
    if not known:
        raise StudyError(f"rerun: {file} is not what a report writes; write the report anew")
    return told


def _file_of_study(place: FilePath, told: Mapping[str, Any]) -> FilePath:
    names = list(told["inputs"])
    up = max((PurePosixPath(n.replace("\\", "/")).parts.count("..") for n in names), default=0)
    return place.joinpath(INPUTS, *(f"level{n}" for n in range(1, up + 1)), names[0])


def _read(place: FilePath, told: Mapping[str, Any]) -> Study:
    file = _file_of_study(place, told)
    for name, digest in told["inputs"].items():
        one = file.parent / name
        if not one.is_file() or hashlib.sha256(one.read_bytes()).hexdigest() != digest:
            raise StudyError(
                f"rerun: {name!r} in {place / INPUTS} is gone or was changed since the report was "
                "written; put it back"
            )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UnusualValueWarning)
        return read_study(file, changes=_changes(told))


def _changes(told: Mapping[str, Any]) -> dict[str, Any] | None:
    return {d["key"]: _value(d["now"]) for d in told["changes"]} or None


def _evaluated(
    study: Study, place: FilePath, told: Mapping[str, Any], progress: Progress
) -> tuple[xr.Dataset, xr.Dataset | None]:
    of = told["settings"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        if not of["samples"]:
            return study.evaluate(band_levels=of["band_levels"], progress=progress), None
        mechanics = None
        if study.uncertain or study.alternatives:
            from groundborne.study.mechanics import sampled_mechanics

            mechanics = sampled_mechanics(
                _file_of_study(place, told), changes=_changes(told),
                cases=of["cases_of_mechanics"], seed=of["seed_of_mechanics"], progress=progress,
            )  # fmt: skip
        result = study.how_sure(
            samples=of["samples"], probability=of["probability"], seed=of["seed"],
            mechanics=mechanics, band_levels=of["band_levels"], progress=progress,
        )  # fmt: skip
    assert ERRORS in result.attrs
    return result, mechanics if of["budget"] else None


def _difference(file: FilePath, content: bytes) -> str:
    """What differs between a table and what it is now."""
    from io import BytesIO

    if not file.is_file():
        return "is not in the folder"
    was, now = (pd.read_csv(f, encoding="utf-8-sig") for f in (file, BytesIO(content)))
    if list(was.columns) != list(now.columns) or len(was) != len(now):
        return (
            f"has {len(now)} rows and {now.shape[1]} columns, and had {len(was)} and {was.shape[1]}"
        )
    most, where = 0.0, ""
    for column in was.columns:
        if not all(pd.api.types.is_numeric_dtype(t[column]) for t in (was, now)):
            if (was[column].astype(str) != now[column].astype(str)).any():
                return f"has other words in {column!r}"
            continue
        off = np.nanmax(
            np.abs(was[column].to_numpy(float) - now[column].to_numpy(float)), initial=0
        )
        if off > most:
            most, where = float(off), str(column)
    return f"differs by up to {most:.3g} in {where!r}" if where else "differs in how it is written"
