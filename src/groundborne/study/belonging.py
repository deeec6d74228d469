"""What a study calls uncertain, and whether results and cases of the mechanics are of it."""

from __future__ import annotations

import xarray as xr

from groundborne._checks import StudyError
from groundborne.study.description import checksum
from groundborne.study.model import StudyModel

CHECKSUM = "study_checksum"
"""Attribute that stands for every value of the study."""

DOUBTS = "doubts_checksum"
"""Attribute of cases that stands for what they were drawn of."""


def require_result(where: str, study: StudyModel, result: xr.Dataset) -> None:
    """Refuse a result of another study, or of the study as it was before a change.

    Parameters
    ----------
    where : str
        For the sentence.
    study : Study
        Handed over with it.
    result : Dataset
        Of all options and rooms, or of some.
    """
    known = {"option": [o.name for o in study.options], "room": list(study.rooms)}
    for dim, labels in known.items():
        if dim not in result.dims:
            raise StudyError(f"{where}: the result has no dim {dim!r}; pass what evaluate() gave")
        for label in result[dim].values.tolist():
            if label not in labels:
                raise StudyError(
                    f"{where}: the result holds the {dim} {label!r}, and the study "
                    f"{', '.join(map(repr, labels))}; pass what its own evaluate() gave"
                )
    require_same(where, "result", study, result, "evaluate this study and pass that result")


def require_same(where: str, what: str, study: StudyModel, found: xr.Dataset, remedy: str) -> None:
    """Refuse what was evaluated from other values, where it says from which.

    Parameters
    ----------
    where, what, remedy : str
        For the sentence.
    study : Study
        As it is.
    found : Dataset
        Result or cases.
    """
    of = found.attrs.get(CHECKSUM)
    if of is not None and of != checksum(study.described()):
        raise StudyError(
            f"{where}: the {what} was evaluated from other values than the study {study.name!r} "
            f"now holds; {remedy}"
        )


def doubts(study: StudyModel) -> str:
    """What stands for the uncertain keys and the alternatives of a study.

    Parameters
    ----------
    study : Study
        As it was read.
    """
    return checksum({"uncertain": repr(study.uncertain), "others": repr(study.alternatives)})


def in_words(study: StudyModel) -> list[dict[str, str]]:
    """What a study calls uncertain, for tables: ``uncertain``, ``how`` and ``source``.

    Parameters
    ----------
    study : Study
        With its uncertain keys and alternatives.
    """
    found = [
        {"uncertain": one.key, "how": one.distribution.in_words, "source": one.source}
        for one in study.uncertain
    ]
    for one in study.alternatives:
        changed = ", ".join(f"{k} = {v}" for k, v in one.changes.items()) or "as the file has it"
        found.append(
            {
                "uncertain": f"model of {one.stage}: {one.name}",
                "how": f"weight {one.weight:g}; {changed}",
                "source": one.source,
            }
        )
    return found
