"""What is needed: the insertion loss that rooms lack for a chosen probability."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.levels import decibel, energy
from groundborne.rating import Criterion
from groundborne.rating.band_rules import NoiseRatingOctaves, WeightedBands, octaves_summed
from groundborne.rating.noise_rating_curves import nr_curve
from groundborne.study.cases import level_spreads
from groundborne.study.model import Progress, StudyModel, silent
from groundborne.study.rated_samples import Rated
from groundborne.study.room_rating import CHANGES, rating_alone
from groundborne.study.sureness import PROBABILITY, SAMPLES, Sampler
from groundborne.uncertainty import BLOCK, Spread, Tally

_LEAD = ("option", "room")
_TAIL = 10  # samples beyond a quantile
_CLOSE = 0.02  # dB, or NR
_PASSES = 40


@checked(nan=("result",), infinite=("result",))
def needed_isolation(
    study: StudyModel,
    result: xr.Dataset,
    *,
    probability: float = PROBABILITY,
    spreads: list[Spread] | None = None,
    mechanics: xr.Dataset | None = None,
    by_band: bool = True,
    samples: int = SAMPLES,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """Insertion loss that each room lacks, beyond each option, to meet its criteria.

    Parameters
    ----------
    study : Study
        That was evaluated.
    result : Dataset
        From its evaluation.
    probability : float
        With which each criterion is to be met by itself, above 0.5 and below 1.
    spreads : list of Spread, optional
        Sources of error; those of :func:`~groundborne.study.study_spreads` by default.
    mechanics : Dataset, optional
        As for :func:`~groundborne.study.how_sure`.
    by_band : bool
        Whether to work out losses by band as well, which takes several times as long.
    samples : int
        As for :func:`~groundborne.study.how_sure`.
    seed : int
        Likewise; with the same seed and spreads the losses belong to its intervals.
    progress : callable
        Called as ``progress(stage, fraction)``.

    Returns
    -------
    xarray.Dataset
        ``needed`` on option, room and criterion: loss alike in all bands [dB], 0 where nothing
        lacks. ``needed_by_band``, with ``frequency`` too: the losses with the least sum over bands
        [dB], 0 in bands that may stay as they are; all of them together do. ``at_least``: where a
        loss is a lower bound, or 0 shows nothing, since bands are missing or the limit lies below
        what can be measured. ``none_needed`` on option: whether nothing lacks anywhere, and that
        is shown.

    Raises
    ------
    StudyError
        Too few samples for the probability, or losses by band of a metric whose rule is none of
        this library's.

    Notes
    -----
    A loss moves what trains bring and leaves the errors as they are: one that is built adds its own
    (see ``ISOLATORS`` of :mod:`groundborne.study.spreads`), so that somewhat more is needed. Bands
    of a sum are brought to one weighted level, from the loudest down: a sum of losses is least
    where what is left is level. Bands of a curve lose what they have above it, and the thirds of
    an octave what the octave has above the noise rating curve. Losses are raised until the
    samples, with them, meet the criterion with the probability, within 0.02 dB.

    References
    ----------
    Levelling as of powers in parallel channels (Cover and Thomas, Elements of information theory,
    9.4 [from memory]), with decibels for the measure; derived.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> found = needed_isolation(study, study.evaluate(), by_band=False, samples=1024)
    >>> bool(found["none_needed"].item()), bool((found["needed"] >= 0).all())
    (False, True)
    """
    where = "needed_isolation"
    if not 0.5 < probability < 1:
        raise StudyError(f"{where}: probability is {probability:g}; above 0.5 and below 1 is")
    if samples * (1 - probability) < _TAIL:
        least = int(np.ceil(_TAIL / (1 - probability) - 1e-6))
        raise StudyError(f"{where}: samples is {samples}; {least} are needed at least")
    given = level_spreads(where, study, result, spreads, mechanics)
    named = {c.label: c for cs in study.room_criteria.values() for c in cs}
    labels = [str(n) for n in result["criterion"].values]
    uniform, banded = [], []
    for at, label in enumerate(labels):
        progress(f"isolation needed for {label}", at / len(labels))
        asked = _Asked(
            study=study, result=result, criterion=named[label], spreads=given,
            mechanics=mechanics, reduced=spreads is None, probability=probability,
            blocks=-(-samples // BLOCK), seed=seed,
        )  # fmt: skip
        loss = asked.uniform
        uniform.append(loss)
        if by_band:
            banded.append(asked.by_band)
    along = xr.Variable("criterion", labels)
    needed = xr.concat(uniform, dim=along, join="exact").transpose(*_LEAD, "criterion")
    needed.attrs = {"long_name": "insertion loss needed in all bands", "units": "dB"}
    applies = result["applies"].reset_coords(drop=True)
    open_: xr.DataArray = xr.apply_ufunc(np.isinf, result["may_add"]) | (
        result["limit"] < result["least"]
    )
    at_least = (open_ & applies).transpose(*_LEAD, "criterion").reset_coords(drop=True)
    data = {
        "needed": needed,
        "at_least": at_least,
        "none_needed": ((needed == 0) & ~at_least).all(["room", "criterion"]),
    }
    if by_band:
        found = xr.concat(banded, dim=along, join="exact")
        found = found.transpose(*_LEAD, "criterion", "frequency")
        found.attrs = {"long_name": "insertion loss needed by band", "units": "dB"}
        data["needed_by_band"] = found
    return (
        xr.Dataset(data)
        .assign_coords(applies=applies)
        .assign_attrs(
            probability_asked=probability, samples_of_errors=-(-samples // BLOCK) * BLOCK, seed=seed
        )
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Asked:
    """One criterion, and losses by which its samples meet it."""

    study: StudyModel
    result: xr.Dataset
    criterion: Criterion
    spreads: tuple[Spread, ...]
    mechanics: xr.Dataset | None
    reduced: bool
    probability: float
    blocks: int
    seed: int

    @cached_property
    def at(self) -> xr.Dataset:
        return self.result.sel(criterion=[self.criterion.label])

    @cached_property
    def applies(self) -> xr.DataArray:
        return self._of("applies")

    def _of(self, name: str) -> xr.DataArray:
        array = self.at[name].isel(criterion=0, drop=True).reset_coords(drop=True)
        return array.expand_dims(option=self.result["option"].values) if (
            "option" not in array.dims
        ) else array  # fmt: skip

    @cached_property
    def nought(self) -> xr.DataArray:
        rooms = {d: self.result[d].values for d in (*_LEAD, "frequency")}
        return xr.DataArray(
            np.zeros([len(v) for v in rooms.values()]), dims=tuple(rooms), coords=rooms
        )

    def short(self, loss: xr.DataArray) -> xr.DataArray:
        """By how much the criterion is missed at the probability: option, room [dB, or NR].

        `loss` is on option, room and frequency, or alike in all bands.
        """
        name = CHANGES[self.criterion.of.quantity][0]
        change = self.result[name]
        each = change.sizes.get("stage", 1)  # stages add up
        less = change - ((self.nought + loss) / each)
        moved = self.at.assign({name: less.transpose(*change.dims)})
        cases = self.mechanics
        if cases is not None:
            cases = cases.assign({name: cases[name] - (self.nought + loss)})
        sampler = Sampler(
            study=self.study, result=moved, spreads=self.spreads, seed=self.seed, mechanics=cases,
            reduced=self.reduced,
        )  # fmt: skip
        tallies = [Tally.of(sampler.deviations(n)[..., 0]) for n in range(self.blocks)]
        high = sum(tallies[1:], start=tallies[0]).quantile(self.probability)
        rating = rating_alone(moved, self.criterion, self.study.periods)
        limit = self._of("limit").isel(option=0, drop=True)
        margin = self.criterion.of.scale.margin(rating.reset_coords(drop=True), limit)
        margin = margin.transpose(*_LEAD)
        may_add = self._of("may_add").transpose(*_LEAD)
        finite = may_add.where(np.isfinite(may_add), 0.0)
        missed = margin.copy(data=high) - margin.where(self.applies, 0.0) + finite
        return missed.where(self.applies, 0.0)

    @cached_property
    def lacking(self) -> xr.DataArray:
        """How much is missed without a further loss."""
        return self.short(self.nought.isel(frequency=0, drop=True))

    @cached_property
    def uniform(self) -> xr.DataArray:
        lacks = self.lacking > 0
        start = self.lacking.clip(min=0.0)
        return self._met(lambda loss: loss, start, lacks)[0].where(lacks, 0.0)

    @cached_property
    def by_band(self) -> xr.DataArray:
        """Losses of the spectrum without errors, raised by what errors make of it and more."""
        lacks = self.lacking > 0
        if not bool(lacks.any()):
            return self.nought
        filled = _Filled.of(self)
        start = (self.uniform - filled.over).where(lacks, 0.0)
        _, losses = self._met(filled.losses, start, lacks)
        return losses.where(lacks, 0.0)

    def _met(
        self,
        losses: Callable[[xr.DataArray], xr.DataArray],
        start: xr.DataArray,
        lacks: xr.DataArray,
    ) -> tuple[xr.DataArray, xr.DataArray]:
        """Where what is missed falls to nought, by secants within what brackets it."""
        at, low, high = start, xr.full_like(start, -np.inf), xr.full_like(start, np.inf)
        slope, before = xr.full_like(start, -1.0), None
        for _ in range(_PASSES):
            missed = self.short(losses(at))
            done = (abs(missed) <= _CLOSE) | ~lacks
            if bool(done.all()):
                return at, losses(at)
            low = xr.where(missed > 0, np.maximum(low, at), low)
            high = xr.where(missed <= 0, np.minimum(high, at), high)
            if before is not None:
                run = at - before[0]
                steep = (missed - before[1]) / run.where(run != 0, np.inf)
                slope = xr.where(run != 0, steep, slope).clip(-3.0, -0.2)
            step = at - missed / slope
            inside = (step > low) & (step < high)
            halved = np.isfinite(low) & np.isfinite(high) & ~inside
            step = step.where(~halved, (low + high).where(halved, 0.0) / 2)
            # Quantiles of few samples step; then the side on which the criterion is met.
            narrow = np.isfinite(low) & (high - low.where(np.isfinite(low), 0.0) < _CLOSE / 2)
            step = step.where(~narrow, high)
            settled = done | (narrow & (at == high))
            if bool(settled.all()):
                return at, losses(at)
            before, at = (at, missed), at.where(settled, step)
        left = float(abs(missed.where(lacks, 0.0)).max())
        raise StudyError(
            f"needed_isolation: criterion {self.criterion.label!r}: after {_PASSES} passes "
            f"{left:.2g} dB or NR are left open; its rating does not fall steadily with the levels"
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Filled:
    """Lowest losses by which the spectrum without errors, raised, just meets a criterion.

    Parameters
    ----------
    weighted : DataArray
        Levels over the limit: those of bands that are added, on ``frequency``, less the limit of
        their sum; those of single bands, or octaves, over their curve [dB].
    added : bool
        Whether bands are added.
    band : DataArray
        Label in `weighted` of the band, or octave, that each third belongs to.
    """

    weighted: xr.DataArray
    added: bool
    band: xr.DataArray

    @classmethod
    def of(cls, asked: _Asked) -> _Filled:
        criterion = asked.criterion
        rule = criterion.of.rule
        rated = Rated.of(asked.at, criterion, asked.study.periods)
        level = rated.level
        # Several floor frequencies or states: their envelope gives the shape of the losses.
        level = level.max([d for d in level.dims if d not in (*_LEAD, "frequency")])
        level = level.reset_coords(drop=True).transpose(*_LEAD, "frequency")
        nought = xr.zeros_like(level["frequency"], dtype=float).drop_attrs(deep=False)
        band = rule.band_of(level["frequency"])
        if isinstance(rule, NoiseRatingOctaves):
            octaves = octaves_summed(level, nought)
            limit = asked._of("limit").isel(option=0, drop=True)
            curve = nr_curve(limit.where(np.isfinite(limit), 0.0)).drop_attrs(deep=False)
            held = [f for f in octaves["frequency"].values.tolist() if f in curve["frequency"]]
            above = octaves.sel(frequency=held) - curve.sel(frequency=held)
            return cls(weighted=above, added=False, band=band)
        if not isinstance(rule, WeightedBands):
            raise StudyError(
                f"needed_isolation: criterion {criterion.label!r} is rated by a rule that is none "
                "of this library's, so that losses by band are not known; ask by_band=False"
            )
        # What the rating may rise by is the margin, of all bands together as of the largest one.
        margin = asked._of("margin").where(asked.applies, 0.0)
        target = rule.rating(level, nought) + margin
        gain = rule.gain(level["frequency"]).drop_attrs(deep=False)
        return cls(weighted=level + gain - target, added=rule.combined == "sum", band=band)

    @property
    def over(self) -> xr.DataArray:
        """How far the spectrum is over its limit [dB]."""
        if self.added:
            return decibel(energy(self.weighted).sum("frequency"))
        return self.weighted.max("frequency")

    def losses(self, raised: xr.DataArray) -> xr.DataArray:
        """Losses of each third, of the spectrum raised: option, room, frequency [dB]."""
        above = self.weighted + raised
        if self.added:
            above = above - _common_level(above)
        loss = above.where(above > 0, 0.0)
        # Octaves without a curve lose nothing.
        whole = loss.reindex(frequency=np.unique(self.band.values), fill_value=0.0)
        of_thirds = whole.sel(frequency=self.band.values)
        return of_thirds.assign_coords(frequency=self.band["frequency"].values).transpose(
            *_LEAD, "frequency"
        )


def _common_level(level: xr.DataArray) -> xr.DataArray:
    """Level to which bands are brought down so that they add up to 0 dB; infinite where none is."""
    power = np.sort(energy(level).transpose(..., "frequency").values, axis=-1)[..., ::-1]
    left = power[..., ::-1].cumsum(axis=-1)[..., ::-1]
    count = np.arange(1, power.shape[-1] + 1)
    rest = np.concatenate([left[..., 1:], np.zeros_like(left[..., :1])], axis=-1)
    common = (1.0 - rest) / count
    # The number of bands brought down: those above the level that they are brought to.
    enough = common >= np.concatenate([power[..., 1:], np.zeros_like(left[..., :1])], axis=-1)
    first = enough.argmax(axis=-1)[..., None]
    found = np.take_along_axis(common, first, axis=-1)[..., 0]
    with np.errstate(divide="ignore"):
        found = np.where(left[..., 0] <= 1.0, np.inf, 10 * np.log10(np.maximum(found, 1e-300)))
    return xr.DataArray(found, dims=_LEAD, coords={d: level[d].values for d in _LEAD})
