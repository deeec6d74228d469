"""What elements answer in the bands of one evaluation, each asked once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import xarray as xr

from groundborne.path.element import PathElement


class Answers:
    """Answers of elements that several paths share: options differ in a few steps only.

    Elements are told apart as objects, not by what they hold; one that cannot stand in a mapping
    is asked each time.

    Parameters
    ----------
    frequency : DataArray
        Nominal bands [Hz].

    Examples
    --------
    >>> from groundborne import bands
    >>> from groundborne.path import FOUNDATION, GROUND, Unchanged
    >>> answers, step = Answers(bands.third_octaves(63, 63)), Unchanged(GROUND, FOUNDATION)
    >>> answers.level_change(step) is answers.level_change(step)
    True
    """

    def __init__(self, frequency: xr.DataArray) -> None:
        self.frequency = frequency
        self._known: dict[Any, xr.DataArray] = {}

    def level_change(self, element: PathElement) -> xr.DataArray:
        """Level change of an element [dB]."""
        return self._once("level change", element, element.level_change)

    def valid(self, element: PathElement) -> xr.DataArray:
        """Where an element is inside the range of its source."""
        return self._once("valid", element, element.valid)

    def _once(
        self, what: str, element: PathElement, ask: Callable[[xr.DataArray], xr.DataArray]
    ) -> xr.DataArray:
        key = (what, element)
        try:
            if key in self._known:
                return self._known[key]
        except TypeError:  # an element of the user's own that has no hash
            return ask(self.frequency)
        answer = self._known[key] = ask(self.frequency)
        return answer
