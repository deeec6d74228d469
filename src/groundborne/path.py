"""The path from source to room as an ordered row of level changes.

Every step is a :class:`PathElement`: it says what it takes, what it gives, and the level change
between them in dB (positive raises the level). A :class:`Path` refuses elements whose ends do not
meet, and its level is the source level plus the sum of the level changes, exactly.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import KW_ONLY, dataclass, field
from itertools import pairwise
from types import MappingProxyType
from typing import Protocol, runtime_checkable

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._checks import BandError, LevelError, PathError, finite, known, no_nan
from groundborne.citation import Citation, citation_texts, warn_validity


@dataclass(frozen=True)
class End:
    """What a path element takes or gives: a quantity at a place.

    Examples
    --------
    >>> str(GROUND)
    'velocity of the ground'
    """

    quantity: str
    location: str

    def __str__(self) -> str:
        return f"{self.quantity} {self.location}"


GROUND = End("velocity", "of the ground")
FOUNDATION = End("velocity", "of the foundation")
COLUMN = End("velocity", "of the columns at the floor")
MID_SPAN = End("velocity", "of the floor at mid-span")
FLOOR_AVERAGE = End("velocity", "of the floor, surface average")
SURFACE = End("velocity", "of one surface of the room")
SURFACES = End("velocity", "of the room surfaces, radiation-weighted mean")
ROOM = End("sound pressure", "in the room, room average")

ENDS = {
    "ground": GROUND,
    "foundation": FOUNDATION,
    "column": COLUMN,
    "mid-span": MID_SPAN,
    "floor average": FLOOR_AVERAGE,
    "room surfaces": SURFACES,
    "room": ROOM,
}
"""Short names of the ends, as study files write them."""


@runtime_checkable
class PathElement(Protocol):
    """One step of a path.

    ``quantity_in`` and ``quantity_out`` are :class:`End`; ``citations`` names the sources;
    ``level_change`` gives dB per nominal band; ``valid`` is True where the source covers the band.
    """

    @property
    def quantity_in(self) -> End:
        """What the element takes."""
        ...

    @property
    def quantity_out(self) -> End:
        """What the element gives."""
        ...

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the numbers."""
        ...

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """Level change [dB] at nominal bands; positive raises the level."""
        ...

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """Whether each band lies inside the range of the source."""
        ...


def valid_between(frequency: xr.DataArray, low: float, high: float) -> xr.DataArray:
    """Bands whose nominal label lies in [low, high] Hz."""
    return (frequency >= low) & (frequency <= high)


@dataclass(frozen=True, eq=False)
class GivenChange:
    """A level change given as numbers: measured, agreed, or read from a table.

    Parameters
    ----------
    change : DataArray
        Level change [dB] with dim ``frequency`` (nominal labels); other dims broadcast.
    quantity_in, quantity_out : End
        What it takes and gives.
    citations : tuple of Citation
        Where the numbers come from.

    Raises
    ------
    BandError
        Asked for a band the numbers do not hold; nothing is extrapolated.

    Examples
    --------
    >>> f = bands.third_octaves(50, 80)
    >>> loss = GivenChange(xr.DataArray([-6.0, -7.0, -8.0], coords={"frequency": f.values}),
    ...                    quantity_in=GROUND, quantity_out=FOUNDATION)
    >>> loss.level_change(bands.third_octaves(63, 63)).values.tolist()
    [-7.0]
    """

    change: xr.DataArray
    _: KW_ONLY
    quantity_in: End
    quantity_out: End
    citations: tuple[Citation, ...] = ()

    def __post_init__(self) -> None:
        if "frequency" not in getattr(self.change, "dims", ()):
            raise PathError("GivenChange: change must be a DataArray with the dim 'frequency'")
        finite("GivenChange", "change", self.change)
        bands.require_labels(self.change["frequency"], "GivenChange")

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """The numbers at the asked bands [dB]."""
        asked = bands.require_labels(frequency, "GivenChange")
        cut = bands.select(self.change, float(asked[0]), float(asked[-1]))
        return levels.stamp_change(cut, long_name="given level change", citations=self.citations)

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """True at every band that is there."""
        return frequency.isin(self.change["frequency"])


