"""The path itself: an immutable row of elements whose ends meet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, LevelError, PathError, known, no_nan
from groundborne.citation import Citation, citation_texts, warn_validity
from groundborne.path.answers import Answers
from groundborne.path.columns import COLUMN_DIM, heard, heard_sum, require_weights
from groundborne.path.element import PathElement, sources_of_parts, sources_outside
from groundborne.path.ends import FOUNDATION, FREE_FOUNDATION, End


@checked
@dataclass(frozen=True, eq=False, init=False)
class TransmissionPath:
    """An immutable row of named elements whose ends meet.

    Parameters
    ----------
    **elements : PathElement
        In order from source to room.

    Attributes
    ----------
    elements : mapping of str to PathElement
        As given.
    weights : DataArray or None
        Share of each column in what a room hears: see :meth:`hearing`.

    Raises
    ------
    PathError
        Two neighbours do not meet (both are named), or there is no element.

    Examples
    --------
    >>> from groundborne.path import COLUMN, FOUNDATION, GROUND, Unchanged
    >>> first, second = Unchanged(GROUND, FOUNDATION), Unchanged(FOUNDATION, COLUMN)
    >>> path = TransmissionPath(coupling=first, storeys=second)
    >>> path.names, str(path.quantity_out)
    (('coupling', 'storeys'), 'velocity of the columns at the floor')
    >>> TransmissionPath(storeys=second, coupling=first)
    Traceback (most recent call last):
    ...
    groundborne._checks.PathError: TransmissionPath: 'storeys' gives velocity of the columns at \
