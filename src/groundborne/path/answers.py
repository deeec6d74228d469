"""What elements answer in the bands of one evaluation, each asked once."""

from __future__ import annotations

from collections.abc import Callable

import xarray as xr

from groundborne.path.element import PathElement


class Answers:
    """Answers of elements that several paths share: options differ in a few steps only.

    Elements are told apart as objects, not by what they hold or say of their equality.

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
        # By identity; each element is kept beside its answer, so that its identity cannot pass on.
        self._known: dict[tuple[str, int], tuple[PathElement, xr.DataArray]] = {}

    def level_change(self, element: PathElement) -> xr.DataArray:
        """Level change of an element [dB]."""
        return self._once("level change", element, element.level_change)

    def valid(self, element: PathElement) -> xr.DataArray:
        """Where an element is inside the range of its source."""
        return self._once("valid", element, element.valid)

    def _once(
        self, what: str, element: PathElement, ask: Callable[[xr.DataArray], xr.DataArray]
    ) -> xr.DataArray:
        key = (what, id(element))
        if key not in self._known:
            self._known[key] = (element, ask(self.frequency))
        return self._known[key][1]