@dataclass(frozen=True, eq=False)
class Unchanged:
    """A step that changes nothing, where a term is known to be zero.

    Examples
    --------
    >>> float(Unchanged(GROUND, FOUNDATION).level_change(bands.third_octaves(63, 63))[0])
    0.0
    """

    quantity_in: End
    quantity_out: End
    _: KW_ONLY
    citations: tuple[Citation, ...] = ()

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """Zero dB at every band."""
        zero = xr.zeros_like(frequency, dtype=float)
        return levels.stamp_change(zero, long_name="no level change", citations=self.citations)

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)


@dataclass(frozen=True, eq=False)
class Where:
    """An element that acts in some places only, for example on rooms above the isolation plane.

    Parameters
    ----------
    element : PathElement
        Takes and gives the same quantity.
    where : DataArray of bool
        True where it acts; elsewhere the level change is 0 dB.

    Raises
    ------
    PathError
        The element changes the quantity, so that it cannot be left out anywhere.

    Examples
    --------
    >>> above = xr.DataArray([True, False], coords={"room": ["hall", "lift pit"]})
    >>> gain = GivenChange(xr.DataArray([-10.0], coords={"frequency": [63.0]}),
    ...                    quantity_in=FOUNDATION, quantity_out=FOUNDATION)
    >>> Where(gain, above).level_change(bands.third_octaves(63, 63)).values.ravel().tolist()
    [-10.0, 0.0]
    """

    element: PathElement
    where: xr.DataArray

    def __post_init__(self) -> None:
        if self.element.quantity_in != self.element.quantity_out:
            raise PathError(
                f"Where: {type(self.element).__name__} turns {self.element.quantity_in} into "
                f"{self.element.quantity_out}; only an element that keeps the quantity can be "
                "left out in some places"
            )
        if self.where.dtype != bool:
            raise PathError(f"Where: where holds {self.where.dtype}; True and False are needed")

    @property
    def quantity_in(self) -> End:
        """What the element takes."""
        return self.element.quantity_in

    @property
    def quantity_out(self) -> End:
        """What the element gives."""
        return self.element.quantity_out

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the element."""
        return self.element.citations

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """The element's change where it acts, 0 dB elsewhere."""
        change = self.element.level_change(frequency)
        masked: xr.DataArray = xr.where(self.where, change, 0.0)
        masked.attrs = change.attrs
        return masked

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """The element's validity where it acts."""
        return self.element.valid(frequency) | ~self.where