the floor, but 'coupling' takes velocity of the ground
    """

    elements: Mapping[str, PathElement] = field()
    weights: xr.DataArray | None = field(default=None)

    def __init__(self, **elements: PathElement) -> None:
        if not elements:
            raise PathError("TransmissionPath: there is no element; at least one is needed")
        rows = list(elements.items())
        for (first, left), (second, right) in pairwise(rows):
            if left.quantity_out != right.quantity_in:
                raise PathError(
                    f"TransmissionPath: {first!r} gives {left.quantity_out}, but {second!r} takes "
                    f"{right.quantity_in}{_remedy(left.quantity_out, right.quantity_in)}"
                )
        object.__setattr__(self, "elements", MappingProxyType(dict(elements)))
        object.__setattr__(self, "weights", None)

    def hearing(self, weights: xr.DataArray) -> TransmissionPath:
        """Return the same path, for rooms that hear several columns.

        Parameters
        ----------
        weights : DataArray
            Share of each column [-], on ``column`` and, where rooms have places, ``room``; they
            add up to 1. Without them a path that differs from column to column keeps ``column``.

        Raises
        ------
        PathError
            Weights that are no shares.

        Examples
        --------
        >>> from groundborne.path import COLUMN, GROUND, GivenChange
        >>> at = {"column": ["near", "far"], "frequency": [63.0]}
        >>> path = TransmissionPath(ground=GivenChange(xr.DataArray([[0.0], [-20.0]], coords=at),
        ...                                quantity_in=GROUND, quantity_out=COLUMN))
        >>> shares = xr.DataArray([[1.0, 0.0], [0.5, 0.5]],
        ...                       coords={"room": ["hall", "office"], "column": ["near", "far"]})
        >>> path.hearing(shares).level_change(bands.third_octaves(63, 63)).round(2).values.tolist()
        [[0.0], [-2.97]]
        """
        found = TransmissionPath(**self.elements)
        object.__setattr__(found, "weights", require_weights("TransmissionPath.hearing", weights))
        return found

    def heard(self, change: xr.DataArray) -> xr.DataArray:
        """A change of all or of the first elements together, as rooms hear it [dB]."""
        return change if self.weights is None else heard_sum(change, self.weights)

    def up_to(self, name: str) -> TransmissionPath:
        """Return the path that ends with a named element."""
        known("TransmissionPath.up_to", "element", name, self.elements, PathError)
        return self._with({n: self[n] for n in self.names[: self.names.index(name) + 1]})

    def _with(self, elements: Mapping[str, PathElement]) -> TransmissionPath:
        found = TransmissionPath(**elements)
        object.__setattr__(found, "weights", self.weights)
        return found

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the elements in order."""
        return tuple(self.elements)

    def __iter__(self) -> Iterator[str]:
        return iter(self.elements)

    def __getitem__(self, name: str) -> PathElement:
        return self.elements[known("TransmissionPath", "element", name, self.elements, PathError)]

    @property
    def quantity_in(self) -> End:
        """What the first element takes."""
        return next(iter(self.elements.values())).quantity_in

    @property
    def quantity_out(self) -> End:
        """What the last element gives."""
        return list(self.elements.values())[-1].quantity_out

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of all elements in order, without repeats."""
        return tuple(dict.fromkeys(c for e in self.elements.values() for c in e.citations))

    def giving(self, end: End) -> str | None:
        """Name of the last element that gives a quantity; None where there is none.

        Parameters
        ----------
        end : End
            Quantity and place. Places in a path are found by what is there, not by names.

        Examples
        --------
        >>> from groundborne.path import COLUMN, FOUNDATION, GROUND, Unchanged
        >>> down, up = Unchanged(GROUND, FOUNDATION), Unchanged(FOUNDATION, COLUMN)
        >>> path = TransmissionPath(down=down, up=up)
        >>> path.giving(COLUMN)
        'up'
        """
        return next((n for n in reversed(self.names) if self[n].quantity_out == end), None)

    def insert(
        self, *, after: str | None = None, before: str | None = None, **elements: PathElement
    ) -> TransmissionPath:
        """Return a path with elements put in after or before a named one.

        Raises
        ------
        PathError
            Neither or both of `after` and `before`, an unknown name, a name already taken, or ends
            that do not meet.
        """
        if (after is None) == (before is None):
            raise PathError("TransmissionPath.insert: give one of 'after' and 'before'")
        anchor = known(
            "TransmissionPath.insert", "place", after or before, self.elements, PathError
        )
        taken = [n for n in elements if n in self.elements]
        if taken:
            raise PathError(
                f"TransmissionPath.insert: {taken[0]!r} is in the path already; use replace"
            )
        merged: dict[str, PathElement] = {}
        for name, element in self.elements.items():
            if name == anchor and before is not None:
                merged |= elements
            merged[name] = element
            if name == anchor and after is not None:
                merged |= elements
        return self._with(merged)

    def replace(self, **elements: PathElement) -> TransmissionPath:
        """Return a path with named elements exchanged in place."""
        for name in elements:
            known("TransmissionPath.replace", "element", name, self.elements, PathError)
        return self._with({**self.elements, **elements})

    def without(self, *names: str) -> TransmissionPath:
        """Return a path that lacks the named elements."""
        for name in names:
            known("TransmissionPath.without", "element", name, self.elements, PathError)
        return self._with({n: e for n, e in self.elements.items() if n not in names})

    def level_changes(self, frequency: Frequency) -> xr.Dataset:
        """Level change of every element, one variable each.

        Parameters
        ----------
        frequency : DataArray
            Nominal labels [Hz].

        Returns
        -------
        xarray.Dataset
            One variable per element [dB], each with its own dims.

        Raises
        ------
        BandError
            An element answers on other bands than asked.

        Warns
        -----
        ValidityWarning
            An element is used outside the range of its source; the element and band are named.
        """
        bands.require_labels(frequency, "TransmissionPath")
        return self.changes_in(Answers(frequency))

    def changes_in(self, answers: Answers) -> xr.Dataset:
        """As :meth:`level_changes`, with what paths that share elements have asked before.

        Parameters
        ----------
        answers : Answers
            In the bands that are asked for.
        """
        frequency = answers.frequency
        changes: dict[str, xr.DataArray] = {}
        for name, element in self.elements.items():
            change = answers.level_change(element)
            if "frequency" in change.dims and not np.array_equal(
                change.get_index("frequency"), frequency.get_index("frequency")
            ):
                raise BandError(
                    f"TransmissionPath: {name!r} answers on other bands than frequency asks for: "
                    f"{change['frequency'].values.tolist()} and {frequency.values.tolist()}"
                )
            no_nan(f"TransmissionPath: element {name!r}", change, PathError)
            valid = self._for_rooms(answers.valid(element))
            if not bool(valid.all()):
                outside = ~valid
                others = [d for d in outside.dims if d != "frequency"]
                at = frequency.values[np.asarray(outside.any(others).values)]
                told: Any = getattr(element, "range_in_words", None)  # of those that know more
                holds = "" if told is None else f": {told(frequency.sel(frequency=at))}"
                sources = citation_texts(sources_outside(element, frequency))
                warn_validity(
                    f"path element {name!r}{_places(outside)}: {bands.label(at[0])} to "
                    f"{bands.label(at[-1])} Hz ({at.size} of {frequency.size} bands) lie outside "
                    f"the range of its source ({sources or 'no source'})"
                    f"{holds}."
                )
            changes[name] = change
        changes = self._heard(changes)
        try:
            # A Dataset would join labels that differ and fill the gaps with NaN.
            xr.align(*changes.values(), join="exact")
            return xr.Dataset(changes)
        except ValueError as error:
            raise PathError(
                f"TransmissionPath: the elements do not fit together: {error}"
            ) from error

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Sum of the level changes of all elements [dB]."""
        return total_change(self.level_changes(frequency), citations=self.citations)

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`; see :meth:`changes_in`."""
        return total_change(self.changes_in(answers), citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where every element is inside the range of its source."""
        return self.valid_in(Answers(frequency))

    def sources_outside(self, frequency: xr.DataArray) -> tuple[Citation, ...]:
        """Sources of the elements that are used outside their range."""
        return sources_of_parts(self.elements.values(), frequency)

    def valid_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`valid`; see :meth:`changes_in`."""
        valid = xr.ones_like(answers.frequency, dtype=bool)
        for element in self.elements.values():
            valid = valid & self._for_rooms(answers.valid(element))
        return valid

    def _heard(self, changes: dict[str, xr.DataArray]) -> dict[str, xr.DataArray]:
        """What differs from column to column as rooms hear it; by column without weights."""
        varies = any(COLUMN_DIM in change.dims for change in changes.values())
        return heard(changes, self.weights) if varies and self.weights is not None else changes

    def _for_rooms(self, valid: xr.DataArray) -> xr.DataArray:
        """Where a value by column counts in a room, all that it hears must be valid."""
        if COLUMN_DIM not in valid.dims or self.weights is None:
            return valid
        inside: xr.DataArray = (valid | (self.weights == 0)).all(COLUMN_DIM)
        return inside

    def level(self, source: xr.DataArray) -> xr.DataArray:
        """Level at the end of the path: source plus the sum of the level changes.

        Parameters
        ----------
        source : DataArray
            Labelled level [dB] with dim ``frequency``; its quantity must be what the path takes.

        Returns
        -------
        xarray.DataArray
            Level [dB re 1 nm/s or 20 µPa], with all dims of source and elements.

        Raises
        ------
        LevelError
            The source is not labelled or is another quantity than the path takes.
        """
        levels.require(source, where="TransmissionPath.level", quantity=self.quantity_in.quantity)
        place = source.attrs.get("location")
        if place is not None and place != self.quantity_in.location:
            raise LevelError(
                f"TransmissionPath.level: the source is the velocity {place}; the path takes "
                f"{self.quantity_in}"
            )
        own = levels.convert(source, reference=_REFERENCE[self.quantity_in.quantity])
        total = own + self.level_change(source["frequency"])
        out = self.quantity_out
        return levels.stamp(
            total,
            quantity=out.quantity,
            reference=_REFERENCE[out.quantity],
            long_name=f"{out.quantity} level",
            location=out.location,
            time_weighting=source.attrs.get("time_weighting", ""),
            citations=self.citations,
        )


def _remedy(given: End, taken: End) -> str:
    """Why two ends of the foundation do not meet, and what to do."""
    if (given, taken) == (FOUNDATION, FREE_FOUNDATION):
        return (
            ". The first holds the reaction of building and soil, and a column line adds it once "
            "more: leave one of them out, or let the first lead from the ground to the free "
            "foundation if it holds no more than that"
        )
    if (given, taken) == (FREE_FOUNDATION, FOUNDATION):
        return (
            ". The reaction of building and soil lies between them: a column line, or a coupling "
            "loss to the loaded foundation, adds it"
        )
    return ""


_REFERENCE = {"velocity": "1 nm/s", "sound pressure": "20 µPa"}


@checked
def total_change(changes: xr.Dataset, *, citations: tuple[Citation, ...] = ()) -> xr.DataArray:
    """Sum of the level changes of all stages.

    Parameters
    ----------
    changes : Dataset
        One variable for each stage [dB], from :meth:`TransmissionPath.level_changes`.
    citations : tuple of Citation
        Stamped on the sum.

    Returns
    -------
    xarray.DataArray
        Level change, source to room [dB], with the dims of all stages.

    Examples
    --------
    >>> stages = xr.Dataset({"coupling": xr.DataArray(-6.0), "floor": xr.DataArray(4.0)})
    >>> total_change(stages).item()
    -2.0
    """
    total = sum(changes.data_vars.values(), start=xr.DataArray(0.0))
    return levels.stamp_change(total, long_name="level change, source to room", citations=citations)


def _places(outside: xr.DataArray) -> str:
    """Rooms, columns or floors for which something holds, where it does not hold for all."""
    words = ""
    for dim in (d for d in outside.dims if d in ("room", "column", "floor")):
        here = outside.any([d for d in outside.dims if d != dim])
        names = [str(name) for name in here[dim].values[here.values].tolist()]
        if len(names) == here.size:
            continue
        few = f"{dim} {', '.join(map(repr, names))}"
        words += f", {few if len(names) <= 6 else f'{len(names)} {dim}s'}"
    return words
