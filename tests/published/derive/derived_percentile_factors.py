"""Factors for percentiles of small normal samples, by integration over the sample's deviation.

With s² = χ²/(n − 1): the mean plus k s lies above the percentile z with the probability
∫ f(s) Φ[√n (k s − z)] ds, which is solved for k. A next value: t √(1 + 1/n), t by integrating its
density. Standard error √(1/n + z²/(2 (n − 1))); largest of n above: 1 − p^n.
"""

from collections.abc import Callable
from math import erf, exp, lgamma, log, pi, sqrt
from statistics import NormalDist

SIZES = (3, 4, 5, 6, 7, 8, 9, 12, 15, 20, 25, 30, 40, 60)
SHARE = 0.95
Z = NormalDist().inv_cdf(SHARE)


def integral(function: Callable[[float], float], low: float, high: float, steps: int) -> float:
    """Simpson's rule."""
    width = (high - low) / steps
    inner = sum((4 if i % 2 else 2) * function(low + i * width) for i in range(1, steps))
    return (function(low) + inner + function(high)) * width / 3


def deviation_density(s: float, n: int) -> float:
    """Of the standard deviation of n normal values, in units of the true one."""
    v = n - 1
    if s <= 0:
        return 0.0
    return exp(log(2) + v / 2 * log(v / 2) - lgamma(v / 2) + (v - 1) * log(s) - v * s * s / 2)


def normal(x: float) -> float:
    return 0.5 * (1 + erf(x / sqrt(2)))


def solved(function: Callable[[float], float], target: float, low: float, high: float) -> float:
    """Where a rising function reaches a target, by halves."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if function(middle) < target else (low, middle)
    return 0.5 * (low + high)


def tolerance(n: int, confidence: float) -> float:
    top = 1 + 12 / sqrt(2 * (n - 1))

    def reached(k: float) -> float:
        def part(s: float) -> float:
            return deviation_density(s, n) * normal(sqrt(n) * (k * s - Z))

        return integral(part, 0.0, top, 600)

    return solved(reached, confidence, 0.5, 40.0)


def student(share: float, v: int) -> float:
    front = exp(lgamma((v + 1) / 2) - lgamma(v / 2)) / sqrt(v * pi)

    def below(t: float) -> float:
        return 0.5 + integral(lambda x: front * (1 + x * x / v) ** (-(v + 1) / 2), 0.0, t, 400)

    return solved(below, share, 0.0, 60.0)


def values() -> dict[str, list[float]]:
    found = {}
    for n in SIZES:
        for confidence in (95, 90, 75, 50):
            if (n, confidence) in _READ:
                continue
            name = f"95th percentile, {confidence} % confidence, n = {n}"
            found[name] = [tolerance(n, confidence / 100)]
        found[f"next value, 95 %, n = {n}"] = [student(0.95, n - 1) * sqrt(1 + 1 / n)]
        found[f"standard error of the 95th percentile, n = {n}"] = [
            sqrt(1 / n + Z**2 / (2 * (n - 1)))
        ]
        found[f"largest of {n} above the 95th percentile"] = [1 - SHARE**n]
    return found


_READ = {(n, 95) for n in (5, 15, 20, 30)}
"""Of these a print was read: they stand in the file of that print."""
