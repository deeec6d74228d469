"""Which causes explain a measured level change better than the design, and whether any does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import BandError, LabelError, counted, not_negative, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.commissioning.cause_evidence import ONE_NUMBER, Evidence
from groundborne.commissioning.causes import CAUSES_BY_PRACTICE, Cause
from groundborne.commissioning.measured_curves import require_levels, require_sign, whitening

BAYES_FACTORS = Citation(
    key="kass-raftery1995",
    author="Kass and Raftery",
    year="1995",
    title="Bayes factors",
    locator="difference of BIC: 2 to 6 positive, 6 to 10 strong, above very strong",
    mark="from memory",
    status="transcribed",
)

FALSE_ALARMS = 0.01
"""Share of sound rooms in which any cause is reported."""
AS_LIKELY, VERY_STRONG = 6.0, 10.0
"""Difference of BIC within which another cause is as likely as the best, and above which two faults
stand before one, from memory."""

NONE_FOUND, FOUND, POOR = "none stands out", "found", "none explains it"
UNEXPLAINED = "unexplained"
"""Off the design, and no cause on the list has evidence."""
LIKELY, POSSIBLE, UNLIKELY = "likely", "as likely", "unlikely"

Array = np.ndarray[Any, Any]


# Strengths of different causes are different things.
@checked(own_labels=("causes",))
@dataclass(frozen=True, kw_only=True, eq=False)
class Diagnosis:
    """What isolation as designed may measure, and what each cause would change in it.

    Parameters
    ----------
    designed : DataArray
        Level change as designed [dB] on ``frequency``, and on ``sample`` where tolerances of the
        design are drawn: parts, masses, damping, and what the model is known to miss.
    causes : sequence of Cause
        Of the same bands, with names that differ.
    covariance : DataArray
        Of the measured values [dB²], on ``frequency`` and ``other``.
    deflection : DataArray, optional
        Deflection of the mounts in the samples over that as designed [-], on ``sample``; 1 by
        default.
    deflection_error : float
        Standard deviation of a measured deflection over that as designed [-], above 0.
    false_alarms : float
        Share of sound rooms in which a cause is reported, 0.0005 to 0.2.
    seed : int
        Of the rooms that this is worked out with.

    Raises
    ------
    BandError, LabelError
        Bands or dims that differ.
    ValueError
        No cause, two of one name, a covariance that is none, a number out of range.

    Notes
    -----
    The design is a normal distribution: mean and covariance of the samples, with the covariance of
    the measurement. A cause of strength s moves its mean. The evidence for a cause is the fall of
    BIC, ``2 ln L(s) − 2 ln L(design) − k ln n`` at its best strength, n being the number of data.
    A cause is reported where the largest evidence of all exceeds what it exceeds in `false_alarms`
    of 20 000 sound rooms, drawn from the samples themselves with errors of the measurement: so the
    rate holds for all causes together, and whatever the shape of the tolerances. It holds where
    tolerances and errors are what was said of them. A curve that no cause stands out of may still
    lie off the design: it is unexplained where it lies further off, ``(y − m)ᵀ V⁻¹ (y − m)``, than
    `false_alarms` of the same rooms do, which is a rate of its own.

    References
    ----------
    Schwarz's criterion, and its scale by Kass and Raftery 1995 [from memory]; the threshold by
    simulation [derived].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import MountsModel, mount_causes
    >>> f = third_octaves(4, 63)
    >>> model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=f)
    >>> labels = {"frequency": f.values}
    >>> variance = xr.DataArray(4.0 * np.eye(f.size), dims=("frequency", "other"),
    ...                         coords=labels | {"other": f.values})
    >>> diagnosis = Diagnosis(designed=xr.DataArray(model(), coords=labels, dims="frequency"),
    ...                       causes=mount_causes(model), covariance=variance)
    >>> found = diagnosis.of(xr.DataArray(model(bypass=12.0), coords=labels, dims="frequency"))
    >>> found["cause"].values[0].item(), found.attrs["verdict"]
    ('services past the mounts', 'found')
    """

    designed: xr.DataArray
    causes: Sequence[Cause]
    covariance: xr.DataArray
    deflection: xr.DataArray | None = None
    deflection_error: float = 0.1
    false_alarms: float = FALSE_ALARMS
    seed: int = 1

    def __post_init__(self) -> None:
        where = "Diagnosis"
        if not len(self.causes):
            raise ValueError(f"{where}: causes is empty; at least one is needed")
        names = [c.name for c in self.causes]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"{where}: two causes are called {name!r}; one may be")
        if set(self.designed.dims) not in ({"frequency"}, {"sample", "frequency"}):
            raise LabelError(
                f"{where}: designed has the dims {self.designed.dims}; frequency, and sample, are"
            )
        bands = self.designed["frequency"].values.tolist()
        for cause in self.causes:
            if cause.change["frequency"].values.tolist() != bands:
                raise BandError(f"{where}: the cause {cause.name!r} has other bands than designed")
        if self.deflection is not None and (
            self.deflection.dims != ("sample",)
            or self.deflection.sizes.get("sample") != self.designed.sizes.get("sample")
        ):
            raise LabelError(f"{where}: deflection is not of the samples of designed")
        positive(where, "deflection_error", self.deflection_error, "")
        within(where, "false_alarms", self.false_alarms, 0.0005, 0.2, "")
        not_negative(where, "seed", self.seed, "")
        whitening(where, self.covariance, self.designed)

    @property
    def _rows(self) -> Array:
        """Level changes as designed: sample, frequency."""
        designed = self.designed
        if "sample" not in designed.dims:
            return np.asarray(designed.values[None], float)
        return np.asarray(designed.transpose("sample", "frequency").values, float)

    @cached_property
    def _alone(self) -> Evidence:
        """Without the deflection among the data."""
        return self._data(False)

    @cached_property
    def _with_deflection(self) -> Evidence:
        return self._data(True)

    def _data(self, told: bool) -> Evidence:
        rows = self._rows
        noise = self.covariance.transpose("frequency", "other").values
        shifts = [c.change.transpose("case", "frequency").values for c in self.causes]
        if told:
            settled = np.ones(len(rows)) if self.deflection is None else self.deflection.values
            rows = np.column_stack([rows, settled])
            noise = np.pad(noise, (0, 1))
            noise[-1, -1] = self.deflection_error**2
            shifts = [
                np.column_stack([s, c.deflection.values - 1.0])
                for s, c in zip(shifts, self.causes, strict=True)
            ]
        spread = np.cov(rows, rowvar=False) if len(rows) > 1 else np.zeros_like(noise)
        return Evidence.of(
            rows, noise, noise + spread, shifts, [c.parameters for c in self.causes],
            self.false_alarms, np.random.default_rng([self.seed, told]),
        )  # fmt: skip

    def departs(
        self, measured: xr.DataArray, *, deflection: xr.DataArray | None = None
    ) -> xr.DataArray:
        """Whether any cause stands out, of many measured curves at once.

        Parameters
        ----------
        measured : DataArray
            Level changes [dB] on ``frequency`` and further dims.
        deflection : DataArray, optional
            Measured deflections over that as designed [-], on the further dims.
        """
        lead = [d for d in measured.dims if d != "frequency"]
        values = self._ordered("departs", measured).transpose(*lead, "frequency")
        rows = values.values.reshape(-1, values.sizes["frequency"])
        if deflection is not None:
            if set(deflection.dims) != set(lead):
                raise LabelError(
                    f"departs: deflection is on {deflection.dims}, the curves on {tuple(lead)}"
                )
            positive("departs", "deflection", deflection, "")
            rows = np.column_stack([rows, deflection.transpose(*lead).values.ravel()])
        data = self._alone if deflection is None else self._with_deflection
        largest = data.evidence(rows)[0].max(axis=1) > data.threshold
        return values.isel(frequency=0, drop=True).copy(data=largest.reshape(values.shape[:-1]))

    def of(self, measured: xr.DataArray, *, deflection: float | None = None) -> xr.Dataset:
        """What is likely of one measured curve.

        Parameters
        ----------
        measured : DataArray
            Level change [dB] on ``frequency``, without bands that are only limits; negative where
            isolation lowers the level.
        deflection : float, optional
            Measured deflection of the mounts over that as designed [-], where it was measured.

        Returns
        -------
        xarray.Dataset
            On ``cause``, most likely first, one by itself before two together unless these have
            10 more: ``evidence``, fall of BIC against the design [-]; ``likelihood_ratio``,
            ``2 ln`` of it [-]; ``strength`` with its meaning in ``strength_of``, and
            ``strength_low`` and ``strength_high``, the strengths next to those within 2.71 of the
            best (90 %, one number); of two faults together these are of the first, and
            ``second_strength``, ``second_strength_low`` and ``second_strength_high`` of the other,
            0 of one by itself, as ``faults`` counts; ``p_value``, share of sound rooms in which any
            cause has so much evidence; ``fit``, share of rooms with that cause that fit as poorly;
            ``standing``: ``likely``, ``as likely`` or ``unlikely``, all of them the last where none
            stands out. Two together stand only where they fit better than each of them alone, by
            2.71 in twice the log of the likelihood; ``look_for``. On (cause, frequency)
            ``expected``; on ``frequency`` ``measured``, ``designed``, and standard deviations of
            both, ``measured_error`` and ``designed_error`` [dB].
            The attributes hold ``verdict`` (``none stands out``, ``found``, ``none explains it``
            where the best one fits poorly, or ``unexplained`` where none stands out and yet the
            curve departs from the design), ``sentence``, ``threshold``, and ``p_as_designed``, the
            chance that a sound room with normal tolerances lies as far off.

        Raises
        ------
        BandError, LabelError
            Bands or dims that differ, or bands that are only limits.
        ValueError
            A deflection not above 0, or a curve that is explained poorly and lies far nearer to
            the design with the opposite sign.
        """
        where = "Diagnosis.of"
        require_levels(where, measured)
        if measured.dims != ("frequency",):
            raise LabelError(f"{where}: measured has the dims {measured.dims}; one curve is needed")
        values = self._ordered(where, measured).values
        told = deflection is not None
        if deflection is not None:
            positive(where, "deflection", deflection, "")
            values = np.append(values, deflection)
        data = self._with_deflection if told else self._alone
        evidence, ratio, place = (a[0] for a in data.evidence(values[None]))
        faults = np.array([max(1, len(c.parts)) for c in self.causes])
        within = np.where(faults < faults[evidence.argmax()], VERY_STRONG, AS_LIKELY)
        near = evidence >= evidence.max() - within
        # One fault stands before two unless two are far better: no room is given more than it has.
        order = np.lexsort((-evidence, np.where(near, faults, faults.max() + 1)))
        best = int(order[0])
        misfit = data.misfits(values, place)
        stands = bool(evidence.max() > data.threshold)
        explained = bool(misfit[best] > self.false_alarms)
        verdict = FOUND if explained else POOR
        if data.is_off(values) and not explained:
            turned = values.copy()
            turned[: measured.size] *= -1
            require_sign(where, data.off(values), data.off(turned))
        if not stands:
            verdict = UNEXPLAINED if data.is_off(values) else NONE_FOUND
        standing = np.where(near & self._worth_two(ratio), POSSIBLE, UNLIKELY).astype(object)
        standing[best] = LIKELY
        if not stands:
            standing[:] = UNLIKELY
        inside = [data.within(values, at, place[at]) for at in range(len(self.causes))]
        mean = self._rows.mean(axis=0)
        rows: dict[str, Any] = {
            "evidence": evidence,
            "likelihood_ratio": ratio,
            "faults": faults,
            "p_value": [float((data.largest >= e).mean()) for e in evidence],
            "fit": misfit,
            "standing": standing.astype(str),
            "strength_of": [c.strength_of for c in self.causes],
            "look_for": [c.look_for for c in self.causes],
        }
        for name in ("strength", "second_strength"):
            each = [self._strengths(i, name) for i in range(len(self.causes))]
            rows[name] = [e[p] for e, p in zip(each, place, strict=True)]
            ends = [_ends(e, w) for e, w in zip(each, inside, strict=True)]
            rows[f"{name}_low"], rows[f"{name}_high"] = zip(*ends, strict=True)
        expected = [
            mean + c.change.transpose("case", "frequency").values[p]
            for c, p in zip(self.causes, place, strict=True)
        ]
        names = np.array([c.name for c in self.causes])
        designs = self._rows
        curves = {
            "measured": self._ordered(where, measured).values,
            "measured_error": np.sqrt(
                np.diag(self.covariance.transpose("frequency", "other").values)
            ),
            "designed": mean,
            "designed_error": designs.std(axis=0, ddof=1) if len(designs) > 1 else 0.0 * mean,
        }
        found = xr.Dataset(
            {n: ("cause", np.asarray(v)[order]) for n, v in rows.items()}
            | {"expected": (("cause", "frequency"), np.asarray(expected)[order], {"units": "dB"})}
            | {n: ("frequency", v, {"units": "dB"}) for n, v in curves.items()},
            coords={"cause": names[order], "frequency": self.designed["frequency"].values},
        )
        found.attrs = {
            "verdict": verdict,
            "sentence": _sentence(verdict, found, self.false_alarms),
            "threshold": data.threshold,
            "p_as_designed": data.as_designed(values),
            "false_alarms": self.false_alarms,
            "citations": citation_texts((CAUSES_BY_PRACTICE, BAYES_FACTORS)),
        }
        return found

    def _strengths(self, cause: int, name: str) -> Array:
        """Of every case; 0 where a cause has no second one."""
        change = self.causes[cause].change
        if name not in change.coords:
            return np.zeros(change.sizes["case"])
        return np.asarray(change[name].values, float)

    def _worth_two(self, ratio: Array) -> Array:
        """Causes by themselves, and those of two that fit better than each of them alone."""
        own = {c.name: r for c, r in zip(self.causes, ratio, strict=True)}
        return np.array(
            [
                all(r > own.get(part, -np.inf) + ONE_NUMBER for part in c.parts)
                for c, r in zip(self.causes, ratio, strict=True)
            ]
        )

    def _ordered(self, where: str, measured: xr.DataArray) -> xr.DataArray:
        bands = self.designed["frequency"].values
        if "frequency" not in measured.dims or not np.array_equal(
            measured["frequency"].values, bands
        ):
            raise BandError(
                f"{where}: measured has other bands than designed, {bands[0]:g} to {bands[-1]:g} Hz"
            )
        return measured


def _ends(strengths: Array, inside: Array) -> tuple[float, float]:
    """Ends of an interval that is no finer than the strengths that were looked at."""
    each = np.unique(strengths)
    low, high = np.searchsorted(each, [strengths[inside].min(), strengths[inside].max()])
    return float(each[max(low - 1, 0)]), float(each[min(high + 1, each.size - 1)])


def _sentence(verdict: str, found: xr.Dataset, false_alarms: float) -> str:
    """What is found, in words."""
    names = [str(n) for n in found["cause"].values]
    rate = f"false alarms in {100 * false_alarms:g} % of sound rooms"
    if verdict == NONE_FOUND:
        return f"of {counted(len(names), 'cause', 'causes')} looked for none stands out ({rate})"
    if verdict == UNEXPLAINED:
        return (
            f"it departs from the design, and none of {counted(len(names), 'cause', 'causes')} "
            f"looked for explains it ({rate}); look for what is not on the list: calibration and "
            "place of the sensors, another state, parts other than designed"
        )
    like = [n for n, s in zip(names, found["standing"].values, strict=True) if s == POSSIBLE]
    more = f"; it cannot be told from: {', or '.join(like)}" if like else ""
    both = ", together" if found["faults"].values[0] > 1 else ""
    poor = "; it does not explain all that was measured" if verdict == POOR else ""
    return (
        f"most likely {names[0]}{both}{more}{poor} ({rate}); look for {found['look_for'].values[0]}"
    )
