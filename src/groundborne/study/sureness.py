"""How sure the answers of a study are: samples of its errors, rated like the levels themselves."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.levels import decibel
from groundborne.rating import Criterion
from groundborne.study.assessment import decide
from groundborne.study.belonging import CASES, DOUBTS, SEED_OF_CASES, cases_checksum, in_words
from groundborne.study.cases import level_spreads
from groundborne.study.key_spreads import without_cases
from groundborne.study.model import Progress, StudyModel, silent
from groundborne.study.rated_samples import CASE, Rated
from groundborne.study.room_rating import CHANGES
from groundborne.study.sample_blocks import Block, Errors, Kernel
from groundborne.uncertainty import BLOCK, Draws, Spread
from groundborne.uncertainty.draws import Normals

SAMPLES = 8 * BLOCK
"""Samples that a study takes by itself: probabilities to about half a percent."""

PROBABILITY = 0.9
"""Probability from which a criterion counts as met, and 1 less it as not met; common practice."""

Mapper = Callable[[Callable[[range], Block], Iterable[range]], Iterable[Block]]
"""Works runs of blocks out one after another, side by side, or elsewhere; in any order."""

_CHECKED = 64  # samples in which every train is rated by itself
_RUN, _RUNS = 16, 8  # blocks that go together at most, and runs that there are at least
_THREADS = 4  # at most: each holds a block


@checked
def how_sure(
    study: StudyModel,
    result: xr.Dataset,
    *,
    spreads: Sequence[Spread] | None = None,
    mechanics: xr.Dataset | None = None,
    samples: int = SAMPLES,
    probability: float = PROBABILITY,
    seed: int = 1,
    progress: Progress = silent,
    mapper: Mapper | None = None,
) -> xr.Dataset:
    """The answers of a result as what is known lets them be given.

    Parameters
    ----------
    study : Study
        That was evaluated.
    result : Dataset
        From its evaluation.
    spreads : sequence of Spread, optional
        Sources of error, taken as they are; by default those of
        :func:`~groundborne.study.study_spreads`, less what cases of the mechanics vary by.
    mechanics : Dataset, optional
        Cases of the mechanics of the study, from
        :func:`~groundborne.study.mechanics.sampled_mechanics`; needed where keys of its file are
        uncertain or stages have alternatives.
    samples : int
        Number of samples; blocks of 1024 are drawn, and a part of one counts as a whole.
    probability : float
        From which a criterion counts as met, above 0.5 and below 1.
    seed : int
        0 or more; the same seed gives the same numbers.
    progress : callable
        Called as ``progress(stage, fraction)``.
    mapper : callable, optional
        Works out blocks, in a few threads by default: ``map`` does the same one after another, that
        of an executor of processes elsewhere, with the same numbers.

    Returns
    -------
    xarray.Dataset
        The result with ``answer`` by probability, and: ``probability`` of meeting each criterion
        (option, room, criterion; 1 where a room has no such criterion), ``probability_room`` of
        meeting all of a room (option, room), ``probability_all`` of all rooms (option), each with
        ``..._error``, its standard error, and with `mechanics` ``..._error_of_cases``, what of that
        comes of the number of cases; ``rating_low`` and ``rating_high``, ``margin_low`` and
        ``margin_high``: ends of the interval that leaves 1 less `probability` on each side;
        ``rating_median``, ``margin_median``; ``gain_low``, ``gain_median`` and ``gain_high``, the
        same of what an option gains over the first one [dB, or NR]; ``trains_spread``, standard
        deviation of each rating by the number of trains.

    Raises
    ------
    StudyError
        Too few samples for the probability: fewer than ten in its tail; keys that are uncertain
        and no `mechanics`, or those of another study.

    Notes
    -----
    Levels are medians. Errors in decibels are added to the levels of bands and rated as they are;
    the trains of a criterion are summed up before that into one spectrum for each room and option,
    those near the statistic, and ``train_summary_error`` says what that costs [dB, or NR] on
    samples in which every train is rated by itself. What the number of trains leaves open is added
    to the rating.

    Mechanics are sampled more sparsely than errors of levels: within every block, each case is that
    of a run of as many samples, which are low-discrepancy points by themselves. Its levels stand in
    place of those of the study, so that peaks move and are not widened. What statistics tell of the
    spread of a stage holds what the frequencies, losses and soils of that stage differ by in
    buildings; therefore what each key makes levels vary by over the cases, to first order, is taken
    off the variance of the stage that it belongs to, band by band and alike in options that share
    it, down to the square of ``spreads.MEASURED``. By how much alternatives differ from each other
    is not taken off: each model has its own deviation from buildings, and which of them holds is
    not known beside that. The error of a probability by the number
    of cases is its scatter between cases over their square root.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:2])
    >>> sure = how_sure(study, study.evaluate(), samples=1024)
    >>> bool((sure["probability"].max() <= 1).all())
    True
    """
    if not 0.5 < probability < 1:
        raise StudyError(f"how_sure: probability is {probability:g}; above 0.5 and below 1 is")
    tail = samples * (1 - probability)
    if tail < _TAIL:
        raise StudyError(
            f"how_sure: samples is {samples}, which leaves {tail:.3g} in the tail of a probability "
            f"of {probability:g}; "
            f"{np.ceil(_TAIL / (1 - probability) - 1e-6):.0f} are needed at least"
        )
    sampler = Sampler(
        study=study, result=result, seed=seed, mechanics=mechanics, reduced=spreads is None,
        spreads=level_spreads("how_sure", study, result, spreads, mechanics),
    )  # fmt: skip
    count = -(-samples // BLOCK)
    kernel = sampler.kernel.without_rooms()  # what cannot be drawn is refused here
    step = min(_RUN, max(1, count // _RUNS))
    runs = [range(at, min(at + step, count)) for at in range(0, count, step)]

    def counted(work: Mapper) -> Block:
        total: Block | None = None
        for block in work(kernel.blocks, runs):
            total = block if total is None else total.taking(block)
            progress("samples of errors", total.blocks / count)
        if total is None or total.blocks != count:
            raise StudyError(
                f"how_sure: the mapper gave {0 if total is None else total.blocks} blocks of "
                f"samples for {count} that it was asked for; it must give each run once"
            )
        return total

    if mapper is not None:  # no thread lives beside it: it may begin processes
        total = counted(mapper)
        one_by_one = [sampler.summary_error(label) for label in sampler.criteria]
        return sampler.answered(result, total, probability, one_by_one)
    with _threads() as pool:
        summed_up = pool.map(sampler.summary_error, sampler.criteria)
        return sampler.answered(result, counted(pool.map), probability, list(summed_up))


@contextmanager
def _threads() -> Iterator[ThreadPoolExecutor]:
    """A few threads, which begin nothing more once the work is left."""
    pool = ThreadPoolExecutor(min(_THREADS, os.cpu_count() or 1))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


_TAIL = 10
_MANY = 16  # blocks whose scatter tells the error of their mean


@dataclass(frozen=True, kw_only=True, eq=False)
class Sampler:
    """Rates blocks of samples of a study.

    Parameters
    ----------
    study : Study
        With its criteria.
    result : Dataset
        Of its evaluation.
    spreads : tuple of Spread
        Sources of error.
    seed : int
        Of all draws.
    mechanics : Dataset, optional
        Cases of the mechanics.
    reduced : bool
        Whether the variance over the cases is taken off that of the errors.
    """

    study: StudyModel
    result: xr.Dataset
    spreads: tuple[Spread, ...]
    seed: int
    mechanics: xr.Dataset | None = None
    reduced: bool = True

    @cached_property
    def criteria(self) -> dict[str, Criterion]:
        """By label, in the order of the result."""
        found = {c.label: c for cs in self.study.room_criteria.values() for c in cs}
        return {str(n): found[str(n)] for n in self.result["criterion"].values}

    @cached_property
    def draws(self) -> Draws:
        """Errors by block."""
        return Draws(
            spreads=self.spreads, frequency=self.result["frequency"], rooms=self.result,
            seed=self.seed,
        )  # fmt: skip

    @cached_property
    def rated(self) -> dict[str, Rated]:
        """What each criterion is rated of, of the study as it is."""
        return {n: Rated.of(self.result, c, self.study.periods) for n, c in self.criteria.items()}

    @property
    def cases(self) -> int:
        """Of the mechanics."""
        return 1 if self.mechanics is None else self.mechanics.sizes[CASE]

    def _of_cases(self, name: str) -> Rated:
        """What a criterion is rated of, in the cases of the mechanics."""
        rated = self.rated[name]
        if self.mechanics is None:
            return rated
        change = self.mechanics[CHANGES[rated.criterion.of.quantity][0]]
        lead = ("option", "room")
        return replace(rated, change=change.transpose(*lead, ..., "frequency"), as_it_is=rated)

    @cached_property
    def kernel(self) -> Kernel:
        """What draws and rates blocks."""
        errors: dict[str, Errors] = {}
        each = []
        for name, rated in self.rated.items():
            quantity = rated.criterion.of.quantity
            if quantity not in errors:
                errors[quantity] = Errors.of(self._left(quantity), quantity, self.result)
            of_cases = self._of_cases(name)
            each.append((quantity, of_cases.as_sums() or of_cases))
        whole = ("option", "room", "criterion")
        return Kernel(
            draws=self.draws,
            errors=errors,
            rated=tuple(each),
            trains_spread=self._trains_spread,
            margin=self.result["margin"].transpose(*whole).values,
            applies=self.result["applies"].transpose("room", "criterion").values,
            cases=self.cases,
        )

    def _left(self, quantity: str) -> Sequence[Spread]:
        """Spreads less what the cases of the mechanics vary by."""
        if self.mechanics is None or not self.reduced:
            return self.spreads
        return without_cases(self.spreads, self.mechanics, quantity)

    def deviations(self, number: int, *, stream: int = 0) -> np.ndarray[Any, Any]:
        """Ratings of a block less those without errors: sample, option, room, criterion [dB]."""
        return np.moveaxis(self.kernel.deviations(number, stream=stream), -1, 0)

    @cached_property
    def _trains_spread(self) -> np.ndarray[Any, Any]:
        with _threads() as pool:
            each = list(pool.map(lambda rated: rated.trains_spread, self.rated.values()))
        return np.stack(each, axis=-1)

    def summary_error(self, name: str) -> float:
        """What summing up the trains costs a criterion [dB, or NR]."""
        kernel, rated = self.kernel, self.rated[name]
        errors = kernel.errors[rated.criterion.of.quantity]
        return rated.summary_error(partial(kernel.drawn, self._few_normals, errors))

    @cached_property
    def _few_normals(self) -> list[Normals]:
        few = slice(None, None, BLOCK // _CHECKED)
        return [n._replace(values=n.values[:, few].copy()) for n in self.draws.normals(0)]

    def answered(
        self, result: xr.Dataset, total: Block, probability: float, summed_up: Sequence[float]
    ) -> xr.Dataset:
        """The result with what the counts say."""
        dims = ("option", "room", "criterion")
        count, samples = total.blocks, total.blocks * BLOCK

        def of(values: np.ndarray[Any, Any]) -> xr.DataArray:
            names = dims[: values.ndim]
            return xr.DataArray(values, dims=names, coords={n: result[n].values for n in names})

        data: dict[str, xr.DataArray] = {}
        for name, met, squares in zip(
            ("probability", "probability_room", "probability_all"),
            total.met,
            total.squares,
            strict=True,
        ):
            share = met.sum(axis=0) / samples
            between = np.maximum(squares / count / BLOCK**2 - share**2, 0.0) / max(count - 1, 1)
            plain = share * (1 - share) / samples
            # The scatter of few blocks says little, and none where all samples agree.
            least = np.maximum(np.sqrt(plain) if count < _MANY else 0.0, 1 / samples)
            error = np.maximum(np.sqrt(between), least)
            data[name] = of(share)
            if self.mechanics is not None:
                of_case = met * (self.cases / samples)
                scatter = of_case.std(axis=0, ddof=1 if self.cases > 1 else 0)
                by_cases = scatter / np.sqrt(self.cases)
                data[f"{name}_error_of_cases"] = of(by_cases)
                error = np.hypot(error, by_cases)
            data[f"{name}_error"] = of(error)
        ends = {"low": 1 - probability, "median": 0.5, "high": probability}
        applies = result["applies"]
        for end, off in zip(ends, total.tally.quantiles(list(ends.values())), strict=True):
            moved = of(off)
            data[f"rating_{end}"] = self._moved(moved)
            opposite = {"low": "high", "high": "low"}.get(end, end)
            data[f"margin_{opposite}"] = (result["margin"] - moved).where(applies, np.inf)
        held = result["margin_one_stage"]
        data["margin_one_stage_low"] = held - (result["margin"] - data["margin_low"]).where(
            applies, 0.0
        )
        first = result["rating"].isel(option=0, drop=True)
        ratio = result["ratio"].astype(bool)
        gained = xr.where(
            ratio,
            2 * decibel((first / result["rating"]).where(ratio, 1.0)),
            first - result["rating"],
        )
        better = total.better.quantiles([1 - p for p in ends.values()])
        for end, off in zip(ends, better, strict=True):
            less = of(np.concatenate([np.zeros((1, *off.shape[1:])), off]))
            data[f"gain_{end}"] = (gained - less).transpose(*dims)
        data["train_summary_error"] = xr.DataArray(
            list(summed_up), coords={"criterion": list(self.rated)}, dims="criterion"
        )
        data["trains_spread"] = of(self._trains_spread)
        data["probability"] = data["probability"].where(applies, 1.0)
        found = result.assign(data).assign_attrs(
            samples_of_errors=samples, probability_asked=probability, seed=self.seed,
            sources_of_error=", ".join(s.name for s in self.spreads),
            spreads=json.dumps([s.in_words() for s in self.spreads], ensure_ascii=False),
            cases_of_mechanics=self.cases,
            doubts=json.dumps(in_words(self.study, self.mechanics), ensure_ascii=False),
        )  # fmt: skip
        if self.mechanics is not None:
            told = {n: self.mechanics.attrs[n] for n in (DOUBTS, SEED_OF_CASES)
                    if n in self.mechanics.attrs}  # fmt: skip
            found = found.assign_attrs({CASES: cases_checksum(self.mechanics), **told})
        return decide(found)

    def _moved(self, deviation: xr.DataArray) -> xr.DataArray:
        """Ratings that lie off by a deviation."""
        ratio = self.result["ratio"].astype(bool)
        rating = self.result["rating"]
        moved: xr.DataArray = xr.where(ratio, rating * 10 ** (deviation / 20), rating + deviation)
        return moved.transpose("option", "room", "criterion")
