"""Reading a study from a TOML file and the CSV files beside it.

First everything is read and held against the table of keys, and all that is wrong is told together;
then the study is built from the checked values.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Faults
from groundborne.study.alternatives import alternatives_of, require_other, with_changes
from groundborne.study.assembly import assembled
from groundborne.study.changes import Changes
from groundborne.study.description import Difference
from groundborne.study.given import Checker, read_toml
from groundborne.study.inputs import Inputs
from groundborne.study.keys import STUDY
from groundborne.study.option_changes import changed_files, named, spread
from groundborne.study.study import Study
from groundborne.study.table_files import TableFiles
from groundborne.study.uncertain_keys import Doubts, uncertain_of
from groundborne.uncertainty import Alternative, Distribution
from groundborne.usual_ranges import UnusualValueWarning, collected, overheard


@checked(nan=("changes",), infinite=("changes",))  # refused with their addresses
def read_study(
    path: str | FilePath,
    *,
    changes: Mapping[str, Any] | None = None,
    uncertain: Mapping[str, Distribution] | None = None,
    alternatives: Sequence[Alternative] = (),
) -> Study:
    """Read a study file and the tables it names.

    Parameters
    ----------
    path : str or Path
        TOML file; tables are looked for beside it, and outside its folder only where the key
        ``other_folders`` allows it. Its keys are described in the guide.
    changes : mapping, optional
        Values in place of those in the files, by address: the way to a key, joined by dots, with
        entries of lists by name or number (``options.springs 4.5 Hz.base.loss_factor``,
        ``criteria.hall.1.limit``), cells of a table by row and column (``rooms.R0.1.rt_s``), or a
        whole column (``rooms.rt_s``). Numbers, or DataArrays of any dims where the key is a number
        of physics; they are held against the same bounds and usual ranges, element by element, and
        :attr:`Study.changed` lists them.
    uncertain : mapping of str to Distribution, optional
        How keys and cells are distributed, by address, beside the entries of ``[[uncertain]]`` in
        the file, or in place of them. The study has the values as they are;
        :attr:`Study.uncertain` lists the distributions, and
        :func:`~groundborne.study.mechanics.sampled_mechanics` draws of them.
    alternatives : sequence of Alternative, optional
        Other models of single stages, beside those of ``[[alternatives]]`` in the file; those of a
        stage take the place of the file's. The study has the models of the file; each of the
        others is read too, so that what is wrong with it is told here.

    Returns
    -------
    Study
        Ready to evaluate.

    Raises
    ------
    StudyError
        With everything that was found wrong in its ``errors``, a sentence each: what is missing,
        unknown, of the wrong type or out of bounds, with file, table or row, and column or key.

    Warns
    -----
    UnusualValueWarning
        A number outside its usual range, by itself or together with others; the same words are in
        :attr:`Study.unusual` and among the notes of every result.

    Examples
    --------
    >>> study = read_study("data/music_school/study.toml")
    >>> study.name, len(study.rooms)
    ('Quillbrook music school', 15)
    >>> softer = read_study("data/music_school/study.toml",
    ...                     changes={"structure.foundation.shear_wave_speed_m_s": 180.0})
    >>> softer.changed
    (Difference(key='structure.foundation.shear_wave_speed_m_s', read='220', now='180'),)
    """
    file, asked, doubts = FilePath(path), changes or {}, uncertain or {}
    with collected() as unusual:
        with overheard() as known:
            study, made = _read(file, asked, doubts, alternatives)
        faults = Faults()
        for one in study.alternatives:
            if one.changes:
                with named(f"{file.name}, alternative {one.name!r}", faults, known):
                    _, other = _read(file, with_changes(asked, [one]), doubts, alternatives)
                    require_other(one, other)
        faults.settle()
    for sentence in unusual:
        warnings.warn(sentence, UnusualValueWarning, stacklevel=3)  # past the check of arguments
    study = replace(study, unusual=tuple(unusual), changes=made)
    return replace(study, as_read=study.described())


def read_drawn(
    path: str | FilePath,
    *,
    shares: Mapping[str, xr.DataArray],
    changes: Mapping[str, Any] | None = None,
    uncertain: Mapping[str, Distribution] | None = None,
    chosen: Sequence[Alternative] = (),
) -> Study:
    """A study with values drawn of its distributions, and with other models.

    Parameters
    ----------
    path, changes, uncertain
        As for :func:`read_study`.
    shares : mapping of str to DataArray
        Of the distribution of each uncertain key, on ``sample``, above 0 and below 1.
    chosen : sequence of Alternative
        One of each stage.
    """
    asked = with_changes(changes or {}, chosen)
    with collected():
        study, made = _read(FilePath(path), asked, uncertain or {}, (), shares)
    study = replace(study, changes=made)
    return replace(study, as_read=study.described())


def _read(
    file: FilePath,
    asked: Mapping[str, Any],
    uncertain: Mapping[str, Distribution],
    alternatives: Sequence[Alternative],
    shares: Mapping[str, xr.DataArray] | None = None,
) -> tuple[Study, tuple[Difference, ...]]:
    faults = Faults()
    data, text = read_toml(file)
    spread(data, file.name, faults)
    changes = Changes(asked, faults)
    changes.into_file(data)
    found = uncertain_of(data, file.name, uncertain, faults)
    others_of = alternatives_of(data, file.name, alternatives, faults)
    doubts = Doubts(found, shares, changes, faults)
    doubts.into_file(data)
    with overheard() as unusual:
        given = Checker(data, faults).table(data, STUDY, file.name)
        files = TableFiles(file, text, given["other_folders"] or [])
        inputs = Inputs.of(given, files, doubts, faults)
    changes.settle()
    doubts.settle()
    others = changed_files(data, given, inputs, files, changes, faults, unusual)
    faults.settle()
    study = assembled(given, inputs, files, others, faults)
    study = replace(study, uncertain=tuple(found.values()), alternatives=others_of)
    return study, (*changes.made, *doubts.made)
