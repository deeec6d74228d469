"""Uncertain keys and alternatives of a study as sources of error, each of them, to first order."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
import xarray as xr
from scipy.special import ndtri

from groundborne._checks import StudyError
from groundborne.study.rated_samples import CASE
from groundborne.study.room_rating import CHANGES
from groundborne.study.spreads import MEASURED
from groundborne.uncertainty import Spread

REST = "uncertain values, what is not linear"
"""Source of error: what the level changes of cases differ by from straight lines."""

_SLIGHT = 1e-3  # dB
_LEAD = ("option", "room", "frequency")


@dataclass(frozen=True, kw_only=True, eq=False)
class SignedSpread(Spread):
    """An error that may raise some bands where it lowers others: sizes with a sign."""

    def __post_init__(self) -> None:
        """Sizes are taken as they are."""


def with_keys(
    where: str, spreads: Sequence[Spread], mechanics: xr.Dataset, *, reduced: bool
) -> tuple[Spread, ...]:
    """Spreads of levels, less what cases vary by, and one for each key and stage.

    Parameters
    ----------
    where : str
        For messages.
    spreads : sequence of Spread
        Of the study.
    mechanics : Dataset
        Cases of it.
    reduced : bool
        Whether what cases vary by is taken off the spreads.

    Returns
    -------
    tuple of Spread
        Keys err along all bands at once: by the slope of the level change over the normal score of
        the share of their distribution, a least-squares fit through the cases; stages by how their
        models differ, in one spread, or one for each of three models and more. What is left over
        is a spread of its own.

    Raises
    ------
    StudyError
        Too few cases for so many keys and models.
    """
    found = list(spreads)
    if reduced:
        sound, floor = (without_cases(spreads, mechanics, q) for q in CHANGES)
        found = [replace(a, of_floor=b.of_floor) for a, b in zip(sound, floor, strict=True)]
    factors = _factors(mechanics)
    count, needed = mechanics.sizes[CASE], _needed(factors)
    if count < needed:
        raise StudyError(
            f"{where}: mechanics has {count} cases, too few to tell its keys and models apart; "
            f"sampled_mechanics with cases={2 ** int(np.ceil(np.log2(needed)))} is enough"
        )
    held = {q: name for q, (name, _, _, _) in CHANGES.items() if name in mechanics}
    sizes = {q: _fitted(mechanics[name], factors) for q, name in held.items()}
    of = {q: list(chain.from_iterable(each)) for q, each in sizes.items()}
    named = [(name, f.measurement) for f in factors for name in f.names]
    for at, (name, measurement) in enumerate(named):
        own = _sized(of, at)
        found.append(
            SignedSpread(
                name=name, of_sound=own[0], of_floor=own[1],
                measured={measurement: 0.0} if measurement else {},
                bands_correlated=np.inf,
            )
        )  # fmt: skip
    rest = _sized(of, len(named))
    found.append(Spread(name=REST, of_sound=rest[0], of_floor=rest[1]))
    return tuple(s for s in found if any(_largest(s.of(q)) > _SLIGHT for q in CHANGES))


def stage_of(address: str) -> str:
    """The source of error by default that a key of the study file belongs to.

    Parameters
    ----------
    address : str
        The way to the key.

    Examples
    --------
    >>> stage_of("structure.foundation.shear_wave_speed_m_s"), stage_of("rooms.rt_s")
    ('ground to foundation', 'radiation and room')
    >>> stage_of("options.springs 4.5 Hz.base.natural_frequency_hz")
    'base isolation'
    """
    plain = re.sub(r"^parts\.[^.]+\.", "", address)
    for begin, stage in _STAGES:
        if re.match(begin, plain):
            return stage
    return "foundation to floor"


_STAGES = (
    (r"path\.ground\b|track\b", "distance"),
    (r"path\.coupling\b|structure\.foundation\b", "ground to foundation"),
    (r"isolation\b|options\..*\.bases?\.", "base isolation"),
    (r"options\..*\.rooms\.", "layers in rooms"),
    (r"rooms( of [^.]+)?\.|path\.radiation\b", "radiation and room"),
)
"""Begins of addresses, and what their errors are of."""


def without_cases(
    spreads: Sequence[Spread], mechanics: xr.Dataset, quantity: str
) -> Sequence[Spread]:
    """Spreads less what keys of the same stage make levels vary by over the cases.

    Parameters
    ----------
    spreads : sequence of Spread
        Of the study.
    mechanics : Dataset
        Cases of it.
    quantity : str
        ``sound pressure`` or ``velocity``.

    Returns
    -------
    sequence of Spread
        By option, room and band the variance of the stage that a key belongs to is ``max(S - V,
        least)``, for V that along the straight line of each key of the stage over the cases, and
        ``least`` the smaller of S and the square of ``MEASURED``. V is the least of all options
        where these share the error. Models of a stage, what bends, and stages of few cases take
        nothing off.
    """
    name, factors = CHANGES[quantity][0], _factors(mechanics)
    if name not in mechanics or mechanics.sizes[CASE] < _needed(factors):
        return spreads
    varied: dict[str, xr.DataArray] = {}
    for factor, sizes in zip(factors, _fitted(mechanics[name], factors)[:-1], strict=True):
        if factor.measurement:
            stage = stage_of(factor.names[0])
            varied[stage] = varied.get(stage, xr.DataArray(0.0)) + sizes[0] ** 2
    found = []
    for spread in spreads:
        if spread.name not in varied:
            found.append(spread)
            continue
        size, less = spread.of(quantity), varied[spread.name]
        if "option" not in size.dims:
            less = less.min("option")
        left: Any = np.sqrt(np.maximum(size**2 - less, np.minimum(size**2, MEASURED**2)))
        sound = quantity == "sound pressure"
        found.append(replace(spread, of_sound=left) if sound else replace(spread, of_floor=left))
    return found


def _needed(factors: Sequence[_Factor]) -> int:
    """Cases that tell factors apart, and leave one over."""
    return sum(int(f.columns.shape[1]) for f in factors) + 2


def _sized(
    of: Mapping[str, Sequence[xr.DataArray]], at: int
) -> tuple[xr.DataArray | float, xr.DataArray | float]:
    """One of the sizes of each quantity; nothing of one that no room is rated by."""
    sound, floor = (of[q][at] if q in of else 0.0 for q in CHANGES)
    return sound, floor


@dataclass(frozen=True, kw_only=True, eq=False)
class _Factor:
    """A key, or the models of a stage: columns of a fit on the cases, and what spreads of it say.

    Parameters
    ----------
    names : tuple of str
        Of its spreads: one, or one for each of several models.
    measurement : str
        What measures it, or nothing.
    columns : ndarray
        Case, column: with mean 0 and standard deviation 1 over what they stand for; of three models
        and more whether it is the one, without the first.
    weights : ndarray
        Shares of several models.
    """

    names: tuple[str, ...]
    measurement: str
    columns: np.ndarray[Any, Any]
    weights: np.ndarray[Any, Any]


def _factors(mechanics: xr.Dataset) -> list[_Factor]:
    found, none = [], np.zeros(0)
    if "share" in mechanics:
        for key in mechanics["key"].values:
            score = ndtri(mechanics["share"].sel(key=key).values)[:, None]
            said = f"value of {key}"
            found.append(_Factor(names=(str(key),), measurement=said, columns=score, weights=none))
    if "alternative" in mechanics:
        for stage in mechanics["modelled"].values:
            chosen = mechanics["alternative"].sel(modelled=stage).values
            models, at = np.unique(chosen, return_inverse=True)
            weights = np.bincount(at) / at.size
            columns = (at[:, None] == np.arange(1, len(models))).astype(float)
            names = tuple(f"model of {stage}: {model}" for model in models)
            if len(models) == 2:  # one error, which has two values
                columns = (columns - weights[1]) / np.sqrt(weights.prod())
                names, weights = (f"model of {stage}",), none
            found.append(_Factor(names=names, measurement="", columns=columns, weights=weights))
    return found


def _fitted(change: xr.DataArray, factors: Sequence[_Factor]) -> list[list[xr.DataArray]]:
    """Sizes [dB] of the spreads of each factor, and last of what is left over."""
    # Of floor frequencies, or states of mounts, the envelope.
    change = change.max([d for d in change.dims if d not in (CASE, *_LEAD)], skipna=False)
    change = change.transpose(CASE, *_LEAD)
    count = change.sizes[CASE]
    design = np.concatenate([np.ones((count, 1)), *(f.columns for f in factors)], axis=1)
    values = change.values.reshape(count, -1)
    slopes, _, rank, _ = np.linalg.lstsq(design, values)
    off = ((values - design @ slopes) ** 2).sum(axis=0) / max(count - int(rank), 1)

    def of(row: np.ndarray[Any, Any]) -> xr.DataArray:
        like = change.isel({CASE: 0}, drop=True)
        return like.copy(data=row.reshape(like.shape))

    found, begin = [], 1
    for factor in factors:
        own = slopes[begin : begin + factor.columns.shape[1]]
        begin += len(own)
        if factor.weights.size:
            each = np.concatenate([np.zeros_like(own[:1]), own])
            each = each - factor.weights @ each
            own = np.sqrt(factor.weights)[:, None] * each
        found.append([of(row) for row in own])
    return [*found, [of(np.sqrt(off))]]


def _largest(size: xr.DataArray) -> float:
    return float(abs(size).max())
