"""The least that is sure enough: the first of several options, such as the stiffest mount."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal, get_args

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, StudyError, known
from groundborne.rating.answers import Answer
from groundborne.study.model import Progress, silent
from groundborne.study.option import Option
from groundborne.study.study import Study
from groundborne.study.sureness import PROBABILITY, SAMPLES, how_sure

Search = Literal["all", "bisection"]

FOUND = "least"
"""Attribute with the name of the option that was found; empty where none of those tried does."""


@checked
def least_option(
    study: Study,
    options: Sequence[Option],
    *,
    rooms: Sequence[str] | None = None,
    together: bool = False,
    probability: float = PROBABILITY,
    search: Search = "all",
    samples: int = SAMPLES,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """The first of several options with which rooms meet their criteria at a probability.

    Parameters
    ----------
    study : Study
        Its own options are passed over.
    options : sequence of Option
        From the least effort to the most, by whatever order you hold them in: mounts from stiff to
        soft, schedules, measures in rooms.
    rooms : sequence of str, optional
        Those that have to; all by default.
    together : bool
        Whether all of them at once have to meet all criteria with the probability, beside each
        answer, which is of one criterion of one room.
    probability : float
        Above 0.5 and below 1.
    search : str
        ``all`` evaluates every option; ``bisection`` halves the list and evaluates few, which finds
        the first one only where later ones are never worse; where one of these is not shown, which
        says nothing of those after it, all are evaluated after all.
    samples, seed : int
        As for :func:`~groundborne.study.how_sure`.
    progress : callable
        Called as ``progress(stage, fraction)``.

    Returns
    -------
    xarray.Dataset
        On ``option``, those that were tried in the order given: ``met``, whether all answers of
        the rooms are "met" (and `together`); ``probability_least``, of the criterion and room it
        is least likely for, and ``probability_all``, of all at once; ``why``, the answer that
        stands most against it, with its room and criterion. The attribute ``least`` is
        the first of them with ``met``, empty where none has it, and ``tried`` says in words what
        that rests on.

    Raises
    ------
    StudyError
        No option, two of one name, an unknown room, rooms without a criterion, or a study with
        uncertain keys or alternatives.

    Notes
    -----
    That a softer mount or a heavier floor is never worse is not assumed. All options are sampled
    with the same errors, so that their differences are surer than their probabilities.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> found = least_option(study, study.options[:2], samples=1024)
    >>> found["option"].values.tolist() == [o.name for o in study.options[:2]]
    True
    """
    where = "least_option"
    if not options:
        raise StudyError(f"{where}: options is empty; at least one is needed")
    known(where, "search", search, get_args(Search), StudyError)
    if study.uncertain or study.alternatives:
        raise StudyError(
            f"{where}: the study file says what is uncertain, and options of a script have no "
            "cases of that; write the options into the file and ask how_sure, or leave "
            "[[uncertain]] and [[alternatives]] out"
        )
    names = [option.name for option in options]
    for name in names:
        if names.count(name) > 1:
            raise StudyError(f"{where}: two options are called {name!r}; names must differ")
    chosen = list(study.rooms if rooms is None else rooms)
    for room in chosen:
        known(where, "room", room, study.rooms, StudyError)
    if not chosen:
        raise StudyError(f"{where}: rooms is empty; name one at least, or leave it out for all")

    def tried(some: Sequence[Option]) -> xr.Dataset:
        here = study.with_options(some)
        result = here.evaluate(band_levels=False).sel(room=chosen)
        sure = how_sure(here, result, samples=samples, probability=probability, seed=seed)
        return _judged(sure, together=together, probability=probability)

    found = _halved(options, tried, progress) if search == "bisection" else None
    if found is None:
        progress("all options", 0.0)
        found = tried(options)
    met = found["met"].values
    order = [n for n in names if n in found["option"].values.tolist()]
    first = str(found["option"].values[met.argmax()]) if met.any() else ""
    return found.assign_attrs(
        {
            FOUND: first,
            "tried": _words(order, names, first),
            "probability_asked": probability,
            "samples_of_errors": samples,
            "seed": seed,
        }
    )


@checked(infinite=("travel_to_solid",))
def stiffest_mount(
    study: Study,
    *,
    natural_frequency: Sequence[float],
    loss_factor: Numeric,
    dynamic_to_static: Numeric = 1.0,
    own_mass_per_load: Numeric = 0.0,
    travel_to_solid: Numeric = np.inf,
    part: str | None = None,
    beside: Option | None = None,
    rooms: Sequence[str] | None = None,
    together: bool = False,
    probability: float = PROBABILITY,
    search: Search = "all",
    samples: int = SAMPLES,
    seed: int = 1,
    progress: Progress = silent,
) -> xr.Dataset:
    """The stiffest of mounts with which rooms meet their criteria at a probability.

    Parameters
    ----------
    study : Study
        With an isolation plane.
    natural_frequency : sequence of float
        Candidates [Hz], in any order.
    loss_factor, dynamic_to_static, own_mass_per_load, travel_to_solid, part
        As for ``study.mount``.
    beside : Option, optional
        What is built beside the mounts: its measures stay, and its mounts are exchanged.
    rooms, together, probability, search, samples, seed, progress
        As for :func:`least_option`.

    Returns
    -------
    xarray.Dataset
        As of :func:`least_option`, on options called by their frequency, such as ``6.3 Hz``, from
        the stiffest down, with the coordinate ``natural_frequency`` [Hz].

    Raises
    ------
    StudyError
        No candidate, the same one twice, or a study without an isolation plane.

    Notes
    -----
    Mounts are what the building stands on: loads, robustness, stops and fire are for the licensed
    structural engineer, and the stiffest mount that is sure enough for noise may still be too soft
    for them.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> found = stiffest_mount(study, natural_frequency=[6.0, 12.0], loss_factor=0.05, samples=1024)
    >>> found["option"].values.tolist(), found.attrs["least"]
    (['12 Hz', '6 Hz'], '')
    """
    where = "stiffest_mount"
    if not natural_frequency:
        raise StudyError(f"{where}: natural_frequency is empty; at least one is needed")
    ordered = sorted((float(f) for f in natural_frequency), reverse=True)
    named: dict[str, float] = {}
    options = []
    for f0 in ordered:
        name = f"{f0:g} Hz"
        if name in named:
            raise StudyError(f"{where}: natural_frequency holds {f0:g} Hz twice")
        named[name] = f0
        mount = study.mount(
            natural_frequency=f0, loss_factor=loss_factor, dynamic_to_static=dynamic_to_static,
            own_mass_per_load=own_mass_per_load, travel_to_solid=travel_to_solid, part=part,
        )  # fmt: skip
        own = Option(name=name) if beside is None else replace(beside, name=name)
        if part is None:
            options.append(replace(own, base=mount))
        else:
            options.append(replace(own, bases={**own.bases, part: mount}))
    found = least_option(
        study, options, rooms=rooms, together=together, probability=probability, search=search,
        samples=samples, seed=seed, progress=progress,
    )  # fmt: skip
    of = [named[str(n)] for n in found["option"].values]
    return found.assign_coords(natural_frequency=("option", of))


def _halved(
    options: Sequence[Option],
    tried: Callable[[Sequence[Option]], xr.Dataset],
    progress: Progress,
) -> xr.Dataset | None:
    """Between one that does not and one that does the middle one, until they are neighbours.

    Nothing where one of them is not shown.
    """
    held: dict[int, xr.Dataset] = {}

    def meets(at: int) -> bool:
        progress(f"option {options[at].name!r}", len(held) / len(options))
        held[at] = tried([options[at]])
        return bool(held[at]["met"].item())

    below, above = -1, len(options) - 1
    if meets(above):
        while above - below > 1:
            middle = (below + above) // 2
            if meets(middle):
                above = middle
            else:
                below = middle
    if any(str(one["why"].item()).startswith(Answer.NOT_SHOWN.value) for one in held.values()):
        return None
    return xr.concat([held[at] for at in sorted(held)], dim="option", join="exact")


def _judged(sure: xr.Dataset, *, together: bool, probability: float) -> xr.Dataset:
    """Whether all answers are met, and how likely that is."""
    applies = sure["applies"]
    if not bool(applies.any()):
        raise StudyError("least_option: none of the rooms has a criterion; name one that has")
    met = ((sure["answer"] == Answer.MET.value) | ~applies).all(["room", "criterion"])
    if together:
        met = met & (sure["probability_all"] >= probability)
    least = sure["probability"].where(applies, 1.0).min(["room", "criterion"])
    why = [_against(sure.sel(option=name)) for name in sure["option"].values]
    return xr.Dataset(
        {
            "met": met.reset_coords(drop=True),
            "probability_least": least.reset_coords(drop=True),
            "why": ("option", why),
            "probability_all": sure["probability_all"],
            "probability_all_error": sure["probability_all_error"],
        }
    )


def _against(sure: xr.Dataset) -> str:
    """The answer that stands most against "met": where, and how likely it is kept."""
    applies = sure["applies"].values
    answers = sure["answer"].transpose("room", "criterion").values
    likely = sure["probability"].transpose("room", "criterion").values
    for kind in (Answer.NOT_MET, Answer.WITHIN, Answer.NOT_SHOWN):
        places = np.argwhere((answers == kind.value) & applies)
        if places.size:
            room, criterion = min(places.tolist(), key=lambda at: float(likely[at[0], at[1]]))
            return (
                f"{kind.value}: {sure['room'].values[room]}, {sure['criterion'].values[criterion]}"
            )
    return ""


def _words(tried: Sequence[str], names: Sequence[str], first: str) -> str:
    """What was tried, and so what may be said."""
    left = len(names) - len(tried)
    listed = ", ".join(tried)
    said = f"tried: {listed}; " + (
        f"the first that meets all is {first}" if first else "none of them meets all"
    )
    if not left:
        return said
    return (
        f"{said}; {left} of {len(names)} were not tried, and one of them may do with less where a "
        "later option is worse than one before it"
    )
