"""Modal sums of a rectangular slab panel in closed form, as functions of arrays.

With the complex bending wave number to the fourth, ``z = κ⁴ = ω² m″/(B′(1 + jη))``, every modal
sum of a panel is a sum of ``w/(k⁴ − z)``. Splitting ``1/(k⁴ − κ⁴)`` into
``[1/(k² − κ²) − 1/(k² + κ²)]/(2κ²)`` lets one of the two indices be summed exactly (hyperbolic
functions); the terms of the other fall as its third power or faster, and the rest of that series
is added in closed form. The result equals the double modal sum with *all* modes.

Mean squares need no sum of their own: ``1/|k⁴ − z|² = Im[1/(k⁴ − z)]/Im z``.
"""

from __future__ import annotations

from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]

TAIL_RATIO = 0.2
"""``|κ²|/k²`` below which the rest of a series is summed by its expansion: error about 1e-6 of
the rest."""
_FLAT = 1e-3
"""Relative distance from the real axis within which mean squares are taken as a derivative."""
_OPAQUE = 20.0
"""Exponent beyond which ``exp(−x)`` is dropped: 2e-9."""


def _terms(z: Array, span: Array, step: float) -> int:
    """Count the terms to sum before the expansion of the rest holds."""
    largest = float(np.max(np.sqrt(np.abs(z)) * span**2))
    return max(3, int(np.ceil(np.sqrt(largest / TAIL_RATIO) / step)))


def _wavenumbers(alpha_squared: Array | float, kappa_squared: Array) -> tuple[Array, Array]:
    return np.sqrt(alpha_squared - kappa_squared), np.sqrt(alpha_squared + kappa_squared)


def _decay(gamma: Array, length: Array) -> Array | float:
    """``exp(−γ length)``, or 0 once it no longer shows."""
    exponent = gamma * length
    return 0.0 if float(np.min(exponent.real)) > _OPAQUE else np.exp(-exponent)


def rest_of_series(unit: Array, z: Array, first: Any) -> Array:
    """``Σ [1/√(n²/u² − κ²) − 1/√(n²/u² + κ²)]/κ²`` from n = `first` on, by its expansion [m³]."""
    # Here, because scipy would double the time it takes to import the package.
    from scipy.special import zeta

    rest: Array = (
        unit**3 * zeta(3, first)
        + 5 / 8 * unit**7 * zeta(7, first) * z
        + 63 / 128 * unit**11 * zeta(11, first) * z**2
    )
    return rest


def columns_sum(z: Array, span_x: Array, span_y: Array) -> Array:
    """``Σ ε_m ε_n/(k⁴ − z)`` over the cosine modes of a panel between four columns.

    Parameters
    ----------
    z : array
        ``κ⁴`` [m⁻⁴], complex.
    span_x, span_y : array
        Column grid [m]; broadcast against `z`.

    Returns
    -------
    array
        The sum over all modes [m⁴].
    """
    z = np.asarray(z, complex)
    a, b = np.minimum(span_x, span_y), np.maximum(span_x, span_y)
    kappa2 = np.sqrt(z)
    count = _terms(z, a, 2 * np.pi)
    total = np.zeros(np.broadcast_shapes(z.shape, a.shape), complex)
    for m in range(count):
        for sign, gamma in zip(
            (1, -1), _wavenumbers((2 * np.pi * m / a) ** 2, kappa2), strict=True
        ):
            # A lossless wave number has its square root on the cut; either branch gives the same.
            h = _decay(gamma, b)
            term = 1 / gamma if isinstance(h, float) else (1 + h) / ((1 - h) * gamma)
            total += (sign if m == 0 else 2 * sign) * term
    rest = rest_of_series(a / (2 * np.pi), z, count)
    result: Array = b / 2 * (total / (2 * kappa2) + rest)
    return result


def columns_mid_sum(z: Array, span_x: Array, span_y: Array) -> Array:
    """``Σ ε_m ε_n (−1)^(m+n)/(k⁴ − z)``: the same at mid-panel [m⁴].

    The terms fall exponentially, so none need be added in closed form.
    """
    z = np.asarray(z, complex)
    a, b = np.minimum(span_x, span_y), np.maximum(span_x, span_y)
    kappa2 = np.sqrt(z)
    count = _terms(z, a, 2 * np.pi) + 3
    total = np.zeros(np.broadcast_shapes(z.shape, a.shape), complex)
    for m in range(count):
        for sign, gamma in zip(
            (1, -1), _wavenumbers((2 * np.pi * m / a) ** 2, kappa2), strict=True
        ):
            h = _decay(gamma, b / 2)
            if not isinstance(h, float):
                weight = (1 if m == 0 else 2) * (-1) ** m * sign
                total += weight * 2 * h / ((1 - h * h) * gamma)
    result: Array = b / (4 * kappa2) * total
    return result


