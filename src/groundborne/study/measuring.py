"""Which measurement would decide an answer that is open, and how likely."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.special import ndtr, ndtri

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.levels import decibel
from groundborne.path import GROUND
from groundborne.rating.answers import Answer
from groundborne.study.line_change import given_in
from groundborne.study.model import StudyModel
from groundborne.study.moved_ratings import LEAD, MovedRatings, first_order, given_spreads
from groundborne.study.part import Part
from groundborne.study.spreads import AFTER
from groundborne.uncertainty import Spread

_SLIGHT = 1e-6  # dB


@checked(nan=("sure",), infinite=("sure",))
def best_measurements(
    study: StudyModel,
    sure: xr.Dataset,
    *,
    spreads: Sequence[Spread] | None = None,
    mechanics: xr.Dataset | None = None,
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
    mechanics : Dataset, optional
        As for :func:`~groundborne.study.how_sure`; values of uncertain keys may then be measured.

    Returns
    -------
    xarray.Dataset
        On measurement, option, room and criterion: ``reduction``, by how much the interval of the
        margin becomes narrower [dB, or NR]; ``probability_met`` and ``probability_not_met``, that
        the answer is then met, or not met. ``best`` on option, room and criterion is the
        measurement with the largest reduction where the answer is within the uncertainty, and empty
        elsewhere, and where none reduces it. ``possible`` on measurement and room: whether it can
        be made now, or only once the building stands. NaN where a room has no such criterion.

    Raises
    ------
    StudyError
        A result that does not say how sure it is, or spreads of which nothing can be measured.

    Notes
    -----
    To first order: a measurement puts what it leaves in place of the standard deviation of every
    error that names it, where that is less, and changes no other. Trains measured at a point tell
    of all that lies before it. That a part of the building stands is taken from its trains, where
    they were recorded on its foundation, or from a step of its path that was measured in it. What
    a measurement will find is not known before; by what is known now the margin lies as a normal
    variable about its median, and the part of its variance that is measured tells where it will be
    found. Bands that are missing, and what else an answer needs, are left out.

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
    _, given = given_spreads(where, study, sure, spreads, mechanics)
    names = list(dict.fromkeys(n for s in given for n in (*s.measured, *s.measured_in_sound)))
    if not names:
        listed = ", ".join(repr(s.name) for s in given)
        raise StudyError(f"{where}: none of the spreads {listed} names a measurement; one must")
    of = MovedRatings(study=study, result=sure, spreads=given, seed=0)
    now = first_order(of, given, of.slopes)["first_order"]
    left = xr.concat(
        [first_order(of, [s.after(n) for s in given], of.slopes)["first_order"]
         for n in names],
        dim=xr.Variable("measurement", names), join="exact",
    )  # fmt: skip
    point = float(ndtri(float(sure.attrs["probability_asked"])))
    applies = sure["applies"].reset_coords(drop=True)
    off = _difference(sure["rating_median"], sure["rating"], sure["ratio"])
    median = (sure["margin"].where(applies, 0.0) - off.where(applies, 0.0)).reset_coords(drop=True)
    told = (now**2 - left**2).clip(min=0.0) ** 0.5
    found = xr.Dataset(
        {
            "reduction": 2 * point * (now - left),
            "probability_met": _exceeds(median - point * left, told),
            "probability_not_met": _exceeds(-median - point * left, told),
        }
    ).where(applies)
    found = found.transpose("measurement", *LEAD).reset_coords(drop=True)
    open_ = (sure["answer"] == Answer.WITHIN.value).reset_coords(drop=True)
    most = found["reduction"].fillna(0.0)
    at = most.argmax("measurement")
    named = at.copy(data=np.array(names)[at.values])
    best = xr.where(open_ & (most.max("measurement") > _SLIGHT), named, "")
    units = sure["margin_unit"].reset_coords(drop=True)
    there = xr.concat([stands(p) for p in study.parts], "room", join="exact")
    after = xr.DataArray([n in AFTER for n in names], dims="measurement")
    possible = (~after | there.sel(room=found["room"])).transpose("measurement", "room")
    found = found.assign(best=best.transpose(*LEAD), possible=possible.reset_coords(drop=True))
    return found.assign_coords(margin_unit=units)


def stands(part: Part) -> xr.DataArray:
    """Whether a part stands already, for its rooms: something was measured in it."""
    rooms = part.room_labels
    steps = [*part.as_built.elements.values()]
    if part.floor_motion is not None:
        steps.append(part.floor_motion.as_built)
    there = part.as_built.quantity_in != GROUND
    there = there or any(bool(given_in(s, rooms, measured=True).any()) for s in steps)
    return xr.full_like(rooms, there, dtype=bool)


def _difference(value: xr.DataArray, other: xr.DataArray, ratio: xr.DataArray) -> xr.DataArray:
    """By how much a rating lies above another, as margins move [dB, or NR]."""
    ratio = ratio.astype(bool)
    of_ratio = 2 * decibel(value.where(ratio, 1.0) / other.where(ratio, 1.0))
    off: xr.DataArray = xr.where(ratio, of_ratio, value - other)
    return off


def _exceeds(mean: xr.DataArray, deviation: xr.DataArray) -> xr.DataArray:
    """Probability that a normal variable is not negative; certain where it does not vary."""
    certain = xr.where(mean >= 0, 1.0, 0.0)
    varies = deviation > _SLIGHT
    inside = xr.apply_ufunc(ndtr, mean / deviation.where(varies, 1.0))
    found: xr.DataArray = xr.where(varies, inside, certain)
    return found
