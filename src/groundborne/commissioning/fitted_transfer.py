"""Numbers of a model fitted to a measured transfer by band, with intervals."""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import finite, known, positive, within
from groundborne.citation import Citation
from groundborne.commissioning.measured_curves import require_levels, require_sign, whitening
from groundborne.usual_ranges import UnusualValueWarning

PROFILE = Citation(
    key="venzon-moolgavkar1988",
    author="Venzon and Moolgavkar",
    year="1988",
    title="A method for computing profile-likelihood-based confidence intervals",
    locator="ends where twice the log-likelihood has fallen by a quantile of chi-square, 1 degree",
    mark="seen second-hand",
    status="transcribed",
)

Model = Callable[..., np.ndarray[Any, Any]]
"""Level change by band [dB], of parameters by name."""

Array = np.ndarray[Any, Any]
_STARTS = 8
_POOR = 0.001
"""Chance of so poor a fit below which it is warned of; common practice."""
_CLOSE = 1e-3  # of the quantile, to which ends of intervals are found


@checked
@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One number to be found out.

    Parameters
    ----------
    name : str
        As the model calls it.
    low, high : float
        Bounds; low is 0 or more. Above 0 it is sought on a logarithmic scale.
    expected : float, optional
        As designed; with `spread` it is an observation of its own.
    spread : float, optional
        Standard deviation of that, as a share of it [-]: tolerance of parts, by their supplier.
    unit : str
        For tables.

    Raises
    ------
    ValueError
        Bounds out of order, an expected value beyond them, a spread without one.

    Examples
    --------
    >>> Parameter(name="mount_frequency", low=4.0, high=40.0, expected=10.0, spread=0.05).name
    'mount_frequency'
    """

    name: str
    low: float
    high: float
    expected: float | None = None
    spread: float | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        where = f"Parameter {self.name!r}"
        if not 0 <= self.low < self.high:
            raise ValueError(
                f"{where}: low is {self.low:g} and high {self.high:g}; 0 ≤ low < high is needed"
            )
        if self.expected is not None:
            within(where, "expected", self.expected, self.low, self.high, self.unit)
        if self.spread is not None:
            positive(where, "spread", self.spread, "")
            if not self.expected:
                raise ValueError(f"{where}: spread is of an expected value above 0; none is given")

    @property
    def logarithmic(self) -> bool:
        """Whether it is sought on a logarithmic scale."""
        return self.low > 0

    def inside(self, value: float) -> float:
        """On the scale that it is sought on."""
        return float(np.log(value)) if self.logarithmic else value

    def outside(self, value: float) -> float:
        """Back from that."""
        return float(np.exp(value)) if self.logarithmic else value


@checked
def fit_transfer(
    measured: xr.DataArray,
    *,
    model: Model,
    parameters: Sequence[Parameter],
    covariance: xr.DataArray,
    confidence: float = 0.9,
    starts: int = _STARTS,
    seed: int = 1,
) -> xr.Dataset:
    """Fit a model to a measured level change by band.

    Parameters
    ----------
    measured : DataArray
        Level change [dB] on ``frequency``: what isolation lowers is negative, as the models have
        it; of an insertion loss or level difference minus its ``value``.
    model : callable
        Level change in the same bands [dB] of the parameters by name: such as
        :class:`~groundborne.commissioning.FloorModel` and
        :class:`~groundborne.commissioning.MountsModel`.
    parameters : sequence of Parameter
        Which of its parameters to find; others stay as they are by default.
    covariance : DataArray
        Of the measured values and of what the model does not hold [dB²], on ``frequency`` and
        ``other``.
    confidence : float
        Of the intervals, two-sided, 0.5 to 0.999.
    starts : int
        Points within the bounds from which the fit begins, 1 or more; the best result counts.
    seed : int
        Of those points.

    Returns
    -------
    xarray.Dataset
        On ``parameter``: ``value``; ``low`` and ``high``, ends of the interval by profile
        likelihood; ``low_open`` and ``high_open``, where that reaches a bound, so that the data do
        not bound it; ``standard_error`` from the linearised covariance, relative where the scale is
        logarithmic; ``unit``. On (parameter, other_parameter) ``correlation``, linearised. On
        ``frequency``: ``fitted``, its standard deviation ``fitted_error``, linearised, that of what
        was measured, ``measured_error``, and ``residual`` [dB]. Attributes: ``chi_square``,
        ``freedom``, ``p_value`` of so poor a fit, and ``starts_agree``, how many starts came to the
        best result.

    Raises
    ------
    ValueError
        Bands that are only limits, fewer bands than parameters, two parameters of one name or one
        that the model does not know, a covariance that is none, a model that gives other bands or
        no numbers; values of which the opposite sign fits far better (chi-square four times
        smaller, and this one poor).

    Warns
    -----
    UnusualValueWarning
        So poor a fit that its chance is below 0.1 %: what the model lacks is in the numbers, and
        their intervals do not hold.

    Notes
    -----
    Least squares of residuals whitened by the covariance, which is taken as known. An expected
    value with a spread counts as one more datum, normal on the scale of the parameter. Ends of an
    interval lie where the least chi-square over all other parameters has risen by the quantile of
    chi-square with one degree of freedom; they need not lie evenly about the value. For numbers
    that were drawn from what is expected they hold with the probability stated, as for one without
    expectation; for a part far off its tolerance they do not.

    References
    ----------
    Venzon and Moolgavkar 1988 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import MountsModel
    >>> f = third_octaves(4, 63)
    >>> model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=f)
    >>> truth = xr.DataArray(model(natural_frequency=6.2), coords={"frequency": f.values})
    >>> same = xr.DataArray(np.eye(f.size), dims=("frequency", "other"),
    ...                     coords={"frequency": f.values, "other": f.values})
    >>> asked = [Parameter(name="natural_frequency", low=2.0, high=20.0, unit="Hz"),
    ...          Parameter(name="loss_factor", low=0.01, high=0.5)]
    >>> found = fit_transfer(truth, model=model, parameters=asked, covariance=same)
    >>> found["value"].round(3).values.tolist()
    [6.2, 0.1]
    """
    where = "fit_transfer"
    within(where, "confidence", confidence, 0.5, 0.999, "")
    if starts < 1:
        raise ValueError(f"{where}: starts is {starts}; 1 or more are needed")
    names = [p.name for p in parameters]
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f"{where}: two parameters are called {name!r}; one may be")
    if measured.dims != ("frequency",):
        raise ValueError(f"{where}: measured has the dims {measured.dims}; one curve is fitted")
    if not parameters or measured.size < len(parameters):
        raise ValueError(
            f"{where}: {measured.size} bands for {len(parameters)} parameters; at least one "
            "parameter, and a band for each, are needed"
        )
    require_levels(where, measured)
    _require_known(where, model, names)
    root = whitening(where, covariance, measured)
    problem = _Problem(
        data=np.asarray(measured.values, float),
        model=model,
        parameters=tuple(parameters),
        root=root,
    )
    best, agree = problem.best(starts, seed)
    from scipy import stats

    rise = float(stats.chi2.ppf(confidence, 1))
    ends = [problem.ends(best, at, rise) for at in range(len(names))]
    fitted = problem.curve(best.x)
    slopes = np.linalg.solve(root, best.jacobian[: measured.size])
    information = best.jacobian.T @ best.jacobian
    spread = np.linalg.pinv(information)
    error = np.sqrt(np.diag(spread).clip(min=0.0))
    scale = np.where(error > 0, error, 1.0)
    freedom = measured.size + problem.expected - len(names)
    chance = float(stats.chi2.sf(best.chi_square, freedom)) if freedom > 0 else 1.0
    if chance < _POOR:
        turned = replace(problem, data=-problem.data).best(starts, seed)[0].chi_square
        require_sign(where, best.chi_square, turned)
        warnings.warn(
            f"{where}: the model fits poorly (chance {chance:.2g}); the values hold what it lacks, "
            "and their intervals do not hold"
            + ("; one start alone came to this: take more" if agree == 1 < starts else ""),
            UnusualValueWarning, stacklevel=3,
        )  # fmt: skip
    from_data: dict[str, Any] = {
        "value": [p.outside(x) for p, x in zip(parameters, best.x, strict=True)],
        "low": [p.outside(e[0][0]) for p, e in zip(parameters, ends, strict=True)],
        "high": [p.outside(e[1][0]) for p, e in zip(parameters, ends, strict=True)],
        "low_open": [e[0][1] for e in ends],
        "high_open": [e[1][1] for e in ends],
        "standard_error": error,
        "unit": [p.unit for p in parameters],
    }
    bands = measured["frequency"].values
    return xr.Dataset(
        {n: ("parameter", np.asarray(v)) for n, v in from_data.items()}
        | {
            "correlation": (("parameter", "other_parameter"), spread / np.outer(scale, scale)),
            "fitted": ("frequency", fitted, {"units": "dB"}),
            "fitted_error": (
                "frequency",
                np.sqrt(np.einsum("fi,ij,fj->f", slopes, spread, slopes).clip(min=0)),
                {"units": "dB"},
            ),
            "measured_error": (
                "frequency",
                np.sqrt(np.diag(covariance.transpose("frequency", "other").values)),
                {"units": "dB"},
            ),
            "residual": ("frequency", problem.data - fitted, {"units": "dB"}),
        },
        coords={"parameter": names, "other_parameter": names, "frequency": bands},
        attrs={
            "chi_square": best.chi_square,
            "freedom": freedom,
            "p_value": chance,
            "starts_agree": agree,
            "confidence": confidence,
            "intervals": "profile likelihood",
            "citations": PROFILE.text,
        },
    )


def _require_known(where: str, model: Model, names: Sequence[str]) -> None:
    """Refuse parameters that the model does not take."""
    try:
        taken = inspect.signature(model).parameters.values()
    except (TypeError, ValueError):  # some callables do not tell; they refuse by themselves
        return
    if not any(p.kind is p.VAR_KEYWORD for p in taken):
        for name in names:
            known(where, "parameter", name, [p.name for p in taken])


@dataclass(frozen=True, eq=False)
class _Solved:
    """A minimum: where, chi-square, and the slopes of the whitened residuals there."""

    x: Array
    chi_square: float
    jacobian: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class _Problem:
    """Whitened residuals of a model."""

    data: Array
    model: Model
    parameters: tuple[Parameter, ...]
    root: Array

    @property
    def expected(self) -> int:
        """How many parameters are data by what is expected of them."""
        return sum(p.spread is not None for p in self.parameters)

    @property
    def bounds(self) -> tuple[Array, Array]:
        ends = [(p.inside(p.low), p.inside(p.high)) for p in self.parameters]
        low, high = np.array(ends, float).T
        return low, high

    def curve(self, x: Array) -> Array:
        """The model [dB]."""
        given = {p.name: p.outside(v) for p, v in zip(self.parameters, x, strict=True)}
        found = np.asarray(self.model(**given), float)
        if found.shape != self.data.shape:
            raise ValueError(
                f"fit_transfer: the model gives {found.shape} values for {self.data.shape} bands"
            )
        finite("fit_transfer", "model", found)
        return found

    def residuals(self, x: Array) -> Array:
        """Of bands and of what is expected, in standard deviations."""
        parts = [self.root @ (self.curve(x) - self.data)]
        for p, v in zip(self.parameters, x, strict=True):
            if p.spread is not None and p.expected is not None:
                size = p.spread if p.logarithmic else p.spread * p.expected
                parts.append(np.array([(v - p.inside(p.expected)) / size]))
        return np.concatenate(parts)

    def solve(self, start: Array, held: int | None = None) -> _Solved:
        """The least chi-square from a start, with one parameter held where it is."""
        from scipy.optimize import least_squares

        low, high = self.bounds
        free = np.array([i for i in range(len(start)) if i != held], int)
        whole = np.array(start, float)
        if not free.size:
            r = self.residuals(whole)
            return _Solved(whole, float(r @ r), np.zeros((r.size, 0)))

        def residuals(part: Array) -> Array:
            x = whole.copy()
            x[free] = part
            return self.residuals(x)

        width = high[free] - low[free]
        begin = whole[free].clip(low[free] + 1e-9 * width, high[free] - 1e-9 * width)
        found = least_squares(
            residuals, begin, bounds=(low[free], high[free]), x_scale=width, xtol=1e-10, ftol=1e-10
        )
        whole[free] = found.x
        return _Solved(whole, float(2 * found.cost), np.asarray(found.jac))

    def best(self, starts: int, seed: int) -> tuple[_Solved, int]:
        """The least of all starts, and how many came to it."""
        from scipy.stats import qmc

        low, high = self.bounds
        count = len(self.parameters)
        points = qmc.LatinHypercube(count, rng=np.random.default_rng(seed)).random(starts)
        begin = low + points * (high - low)
        for at, p in enumerate(self.parameters):
            if p.expected is not None:
                begin[0, at] = p.inside(p.expected)
        found = [self.solve(b) for b in begin]
        least = min(found, key=lambda s: s.chi_square)
        agree = sum(s.chi_square < least.chi_square + 1e-3 for s in found)
        return least, agree

    def ends(self, best: _Solved, at: int, rise: float) -> list[tuple[float, bool]]:
        """Both ends of the interval of a parameter, and whether each is a bound."""
        low, high = (float(b[at]) for b in self.bounds)
        slopes = best.jacobian[:, at]
        step = 1 / max(float(np.sqrt(slopes @ slopes)), 1e-12)
        found = []
        for bound, sign in ((low, -1.0), (high, 1.0)):
            found.append(self._end(best, at, rise, bound, sign * min(step, high - low)))
        return found

    def _end(
        self, best: _Solved, at: int, rise: float, bound: float, step: float
    ) -> tuple[float, bool]:
        """Where chi-square has risen so far: steps that grow, then regula falsi with halving."""
        wanted = best.chi_square + rise
        near, near_off, start = float(best.x[at]), -rise, best.x
        here = near
        while True:
            if here == bound:
                return bound, True
            here = max(bound, here + step) if step < 0 else min(bound, here + step)
            solved = self._held(start, at, here)
            if solved.chi_square >= wanted:
                break
            near, near_off, start = here, solved.chi_square - wanted, solved.x
            step *= 2
        far, far_off = here, solved.chi_square - wanted
        for turn in range(60):
            # Chi-square rises about as a square, so its root is nearly straight.
            one, other = (np.sqrt(max(rise + o, 0.0)) for o in (near_off, far_off))
            part = (np.sqrt(rise) - one) / (other - one) if other > one else 0.5
            here = near + (far - near) * (
                0.5 if turn % 3 == 2 else float(np.clip(part, 0.02, 0.98))
            )
            solved = self._held(start, at, here)
            off = solved.chi_square - wanted
            if abs(off) < _CLOSE * rise:
                break
            if off < 0:
                near, near_off, start = here, off, solved.x
            else:
                far, far_off = here, off
        return here, False

    def _held(self, start: Array, at: int, value: float) -> _Solved:
        whole = np.array(start, float)
        whole[at] = value
        return self.solve(whole, held=at)
