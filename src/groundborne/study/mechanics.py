"""Cases of the mechanics of a study: with values drawn of its distributions, and other models."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.citation import ValidityWarning
from groundborne.study.belonging import (
    CHECKSUM,
    DOUBTS,
    SEED_OF_CASES,
    doubts as study_doubts,
    study_checksum,
)
from groundborne.study.cases import require_count
from groundborne.study.files import read_drawn, read_study
from groundborne.study.model import Progress, silent
from groundborne.study.rated_samples import CASE
from groundborne.study.room_rating import CHANGES
from groundborne.study.uncertain_keys import SAMPLE
from groundborne.uncertainty import Alternative, Distribution, require_stages, shared_out

CASES = 8
"""Cases that a study with uncertain keys takes by itself."""

_STREAM = 3  # what a stream of numbers is for


@checked(nan=("changes",), infinite=("changes",))  # refused with their addresses
def sampled_mechanics(
    path: str | FilePath,
    *,
    changes: Mapping[str, Any] | None = None,
    uncertain: Mapping[str, Distribution] | None = None,
    alternatives: Sequence[Alternative] = (),
    cases: int = CASES,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """Level changes of a study with values drawn of its uncertain keys, and with other models.

    Parameters
    ----------
    path : str or Path
        Study file.
    changes, uncertain, alternatives
        As for :func:`~groundborne.study.read_study`, of the study that the cases are for.
    cases : int
        A power of two, 2 to 64.
    seed : int
        0 or more; the same seed gives the same cases.
    progress : callable
        Called as ``progress(stage, fraction)``.

    Returns
    -------
    xarray.Dataset
        On ``case``: ``level_change`` and, where floors are rated, ``floor_change`` (case, option,
        room, ..., frequency) [dB]; ``share`` of the distribution of each key (case, key);
        ``alternative``, the model of each stage in each case (case, modelled).

    Raises
    ------
    StudyError
        No key is uncertain and no stage has alternatives, another number of cases, values drawn
        that are not possible, or an alternative with so small a weight that no case is its own.

    Notes
    -----
    Shares are points of a scrambled Sobol' sequence, one dimension a key, in the order of their
    addresses, and one a stage. Cases go to alternatives by largest remainders, so that the share
    of each is its weight to within one case; those with the same models are evaluated at once, as
    samples. Loss factors that are drawn set how close frequencies lie inside bands, in all of them.

    References
    ----------
    ``scipy.stats.qmc``; Owen, scrambled nets [from memory].

    Examples
    --------
    >>> soil = Distribution(name="lognormal", coefficient_of_variation=0.2)
    >>> found = sampled_mechanics("tests/fuzz/small/lines/study.toml", cases=2,
    ...                           uncertain={"structure.foundation.shear_wave_speed_m_s": soil})
    >>> found.sizes["case"], found["key"].values.tolist()
    (2, ['structure.foundation.shear_wave_speed_m_s'])
    """
    from scipy.stats import qmc

    require_count(cases, "sampled_mechanics")
    if seed < 0:
        raise StudyError(f"sampled_mechanics: seed is {seed}; it must be 0 or more")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)  # told of the study as it is
        study = read_study(path, changes=changes, uncertain=uncertain, alternatives=alternatives)
        keys = sorted(one.key for one in study.uncertain)
        stages = require_stages(study.alternatives)
        if not keys and not stages:
            raise StudyError(
                "sampled_mechanics: no key of the study is uncertain, and no stage of it has "
                "alternatives; give [[uncertain]] or [[alternatives]] in its file, or the "
                "arguments of these names"
            )
        generator = np.random.default_rng([seed, _STREAM])
        points = qmc.Sobol(len(keys) + len(stages), scramble=True, rng=generator).random(cases)
        points = points.clip(2.0**-31, 1 - 2.0**-31)
        chosen = np.stack(
            [np.zeros(cases, int)]  # where no stage has alternatives
            + [shared_out(own, points[:, len(keys) + at])
               for at, own in enumerate(stages.values())],
            axis=1,
        )  # fmt: skip
        groups = np.unique(chosen, axis=0)
        found: dict[str, xr.DataArray] = {}
        for number, group in enumerate(groups):
            at = np.flatnonzero((chosen == group).all(axis=1))
            shares = {k: xr.DataArray(points[at, i], dims=SAMPLE) for i, k in enumerate(keys)}
            models = [own[m] for own, m in zip(stages.values(), group[1:], strict=True)]
            drawn = read_drawn(
                path, changes=changes, uncertain=uncertain, shares=shares, chosen=models
            )
            tell = _part(progress, number / len(groups), 1 / len(groups))
            _take(found, drawn.levels(band_levels=False, progress=tell), at, cases)
    data = dict(found)
    if keys:
        coords = {"key": keys}
        data["share"] = xr.DataArray(points[:, : len(keys)], dims=(CASE, "key"), coords=coords)
    if stages:
        names = [[own[m].name for own, m in zip(stages.values(), row[1:], strict=True)]
                 for row in chosen]  # fmt: skip
        data["alternative"] = xr.DataArray(
            names, dims=(CASE, "modelled"), coords={"modelled": list(stages)}
        )
    of = {
        CHECKSUM: study_checksum(study.described()), DOUBTS: study_doubts(study),
        SEED_OF_CASES: seed,
    }  # fmt: skip
    return xr.Dataset(data, attrs=of)


def _part(progress: Progress, begin: float, length: float) -> Progress:
    def tell(stage: str, done: float) -> None:
        progress(f"cases of the mechanics: {stage}", begin + length * done)

    return tell


def _take(
    found: dict[str, xr.DataArray], result: xr.Dataset, at: np.ndarray[Any, Any], cases: int
) -> None:
    """Level changes of some of the cases, into those of all."""
    for name, _, _, _ in CHANGES.values():
        if name not in result:
            continue
        change = result[name].reset_coords(drop=True).drop_attrs(deep=False)
        if "stage" in change.dims:
            change = change.sum("stage", skipna=False)
        if SAMPLE not in change.dims:  # what is drawn does not reach it
            change = change.expand_dims({SAMPLE: at.size})
        lead = (CASE, "option", "room", "frequency")
        change = change.rename({SAMPLE: CASE})
        change = change.squeeze([d for d in change.dims if d not in lead and change.sizes[d] == 1])
        change = change.transpose(*lead[:-1], ..., lead[-1])
        if name not in found:
            whole = np.full((cases, *change.shape[1:]), np.nan)
            found[name] = xr.DataArray(whole, dims=change.dims, coords=change.coords)
        own = found[name]
        one, other = (a.isel({CASE: 0}).sizes for a in (change, own))
        if dict(one) != dict(other):
            raise StudyError(
                f"sampled_mechanics: {name!r} of one alternative is on {dict(one)} and of another "
                f"on {dict(other)}; alternatives leave options, rooms and bands as they are, and "
                "have as many floor frequencies"
            )
        own.values[at] = change.values
