"""Evidence for causes in measured curves, and what sound rooms show of it by chance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

ONE_NUMBER = 2.705543
"""90 % of chi-square with one degree of freedom."""
_DRAWS = 20_000
_CHUNK = 200  # rooms at once, so that what is worked on stays near the processor

Array = np.ndarray[Any, Any]


@dataclass(frozen=True, eq=False)
class Evidence:
    """Everything in whitened form: the design has the mean 0 and the covariance 1."""

    mean: Array
    root: Array
    shifts: list[Array]
    halves: list[Array]
    penalty: Array
    largest: Array
    """Largest evidence of every simulated sound room."""
    threshold: float
    furthest: float
    """Chi-square that `false_alarms` of the simulated sound rooms exceed."""

    @classmethod
    def of(
        cls,
        rows: Array,
        noise: Array,
        whole: Array,
        shifts: list[Array],
        parameters: list[int],
        false_alarms: float,
        draw: Any,
    ) -> Evidence:
        """Work out what sound rooms show by chance.

        Parameters
        ----------
        rows : ndarray
            Data as designed: sample, datum.
        noise, whole : ndarray
            Covariance of the measurement, and of it with the tolerances.
        shifts : list of ndarray
            What each cause adds: case, datum.
        parameters : list of int
            Numbers that each cause has.
        false_alarms : float
            Share of sound rooms beyond the threshold.
        draw : Generator
            Of the rooms.
        """
        root = np.linalg.inv(np.linalg.cholesky(whole))
        mean = rows.mean(axis=0)
        white = [s @ root.T for s in shifts]
        halves = [(w**2).sum(axis=1) / 2 for w in white]
        penalty = np.array(parameters, float) * np.log(len(mean))
        found = cls(mean, root, white, halves, penalty, np.zeros(0), 0.0, 0.0)
        errors = draw.standard_normal((_DRAWS, len(mean))) @ np.linalg.cholesky(noise).T
        rooms = rows[draw.integers(len(rows), size=_DRAWS)] + errors
        largest = np.concatenate(
            [
                found.evidence(part)[0].max(axis=1)
                for part in np.array_split(rooms, _DRAWS // _CHUNK)
            ]
        )
        threshold = float(np.quantile(largest, 1 - false_alarms, method="higher"))
        off = (((rooms - mean) @ root.T) ** 2).sum(axis=1)
        furthest = float(np.quantile(off, 1 - false_alarms, method="higher"))
        return cls(mean, root, white, halves, penalty, largest, threshold, furthest)

    def evidence(self, rows: Array) -> tuple[Array, Array, Array]:
        """Fall of BIC, twice the log of the likelihood ratio, and best strength: room, cause."""
        white = (rows - self.mean) @ self.root.T
        ratios, places = [], []
        for shift, half in zip(self.shifts, self.halves, strict=True):
            ratio = white @ shift.T - half
            places.append(ratio.argmax(axis=1))
            ratios.append(2 * ratio.max(axis=1))
        ratio = np.stack(ratios, axis=1)
        return ratio - self.penalty, ratio, np.stack(places, axis=1)

    def misfits(self, values: Array, place: Array) -> Array:
        """Share of rooms with each cause at its best strength that fit as poorly."""
        from scipy import stats

        white = self.root @ (values - self.mean)
        chi = np.array(
            [((white - s[p]) ** 2).sum() for s, p in zip(self.shifts, place, strict=True)]
        )
        found: Array = stats.chi2.sf(chi, len(white))
        return found

    def as_designed(self, values: Array) -> float:
        """Share of sound rooms that lie as far off the design."""
        from scipy import stats

        return float(stats.chi2.sf(self.off(values), values.size))

    def is_off(self, values: Array) -> bool:
        """Whether it lies further off the design than sound rooms do."""
        return self.off(values) > self.furthest

    def off(self, values: Array) -> float:
        """Chi-square from the design."""
        white = self.root @ (values - self.mean)
        return float(white @ white)

    def within(self, values: Array, cause: int, place: int) -> Array:
        """Strengths whose likelihood is within the 90 % of one number from the best."""
        white = self.root @ (values - self.mean)
        ratio = 2 * (self.shifts[cause] @ white - self.halves[cause])
        found: Array = np.flatnonzero(ratio >= ratio[place] - ONE_NUMBER)
        return found
