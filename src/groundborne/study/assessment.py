"""Ratings of a result against the criteria of its rooms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.rating import Criterion, answer
from groundborne.rating.answers import mark_of
from groundborne.rating.scale import scale_coords
from groundborne.study.evaluation import side_by_side
from groundborne.study.period import Period
from groundborne.study.room_rating import CHANGES, rate_rooms, rating_alone


@checked
def assess(
    result: xr.Dataset,
    *,
    room_criteria: Mapping[str, Sequence[Criterion]],
    periods: Mapping[str, Period],
) -> xr.Dataset:
    """Rating, limit and margin of every room and option on every criterion's own statistic.

    Parameters
    ----------
    result : Dataset
        From :func:`~groundborne.study.evaluate`, with the dim ``room``.
    room_criteria : mapping of str to sequence of Criterion
        For every room.
    periods : mapping of str to Period
        By name.

    Returns
    -------
    xarray.Dataset
        ``rating`` and ``margin`` (option, room, ..., criterion), ``limit`` (room, criterion;
        infinite where a room has no such criterion), ``applies`` (room, criterion).

        On (option, room, ..., criterion): ``answer``, see :func:`~groundborne.rating.answer`;
        ``mark``, what the rating is (``at least``, ``below`` what can be measured, ``open``);
        ``may_add``, what bands outside the spectrum may add to it [dB, or NR], infinite for a lower
        bound; ``governing_band`` [Hz]; ``margin_one_stage``, the margin with base isolation held to
        what one stage was found to give; ``loss_limited_rating``, whether largest losses of
        measures decide the rating. Where mounts are given as new and at the end of their life,
        ratings and all that belongs to them are of the worse, ``worse_state`` names it, and
        ``rating_by_state`` and ``margin_by_state`` are of both, on ``state``.

        In words on ``criterion``: ``bound``, why ratings are lower bounds where they are;
        ``approximation``, what stands between band levels and the rating. Coordinates ``metric``,
        its ``quantity``, ``statistic`` and ``period``, and what its numbers mean, as
        :class:`~groundborne.rating.Scale`: ``unit``, ``margin_unit``, ``decimals``, ``ratio`` and
        ``least``.

    Raises
    ------
    StudyError
        A room has two criteria of one name, or a criterion names an unknown period.
    RatingError
        The levels do not carry the statistic, or are on another time weighting.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> bare = study.with_options([gb.Option(name="as built")])
    >>> result = gb.evaluate(bare.paths(), bare.source)
    >>> quiet = gb.Criterion(metric="LASmax", limit=40.0, statistic="maximum",
    ...                      time_weighting="S max")
    >>> rated = assess(result, room_criteria={r: (quiet,) for r in study.rooms}, periods={})
    >>> bool((rated["margin"] < 0).all())
    True
    """
    return assess_places(result, criteria=room_criteria, periods=periods)


def assess_places(
    result: xr.Dataset,
    *,
    criteria: Mapping[str, Sequence[Criterion]],
    periods: Mapping[str, Period],
    place: str = "room",
) -> xr.Dataset:
    """As :func:`assess`, of places of any kind.

    Parameters
    ----------
    result : Dataset
        With the dim `place`; variables are named as those of rooms.
    criteria : mapping of str to sequence of Criterion
        For every place.
    periods : mapping of str to Period
        By name.
    place : str
        ``room`` or ``equipment``.
    """
    kinds: dict[str, Criterion] = {}
    for name_of, each in criteria.items():
        labels = [c.label for c in each]
        for name in labels:
            if labels.count(name) > 1:
                raise StudyError(f"{place} {name_of!r}: the criterion {name!r} is given twice")
        for criterion in each:
            if criterion.period is not None:
                known(
                    f"criterion {criterion.label!r}",
                    "period",
                    criterion.period,
                    periods,
                    StudyError,
                )
            criterion.require(result["source_level"].attrs.get("time_weighting", ""))
            if kinds.setdefault(criterion.label, criterion).of != criterion.of:
                raise StudyError(
                    f"criterion {criterion.label!r}: two metrics have the name "
                    f"{criterion.of.name!r}; give them names of their own"
                )
    if not kinds:
        raise StudyError(
            f"study: no {place} has a criterion ({place}_criteria hold none); at least one is "
            "needed"
        )
    places = result[place].values.tolist()
    limit = np.full((len(places), len(kinds)), np.inf)
    names = list(kinds)
    for i, name_of in enumerate(places):
        if name_of not in criteria:
            raise StudyError(f"assess: {place}_criteria holds no entry for the {place} {name_of!r}")
        for criterion in criteria[name_of]:
            limit[i, names.index(criterion.label)] = criterion.limit
    coords = {place: places, "criterion": names}
    limits = xr.DataArray(limit, dims=(place, "criterion"), coords=coords)
    rated = {name: rate_rooms(result, c, periods) for name, c in kinds.items()}
    held = _held(result, kinds, periods)
    data: dict[str, xr.DataArray] = {
        "rating": _together({n: r.rating for n, r in rated.items()}),
        "limit": limits,
        "applies": xr.DataArray(np.isfinite(limit), dims=(place, "criterion"), coords=coords),
        "may_add": _together({n: r.may_add for n, r in rated.items()}),
        "governing_band": _together({n: r.governing for n, r in rated.items()}),
        "loss_limited_rating": side_by_side(
            {n: r.loss_limited for n, r in rated.items()}, dim="criterion"
        ),
        "bound": xr.DataArray([r.why for r in rated.values()], coords={"criterion": names}),
        "approximation": xr.DataArray(
            [r.approximation for r in rated.values()], coords={"criterion": names}
        ),
    }

    def margins(ratings: Mapping[str, xr.DataArray]) -> xr.DataArray:
        return _together(
            {
                name: kinds[name].of.scale.margin(value, limits.sel(criterion=name, drop=True))
                for name, value in ratings.items()
            },
        )

    data["margin"] = margins({n: r.rating for n, r in rated.items()})
    data["margin_one_stage"] = data["margin"] if held is None else margins(held)
    states = {n: r.by_state for n, r in rated.items() if r.by_state is not None}
    if states:
        of_both = {n: states.get(n, r.rating) for n, r in rated.items()}
        data["rating_by_state"], data["margin_by_state"] = _together(of_both), margins(of_both)
        data["worse_state"] = _worse_state(data["margin_by_state"])
    rated_all = xr.Dataset(data).assign_coords(
        metric=("criterion", [c.of.name for c in kinds.values()]),
        quantity=("criterion", [c.of.quantity for c in kinds.values()]),
        statistic=("criterion", [c.statistic_label for c in kinds.values()]),
        period=("criterion", [c.period or "" for c in kinds.values()]),
        **scale_coords(c.of.scale for c in kinds.values()),
    )
    for name, text in _WORDS.items():
        if name in rated_all:
            rated_all[name].attrs = {"long_name": text}
    rated_all = decide(rated_all)
    return rated_all.transpose("option", place, ..., "criterion", missing_dims="ignore")


def decide(rated: xr.Dataset) -> xr.Dataset:
    """Answers and marks of ratings, from what is known of each.

    Parameters
    ----------
    rated : Dataset
        ``rating``, ``limit``, ``margin``, ``margin_one_stage``, ``may_add`` and ``applies``, with
        ``least`` on ``criterion``; ``margin_low`` and ``margin_high`` where the margin lies in a
        range, and ``margin_median`` where that has another middle.

    Returns
    -------
    xarray.Dataset
        With ``answer`` and ``mark``, worked out anew if they were there. A limit below what can be
        measured is never shown to be met.
    """
    least = rated["least"].reset_coords(drop=True)
    claimed = xr.where(rated["rating"] < least, rated["limit"] - least, np.inf)
    held = rated["margin_one_stage"]
    held_low = rated.get("margin_one_stage_low", held)
    said = answer(
        # By probability the middle of the interval: errors may lift the largest of many bands so
        # far that the margin without errors lies outside it.
        rated.get("margin_median", rated["margin"]),
        may_add=rated["may_add"],
        at_worst=xr.where(held < claimed, held, claimed),
        worst_low=xr.where(held_low < claimed, held_low, claimed),
        low=rated.get("margin_low"),
        high=rated.get("margin_high"),
        applies=rated["applies"],
    )
    unlimited = rated["may_add"] == np.inf
    mark = mark_of(rated["rating"], lower_bound=unlimited, least=least)
    return rated.assign(answer=said, mark=mark)


def _worse_state(margin: xr.DataArray) -> xr.DataArray:
    """State of the mounts in which a margin is smaller; empty where they are the same."""
    known_limit = margin.where(np.isfinite(margin), 0.0)
    alike = known_limit.max("state") == known_limit.min("state")
    worse = margin["state"].values[known_limit.argmin("state").values]
    named: xr.DataArray = xr.where(alike, "", alike.copy(data=worse))
    return named


_WORDS = {
    "rating_by_state": "rating with mounts as new and at the end of their life",
    "margin_by_state": "margin with mounts as new and at the end of their life",
    "worse_state": "state of the mounts that the rating is of; empty where both are the same",
    "rating": "rating on the criterion's own statistic",
    "limit": "limit; infinite where the room has no such criterion",
    "applies": "whether the room has such a criterion",
    "margin": "margin, positive when met: limit minus rating, of vibration in dB",
    "margin_one_stage": f"margin with base isolation held to {SINGLE_STAGE_LIMIT:g} dB in any band",
    "may_add": "what bands outside the spectrum may add to the rating; infinite: a lower bound",
    "governing_band": "band, of noise rating the octave, that contributes most [Hz]",
    "loss_limited_rating": "largest losses of measures decide the rating",
    "bound": "why the rating is a lower bound where it is one; empty where it is none",
    "approximation": "how the rating is approximated from band levels",
}


def _held(
    result: xr.Dataset, kinds: Mapping[str, Criterion], periods: Mapping[str, Period]
) -> dict[str, xr.DataArray] | None:
    """Ratings with base isolation held to one stage; none where it nowhere gives more."""
    found = {c: e for c, _, _, e in CHANGES.values() if c in result and e in result}
    excess = [result[e] for e in found.values()]
    if not any(e.chunks is not None or bool((e > 0).any()) for e in excess):
        return None
    held = {}
    for name, beyond in found.items():
        change = result[name]
        total = change.sum("stage", skipna=False) if "stage" in change.dims else change
        held[name] = total + result[beyond]
    without = result.drop_dims("stage") if "stage" in result.dims else result
    held_to_one = without.assign(held)
    return {name: rating_alone(held_to_one, c, periods) for name, c in kinds.items()}


_together = partial(side_by_side, dim="criterion")
