"""How sure the answers of a study are: samples of its errors, rated like the levels themselves."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.levels import decibel
from groundborne.rating import Criterion
from groundborne.study.assessment import decide
from groundborne.study.model import Progress, StudyModel, silent
from groundborne.study.rated_samples import Rated
from groundborne.study.spreads import study_spreads
from groundborne.uncertainty import BLOCK, Draws, Spread, Tally

SAMPLES = 8 * BLOCK
"""Samples that a study takes by itself: probabilities to about half a percent."""

PROBABILITY = 0.9
"""Probability from which a criterion counts as met, and 1 less it as not met; common practice."""

Mapper = Callable[[Callable[[int], "Block"], Iterable[int]], Iterable["Block"]]
"""Works blocks out one after another, side by side, or elsewhere; in any order."""

_TRAINS = 2  # stream of what the number of trains leaves open


@dataclass(frozen=True, eq=False)
class Block:
    """Counts of one block of samples.

    Parameters
    ----------
    tally : Tally
        Deviations of ratings, on option, room, criterion.
    met : ndarray of int
        Samples that meet each criterion, likewise.
    rooms_met, all_met : ndarray of int
        Samples that meet all criteria of each room, on option and room, and of all rooms, on
        option.
    better : Tally
        Deviations of every option less those of the first.
    """

    tally: Tally
    met: np.ndarray[Any, Any]
    rooms_met: np.ndarray[Any, Any]
    all_met: np.ndarray[Any, Any]
    better: Tally

    def __add__(self, other: Block) -> Block:
        """Both blocks together."""
        return Block(
            self.tally + other.tally,
            self.met + other.met,
            self.rooms_met + other.rooms_met,
            self.all_met + other.all_met,
            self.better + other.better,
        )


@checked
def how_sure(
    study: StudyModel,
    result: xr.Dataset,
    *,
    spreads: Sequence[Spread] | None = None,
    samples: int = SAMPLES,
    probability: float = PROBABILITY,
    seed: int = 1,
    progress: Progress = silent,
    mapper: Mapper = map,
) -> xr.Dataset:
    """The answers of a result as what is known lets them be given.

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
    probability : float
        From which a criterion counts as met, above 0.5 and below 1.
    seed : int
        0 or more; the same seed gives the same numbers.
    progress : callable
        Called as ``progress(stage, fraction)``.
    mapper : callable
        Works out blocks, ``map`` by default: that of an executor of threads or processes does the
        same side by side, with the same numbers.

    Returns
    -------
    xarray.Dataset
        The result with ``answer`` by probability, and: ``probability`` of meeting each criterion
        (option, room, criterion; 1 where a room has no such criterion), ``probability_room`` of
        meeting all of a room (option, room), ``probability_all`` of all rooms (option), each with
        ``..._error``, its standard error; ``rating_low`` and ``rating_high``, ``margin_low`` and
        ``margin_high``: ends of the interval that leaves 1 less `probability` on each side;
        ``rating_median``, ``margin_median``; ``gain_low``, ``gain_median`` and ``gain_high``, the
        same of what an option gains over the first one [dB, or NR]; ``trains_spread``, standard
        deviation of each rating by the number of trains.

    Raises
    ------
    StudyError
        Too few samples for the probability: fewer than ten in its tail.

    Notes
    -----
    Levels are medians. Errors in decibels are added to the levels of bands and rated as they are;
    the trains of a criterion are summed up before that into one spectrum for each room and option,
    those near the statistic, and ``train_summary_error`` says what that costs [dB, or NR] on
    samples in which every train is rated by itself. What the number of trains leaves open is added
    to the rating.

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
    given = study_spreads(study) if spreads is None else list(spreads)
    sampler = Sampler(study=study, result=result, spreads=tuple(given), seed=seed)
    count, _ = -(-samples // BLOCK), sampler.draws  # what cannot be drawn is refused here
    total: Block | None = None
    squares = None
    for done, block in enumerate(mapper(sampler.block, range(count)), start=1):
        total = block if total is None else total + block
        own = [a / BLOCK for a in (block.met, block.rooms_met, block.all_met)]
        squares = [a**2 for a in own] if squares is None else [
            s + a**2 for s, a in zip(squares, own, strict=True)
        ]  # fmt: skip
        progress("samples of errors", done / count)
    assert total is not None
    assert squares is not None
    return sampler.answered(result, total, squares, count, probability)


_TAIL = 10


@dataclass(frozen=True, kw_only=True, eq=False)
class Sampler:
    """Rates blocks of samples of a study; may be sent to another process.

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
    """

    study: StudyModel
    result: xr.Dataset
    spreads: tuple[Spread, ...]
    seed: int

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
        """What each criterion is rated of."""
        return {n: Rated.of(self.result, c, self.study.periods) for n, c in self.criteria.items()}

    def errors(self, number: int, quantity: str, *, stream: int = 0) -> Callable[[int], Any]:
        """Errors of a block, of the option of a number [dB]: sample, room, frequency."""
        drawn = self.draws.block(number, stream=stream)
        rooms, options = self.result["room"], self.result["option"].values.tolist()
        shared: Any = xr.zeros_like(rooms, dtype=np.float32).reset_coords(drop=True)
        own: list[tuple[xr.DataArray, xr.DataArray]] = []
        for spread in self.spreads:
            size = spread.of(quantity)
            if not bool((size > 0).any()):
                continue
            normal = drawn[spread.name].astype(np.float32)
            if "option" in size.dims:
                own.append((size.astype(np.float32), normal))
            else:
                shared = shared + size.astype(np.float32) * normal

        def of(at: int) -> xr.DataArray:
            total = shared
            for size, normal in own:
                here = size.sel(option=options[at], drop=True)
                if bool((here > 0).any()):
                    total = total + here * normal
            return xr.DataArray(total)

        return of

    def block(self, number: int) -> Block:
        """Count one block of samples."""
        deviation = self.deviations(number)
        margin = self.result["margin"].transpose("option", "room", "criterion").values
        applies = self.result["applies"].transpose("room", "criterion").values
        met = deviation <= margin + _ROUNDING
        whole = (met | ~applies).all(axis=-1)
        return Block(
            Tally.of(deviation),
            met.sum(axis=0),
            whole.sum(axis=0),
            whole.all(axis=-1).sum(axis=0),
            Tally.of(deviation - deviation[:, :1]),
        )

    def deviations(self, number: int, *, stream: int = 0) -> np.ndarray[Any, Any]:
        """Ratings of a block less those without errors: sample, option, room, criterion [dB]."""
        options, rooms = self.result.sizes["option"], self.result.sizes["room"]
        found = np.empty((BLOCK, options, rooms, len(self.criteria)), dtype=np.float32)
        generator = np.random.default_rng([self.seed, _TRAINS, stream, number])
        trains = generator.standard_normal(BLOCK)
        for quantity in dict.fromkeys(r.criterion.of.quantity for r in self.rated.values()):
            errors = self.errors(number, quantity, stream=stream)
            for at in range(options):
                own = errors(at)
                for k, rated in enumerate(self.rated.values()):
                    if rated.criterion.of.quantity == quantity:
                        found[:, at, :, k] = rated.deviation(own, at)
        moved = self._trains_spread * trains[:, None, None, None].astype(np.float32)
        off: np.ndarray[Any, Any] = found + moved
        return off

    @cached_property
    def _trains_spread(self) -> np.ndarray[Any, Any]:
        return np.stack([r.trains_spread for r in self.rated.values()], axis=-1)

    def answered(
        self,
        result: xr.Dataset,
        total: Block,
        squares: Sequence[np.ndarray[Any, Any]],
        count: int,
        probability: float,
    ) -> xr.Dataset:
        """The result with what the counts say."""
        dims = ("option", "room", "criterion")
        samples = count * BLOCK

        def of(values: np.ndarray[Any, Any]) -> xr.DataArray:
            names = dims[: values.ndim]
            return xr.DataArray(values, dims=names, coords={n: result[n].values for n in names})

        data: dict[str, xr.DataArray] = {}
        for name, met, square in zip(
            ("probability", "probability_room", "probability_all"),
            (total.met, total.rooms_met, total.all_met),
            squares,
            strict=True,
        ):
            share = met / samples
            between = np.maximum(square / count - share**2, 0.0) / max(count - 1, 1)
            plain = share * (1 - share) / samples
            # Of few blocks, and where all samples agree, the binomial error is the larger one.
            least = np.maximum(np.sqrt(plain), 1 / samples)
            data[name] = of(share)
            data[f"{name}_error"] = of(np.maximum(np.sqrt(between), least if count < 4 else 0.0))
        ends = {"low": 1 - probability, "median": 0.5, "high": probability}
        applies = result["applies"]
        for end, point in ends.items():
            moved = of(total.tally.quantile(point))
            data[f"rating_{end}"] = self._moved(moved)
            opposite = {"low": "high", "high": "low"}.get(end, end)
            data[f"margin_{opposite}"] = (result["margin"] - moved).where(applies, np.inf)
        held = result["margin_one_stage"]
        data["margin_one_stage_low"] = held - (result["margin"] - data["margin_low"]).where(
            applies, 0.0
        )
        first = result["rating"].isel(option=0, drop=True)
        ratio = result["ratio"].astype(bool)
        gained = xr.where(ratio, 2 * decibel(first / result["rating"]), first - result["rating"])
        for end, opposite in (("low", "high"), ("median", "median"), ("high", "low")):
            less = of(total.better.quantile(ends[opposite]))
            less[{"option": 0}] = 0.0
            data[f"gain_{end}"] = (gained - less).transpose(*dims)
        data["train_summary_error"] = xr.DataArray(
            [r.summary_error(self.errors(0, r.criterion.of.quantity)) for r in self.rated.values()],
            coords={"criterion": list(self.rated)}, dims="criterion",
        )  # fmt: skip
        data["trains_spread"] = of(self._trains_spread)
        data["probability"] = data["probability"].where(applies, 1.0)
        found = result.assign(data).assign_attrs(
            samples_of_errors=samples, probability_asked=probability, seed=self.seed,
            sources_of_error=", ".join(s.name for s in self.spreads),
            spreads=json.dumps([s.in_words() for s in self.spreads], ensure_ascii=False),
        )  # fmt: skip
        return decide(found)

    def _moved(self, deviation: xr.DataArray) -> xr.DataArray:
        """Ratings that lie off by a deviation."""
        ratio = self.result["ratio"].astype(bool)
        rating = self.result["rating"]
        moved: xr.DataArray = xr.where(ratio, rating * 10 ** (deviation / 20), rating + deviation)
        return moved.transpose("option", "room", "criterion")


_ROUNDING = 1e-6  # dB; a rating on its limit keeps it
