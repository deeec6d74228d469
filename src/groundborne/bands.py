"""One-third-octave bands: nominal labels, exact centres, edges, frequencies inside them.

``frequency`` coordinates hold nominal labels (ISO 266) as floats in Hz; computation uses the
exact base-ten centres and edges of IEC 61260-1.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked, frequency_axis
from groundborne._checks import BandError, Numeric, axis, finite
from groundborne.citation import Citation

ISO_266 = Citation(
    key="iso266",
    author="ISO 266",
    year="1997",
    title="Preferred frequencies",
    locator="one-third-octave series",
    mark="seen second-hand",
    status="transcribed",
)
IEC_61260_1 = Citation(
    key="iec61260-1",
    author="IEC 61260-1",
    year="2014",
    title="Octave-band and fractional-octave-band filters",
    locator="exact mid-band and band-edge frequencies, base ten",
    mark="seen second-hand",
    status="verified",
)

_LOWEST, _HIGHEST = -10, 43
_DECADE = ("1", "1.25", "1.6", "2", "2.5", "3.15", "4", "5", "6.3", "8")
_NUMBERS = np.arange(_LOWEST, _HIGHEST + 1)
_LABELS = np.array([float(f"{_DECADE[n % 10]}e{n // 10}") for n in _NUMBERS.tolist()])

F = TypeVar("F", float, np.ndarray[Any, Any], xr.DataArray)


@checked
def label(frequency: float) -> str:
    """Write a nominal band label the way it is printed: ``31.5``, ``1000``.

    Examples
    --------
    >>> label(31.5), label(63.0)
    ('31.5', '63')
    """
    return f"{frequency:g}"


@checked
def third_octaves(low: float, high: float) -> xr.DataArray:
    """Nominal one-third-octave labels from `low` to `high`, both included.

    Parameters
    ----------
    low, high : float
        Nominal labels of the first and last band [Hz], 0.1 to 20 000.

    Returns
    -------
    xarray.DataArray
        Labels [Hz] on the dimension ``frequency``.

    Raises
    ------
    BandError
        A limit is not a nominal label, or `low` is above `high`.

    References
    ----------
    ISO 266:1997, one-third-octave series.

    Examples
    --------
    >>> third_octaves(50, 100).values.tolist()
    [50.0, 63.0, 80.0, 100.0]
    """
    return coordinate(_run(low, high))


def _run(low: float, high: float) -> np.ndarray[Any, Any]:
    first, last = _number_of(np.array([low, high], dtype=float), "third_octaves").tolist()
    if first > last:
        raise BandError(
            f"third_octaves: low is {low:g} Hz and high is {high:g} Hz; low must come first"
        )
    return _LABELS[first - _LOWEST : last - _LOWEST + 1]


@checked
def coordinate(labels: Frequency) -> xr.DataArray:
    """Nominal labels as a ``frequency`` coordinate with its attributes.

    Examples
    --------
    >>> coordinate([63.0]).attrs["units"]
    'Hz'
    """
    return axis(labels)


def _number_of(labels: np.ndarray[Any, Any], where: str) -> np.ndarray[Any, Any]:
    finite(where, "frequency", labels)
    with np.errstate(divide="ignore", invalid="ignore"):
        guess = np.where(
            labels > 0, np.round(10 * np.log10(np.where(labels > 0, labels, 1.0))), 999
        )
    inside = (guess >= _LOWEST) & (guess <= _HIGHEST)
    nearest = _LABELS[np.clip(guess, _LOWEST, _HIGHEST).astype(int) - _LOWEST]
    bad = ~inside | (np.abs(labels - nearest) > 1e-9 * nearest)
    if bad.any():
        given = float(np.ravel(labels)[int(np.argmax(np.ravel(bad)))])
        near = float(np.ravel(nearest)[int(np.argmax(np.ravel(bad)))])
        raise BandError(
            f"{where}: {given:g} Hz is not a nominal one-third-octave label between 0.1 and "
            f"20000 Hz (ISO 266); the nearest is {near:g} Hz"
        )
    return np.asarray(guess.astype(int))


def _given(where: str, frequency: Any) -> Any:
    """Labels as they are given, a list or the like as an axis."""
    if isinstance(frequency, np.ndarray | float | np.floating):
        return frequency
    return frequency_axis(where, "frequency", frequency)


def _like(frequency: F, values: np.ndarray[Any, Any]) -> F:
    if isinstance(frequency, xr.DataArray):
        return frequency.copy(deep=False, data=values)
    if isinstance(frequency, np.ndarray):
        return values
    return float(values)


@checked
def number(frequency: F) -> F:
    """Band number n of a label, with exact centre ``10^(n/10)`` Hz.

    Examples
    --------
    >>> number(63.0)
    18.0
    """
    frequency = _given("number", frequency)
    return _like(frequency, _number_of(np.asarray(frequency, dtype=float), "number").astype(float))


@checked
def exact(frequency: F) -> F:
    """Exact base-ten mid-band frequency of nominal labels.

    Parameters
    ----------
    frequency : float, array or DataArray
        Nominal labels [Hz].

    Returns
    -------
    same type as `frequency`
        ``10^(n/10)`` [Hz].

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    IEC 61260-1:2014, base-ten system, G = 10^0.3, reference 1000 Hz.

    Examples
    --------
    >>> round(exact(63.0), 4)
    63.0957
    """
    frequency = _given("exact", frequency)
    return _like(frequency, 10.0 ** (_number_of(np.asarray(frequency, dtype=float), "exact") / 10))


@checked
def edges(frequency: F) -> tuple[F, F]:
    """Lower and upper band-edge frequency of nominal labels.

    Parameters
    ----------
    frequency : float, array or DataArray
        Nominal labels [Hz].

    Returns
    -------
    tuple
        Exact centre times ``10^-0.05`` and ``10^0.05`` [Hz].

    Raises
    ------
    BandError
        A value is not a nominal label.

    References
    ----------
    IEC 61260-1:2014, band-edge frequencies.

    Examples
    --------
    >>> low, high = edges(1000.0)
    >>> round(low, 2), round(high, 2)
    (891.25, 1122.02)
    """
    frequency = _given("edges", frequency)
    centre = np.asarray(exact(np.asarray(frequency, dtype=float)))
    return _like(frequency, centre * 10**-0.05), _like(frequency, centre * 10**0.05)


@checked
def octave(frequency: F) -> F:
    """Nominal label of the octave band that holds each one-third-octave band.

    Examples
    --------
    >>> octave(40.0), octave(50.0)
    (31.5, 63.0)
    """
    frequency = _given("octave", frequency)
    n = _number_of(np.asarray(frequency, dtype=float), "octave")
    middle = 3 * np.round(n / 3).astype(int)
    if (middle < _LOWEST).any() or (middle > _HIGHEST).any():
        raise BandError("octave: an octave band reaches outside 0.1 to 20000 Hz")
    return _like(frequency, _LABELS[middle - _LOWEST])


@checked
def single_frequencies(frequency: Frequency, *, loss_factor: Numeric) -> xr.DataArray:
    """Frequencies inside each band for narrow-band mechanics, evenly spaced.

    The spacing follows the damping: three or more per half-power bandwidth ``η f``. The
    midpoint rule then converges so fast that twice as many move no band by more than 0.1 dB
    (checked in ``tests/properties``).

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz] on ``frequency``.
    loss_factor : float or DataArray
        Smallest loss factor η of any resonance in play [-]; an array is reduced to its minimum.

    Returns
    -------
    xarray.DataArray
        Frequencies [Hz], dims (frequency, single_frequency).

    Raises
    ------
    ValueError
        The loss factor is below 2e-4: a resonance that sharp has no useful band average.

    Examples
    --------
    >>> f = single_frequencies(third_octaves(63, 63), loss_factor=0.1)
    >>> f.sizes["single_frequency"], bool((f > 56.2).all() and (f < 70.8).all())
    (16, True)
    """
    smallest = float(
        np.min(np.asarray(finite("bands.single_frequencies", "loss_factor", loss_factor)))
    )
    if smallest < 2e-4:
        raise ValueError(
            f"bands.single_frequencies: the smallest loss factor is {smallest:g}; it must be at "
            "least 0.0002, or a resonance inside a band has no finite band average. Give the "
            "element its damping"
        )
    count = max(16, int(np.ceil(0.7 / smallest)))
    low, high = edges(frequency)
    step = xr.DataArray((np.arange(count) + 0.5) / count, dims="single_frequency")
    inside: xr.DataArray = low + (high - low) * step
    return inside


@checked
def require_labels(frequency: Any, where: str) -> np.ndarray[Any, Any]:
    """Check a whole axis: nominal labels, ascending, none missing or repeated.

    Raises
    ------
    BandError
        Names the first band that breaks the run.

    Examples
    --------
    >>> require_labels([50.0, 80.0], "levels.csv")
    Traceback (most recent call last):
    ...
    groundborne._checks.BandError: levels.csv: after 50 Hz comes 80 Hz; 63 Hz is missing
    """
    labels = frequency_axis(where, "frequency", frequency).values
    numbers = _number_of(labels, where)
    step = np.diff(numbers)
    if (step != 1).any():
        i = int(np.argmax(step != 1))
        before, after = label(labels[i]), label(labels[i + 1])
        if step[i] == 0 or numbers[i + 1] in numbers[: i + 1]:
            raise BandError(f"{where}: the band {after} Hz is given twice; keep one")
        if step[i] < 0:
            raise BandError(f"{where}: after {before} Hz comes {after} Hz; bands must ascend")
        if numbers[i] + 1 in numbers[i + 1 :]:
            turn = int(np.argmax(step < 0))
            before, after = label(labels[turn]), label(labels[turn + 1])
            raise BandError(f"{where}: after {before} Hz comes {after} Hz; bands must ascend")
        missing = label(_LABELS[numbers[i] + 1 - _LOWEST])
        raise BandError(f"{where}: after {before} Hz comes {after} Hz; {missing} Hz is missing")
    return labels


@checked(infinite=("array", "return"))
def select(array: xr.DataArray, low: float, high: float) -> xr.DataArray:
    """Cut a spectrum to the bands from `low` to `high`, all of which must be there.

    Raises
    ------
    BandError
        A wanted band is not in the spectrum.

    Examples
    --------
    >>> select(third_octaves(25, 250), 63, 100).values.tolist()
    [63.0, 80.0, 100.0]
    """
    wanted = _run(low, high)
    have = array.get_index("frequency").to_numpy()
    if np.array_equal(have, wanted):
        return array.copy(deep=False)
    missing = [f for f in wanted.tolist() if f not in have]
    if missing:
        raise BandError(
            f"bands.select: {label(missing[0])} Hz is asked for and not there; the spectrum holds "
            f"{have[0]:g} to {have[-1]:g} Hz"
        )
    return array.sel(frequency=wanted)


def stacked(parts: Sequence[xr.DataArray], labels: Any) -> xr.DataArray:
    """Arrays of single bands as one array on ``frequency``."""
    joined: xr.DataArray = xr.concat(
        list(parts), dim=xr.Variable("frequency", np.asarray(labels)), join="exact",
        coords="minimal", compat="override",
    )  # fmt: skip
    return joined
