"""What a study calls uncertain, and whether results and cases of the mechanics are of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import xarray as xr

from groundborne._checks import StudyError
from groundborne.study.description import checksum
from groundborne.study.model import StudyModel
from groundborne.uncertainty import Spread

CHECKSUM = "study_checksum"
"""Attribute that stands for every value of the study that a number or a note rests on."""

_BESIDE = ("details", "measurements", "site")
"""What a study says beside its numbers: who, when and how, and where things are drawn."""

_BESIDE_OF_ROW = ("status", "floor", "grid", "specification", "responsible", "note")
"""The same of a crossing in the register."""

DOUBTS = "doubts_checksum"
"""Attribute of cases, and of what rests on them, that stands for what they were drawn of."""

CASES = "cases_checksum"
"""Attribute of a result that stands for the cases that its answers rest on."""

SEED_OF_CASES = "seed_of_mechanics"
"""Attribute of cases, and of what rests on them: the seed that they were drawn by."""


def study_checksum(described: Mapping[str, str]) -> str:
    """What stands for the values of a study that its numbers and notes rest on.

    Parameters
    ----------
    described : mapping of str to str
        Its :meth:`~groundborne.study.Study.described`. Who it is for, its date, revision and
        status, how things were measured and where they are drawn are left out; so is what the
        upkeep of mounts is, but not whether it is stated.

    Examples
    --------
    >>> one, other, third = ({"details · revision": r, "bands": b} for r, b in ("Ax", "Bx", "By"))
    >>> study_checksum(one) == study_checksum(other), study_checksum(other) == study_checksum(third)
    (True, False)
    """
    counted = {}
    for key, value in described.items():
        way = key.split(" · ")
        if way[0] in _BESIDE or (way[0] == "register" and way[-1] in _BESIDE_OF_ROW):
            continue
        counted[key] = str(bool(value)) if way[0] == "inspection" else value
    return checksum(counted)


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
    if of is not None and of != study_checksum(study.described()):
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


def cases_checksum(mechanics: xr.Dataset) -> str:
    """What stands for cases of the mechanics: their values and labels.

    Parameters
    ----------
    mechanics : Dataset
        Cases.

    Examples
    --------
    >>> cases = xr.Dataset({"level_change": ("case", [1.0, 2.0])})
    >>> cases_checksum(cases) == cases_checksum(cases.isel(case=[1, 0]))
    False
    """
    held = {}
    for name in sorted(map(str, mechanics.variables)):
        array = mechanics[name]
        values = array.values
        # Texts as they are, numbers by all their bits.
        told = repr(values.tolist()) if values.dtype.kind in "OU" else values.tobytes().hex()
        held[name] = f"{array.dims} {values.shape} {told}"
    return checksum(held)


def aligned(where: str, spreads: Sequence[Spread], result: xr.Dataset) -> list[Spread]:
    """Spreads in the order of the labels of a result.

    Parameters
    ----------
    where : str
        For the sentence.
    spreads : sequence of Spread
        Each on any of option, room and frequency.
    result : Dataset
        That they are for.

    Raises
    ------
    StudyError
        None at all, a further dim, a dim without labels, or other labels than those of the result.
    """
    if not spreads:
        raise StudyError(f"{where}: spreads is empty; at least one is needed")
    found = []
    for spread in spreads:
        sizes = [
            _aligned(f"{where}: the spread {spread.name!r}, {name},", xr.DataArray(size), result)
            for name, size in (("of_sound", spread.of_sound), ("of_floor", spread.of_floor))
        ]
        found.append(replace(spread, of_sound=sizes[0], of_floor=sizes[1]))
    return found


def _aligned(subject: str, size: xr.DataArray, result: xr.Dataset) -> xr.DataArray:
    order = {}
    for dim in map(str, size.dims):
        if dim not in ("option", "room", "frequency"):
            raise StudyError(f"{subject} has the dim {dim!r}; it may have option, room, frequency")
        if dim not in size.coords:
            raise StudyError(f"{subject} has no labels along {dim!r}; give those of the result")
        have, wanted = size[dim].values.tolist(), result[dim].values.tolist()
        if sorted(map(str, have)) != sorted(map(str, wanted)):
            odd = sorted(set(map(str, have)) ^ set(map(str, wanted))) or ["a label twice"]
            raise StudyError(
                f"{subject} and the result differ along {dim!r}: {', '.join(map(repr, odd))}; each "
                "label of the result needs one value"
            )
        order[dim] = wanted
    return size.sel(order)


def in_words(study: StudyModel, mechanics: xr.Dataset | None = None) -> list[dict[str, str]]:
    """What a study calls uncertain, for tables: ``uncertain``, ``how`` and ``source``.

    Parameters
    ----------
    study : Study
        With its uncertain keys and alternatives.
    mechanics : Dataset, optional
        Cases of them, which say what share of them each model has.
    """
    found = [
        {"uncertain": one.key, "how": one.distribution.in_words, "source": one.source}
        for one in study.uncertain
    ]
    for one in study.alternatives:
        changed = ", ".join(f"{k} = {v}" for k, v in one.changes.items()) or "as the file has it"
        had = ""
        if mechanics is not None:
            own = mechanics["alternative"].sel(modelled=one.stage) == one.name
            had = f" ({float(own.mean()):.3g} of the cases)"
        found.append(
            {
                "uncertain": f"model of {one.stage}: {one.name}",
                "how": f"weight {one.weight:g}{had}; {changed}",
                "source": one.source,
            }
        )
    return found