@dataclass(frozen=True, eq=False, init=False)
class Path:
    """An immutable row of named elements whose ends meet.

    Parameters
    ----------
    **elements : PathElement
        In order from source to room.

    Raises
    ------
    PathError
        Two neighbours do not meet (both are named), or there is no element.

    Examples
    --------
    >>> path = Path(coupling=Unchanged(GROUND, FOUNDATION), storeys=Unchanged(FOUNDATION, COLUMN))
    >>> path.names, str(path.quantity_out)
    (('coupling', 'storeys'), 'velocity of the columns at the floor')
    >>> Path(storeys=Unchanged(FOUNDATION, COLUMN), coupling=Unchanged(GROUND, FOUNDATION))
    Traceback (most recent call last):
    ...
    groundborne._checks.PathError: Path: 'storeys' gives velocity of the columns at the floor, \
but 'coupling' takes velocity of the ground
    """

    elements: Mapping[str, PathElement] = field()

    def __init__(self, **elements: PathElement) -> None:
        if not elements:
            raise PathError("Path: there is no element; at least one is needed")
        rows = list(elements.items())
        for name, element in rows:
            if not isinstance(element, PathElement):
                raise PathError(f"Path: {name!r} is a {type(element).__name__}, not a path element")
        for (first, left), (second, right) in pairwise(rows):
            if left.quantity_out != right.quantity_in:
                raise PathError(
                    f"Path: {first!r} gives {left.quantity_out}, but {second!r} takes "
                    f"{right.quantity_in}"
                )
        object.__setattr__(self, "elements", MappingProxyType(dict(elements)))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the elements in order."""
        return tuple(self.elements)

    def __iter__(self) -> Iterator[str]:
        return iter(self.elements)

    def __getitem__(self, name: str) -> PathElement:
        return self.elements[known("Path", "element", name, self.elements, PathError)]

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

    def insert(
        self, *, after: str | None = None, before: str | None = None, **elements: PathElement
    ) -> Path:
        """Return a path with elements put in after or before a named one.

        Raises
        ------
        PathError
            Neither or both of `after` and `before`, an unknown name, a name already taken, or ends
            that do not meet.
        """
        if (after is None) == (before is None):
            raise PathError("Path.insert: give one of 'after' and 'before'")
        anchor = known("Path.insert", "place", after or before, self.elements, PathError)
        taken = [n for n in elements if n in self.elements]
        if taken:
            raise PathError(f"Path.insert: {taken[0]!r} is in the path already; use replace")
        merged: dict[str, PathElement] = {}
        for name, element in self.elements.items():
            if name == anchor and before is not None:
                merged |= elements
            merged[name] = element
            if name == anchor and after is not None:
                merged |= elements
        return Path(**merged)

    def replace(self, **elements: PathElement) -> Path:
        """Return a path with named elements exchanged in place."""
        for name in elements:
            known("Path.replace", "element", name, self.elements, PathError)
        return Path(**{**self.elements, **elements})

    def without(self, *names: str) -> Path:
        """Return a path that lacks the named elements."""
        for name in names:
            known("Path.without", "element", name, self.elements, PathError)
        return Path(**{n: e for n, e in self.elements.items() if n not in names})

    def level_changes(self, frequency: xr.DataArray) -> xr.Dataset:
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
        bands.require_labels(frequency, "Path")
        changes: dict[str, xr.DataArray] = {}
        for name, element in self.elements.items():
            change = element.level_change(frequency)
            if "frequency" in change.dims and not np.array_equal(
                change["frequency"].values, frequency["frequency"].values
            ):
                raise BandError(f"Path: {name!r} answers on other bands than it was asked for")
            no_nan(f"Path: element {name!r}", change, PathError)
            valid = element.valid(frequency)
            if not bool(valid.all()):
                outside = ~valid
                others = [d for d in outside.dims if d != "frequency"]
                at = frequency.values[np.asarray(outside.any(others).values)]
                warn_validity(
                    f"path element {name!r}: {bands.label(at[0])} to {bands.label(at[-1])} Hz "
                    f"({at.size} of {frequency.size} bands) lie outside the range of its source "
                    f"({citation_texts(element.citations) or 'no source'})"
                )
            changes[name] = change
        try:
            return xr.Dataset(changes)
        except ValueError as error:
            raise PathError(f"Path: the elements do not fit together: {error}") from error

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """Sum of the level changes of all elements [dB]."""
        return total_change(self.level_changes(frequency), citations=self.citations)

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """True where every element is inside the range of its source."""
        valid = xr.ones_like(frequency, dtype=bool)
        for element in self.elements.values():
            valid = valid & element.valid(frequency)
        return valid

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
        levels.require(source, where="Path.level", quantity=self.quantity_in.quantity)
        place = source.attrs.get("location")
        if place is not None and place != self.quantity_in.location:
            raise LevelError(
                f"Path.level: the source is the velocity {place}; the path takes {self.quantity_in}"
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


_REFERENCE = {"velocity": "1 nm/s", "sound pressure": "20 µPa"}


def total_change(changes: xr.Dataset, *, citations: tuple[Citation, ...] = ()) -> xr.DataArray:
    """Sum of the variables of :meth:`Path.level_changes` [dB]."""
    total = xr.DataArray(0.0)
    for change in changes.data_vars.values():
        total = total + change
    return levels.stamp_change(total, long_name="level change, source to room", citations=citations)
