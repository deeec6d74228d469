"""How a rating is printed: one rule for notes, tables, reports and the command line."""

from __future__ import annotations

import numpy as np

from groundborne.rating.criteria import Metric


def as_printed(rating: float, limit: float, metric: Metric, *, down: bool = False) -> float:
    """A rating rounded up to the last digit that is printed, so that no miss reads as met.

    Parameters
    ----------
    rating, limit : float
        In the unit of the metric.
    metric : Metric
        Its kind.
    down : bool
        Rounded down instead, as a lower bound is, which would else claim too much.

    Examples
    --------
    >>> from groundborne.rating import METRICS
    >>> as_printed(25.04, 25.0, METRICS["NR"]), as_printed(0.001203, 0.2, METRICS["VDV"])
    (25.1, 0.00121)
    """
    digits = max(decimals(rating, metric), places(limit))
    # Six decimals more first, so that 25.0000000001 does not become 25.1.
    whole = np.floor if down else np.ceil
    return float(whole(round(rating * 10.0**digits, 6)) / 10.0**digits) + 0.0


def number_text(rating: float, metric: Metric) -> str:
    """A rating that was rounded, with the digits it is printed with.

    Examples
    --------
    >>> from groundborne.rating import METRICS
    >>> number_text(0.0634, METRICS["VDV"]), number_text(24.0, METRICS["LASmax"])
    ('0.0634', '24.0')
    """
    return f"{rating:.{max(decimals(rating, metric), places(rating))}f}"


def decimals(rating: float, metric: Metric) -> int:
    """Decimals a rating is printed with: of vibration three figures at least."""
    if not metric.vibration or rating <= 0:
        return metric.decimals
    return max(metric.decimals, 2 - int(np.floor(np.log10(rating))))


def places(number: float) -> int:
    """Decimals that a number is written with, three at most.

    Examples
    --------
    >>> places(25.0), places(0.25)
    (0, 2)
    """
    return next((n for n in range(3) if round(number, n) == round(number, 3)), 3)


def ordinal(number: float) -> str:
    """A percentile in words.

    Examples
    --------
    >>> ordinal(95.0), ordinal(92.5), ordinal(11.0), ordinal(91.0)
    ('95th', '92.5th', '11th', '91st')
    """
    last, teen = number % 10, 10 < number % 100 < 20
    end = {1: "st", 2: "nd", 3: "rd"}.get(int(last), "th") if last == int(last) else "th"
    return f"{number:g}{'th' if teen else end}"
