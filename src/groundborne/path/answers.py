"""What elements answer in the bands of one evaluation, each asked once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import xarray as xr

from groundborne.path.element import PathElement

T = TypeVar("T")


class Kept:
    """What was worked out of objects, kept beside them.

    Objects are told apart as such, not by what they hold or say of their equality: a mount or an
    element of a user's own may not be hashable. They are kept too, so that the identity of one
    cannot pass to another.

    Examples
    --------
    >>> kept, mount = Kept(), object()
    >>> kept.once(lambda: [1], "response", mount) is kept.once(lambda: [1], "response", mount)
    True
    """

    def __init__(self) -> None:
        self._known: dict[tuple[Any, ...], tuple[tuple[Any, ...], Any]] = {}

    def once(self, make: Callable[[], T], *of: Any) -> T:
        """What `make` gave the first time for these objects; words and tuples count as such."""
        key = tuple(one if isinstance(one, (str, tuple)) else id(one) for one in of)
        if key not in self._known:
            self._known[key] = (of, make())
        found: T = self._known[key][1]
        return found


class Answers:
    """Answers of elements that several paths share: options differ in a few steps only.

    An element that holds others asks them through here where it has a ``level_change_in``, which
    takes the answers in place of the frequency.

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
        self._kept = Kept()

    def level_change(self, element: PathElement) -> xr.DataArray:
        """Level change of an element [dB]."""
        thing: Any = element
        if _goes_with(thing, "level_change_in", "level_change"):
            return self.once(lambda _: thing.level_change_in(self), "level change", element)
        return self.once(element.level_change, "level change", element)

    def valid(self, element: PathElement) -> xr.DataArray:
        """Where an element is inside the range of its source."""
        return self.once(element.valid, "valid", element)

    def once(self, ask: Callable[[xr.DataArray], xr.DataArray], what: str, of: Any) -> xr.DataArray:
        """Whatever else an object answers in these bands, named by `what`."""
        return self._kept.once(lambda: ask(self.frequency), what, of)


def _goes_with(thing: Any, other: str, name: str) -> bool:
    """Whether it has a method `other`, and no class further down another method `name`."""
    for of in type(thing).__mro__:
        if other in vars(of) or name in vars(of):
            return other in vars(of)
    return False
