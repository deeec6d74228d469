"""What decides how sure an answer is: errors by their source, and what measuring them would do."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.levels import decibel
from groundborne.rating.answers import Answer
from groundborne.study.model import Progress, StudyModel, silent
from groundborne.study.rated_samples import Rated
from groundborne.study.room_rating import worst
from groundborne.study.spreads import study_spreads
from groundborne.study.sureness import SAMPLES, Sampler
from groundborne.uncertainty import BLOCK, Draws, Spread, budget, sobol_indices

TRAINS_NUMBER = "number of trains"
"""Source of error of ratings beside the spreads of levels: only so many trains were recorded."""

_LEAD = ("option", "room", "criterion")
_STEP = 1e-3  # dB; the third derivative of a sum of bands leaves 1e-8 of a slope


@checked(nan=("result",), infinite=("result",))
def error_budget(
    study: StudyModel,
    result: xr.Dataset,
    *,
    spreads: Sequence[Spread] | None = None,
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
        No spread, or no sample.

    Notes
    -----
    Slopes are central differences of the rating at the levels without errors, with steps of 0.001
    dB: of a sum of bands they are the energy shares, of a largest band 1 in it, of noise ratings
    the shares within the octave that governs over the step ``b`` of its curve. Bands that govern
    together within the step share the slope. Sampled and first-order numbers differ where errors
    are large: another band then governs, and the sum of bands bends.

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
    given = _given("error_budget", study, spreads)
    of = _Ratings(study=study, result=result, spreads=given, seed=seed)
    found = _first_order(of, given, of.slopes).assign(slope=of.slopes)
    sampler = Sampler(study=study, result=result, spreads=given, seed=seed)
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
        np.sqrt(np.maximum(variance, 0.0)), dims=_LEAD, coords={d: result[d].values for d in _LEAD}
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
    samples: int = 8 * BLOCK,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """Sobol' indices of every rating: the share of its variance that each source of error makes.

    Parameters
    ----------
    study, result, spreads, seed, progress
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
        No spread, an unknown option, or fewer than two blocks of samples.

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
    given = _given("deciding_sources", study, spreads)
    if options is not None:
        result = _only(result, options)
        given = tuple(_of_options(s, list(options)) for s in given)
    of = _Ratings(study=study, result=result, spreads=given, seed=seed)

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
    indices = xr.Dataset(data).transpose("source_of_error", *_LEAD).where(applies)
    return indices.assign_attrs(samples_of_errors=count * BLOCK, seed=seed)


