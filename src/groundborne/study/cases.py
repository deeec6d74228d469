"""Cases of the mechanics of a study: what they must be, and the errors of levels beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import xarray as xr

from groundborne._checks import StudyError
from groundborne.study.belonging import (
    CHECKSUM,
    DOUBTS,
    aligned,
    doubts,
    require_result,
    require_same,
)
from groundborne.study.model import StudyModel
from groundborne.study.rated_samples import CASE
from groundborne.study.room_rating import CHANGES
from groundborne.study.spreads import study_spreads
from groundborne.uncertainty import Spread

MOST_CASES = 64


def require_count(cases: int, where: str) -> None:
    """Refuse a number of cases that blocks cannot be shared among.

    Parameters
    ----------
    cases : int
        2 to ``MOST_CASES``, a power of two.
    where : str
        For the sentence.
    """
    if not 2 <= cases <= MOST_CASES or cases & (cases - 1):
        raise StudyError(
            f"{where}: cases is {cases}; it must be a power of two from 2 to {MOST_CASES}"
        )


def require_given(where: str, study: StudyModel, mechanics: xr.Dataset | None) -> None:
    """Refuse a study whose file says what is uncertain, without cases of that.

    Parameters
    ----------
    where : str
        For the sentence.
    study : Study
        With its uncertain keys and alternatives.
    mechanics : Dataset, optional
        Cases of them.
    """
    if mechanics is not None or not (study.uncertain or study.alternatives):
        return
    keys = [repr(one.key) for one in study.uncertain]
    stages = [repr(one) for one in dict.fromkeys(one.stage for one in study.alternatives)]
    said = [f"{', '.join(keys)} {'is' if len(keys) == 1 else 'are'} uncertain"] * bool(keys)
    said += [f"there are alternatives of {', '.join(stages)}"] * bool(stages)
    raise StudyError(
        f"{where}: {' and '.join(said)} in the study file, and there are no cases of that; give "
        "mechanics=sampled_mechanics(FILE)"
    )


def require_cases(where: str, study: StudyModel, mechanics: xr.Dataset, result: xr.Dataset) -> None:
    """Refuse cases that are of another study, or of other doubts than its own.

    Parameters
    ----------
    where : str
        For the sentence.
    study : Study
        As it is.
    mechanics : Dataset
        Level changes on ``case``.
    result : Dataset
        Of the study as it is.
    """
    if CASE not in mechanics.dims:
        raise StudyError(f"{where}: mechanics has no dim 'case'; sampled_mechanics gives it")
    require_count(mechanics.sizes[CASE], f"{where}: mechanics")
    if CHECKSUM not in mechanics.attrs or DOUBTS not in mechanics.attrs:
        raise StudyError(
            f"{where}: mechanics does not say which study it is of (its attributes are gone); pass "
            "what sampled_mechanics gave"
        )
    require_same(where, "mechanics", study, mechanics, "sample the cases of this study")
    if (study.uncertain or study.alternatives) and mechanics.attrs[DOUBTS] != doubts(study):
        raise StudyError(
            f"{where}: the mechanics was drawn of other distributions or alternatives than the "
            f"study {study.name!r} has; sample the cases of this study"
        )
    for dim in ("option", "room", "frequency"):
        have, wanted = (a[dim].values.tolist() for a in (mechanics, result))
        if have != wanted:
            other = next(iter(set(map(str, have)) ^ set(map(str, wanted))), "in another order")
            raise StudyError(
                f"{where}: mechanics differs from the result along {dim!r} ({other}); both must "
                "be of the same study"
            )
    for name, _, _, _ in CHANGES.values():
        if name in result and name not in mechanics:
            raise StudyError(f"{where}: mechanics holds no {name!r}, and the result does")


def level_spreads(
    where: str,
    study: StudyModel,
    result: xr.Dataset,
    spreads: Sequence[Spread] | None,
    mechanics: xr.Dataset | None,
) -> tuple[Spread, ...]:
    """Sources of error of levels, once result, cases and spreads are of the study.

    Parameters
    ----------
    where : str
        For the sentence.
    study : Study
        As it is.
    result : Dataset
        Of its evaluation.
    spreads : sequence of Spread, optional
        Given, in any order of labels; those of the study by default.
    mechanics : Dataset, optional
        Cases of it.
    """
    require_result(where, study, result)
    require_given(where, study, mechanics)
    if mechanics is not None:
        require_cases(where, study, mechanics, result)
    if spreads is None:
        return tuple(_in_result(spread, result) for spread in study_spreads(study))
    return tuple(aligned(where, spreads, result))


def _in_result(spread: Spread, result: xr.Dataset) -> Spread:
    """The error of the rooms and options that a result holds."""
    found = []
    for size in (spread.of("sound pressure"), spread.of("velocity")):
        held = [dim for dim in ("option", "room") if dim in size.dims]
        found.append(size.sel({dim: result[dim].values for dim in held}))
    return replace(spread, of_sound=found[0], of_floor=found[1])
