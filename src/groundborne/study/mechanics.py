"""Cases of the mechanics of a study: it is evaluated with values drawn of its distributions."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.citation import ValidityWarning
from groundborne.study.cases import require_count
from groundborne.study.files import read_drawn, read_study
from groundborne.study.model import Progress, silent
from groundborne.study.rated_samples import CASE
from groundborne.study.room_rating import CHANGES
from groundborne.study.uncertain_keys import SAMPLE
from groundborne.uncertainty import Distribution

CASES = 8
"""Cases that a study with uncertain keys takes by itself."""

_STREAM = 3  # what a stream of numbers is for


@checked(nan=("changes",), infinite=("changes",))  # refused with their addresses
def sampled_mechanics(
    path: str | FilePath,
    *,
    changes: Mapping[str, Any] | None = None,
    uncertain: Mapping[str, Distribution] | None = None,
    cases: int = CASES,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """Level changes of a study with values drawn of its uncertain keys.

    Parameters
    ----------
    path : str or Path
        Study file.
    changes, uncertain : mapping, optional
        As for :func:`~groundborne.study.read_study`, of the study that the cases are for.
    cases : int
        A power of two, 1 to 64.
    seed : int
        0 or more; the same seed gives the same cases.
    progress : callable
        Called as ``progress(stage, fraction)``.

    Returns
    -------
    xarray.Dataset
        On ``case``: ``level_change`` and, where floors are rated, ``floor_change`` (case, option,
        room, ..., frequency) [dB]; ``share`` of the distribution of each key (case, key).

    Raises
    ------
    StudyError
        No key is uncertain, another number of cases, values drawn that are not possible.

    Notes
    -----
    Shares are points of a scrambled Sobol' sequence, one dimension a key, in the order of their
    addresses. All cases are evaluated at once, as samples; loss factors that are drawn set how
    close frequencies lie inside bands, in all of them.

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
        study = read_study(path, changes=changes, uncertain=uncertain)
        keys = sorted(one.key for one in study.uncertain)
        if not keys:
            raise StudyError(
                "sampled_mechanics: no key of the study is uncertain; give [[uncertain]] in its "
                "file, or the argument 'uncertain'"
            )
        generator = np.random.default_rng([seed, _STREAM])
        points = qmc.Sobol(len(keys), scramble=True, rng=generator).random(cases)
        points = points.clip(2.0**-31, 1 - 2.0**-31)
        shares = {k: xr.DataArray(points[:, at], dims=SAMPLE) for at, k in enumerate(keys)}
        drawn = read_drawn(path, changes=changes, uncertain=uncertain, shares=shares)
        progress("cases of the mechanics", 0.1)

        def tell(stage: str, done: float) -> None:
            progress(f"cases of the mechanics: {stage}", 0.1 + 0.9 * done)

        result = drawn.evaluate(band_levels=False, progress=tell)
    found = {"share": xr.DataArray(points, dims=(CASE, "key"), coords={"key": keys})}
    for name, _, _, _ in CHANGES.values():
        if name in result:
            change = result[name].reset_coords(drop=True).drop_attrs(deep=False)
            if "stage" in change.dims:
                change = change.sum("stage", skipna=False)
            if SAMPLE not in change.dims:  # what is drawn does not reach it
                change = change.expand_dims({SAMPLE: cases})
            found[name] = change.rename({SAMPLE: CASE}).transpose(CASE, "option", "room", ...)
    return xr.Dataset(found)