@checked(nan=("sure",), infinite=("sure",))
def best_measurements(
    study: StudyModel, sure: xr.Dataset, *, spreads: Sequence[Spread] | None = None
) -> xr.Dataset:
    """What each measurement would do to the interval of every margin, and which would do most.

    Parameters
    ----------
    study : Study
        That was evaluated.
    sure : Dataset
        From :func:`~groundborne.study.how_sure`, with the same spreads.
    spreads : sequence of Spread, optional
        Sources of error; those of :func:`~groundborne.study.study_spreads` by default.

    Returns
    -------
    xarray.Dataset
        On measurement, option, room and criterion: ``reduction``, by how much the interval of the
        margin becomes narrower [dB, or NR]; ``probability_met`` and ``probability_not_met``, that
        the answer is then met, or not met. ``best`` on option, room and criterion is the
        measurement with the largest reduction where the answer is within the uncertainty, and empty
        elsewhere, and where none reduces it. NaN where a room has no such criterion.

    Raises
    ------
    StudyError
        A result that does not say how sure it is, or spreads of which nothing can be measured.

    Notes
    -----
    To first order: a measurement puts ``measured_to`` in place of the standard deviation of every
    error that names it, where that is less, and changes no other. What it will find is not known
    before; by what is known now the margin lies as a normal variable about its median, and the
    part of its variance that is measured tells where it will be found. Bands that are missing, and
    what else an answer needs, are left out.

    References
    ----------
    Preposterior analysis of a normal variable; derived.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> sure = gb.study.how_sure(study, study.evaluate(), samples=1024)
    >>> best_measurements(study, sure)["measurement"].values.tolist()[0]
    'trains on the foundation'
    """
    where = "best_measurements"
    for name in ("rating_median", "margin_low", "margin_high"):
        if name not in sure:
            raise StudyError(
                f"{where}: the result does not hold {name!r}; give what how_sure makes of it"
            )
    given = _given(where, study, spreads)
    names = list(dict.fromkeys(s.measurement for s in given if s.measurement))
    if not names:
        listed = ", ".join(repr(s.name) for s in given)
        raise StudyError(f"{where}: none of the spreads {listed} names a measurement; one must")
    of = _Ratings(study=study, result=sure, spreads=given, seed=0)
    now = _first_order(of, given, of.slopes)["first_order"]
    left = xr.concat(
        [_first_order(of, [_measured(s, n) for s in given], of.slopes)["first_order"]
         for n in names],
        dim=xr.Variable("measurement", names), join="exact",
    )  # fmt: skip
    point = _normal_point(float(sure.attrs["probability_asked"]))
    applies = sure["applies"].reset_coords(drop=True)
    off = _difference(sure["rating_median"], sure["rating"], sure["ratio"])
    median = (sure["margin"].where(applies, 0.0) - off.where(applies, 0.0)).reset_coords(drop=True)
    told = np.sqrt((now**2 - left**2).clip(min=0.0))
    found = xr.Dataset(
        {
            "reduction": 2 * point * (now - left),
            "probability_met": _exceeds(median - point * left, told),
            "probability_not_met": _exceeds(-median - point * left, told),
        }
    ).where(applies)
    found = found.transpose("measurement", *_LEAD).reset_coords(drop=True)
    open_ = (sure["answer"] == Answer.WITHIN.value).reset_coords(drop=True)
    most = found["reduction"].fillna(0.0)
    at = most.argmax("measurement")
    named = at.copy(data=np.array(names)[at.values])
    best = xr.where(open_ & (most.max("measurement") > _SLIGHT), named, "")
    units = sure["margin_unit"].reset_coords(drop=True)
    return found.assign(best=best.transpose(*_LEAD)).assign_coords(margin_unit=units)


_BLOCKS = 2
_SLIGHT = 1e-6  # dB


@dataclass(frozen=True, kw_only=True, eq=False)
class _Ratings:
    """Ratings of a result that errors move, and their slopes, without the number of trains."""

    study: StudyModel
    result: xr.Dataset
    spreads: tuple[Spread, ...]
    seed: int

    @cached_property
    def rated(self) -> dict[str, Rated]:
        named = {c.label: c for cs in self.study.room_criteria.values() for c in cs}
        return {
            str(n): Rated.of(self.result, named[str(n)], self.study.periods)
            for n in self.result["criterion"].values
        }

    @cached_property
    def draws(self) -> Draws:
        """Not of low discrepancy: twice the samples are needed that owe nothing to each other."""
        return Draws(
            spreads=self.spreads, frequency=self.result["frequency"], rooms=self.result,
            seed=self.seed, method="random",
        )  # fmt: skip

    @cached_property
    def trains_spread(self) -> xr.DataArray:
        rows = np.stack([r.trains_spread for r in self.rated.values()], axis=-1).astype(float)
        return xr.DataArray(
            rows, dims=_LEAD, coords={d: self.result[d].values for d in _LEAD}
        )

    @cached_property
    def slopes(self) -> xr.DataArray:
        """Of ratings by the level of each band [-]: option, room, criterion, frequency."""
        rows = []
        for rated in self.rated.values():
            level = rated.level
            labels = level["frequency"].values
            step = xr.DataArray(
                _STEP * np.eye(labels.size), dims=("band", "frequency"),
                coords={"frequency": labels},
            )  # fmt: skip
            up, down = (_number(rated, level + sign * step) for sign in (1.0, -1.0))
            slope = ((up - down) / (2 * _STEP)).rename(band="frequency")
            rows.append(slope.assign_coords(frequency=labels).reset_coords(drop=True))
        joined = xr.concat(rows, dim=xr.Variable("criterion", list(self.rated)), join="exact")
        return joined.transpose(*_LEAD, "frequency")

    def deviations(self, drawn: Mapping[str, xr.DataArray]) -> xr.DataArray:
        """Ratings with errors less those without: sample, option, room, criterion [dB, or NR]."""
        by_quantity: dict[str, xr.DataArray] = {}
        columns = []
        for rated in self.rated.values():
            quantity = rated.criterion.of.quantity
            if quantity not in by_quantity:
                by_quantity[quantity] = self._errors(drawn, quantity)
            level = rated.level.astype(np.float32)
            moved = _number(rated, level + by_quantity[quantity]) - _number(rated, level)
            columns.append(moved.reset_coords(drop=True))
        joined = xr.concat(columns, dim=xr.Variable("criterion", list(self.rated)), join="exact")
        return joined.transpose("sample", *_LEAD)

    def _errors(self, drawn: Mapping[str, xr.DataArray], quantity: str) -> xr.DataArray:
        labels = {d: self.result[d].values for d in ("option", "room")}
        total = xr.DataArray(
            np.zeros([len(v) for v in labels.values()], np.float32),
            dims=tuple(labels), coords=labels,
        )  # fmt: skip
        for spread in self.spreads:
            size = spread.of(quantity).astype(np.float32)
            total = total + size * drawn[spread.name].astype(np.float32)
        return total


