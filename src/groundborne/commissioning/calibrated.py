"""A prediction with what was learnt of its stages: prior, data and posterior, and the next one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.citation import Citation
from groundborne.commissioning.provenance import (
    CALIBRATED_WITH,
    OFFICE_BIAS,
    calibration_labels,
)
from groundborne.commissioning.stage_errors import Observed, StageErrors
from groundborne.study.assessment import assess
from groundborne.study.model import StudyModel
from groundborne.uncertainty import Spread
from groundborne.uncertainty.spread import QUANTITIES

CALIBRATION = "calibration"
"""Name of the stage that a calibrated result has besides, and of its source of error."""

POSTERIOR = Citation(
    key="calibrated-spread",
    author="groundborne",
    title="sum of all stages after calibration, with the means of its correlations",
    mark="derived",
)
_CHANGED = ("band_level", "mean_level", "floor_change", "floor_level")
_STALE = ("sound_level", "nr")
_QUANTITY_OF = {
    "band_level": QUANTITIES[0],
    "mean_level": QUANTITIES[0],
    "floor_change": QUANTITIES[1],
    "floor_level": QUANTITIES[1],
}


@checked(own_labels=("observed",))
def update_table(
    *, prior: StageErrors, posterior: StageErrors, observed: Observed, option: str | None = None
) -> xr.Dataset:
    """Prior, data and posterior side by side, by stage and band.

    Parameters
    ----------
    prior, posterior : StageErrors
        Before and after.
    observed : Observed
        What it was updated with.
    option : str, optional
        Needed where spreads differ by option.

    Returns
    -------
    xarray.Dataset
        On (stage, room, frequency), in the rooms that were measured: ``prior``, ``prior_error``,
        ``posterior`` and ``posterior_error``, mean and standard deviation of the error of the stage
        [dB]; on (room, frequency) the same of their sum, ``prior_sum`` and so on, beside ``data``
        and ``data_error``, measured less predicted, and ``upper_limit``. All are errors of the
        prediction as it was evaluated, also where the measurement was compared with one that held
        the mean of the prior. Stages that do not lie between source and sensor are there, and stay
        as they were.

    Raises
    ------
    CalibrationError
        The measurement was compared with a prediction that holds another mean than the prior.
    ValueError
        Errors of other stages, rooms or bands.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> f = third_octaves(63, 63)
    >>> rooms = xr.Dataset(coords={"room": ["R1"], "part_of_room": ("room", [""]),
    ...                            "floor_of_room": ("room", ["1"])})
    >>> prior = StageErrors.of([Spread(name="path", of_sound=4.0)], frequency=f, rooms=rooms)
    >>> off = xr.DataArray([[6.0]], dims=("room", "frequency"),
    ...                    coords={"room": ["R1"], "frequency": f.values})
    >>> seen = Observed(stages=["path"], comparison=xr.Dataset(
    ...     {"difference": off, "upper_limit": off > 99,
    ...      "covariance": (("room", "frequency", "other"), [[[16.0]]])},
    ...     attrs={"quantity": "sound pressure", "provenance": "invented", "fingerprints": ["0"]}))
    >>> table = update_table(prior=prior, posterior=prior.updated(seen), observed=seen)
    >>> table["posterior_sum"].round(9).item(), table["posterior_sum_error"].round(3).item()
    (3.0, 2.828)
    """
    where = "update_table"
    if not prior.mean.indexes["stage"].equals(posterior.mean.indexes["stage"]) or (
        prior.mean.shape != posterior.mean.shape
    ):
        raise ValueError(f"{where}: prior and posterior are of other stages, rooms or bands")
    seen = observed.comparison
    quantity = str(seen.attrs["quantity"])
    rooms = seen["room"].values
    found: dict[str, xr.DataArray] = {}
    for name, errors in (("prior", prior), ("posterior", posterior)):
        found[name] = errors.bias(quantity, option=option).sel(room=rooms)
        found[f"{name}_error"] = errors.standard_deviation(quantity, option=option).sel(room=rooms)
        mean, covariance = errors.of_sum(quantity, option=option, stages=observed.stages)
        spread = np.sqrt(np.diag(covariance).clip(min=0.0)).reshape(mean.shape)
        found[f"{name}_sum"] = mean.sel(room=rooms)
        found[f"{name}_sum_error"] = mean.copy(data=spread).sel(room=rooms)
    inside = seen["covariance"].transpose("room", "frequency", "other").values
    data = seen["difference"].transpose("room", "frequency")
    if prior.held_by(where, seen.attrs):
        data = data + found["prior_sum"].transpose("room", "frequency")
    found["data"] = data
    found["data_error"] = data.copy(data=np.sqrt(np.einsum("rff->rf", inside)))
    for array in found.values():
        array.attrs = {"units": "dB"}
    found["upper_limit"] = seen["upper_limit"].transpose("room", "frequency")
    return xr.Dataset(
        found,
        attrs={
            "quantity": quantity,
            CALIBRATED_WITH: posterior.calibrated_with,
            OFFICE_BIAS: posterior.office_bias,
        },
    )


@checked
def calibrated_spread(errors: StageErrors, *, options: Sequence[str] = ()) -> Spread:
    """All stages after calibration as one source of error for the next prediction.

    Parameters
    ----------
    errors : StageErrors
        After their update.
    options : sequence of str
        Of the next prediction, where spreads differ by option.

    Returns
    -------
    Spread
        ``calibration``: standard deviation of the sum of all stages by room and band, and by option
        where there are any. Once measured they err against each other, so that they cannot stand
        side by side any more. Bands go together over the length, and rooms by the share, that the
        means of the correlations of neighbouring bands and of pairs of rooms come to, in the
        quantity where these are larger.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> rooms = xr.Dataset(coords={"room": ["A", "B"], "part_of_room": ("room", ["", ""]),
    ...                            "floor_of_room": ("room", ["1", "2"])})
    >>> one = Spread(name="path", of_sound=3.0, of_floor=3.0, place="room", shared=0.5)
    >>> errors = StageErrors.of([one], frequency=third_octaves(50, 80), rooms=rooms)
    >>> found = calibrated_spread(errors)
    >>> round(found.shared, 6), round(found.bands_correlated, 6), float(found.of_sound[0, 0])
    (0.5, 3.0, 3.0)
    """
    sizes, near, shared = {}, [], []
    for quantity in QUANTITIES:
        each = []
        for option in options or (None,):
            mean, covariance = errors.of_sum(quantity, option=option)
            spread = np.sqrt(np.diag(covariance).clip(min=0.0))
            each.append(mean.copy(data=spread.reshape(mean.shape)))
            if spread.any():
                one, other = _correlations(covariance, spread, mean.shape)
                near.append(one)
                shared.append(other)
        names = xr.Variable("option", list(options))
        sizes[quantity] = xr.concat(each, dim=names, join="exact") if options else each[0]
    length = -1 / np.log(np.clip(max(near, default=1.0), 1e-3, 1 - 1e-9))
    return Spread(
        name=CALIBRATION,
        of_sound=sizes[QUANTITIES[0]],
        of_floor=sizes[QUANTITIES[1]],
        place="room",
        shared=float(np.clip(max(shared, default=1.0), 0.0, 1.0)),
        bands_correlated=float(length),
        citations=(POSTERIOR,),
    )


def _correlations(
    covariance: np.ndarray[Any, Any], spread: np.ndarray[Any, Any], shape: tuple[int, ...]
) -> tuple[float, float]:
    """Mean correlation of neighbouring bands, and of pairs of rooms; 1 where there are none."""
    rooms, bands = shape
    safe = np.where(spread > 0, spread, 1.0)
    together = (covariance / np.outer(safe, safe)).reshape(rooms, bands, rooms, bands)
    room, band = np.arange(rooms)[:, None], np.arange(bands - 1)
    near = together[room, band, room, band + 1].mean() if bands > 1 else 1.0
    one, other = (places[:, None] for places in np.triu_indices(rooms, 1))
    every = np.arange(bands)
    shared = together[one, every, other, every].mean() if rooms > 1 else 1.0
    return float(near), float(shared)


@checked(own_labels=("errors",))
def calibrated_result(study: StudyModel, result: xr.Dataset, *, errors: StageErrors) -> xr.Dataset:
    """The result of a study with what was learnt of its stages, rated anew.

    Parameters
    ----------
    study : Study
        That was evaluated.
    result : Dataset
        From ``study.evaluate``; one that was calibrated already is refused.
    errors : StageErrors
        After their update, of all rooms of the study.

    Returns
    -------
    xarray.Dataset
        The result with one more ``stage``, ``calibration``, which adds the mean error of all stages
        in every option; levels and ratings follow. With :func:`calibrated_spread` as the only
        spread, ``gb.study.how_sure(study, this, spreads=...)`` gives the answers. The attribute
        ``calibrated_with`` names the measurements, which cannot validate it, and ``office_bias``
        the stages of which an office's bias is in it.

    Raises
    ------
    StudyError
        A result that was calibrated before or holds an office's bias, or errors that were never
        updated and that no office knows a bias of.
    ValueError
        Other rooms or bands.

    Notes
    -----
    A-weighted levels of passbys and noise ratings by room that the result holds besides its
    criteria are left out.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> study = study.with_options(study.options[:1])
    >>> result = study.evaluate()
    >>> prior = StageErrors.of([Spread(name="path", of_sound=6.0, of_floor=6.0)],
    ...     frequency=result["frequency"], rooms=result.isel(room=slice(2)))
    >>> calibrated_result(study, result, errors=prior)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: calibrated_result: the errors were never updated by a ...
    """
    where = "calibrated_result"
    if calibration_labels(result.attrs):
        raise StudyError(f"{where}: the result was calibrated before; take that of the evaluation")
    if result.attrs.get(OFFICE_BIAS, "{}") != "{}":
        raise StudyError(
            f"{where}: the result holds an office's bias already; take that of the evaluation"
        )
    if errors.calibrated_with == "{}" and errors.office_bias == "{}":
        raise StudyError(f"{where}: the errors were never updated by a measurement")
    for dim in ("room", "frequency"):
        if set(result[dim].values.tolist()) != set(errors.mean[dim].values.tolist()):
            raise ValueError(f"{where}: the errors are not of the same {dim}s as the result")
    added = {q: _by_option(result, errors, q) for q in QUANTITIES}
    before = result["level_change"].reset_coords(drop=True)
    stage = added[QUANTITIES[0]] + 0.0 * before.isel(stage=0, drop=True)
    every = xr.concat(
        [before, stage.expand_dims(stage=[CALIBRATION])],
        dim="stage", join="exact", coords="minimal", compat="override",
    )  # fmt: skip
    changed: dict[str, xr.DataArray] = {
        name: (result[name] + added[_QUANTITY_OF[name]])
        .transpose(*result[name].dims)
        .assign_attrs(result[name].attrs)
        for name in _CHANGED
        if name in result
    }
    by_stage = [n for n in result.variables if "stage" in result[n].dims]
    kept = result.drop_vars([*by_stage, *(n for n in _STALE if n in result)])
    found = kept.assign(changed).assign(
        level_change=every.transpose(*result["level_change"].dims).assign_attrs(
            result["level_change"].attrs
        )
    )
    rated = assess(found, room_criteria=study.room_criteria, periods=study.periods)
    found = found.drop_vars([n for n in rated.data_vars if n in found]).assign(rated.data_vars)
    found.attrs = result.attrs | {
        CALIBRATED_WITH: errors.calibrated_with,
        OFFICE_BIAS: errors.office_bias,
    }
    return found


def _by_option(result: xr.Dataset, errors: StageErrors, quantity: str) -> xr.DataArray:
    """Mean error of all stages [dB]: option, room, frequency."""
    rows = []
    for option in result["option"].values:
        mean = errors.of_sum(quantity, option=str(option))[0]
        rows.append(mean.sel(room=result["room"].values, frequency=result["frequency"].values))
    names = xr.DataArray(result["option"].values, dims="option", name="option")
    found: xr.DataArray = xr.concat(rows, dim=names, join="exact")
    return found.drop_attrs(deep=False)