def edges_sum(z: Array, span_x: Array, span_y: Array) -> Array:
    """``Σ μ_mn/(k⁴ − z)`` over the odd modes of a panel simply supported on moving edges.

    ``μ = 64/(π⁴ m² n²)`` is the share of the mass a mode carries; all shares add up to 1, so the
    modes left out of a truncated sum would ride with the edges. Here none are left out.

    Returns
    -------
    array
        The sum over all modes [m⁴].
    """
    z = np.asarray(z, complex)
    a, b = np.minimum(span_x, span_y), np.maximum(span_x, span_y)
    kappa2 = np.sqrt(z)
    count = _terms(z, a, np.pi) // 2 + 2
    total = np.zeros(np.broadcast_shapes(z.shape, a.shape), complex)
    for m in range(1, 2 * count, 2):
        for sign, gamma in zip((1, -1), _wavenumbers((np.pi * m / a) ** 2, kappa2), strict=True):
            h = _decay(gamma, b)
            tanh = 1.0 if isinstance(h, float) else (1 - h) / (1 + h)
            total += sign / m**2 * (1 - 2 * tanh / (gamma * b)) / gamma**2

    from scipy.special import zeta

    def odd(power: int) -> float:
        return float(2.0**-power * zeta(power, count + 0.5))

    u = a / np.pi
    rest = u**4 * odd(6) - 3 * u**5 * odd(7) / b
    rest = rest + z * (u**8 * odd(10) - 35 / 8 * u**9 * odd(11) / b)
    result: Array = 8 / np.pi**2 * (total / (2 * kappa2) + rest)
    return result


def edges_mid_sum(z: Array, span_x: Array, span_y: Array) -> Array:
    """``Σ Γ_mn φ_mn(mid)/(k⁴ − z)`` of the same panel, ``Γ = 16/(π² m n)`` [m⁴].

    The outer series alternates and falls as the fifth power; halving its last term leaves an
    error of about 1e-7.
    """
    z = np.asarray(z, complex)
    a, b = np.minimum(span_x, span_y), np.maximum(span_x, span_y)
    kappa2 = np.sqrt(z)
    count = _terms(z, a, np.pi) // 2 + 8
    total = np.zeros(np.broadcast_shapes(z.shape, a.shape), complex)
    for i in range(count):
        m = 2 * i + 1
        for sign, gamma in zip((1, -1), _wavenumbers((np.pi * m / a) ** 2, kappa2), strict=True):
            h = _decay(gamma, b / 2)
            shape = 1.0 if isinstance(h, float) else 1 - 2 * h / (1 + h * h)
            weight = sign * (-1) ** i / m * (0.5 if i == count - 1 else 1.0)
            total += weight * shape / gamma**2
    result: Array = 4 / np.pi / (2 * kappa2) * total
    return result


def squared_sum(total: Any, z: Array, span_x: Array, span_y: Array) -> Array:
    """``Σ w/|k⁴ − z|²`` from the function that gives ``Σ w/(k⁴ − z)`` [m⁸].

    Near the negative real axis, where a floating floor at its resonance turns the mass of the
    slab negative, no mode is near and the quotient is taken as a derivative (error 1e-6).
    """
    z = np.asarray(z, complex)
    near = (np.abs(z.imag) < _FLAT * np.abs(z)) & (z.real < 0)
    at = np.where(near, z.real - 1j * _FLAT * np.abs(z), z)
    result: Array = total(at, span_x, span_y).imag / at.imag
    return result


def first_zero(span_x: Array, span_y: Array) -> Array:
    """Smallest ``κ⁴`` [m⁻⁴] at which :func:`columns_sum` vanishes.

    Between 0 and the first pole the sum rises from minus to plus infinity, so halving the
    interval cannot miss; 60 halvings reach the last digit.
    """
    low = np.zeros(np.broadcast_shapes(np.shape(span_x), np.shape(span_y)))
    high = low + (2 * np.pi / np.maximum(span_x, span_y)) ** 4
    for _ in range(60):
        middle = (low + high) / 2
        below = columns_sum(middle.astype(complex), span_x, span_y).real < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return (low + high) / 2
