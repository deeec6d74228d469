"""Distributions of numbers that are not known for sure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import known

DISTRIBUTIONS = ("normal", "lognormal", "uniform", "triangular", "empirical")

_NEEDS = {
    "normal": (),
    "lognormal": (),
    "uniform": ("low", "high"),
    "triangular": ("low", "high", "mode"),
    "empirical": ("values",),
}
_MAY = {
    "normal": ("centre", "standard_deviation", "coefficient_of_variation", "low", "high"),
    "lognormal": ("centre", "standard_deviation", "coefficient_of_variation", "low", "high"),
}
_ABOUT = tuple(_MAY)  # those about a centre


@checked
@dataclass(frozen=True, kw_only=True)
class Distribution:
    """How a number is distributed.

    Parameters
    ----------
    name : str
        One of ``DISTRIBUTIONS``.
    centre : float, optional
        Mean of a normal, median of a lognormal distribution; without it, it has none yet.
    standard_deviation : float, optional
        Of these, in the unit of the number, before they are truncated.
    coefficient_of_variation : float, optional
        In its place: standard deviation over mean [-].
    low, high : float, optional
        Ends of a uniform or triangular distribution; a normal or lognormal one is truncated there.
    mode : float, optional
        Peak of a triangular distribution.
    values : tuple of float
        Of an empirical distribution, each as likely as the others.

    Raises
    ------
    ValueError
        A parameter that is missing, or of another distribution, or impossible.

    References
    ----------
    ``scipy.stats``; parameters of the lognormal distribution by its moments: closed form.

    Examples
    --------
    >>> soil = Distribution(name="lognormal", centre=220.0, coefficient_of_variation=0.2)
    >>> soil.ppf(np.array([0.1, 0.5, 0.9])).round(1).tolist()
    [170.7, 220.0, 283.6]
    """

    name: str
    centre: float | None = None
    standard_deviation: float | None = None
    coefficient_of_variation: float | None = None
    low: float | None = None
    high: float | None = None
    mode: float | None = None
    values: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        where = "Distribution"
        known(where, "distribution", self.name, DISTRIBUTIONS)
        where = f"the {self.name} distribution"
        may = _MAY.get(self.name, _NEEDS[self.name])
        for parameter in (*_MAY["normal"], "mode", "values"):
            value = getattr(self, parameter)
            given = value is not None and value != ()
            if given and parameter not in may:
                raise ValueError(f"{where} has no {parameter}; it takes {', '.join(may)}")
            if not given and parameter in _NEEDS[self.name]:
                raise ValueError(f"{where} needs {', '.join(_NEEDS[self.name])}")
        if self.name in _ABOUT:
            self._check_spread(where)
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise ValueError(
                f"{where} has low {self.low:g} and high {self.high:g}; low must be the smaller"
            )
        if self.mode is not None:
            assert self.low is not None
            assert self.high is not None
            if not self.low <= self.mode <= self.high:
                raise ValueError(
                    f"{where} has the mode {self.mode:g}; it must lie from {self.low:g} to "
                    f"{self.high:g}, its ends"
                )
        if self.name == "empirical" and len(set(self.values)) < 2:
            raise ValueError(f"{where} has one value; give two that differ at least")
        if self.centre is not None:
            self._check_centre(where)

    def _check_spread(self, where: str) -> None:
        given = [
            (n, getattr(self, n)) for n in ("standard_deviation", "coefficient_of_variation")
            if getattr(self, n) is not None
        ]  # fmt: skip
        if len(given) != 1:
            raise ValueError(
                f"{where} needs its standard_deviation or its coefficient_of_variation, one of both"
            )
        name, value = given[0]
        if not value > 0:
            raise ValueError(f"{where} has the {name} {value:g}; it must be above 0")

    def _check_centre(self, where: str) -> None:
        assert self.centre is not None
        if self.name == "lognormal" and not self.centre > 0:
            raise ValueError(f"{where} has the centre {self.centre:g}; it must be above 0")
        if self.coefficient_of_variation is not None and self.centre == 0:
            raise ValueError(
                f"{where} has a coefficient_of_variation and the centre 0, of which nothing is a "
                "share; give its standard_deviation"
            )
        if self._inside[0] >= self._inside[1]:
            given = (("low", self.low), ("high", self.high))
            ends = ", ".join(f"{name} {end:g}" for name, end in given if end is not None)
            raise ValueError(
                f"{where} about {self.centre:g} has nothing left between its ends ({ends}), where "
                "it is truncated"
            )

    def about(self, centre: float) -> Distribution:
        """The same about a centre, where it has none.

        Parameters
        ----------
        centre : float
            Of a normal or lognormal distribution; others have no need of one.

        Examples
        --------
        >>> Distribution(name="normal", standard_deviation=2.0).about(30.0).centre
        30.0
        """
        if self.centre is not None or self.name not in _ABOUT:
            return self
        return replace(self, centre=centre)

    @property
    def about_a_centre(self) -> bool:
        """Whether it is one about a centre that was not given."""
        return self.name in _ABOUT and self.centre is None

    @property
    def in_words(self) -> str:
        """What it is, with the parameters that were given.

        Examples
        --------
        >>> Distribution(name="normal", standard_deviation=2.0, low=1.0).in_words
        'normal, standard deviation 2, low 1'
        """
        said = [self.name]
        for parameter in (*_MAY["normal"], "mode"):
            value = getattr(self, parameter)
            if value is not None:
                said.append(f"{parameter.replace('_', ' ')} {value:g}")
        if self.values:
            said.append(f"{len(self.values)} values from {min(self.values):g} to "
                        f"{max(self.values):g}")  # fmt: skip
        return ", ".join(said)

    @cached_property
    def _frozen(self) -> Any:
        from scipy import stats

        if self.name not in _ABOUT:
            assert self.low is not None
            assert self.high is not None
            wide = self.high - self.low
            if self.mode is None:
                return stats.uniform(self.low, wide)
            return stats.triang((self.mode - self.low) / wide, self.low, wide)
        if self.centre is None:
            raise ValueError(f"the {self.name} distribution has no centre")
        deviation, share = self.standard_deviation, self.coefficient_of_variation
        if self.name == "normal":
            return stats.norm(self.centre, deviation or (share or 0.0) * abs(self.centre))
        # With w = exp(s²): variance over squared mean is w - 1, over squared median w(w - 1).
        if share is not None:
            squared = 1 + share**2
        else:
            squared = (1 + np.sqrt(1 + 4 * (float(deviation or 0.0) / self.centre) ** 2)) / 2
        return stats.lognorm(np.sqrt(np.log(squared)), scale=self.centre)

    @cached_property
    def _inside(self) -> tuple[float, float]:
        """Shares of what is not truncated."""
        if self.name not in _ABOUT:
            return 0.0, 1.0
        low, high = self.low, self.high
        return (
            0.0 if low is None else float(self._frozen.cdf(low)),
            1.0 if high is None else float(self._frozen.cdf(high)),
        )

    def ppf(self, share: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """Numbers that shares of all do not exceed.

        Parameters
        ----------
        share : ndarray
            0 to 1, both excluded.

        Raises
        ------
        ValueError
            A share is beyond, or a centre is not known.
        """
        share = np.asarray(share, float)
        if not ((share > 0) & (share < 1)).all():
            raise ValueError("Distribution: share holds a value beyond 0 to 1, both excluded")
        if self.name == "empirical":
            ordered = np.sort(np.asarray(self.values, float))
            at = np.ceil(share * ordered.size).astype(int) - 1
            return np.asarray(ordered[at])
        low, high = self._inside
        found: np.ndarray[Any, Any] = self._frozen.ppf(low + share * (high - low))
        return found


@checked
@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """A key of a study file that has a distribution.

    Parameters
    ----------
    key : str
        Its address.
    distribution : Distribution
        Of its value.
    source : str
        Where that is from.
    """

    key: str
    distribution: Distribution
    source: str = ""
