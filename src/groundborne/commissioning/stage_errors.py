"""Errors of the stages of a prediction, updated by what was measured: exact, for they add up."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, known
from groundborne.citation import Citation
from groundborne.commissioning.provenance import (
    CALIBRATED_WITH,
    FINGERPRINTS,
    OFFICE_BIAS,
    PROVENANCE,
    CalibrationError,
    calibration_record,
    fingerprints,
    same_levels,
)
from groundborne.uncertainty import Spread, band_correlation
from groundborne.uncertainty.spread import QUANTITIES

GAUSSIAN_UPDATE = Citation(
    key="linear-gaussian-update",
    author="Bishop",
    year="2006",
    title="Pattern Recognition and Machine Learning",
    locator="section 2.3.3, linear Gaussian model",
    mark="from memory",
    status="transcribed",
)

Array = np.ndarray[Any, Any]
_DIMS = ("stage", "room", "frequency")
_SINGULAR = 1e-12


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Observed:
    """Measured less predicted levels, and the stages whose errors they are the sum of.

    Parameters
    ----------
    comparison : Dataset
        From :func:`~groundborne.commissioning.compare_levels`, with ``validates=False`` where what
        it compares with was calibrated before.
    stages : sequence of str, optional
        Names of the spreads between the source and what was measured, where that is not all that
        move the quantity: such as ``trains`` and ``ground to foundation`` for a foundation.

    Raises
    ------
    ValueError
        An empty list of stages, or no comparison.

    Examples
    --------
    See :class:`StageErrors`.
    """

    comparison: xr.Dataset
    stages: Sequence[str] | None = None

    def __post_init__(self) -> None:
        if self.stages is not None and not len(self.stages):
            raise ValueError("Observed: stages is empty; name those between source and sensor")
        for name in ("difference", "covariance", "upper_limit"):
            if name not in self.comparison:
                raise ValueError(f"Observed: comparison holds no {name!r}; see compare_levels")


@checked(own_labels=("spreads",))  # of all rooms and bands, where some are taken
@dataclass(frozen=True, kw_only=True, eq=False)
class StageErrors:
    """Errors of stages in rooms and bands, jointly normal in decibels.

    Parameters
    ----------
    spreads : tuple of Spread
        Stages with their standard deviations before anything was measured; names differ.
    mean : DataArray
        Error of each in those standard deviations, on ``stage``, ``room`` and ``frequency`` [-].
    covariance : ndarray
        Of all of them, in the order of `mean` [-].
    calibrated_with : str
        Labels and fingerprints of the measurements they were updated with.
    office_bias : str
        Stages whose bias an office knew before, and fingerprints of it.

    Notes
    -----
    An error moves sound and floor by its standard deviation in each (``of_sound``, ``of_floor``),
    so that measurements of both update the same errors, and options share them. The covariance is
    square in stages × rooms × bands: take the rooms that were measured, and those that matter.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> f = third_octaves(63, 63)
    >>> rooms = xr.Dataset(coords={"room": ["R1"], "part_of_room": ("room", [""]),
    ...                            "floor_of_room": ("room", ["1"])})
    >>> stages = [Spread(name="path", of_sound=6.0), Spread(name="room", of_sound=3.0)]
    >>> prior = StageErrors.of(stages, frequency=f, rooms=rooms)
    >>> off = xr.DataArray([[9.0]], dims=("room", "frequency"),
    ...                    coords={"room": ["R1"], "frequency": f.values})
    >>> found = xr.Dataset({"difference": off, "upper_limit": off > 99,
    ...     "covariance": (("room", "frequency", "other"), [[[0.0]]])},
    ...     attrs={"quantity": "sound pressure", "option": "", "provenance": "invented",
    ...            "fingerprints": ["0"]})
    >>> posterior = prior.updated(Observed(comparison=found))
    >>> posterior.bias("sound pressure").values.ravel().round(2).tolist()
    [7.2, 1.8]
    """

    spreads: tuple[Spread, ...]
    mean: xr.DataArray
    covariance: Array
    calibrated_with: str = "{}"
    office_bias: str = "{}"

    def __post_init__(self) -> None:
        size = self.mean.size
        if self.mean.dims != _DIMS or self.covariance.shape != (size, size):
            raise ValueError(
                f"StageErrors: mean is on {self.mean.dims} and covariance {self.covariance.shape}; "
                f"stage, room, frequency and a square of {size} are needed"
            )

    @classmethod
    @checked(own_labels=("rooms",))
    def of(
        cls,
        spreads: Sequence[Spread],
        *,
        frequency: xr.DataArray,
        rooms: xr.Dataset,
        bias: Mapping[str, xr.DataArray] | None = None,
    ) -> StageErrors:
        """Errors before anything was measured.

        Parameters
        ----------
        spreads : sequence of Spread
            Of the prediction.
        frequency : DataArray
            Nominal bands [Hz].
        rooms : Dataset
            ``room`` with ``part_of_room`` and ``floor_of_room``, such as a result.
        bias : mapping of str to DataArray, optional
            Of stages whose mean error an office knows [dB of sound], on ``frequency`` (and
            ``room``); of one on ``stage``, such as ``pooled["bias"]`` of
            :func:`~groundborne.commissioning.pool_studies`, its own stage is taken. Measured less
            predicted.

        Returns
        -------
        StageErrors
            With the correlations of the spreads: bands by their length, rooms by place and share.

        Raises
        ------
        ValueError
            Two spreads of one name, or a bias of an unknown stage, on other dims, or of a stage
            that adds nothing.
        BandError
            A bias of other bands.
        """
        where = "StageErrors.of"
        names = [s.name for s in spreads]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"{where}: two spreads are called {name!r}; one may be")
        labels = [str(r) for r in rooms["room"].values]
        shape = (len(names), len(labels), frequency.size)
        blocks = []
        for spread in spreads:
            bands = band_correlation(frequency, length=spread.bands_correlated).values
            blocks.append(np.kron(_of_rooms(spread, rooms), bands))
        size = shape[1] * shape[2]
        whole = np.zeros((shape[0] * size,) * 2)
        for at, block in enumerate(blocks):
            whole[at * size : (at + 1) * size, at * size : (at + 1) * size] = block
        coords = {"stage": names, "room": labels, "frequency": frequency["frequency"].values}
        mean = xr.DataArray(np.zeros(shape), dims=_DIMS, coords=coords)
        empty = cls(spreads=tuple(spreads), mean=mean, covariance=whole)
        record = {}
        for name, known_bias in (bias or {}).items():
            known(where, "stage of bias", name, names)
            at = names.index(name)
            known_bias = _of_stage(where, name, known_bias, mean)
            one = empty._sizes(spreads[at], QUANTITIES[0], None)
            wanted = (known_bias + 0.0 * one).transpose("room", "frequency")
            if bool(((one <= 0) & (wanted != 0)).any()):
                raise ValueError(f"{where}: the stage {name!r} has a bias and no spread of sound")
            mean[at] = (wanted / xr.where(one > 0, one, 1.0)).values
            record[name] = sorted({*fingerprints(wanted)})
        return replace(empty, mean=mean, office_bias=json.dumps(record, ensure_ascii=False))

    def _sizes(self, spread: Spread, quantity: str, option: str | None) -> xr.DataArray:
        """Standard deviation of a stage on room and frequency [dB]."""
        found = spread.of(quantity)
        where = "StageErrors"
        if "option" in found.dims:
            if option is None:
                raise ValueError(
                    f"{where}: the spread {spread.name!r} differs by option; name the option"
                )
            known(where, "option", option, [str(o) for o in found["option"].values])
            found = found.sel(option=option, drop=True)
        like = self.mean.isel(stage=0, drop=True)
        for dim in ("room", "frequency"):
            if dim in found.dims:
                missing = set(like[dim].values.tolist()) - set(found[dim].values.tolist())
                if missing:
                    raise BandError(
                        f"{where}: the spread {spread.name!r} has no {dim} {min(missing)!r}"
                    )
                found = found.sel({dim: like[dim].values})
        return (found + xr.zeros_like(like)).transpose("room", "frequency").reset_coords(drop=True)

    def _scale(self, quantity: str, option: str | None) -> Array:
        """Standard deviations of all errors [dB], in the order of `mean`."""
        rows = [self._sizes(s, quantity, option).values for s in self.spreads]
        return np.stack(rows).ravel()

    def bias(self, quantity: str, *, option: str | None = None) -> xr.DataArray:
        """Mean error of every stage [dB], measured less predicted: stage, room, frequency.

        Parameters
        ----------
        quantity : str
            ``sound pressure`` or ``velocity``.
        option : str, optional
            Needed where spreads differ by option.
        """
        values = self._scale(quantity, option) * self.mean.values.ravel()
        return self.mean.copy(data=values.reshape(self.mean.shape)).assign_attrs(units="dB")

    def standard_deviation(self, quantity: str, *, option: str | None = None) -> xr.DataArray:
        """Standard deviation of every stage [dB]: stage, room, frequency.

        Parameters
        ----------
        quantity, option
            As for :meth:`bias`.
        """
        spread = np.sqrt(np.diag(self.covariance).clip(min=0.0))
        values = self._scale(quantity, option) * spread
        return self.mean.copy(data=values.reshape(self.mean.shape)).assign_attrs(units="dB")

    def of_sum(
        self, quantity: str, *, option: str | None = None, stages: Sequence[str] | None = None
    ) -> tuple[xr.DataArray, Array]:
        """Mean of the sum of stages [dB] on room and frequency, and its covariance [dB²].

        Parameters
        ----------
        quantity, option
            As for :meth:`bias`.
        stages : sequence of str, optional
            All by default.
        """
        sums = self._sums(quantity, option, stages)
        mean = (sums @ self.mean.values.ravel()).reshape(self.mean.shape[1:])
        level = self.mean.isel(stage=0, drop=True).copy(data=mean).assign_attrs(units="dB")
        return level, sums @ self.covariance @ sums.T

    def _sums(self, quantity: str, option: str | None, stages: Sequence[str] | None) -> Array:
        """Matrix from all errors to the sum of stages in every room and band."""
        names = [str(s) for s in self.mean["stage"].values]
        wanted = names if stages is None else list(stages)
        for name in wanted:
            known("StageErrors", "stage", name, names)
        scale = self._scale(quantity, option).reshape(len(names), -1)
        count = scale.shape[1]
        return np.hstack(
            [np.diag(s * (n in wanted)) for n, s in zip(names, scale, strict=True)]
        ).reshape(count, -1)

    def updated(self, *observations: Observed) -> StageErrors:
        """Errors after measurements, each band and room of which is a sum of stages.

        Parameters
        ----------
        *observations : Observed
            Of any rooms, quantities and places on the path; their errors are independent of each
            other.

        Returns
        -------
        StageErrors
            Exact for normal errors: ``m + P Hᵀ (H P Hᵀ + R)⁻¹ (y − H m)``, and
            ``P − P Hᵀ (H P Hᵀ + R)⁻¹ H P``.

        Raises
        ------
        CalibrationError
            A measurement was used before, or compared with a prediction that was calibrated
            otherwise.
        BandError
            Other bands.
        ValueError
            Unknown rooms, stages or options, or nothing but upper limits.

        Notes
        -----
        What was compared with a prediction that holds the mean of these errors already, of an
        office or of measurements before, tells of what is left of them; what was compared with the
        prediction without, of all. Both lead to the same errors.

        Bands that are upper limits say how loud it is at most and are left out; the rest of the
        spectrum updates them by the correlation of bands.

        References
        ----------
        Bishop 2006, section 2.3.3 [from memory].
        """
        found = self
        for observed in observations:
            found = found._with(observed, self)
        return found

    def held_by(self, where: str, attrs: Mapping[Any, Any]) -> bool:
        """Whether a prediction holds the mean of these errors already, by its attributes.

        Parameters
        ----------
        where : str
            Who asks.
        attrs : mapping
            Of the prediction, or of a comparison with it.

        Raises
        ------
        CalibrationError
            It holds another one.
        """
        theirs = [json.loads(attrs.get(n, "{}")) for n in (CALIBRATED_WITH, OFFICE_BIAS)]
        mine = [json.loads(n) for n in (self.calibrated_with, self.office_bias)]
        if any(theirs) and theirs != mine:
            raise CalibrationError(
                f"{where}: the prediction {_of(theirs)}, these errors {_of(mine)}; compare with "
                "the prediction as it was evaluated, or with that of these errors"
            )
        return any(theirs)

    def _with(self, observed: Observed, before: StageErrors) -> StageErrors:
        where = "StageErrors.updated"
        seen, attrs = observed.comparison, observed.comparison.attrs
        held = before.held_by(where, attrs)
        record = self._record(where, attrs)
        bands = self.mean["frequency"].values
        if not np.array_equal(seen["frequency"].values, bands):
            raise BandError(
                f"{where}: what was measured has other bands than the errors, {bands[0]:g} to "
                f"{bands[-1]:g} Hz"
            )
        rooms = [str(r) for r in self.mean["room"].values]
        for room in seen["room"].values:
            known(where, "room", str(room), rooms)
        quantity = str(attrs["quantity"])
        sums = self._sums(quantity, attrs.get("option") or None, observed.stages)
        at = [rooms.index(str(r)) for r in seen["room"].values]
        rows = (np.array(at)[:, None] * len(bands) + np.arange(len(bands))).ravel()
        off = seen["difference"].transpose("room", "frequency").values.ravel()
        limit = seen["upper_limit"].transpose("room", "frequency").values.ravel()
        blocks = seen["covariance"].transpose("room", "frequency", "other").values
        noise = np.zeros((off.size, off.size))
        for n, block in enumerate(blocks):
            inside = slice(n * len(bands), (n + 1) * len(bands))
            noise[inside, inside] = block
        kept = np.flatnonzero(~limit)
        if not kept.size:
            raise ValueError(f"{where}: all levels are upper limits, from which nothing is learnt")
        h = sums[rows][kept]
        y = off[kept]
        y = y - h @ self.mean.values.ravel()  # as if of the prediction as it was at first
        if held:
            y = y + h @ before.mean.values.ravel()
        cross = self.covariance @ h.T
        inside = h @ cross + noise[np.ix_(kept, kept)]
        gain = cross @ _inverse(inside)
        mean = self.mean.values.ravel() + gain @ y
        left = self.covariance - gain @ cross.T
        return replace(
            self,
            mean=self.mean.copy(data=mean.reshape(self.mean.shape)),
            covariance=(left + left.T) / 2,
            calibrated_with=record,
        )

    def _record(self, where: str, attrs: Mapping[Any, Any]) -> str:
        """What these errors are calibrated with, this measurement included."""
        before = json.loads(self.calibrated_with)
        label = str(attrs.get(PROVENANCE, "")).strip()
        if not label:
            raise CalibrationError(
                f"{where}: the measurement has no label; see commissioning.labelled"
            )
        prints = list(attrs.get(FINGERPRINTS, []))
        for other, used in before.items():
            if same_levels(used, prints):
                raise CalibrationError(
                    f"{where}: levels of {label!r} were used before, as {other!r}; each "
                    "measurement counts once"
                )
        return calibration_record([(label, prints)], self.calibrated_with)


def _of_stage(where: str, name: str, bias: xr.DataArray, mean: xr.DataArray) -> xr.DataArray:
    """The bias of one stage on room and frequency, or one of them."""
    if "stage" in bias.dims:
        known(where, f"stage of the bias of {name!r}", name, [str(s) for s in bias["stage"].values])
        bias = bias.sel(stage=name)
    if beyond := set(bias.dims) - {"room", "frequency"}:
        raise ValueError(
            f"{where}: the bias of {name!r} is on {min(map(str, beyond))!r}; room and frequency "
            "are known: select one"
        )
    bands = mean["frequency"].values
    if "frequency" in bias.dims and not set(bands) <= set(bias["frequency"].values):
        missing = min(set(bands.tolist()) - set(bias["frequency"].values.tolist()))
        raise BandError(f"{where}: the bias of {name!r} has no band {missing:g} Hz")
    if "frequency" in bias.dims:
        bias = bias.sel(frequency=bands)
    return bias.reset_coords(drop=True)


def _of(records: Sequence[Mapping[str, Any]]) -> str:
    """What something was calibrated with, and which bias of an office it holds, in words."""
    labels, stages = (", ".join(map(repr, r)) for r in records)
    words = f"was calibrated with {labels}" if labels else "was never calibrated"
    return f"{words} and holds an office's bias of {stages}" if stages else words


def _inverse(matrix: Array) -> Array:
    """Inverse of a covariance; of one whose data repeat each other, on what they tell."""
    found: Array
    if np.linalg.cond(matrix) < 1 / _SINGULAR:
        found = np.linalg.inv(matrix)
    else:
        found = np.linalg.pinv(matrix, rcond=_SINGULAR, hermitian=True)
    return found


def _of_rooms(spread: Spread, rooms: xr.Dataset) -> Array:
    """Correlation of the errors of rooms: 1 at one place, what all share elsewhere."""
    count = rooms.sizes["room"]
    if not spread.place:
        return np.ones((count, count))
    places = rooms[spread.place].values
    same = places[:, None] == places[None, :]
    found: Array = np.where(same, 1.0, spread.shared)
    return found