def _given(
    where: str, study: StudyModel, spreads: Sequence[Spread] | None
) -> tuple[Spread, ...]:
    given = study_spreads(study) if spreads is None else list(spreads)
    if not given:
        raise StudyError(f"{where}: spreads is empty; at least one is needed")
    return tuple(given)


def _number(rated: Rated, level: xr.DataArray) -> xr.DataArray:
    """Rating of levels in rooms, of amplitudes as a level, so that margins move as it does."""
    of = rated.criterion.of
    nought = xr.zeros_like(level["frequency"], dtype=level.dtype).drop_attrs(deep=False)
    value = worst(of.value(of.rule.rating(level, nought), rated.hours))
    return 2 * decibel(value) if of.scale.ratio else value


def _first_order(of: _Ratings, spreads: Sequence[Spread], slopes: xr.DataArray) -> xr.Dataset:
    """Budget by source, the number of trains last, and their sum."""
    columns = []
    for label, rated in of.rated.items():
        slope = slopes.sel(criterion=label, drop=True)
        columns.append(budget(spreads, share=slope, quantity=rated.criterion.of.quantity))
    by_source = xr.concat(
        columns, dim=xr.Variable("criterion", list(of.rated)), join="exact", coords="minimal"
    )
    trains = of.trains_spread.expand_dims(source_of_error=[TRAINS_NUMBER])
    both = xr.concat([by_source, trains], dim="source_of_error", join="exact")
    both = both.transpose("source_of_error", *_LEAD)
    both.attrs = {"long_name": "standard deviation by source of error, first order"}
    return xr.Dataset({"budget": both, "first_order": np.sqrt((both**2).sum("source_of_error"))})


def _measured(spread: Spread, measurement: str) -> Spread:
    """What is left of an error after a measurement."""
    if spread.measurement != measurement:
        return spread
    of: Callable[[Any], Any] = lambda size: xr.DataArray(size).clip(max=spread.measured_to)  # noqa: E731
    return replace(spread, of_sound=of(spread.of_sound), of_floor=of(spread.of_floor))


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


def _difference(value: xr.DataArray, other: xr.DataArray, ratio: xr.DataArray) -> xr.DataArray:
    """By how much a rating lies above another, as margins move [dB, or NR]."""
    of_ratio = 2 * decibel(value.where(ratio, 1.0) / other.where(ratio, 1.0))
    return xr.where(ratio.astype(bool), of_ratio, value - other)


def _normal_point(probability: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(probability))


def _exceeds(mean: xr.DataArray, deviation: xr.DataArray) -> xr.DataArray:
    """Probability that a normal variable is not negative; certain where it does not vary."""
    from scipy.special import ndtr

    certain = xr.where(mean >= 0, 1.0, 0.0)
    varies = deviation > _SLIGHT
    return xr.where(varies, xr.apply_ufunc(ndtr, mean / deviation.where(varies, 1.0)), certain)
