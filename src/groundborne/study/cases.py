"""Cases of the mechanics of a study: what they must be, and what of the errors they hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.study.belonging import CHECKSUM, DOUBTS, doubts, require_same
from groundborne.study.model import StudyModel
from groundborne.study.rated_samples import CASE
from groundborne.study.room_rating import CHANGES
from groundborne.study.spreads import MEASURED
from groundborne.uncertainty import Spread

MOST_CASES = 64


def require_count(cases: int, where: str) -> None:
    """Refuse a number of cases that blocks cannot be shared among.

    Parameters
    ----------
    cases : int
        1 to ``MOST_CASES``, a power of two.
    where : str
        For the sentence.
    """
    if not 1 <= cases <= MOST_CASES or cases & (cases - 1):
        raise StudyError(f"{where}: cases is {cases}; a power of two from 1 to {MOST_CASES} is")


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


def without_cases(
    spreads: Sequence[Spread], mechanics: xr.Dataset, quantity: str
) -> Sequence[Spread]:
    """Spreads less what levels vary by over the cases: together they spread as the statistics say.

    Parameters
    ----------
    spreads : sequence of Spread
        Of the study; that of the trains, which no path changes, is kept.
    mechanics : Dataset
        Level changes on ``case``.
    quantity : str
        ``sound pressure`` or ``velocity``.

    Returns
    -------
    list of Spread
        Variances in one proportion, by option, room and band, ``max(S - V, least)/S``, for S the
        sum of all and V that over the cases of the same models, with ``least`` the smaller of S
        and the square of ``MEASURED``.
    """
    name = CHANGES[quantity][0]
    if name not in mechanics or mechanics.sizes[CASE] == 1:
        return spreads
    change = mechanics[name]
    over = _within(change, mechanics)
    rest = [d for d in over.dims if d not in ("option", "room", "frequency")]
    varied = over.min(rest)  # of floor frequencies of which the worst counts: no more than sure
    kept = [s for s in spreads if s.path]
    total: xr.DataArray = sum((s.of(quantity) ** 2 for s in kept), xr.DataArray(0.0))
    left = np.maximum(total - varied, np.minimum(total, MEASURED**2))
    factor = xr.where(total > 0, np.sqrt(left / xr.where(total > 0, total, 1.0)), 1.0)
    field = "of_sound" if quantity == "sound pressure" else "of_floor"
    found = []
    for spread in spreads:
        size = factor * spread.of(quantity)
        found.append(replace(spread, **{field: size}) if spread.path else spread)
    return found


def _within(change: xr.DataArray, mechanics: xr.Dataset) -> xr.DataArray:
    """Variance over cases, about the mean of those with the same models."""
    if "alternative" not in mechanics:
        return change.var(CASE, ddof=1, skipna=False)
    names = mechanics["alternative"].transpose(CASE, "modelled").values
    groups, of = np.unique(names, axis=0, return_inverse=True)
    total = xr.zeros_like(change.isel({CASE: 0}, drop=True))
    for group in range(len(groups)):
        own = change.isel({CASE: np.flatnonzero(of.ravel() == group)})
        total = total + ((own - own.mean(CASE)) ** 2).sum(CASE)
    return total / max(change.sizes[CASE] - len(groups), 1)
