"""KB values of trains: spread of a class, what it does to the severity, and the velocity peak."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive
from groundborne.citation import Citation
from groundborne.rating.kb import (
    CLOCK,
    DIN_4150_2,
    NEGLIGIBLE,
    PERIODS,
    kb_clock_mean,
    kb_period_severity_rail,
)

EDIN_45672_3_PEAK = Citation(
    key="edin45672-3-peak",
    author="E DIN 45672-3",
    year="2023",
    title="Vibration near railways, prediction (draft)",
    locator="formula 12, peak velocity from KB_Fmax; Annex C",
    mark="seen second-hand",
    status="verified",
)

PEAK_FACTOR = 3.0
"""Peak velocity of a train passby [mm/s] over its KB_Fmax [-]."""


@checked
def kb_clock_spread(severity: xr.DataArray, *, dim: str = "clock") -> xr.DataArray:
    """Standard deviation of the squares of one class's clock maxima, s(KB²_FTm).

    Parameters
    ----------
    severity : DataArray
        KB_FTi of the occupied intervals of one train class [-], at least two.
    dim : str
        Dimension of the intervals.

    Returns
    -------
    xarray.DataArray
        ``√(Σ (KB_FTi² − KB_FTm²)²/(Z − 1))`` [-] without `dim`; values up to 0.1 enter as 0, as
        they do in KB_FTm.

    Raises
    ------
    ValueError
        A negative value, fewer than two, or no such dimension.

    References
    ----------
    DIN 4150-2:1999, formula A.2 [seen second-hand].

    Examples
    --------
    >>> kb_clock_spread(xr.DataArray([0.92, 0.6, 0.9], dims="clock")).round(2).item()
    0.27
    """
    where = "kb_clock_spread"
    known(where, "dim", dim, [str(d) for d in severity.dims])
    not_negative(where, "severity", severity, "KB")
    if severity.sizes[dim] < 2:
        raise ValueError(f"{where}: {severity.sizes[dim]} clock interval; a spread takes two")
    squares = severity.where(severity > NEGLIGIBLE, 0.0) ** 2
    # About the mean square that kb_clock_mean returns, not about the squares of rounded values.
    departure = squares - kb_clock_mean(severity, dim=dim) ** 2
    spread: xr.DataArray = ((departure**2).sum(dim) / (severity.sizes[dim] - 1)) ** 0.5
    spread.attrs = {
        "long_name": "spread of the squared clock maxima",
        "units": "1",
        "citations": DIN_4150_2.text,
    }
    return spread


@checked
def kb_interval_rail(
    severity: xr.DataArray,
    *,
    spread: xr.DataArray,
    occupied: xr.DataArray | float,
    period: str,
    dim: str = "train_type",
) -> xr.Dataset:
    """Assessment severity of rail traffic with what the spread of its classes leaves open.

    Parameters
    ----------
    severity : DataArray
        KB_FTm of each train class over its occupied intervals [-].
    spread : DataArray
        s(KB²_FTm) of each class, see :func:`kb_clock_spread` [-].
    occupied : float or DataArray
        Clock intervals each class occupies in the period [-].
    period : str
        ``day`` or ``night``.
    dim : str
        Dimension of the classes.

    Returns
    -------
    xarray.Dataset
        ``severity`` KB_FTr, ``lower`` and ``upper``: the same with the square of every class one
        spread down (0 at least) and up [-].

    Raises
    ------
    ValueError
        Classes that differ between arguments, more intervals than the period holds, or a negative
        number.

    References
    ----------
    DIN 4150-2:1999, formula A.3 and Annex C, example 8 [seen second-hand].

    Examples
    --------
    >>> classes = {"train_type": ["long-distance", "local"]}
    >>> found = kb_interval_rail(
    ...     xr.DataArray([0.82, 0.22], coords=classes),
    ...     spread=xr.DataArray([0.27, 0.012], coords=classes),
    ...     occupied=xr.DataArray([288.0, 192.0], coords=classes), period="day")
    >>> {name: round(value.item(), 3) for name, value in found.items()}
    {'severity': 0.325, 'lower': 0.253, 'upper': 0.384}
    """
    where = "kb_interval_rail"
    known(where, "dim", dim, [str(d) for d in severity.dims])
    not_negative(where, "severity", severity, "KB")
    not_negative(where, "spread", spread, "squared KB")
    given = {"occupied": occupied, "period": period, "dim": dim}
    found = {"severity": kb_period_severity_rail(severity, **given)}  # type: ignore[arg-type]
    number = xr.zeros_like(severity) + occupied
    for name, sign in (("lower", -1.0), ("upper", 1.0)):
        square = (severity**2 + sign * spread).clip(0.0)
        total = (number * square).sum(dim, skipna=False) / (PERIODS[period] / CLOCK)
        found[name] = total**0.5
    return xr.Dataset(found, attrs={"citations": DIN_4150_2.text})


@checked
def peak_from_kb(severity: Numeric) -> Numeric:
    """Largest velocity of a train passby from its KB_Fmax, ``3 KB_Fmax`` in mm/s.

    For a first comparison with guide values of velocity (structures), where only KB is known.

    Parameters
    ----------
    severity : float or DataArray
        KB_Fmax of trains [-].

    Returns
    -------
    same type
        Peak velocity [m/s].

    Raises
    ------
    ValueError
        A value that is not above 0.

    Notes
    -----
    A rule of a draft for rail traffic; the sine of ``kb_from_peak`` would give ``√2/c_F`` and
    the weighting, 1.6 to 2.4 above 20 Hz.

    References
    ----------
    E DIN 45672-3:2023, formula 12 [seen second-hand].

    Examples
    --------
    >>> round(1e3 * peak_from_kb(0.6027), 2)
    1.81
    """
    positive("peak_from_kb", "severity", severity, "KB")
    result: Numeric = PEAK_FACTOR * 1e-3 * severity
    return result
