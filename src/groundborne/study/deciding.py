"""What decides how sure an answer is: errors by their source, and what measuring them would do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.study.model import Progress, StudyModel, silent
from groundborne.study.moved_ratings import (
    LEAD,
    TRAINS_NUMBER,
    MovedRatings,
    first_order,
    given_spreads,
)
from groundborne.study.sureness import SAMPLES, Sampler
from groundborne.uncertainty import BLOCK, Spread, sobol_indices

_BLOCKS = 2


@checked(nan=("result",), infinite=("result",))
def error_budget(
    study: StudyModel,
    result: xr.Dataset,
    *,
    spreads: Sequence[Spread] | None = None,
    mechanics: xr.Dataset | None = None,
    samples: int = SAMPLES,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """Standard deviation of every rating by each source of error, beside that of samples.

    Parameters
    ----------
    study : Study
        That was evaluated.
    result : Dataset
        From its evaluation.
    spreads : sequence of Spread, optional
        Sources of error; those of :func:`~groundborne.study.study_spreads` by default.
    mechanics : Dataset, optional
        Cases of the study, from :func:`~groundborne.study.mechanics.sampled_mechanics`; needed
        where keys of its file are uncertain or stages have alternatives. Each of these is then a
        source too.
    samples : int
        Number of samples; blocks of 1024 are drawn, and a part of one counts as a whole.
    seed : int
        0 or more.
    progress : callable
        Called as ``progress(stage, fraction)``.

    Returns
    -------
    xarray.Dataset
        ``budget`` on source_of_error, option, room and criterion: to first order [dB; NR of noise
        ratings], the last source being the number of trains. Beside it ``first_order``, the root
        of the sum of their squares, ``sampled``, the standard deviation of samples in which all
        err together, and ``slope`` of each rating by the level of each band [-]. NaN where a room
        has no such criterion.

    Raises
    ------
    StudyError
        No spread, or no sample; keys that are uncertain and no `mechanics`, or too few cases.

    Notes
    -----
    Slopes are central differences of the rating at the levels without errors, with steps of 0.001
    dB: of a sum of bands they are the energy shares, of a largest band 1 in it, of noise ratings
    the shares within the octave that governs over the step ``b`` of its curve. Bands that govern
    together within the step share the slope. Sampled and first-order numbers differ where errors
    are large: another band then governs, and the sum of bands bends. Uncertain keys move levels
    along straight lines over the normal score of their distribution, fitted through the cases; what
    cases differ from them by, and what so few cases misjudge of them, is a source of its own. The
    sampled number has the cases themselves.

    References
    ----------
    Law of propagation of uncertainty, JCGM 100:2008, 5.2 [from memory].

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> found = error_budget(study, study.evaluate(), samples=1024)
    >>> found["budget"].dims
    ('source_of_error', 'option', 'room', 'criterion')
    """
    if samples < 1:
        raise StudyError(f"error_budget: samples is {samples}; at least 1 is needed")
    levels, given = given_spreads("error_budget", study, result, spreads, mechanics)
    of = MovedRatings(study=study, result=result, spreads=given, seed=seed)
    found = first_order(of, given, of.slopes).assign(slope=of.slopes)
    sampler = Sampler(
        study=study, result=result, spreads=levels, seed=seed, mechanics=mechanics,
        reduced=spreads is None,
    )  # fmt: skip
    count = -(-samples // BLOCK)
    total, squares = 0.0, 0.0
    for number in range(count):
        # Of each block about nought first: deviations are small numbers in single precision.
        off: Any = sampler.deviations(number).astype(float)
        total, squares = total + off.sum(axis=0), squares + (off**2).sum(axis=0)
        progress("samples of errors", (number + 1) / count)
    size = count * BLOCK
    variance = (squares - np.asarray(total) ** 2 / size) / (size - 1)
    sampled = xr.DataArray(
        np.sqrt(np.maximum(variance, 0.0)), dims=LEAD, coords={d: result[d].values for d in LEAD}
    )
    applies = result["applies"].reset_coords(drop=True)
    found = found.assign(sampled=sampled).where(applies)
    units = result["margin_unit"].reset_coords(drop=True)
    return found.assign_coords(margin_unit=units).assign_attrs(samples_of_errors=size, seed=seed)


@checked(nan=("result",), infinite=("result",))
def deciding_sources(
    study: StudyModel,
    result: xr.Dataset,
    *,
    options: Sequence[str] | None = None,
    spreads: Sequence[Spread] | None = None,
    mechanics: xr.Dataset | None = None,
    samples: int = 8 * BLOCK,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """Sobol' indices of every rating: the share of its variance that each source of error makes.

    Parameters
    ----------
    study, result, spreads, mechanics, seed, progress
        As for :func:`error_budget`.
    options : sequence of str, optional
        Only of these options.
    samples : int
        As for :func:`error_budget`, of each of the sources and two more; at least 2 blocks.

    Returns
    -------
    xarray.Dataset
        ``first_order`` and ``total_order`` with their standard errors, on source_of_error, option,
        room and criterion: what a source makes by itself, and with all others; the number of
        trains is the last source. NaN where a room has no such criterion.

    Raises
    ------
    StudyError
        No spread, an unknown option, or fewer than two blocks of samples; keys that are uncertain
        and no `mechanics`, or too few cases.

    Notes
    -----
    Each source is one factor with all its bands and places: a first-order index near 1 decides by
    itself. What the number of trains leaves open is added to a rating, so that its indices, which
    are the same of both orders, are exact but for the variance of the rest.

    References
    ----------
    As for :func:`~groundborne.uncertainty.sobol_indices`.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> found = deciding_sources(study, study.evaluate(), samples=2048)
    >>> bool((abs(found["first_order"].sum("source_of_error") - 1) < 1).any())
    True
    """
    count = -(-samples // BLOCK)
    if count < _BLOCKS:
        raise StudyError(
            f"deciding_sources: samples is {samples}, which is {count} block of {BLOCK}; the error "
            f"of an index needs {_BLOCKS * BLOCK} at least"
        )
    _, given = given_spreads("deciding_sources", study, result, spreads, mechanics)
    if options is not None:
        result = _only(result, options)
        given = tuple(_of_options(s, list(options)) for s in given)
    of = MovedRatings(study=study, result=result, spreads=given, seed=seed)

    def pairs() -> Any:
        for number in range(count):
            progress("samples of errors", number / count)
            yield of.draws.block(number), of.draws.block(number, stream=1)

    found = sobol_indices(of.deviations, pairs()).rename(factor="source_of_error")
    # The number of trains is independent of the levels and added to the rating.
    trains = of.trains_spread
    variance = found["variance"]
    found = found.drop_vars("variance")
    whole = variance + trains**2
    share = (variance / whole).where(whole > 0, 0.0)
    own = (trains**2 / whole).where(whole > 0, 0.0).expand_dims(source_of_error=[TRAINS_NUMBER])
    data = {}
    for name, array in found.data_vars.items():
        last = xr.zeros_like(own) if str(name).endswith("_error") else own
        data[name] = xr.concat([array * share, last], dim="source_of_error", join="exact")
    applies = result["applies"].reset_coords(drop=True)
    indices = xr.Dataset(data).transpose("source_of_error", *LEAD).where(applies)
    return indices.assign_attrs(samples_of_errors=count * BLOCK, seed=seed)


def _only(result: xr.Dataset, options: Sequence[str]) -> xr.Dataset:
    known_options = result["option"].values.tolist()
    for name in options:
        if name not in known_options:
            listed = ", ".join(map(repr, known_options))
            raise StudyError(f"deciding_sources: option is {name!r}; known are {listed}")
    return result.sel(option=list(options))


def _of_options(spread: Spread, options: list[str]) -> Spread:
    found = [
        size.sel(option=options) if "option" in size.dims else size
        for size in (spread.of("sound pressure"), spread.of("velocity"))
    ]
    return replace(spread, of_sound=found[0], of_floor=found[1])
