"""Path elements: the protocol, and those that are plain numbers, nothing, or a choice of place."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import Frequency, checked
from groundborne._checks import PathError, finite
from groundborne.citation import Citation
from groundborne.path.ends import End

if TYPE_CHECKING:
    from groundborne.path.answers import Answers


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

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Level change [dB] at nominal bands; positive raises the level."""
        ...

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """Whether each band lies inside the range of the source."""
        ...


def sources_outside(element: Any, frequency: xr.DataArray) -> tuple[Citation, ...]:
    """Sources that do not hold in every band, of an element that is not valid in all of them.

    An element of many parts has a method ``sources_outside`` that names those of the parts which
    leave their range; of any other it is all its sources.

    Parameters
    ----------
    element : PathElement
        Or a part of one, with ``citations``.
    frequency : DataArray
        Nominal labels [Hz].
    """
    own = getattr(element, "sources_outside", None)
    found: tuple[Citation, ...] = element.citations if own is None else own(frequency)
    return found


def sources_of_parts(parts: Iterable[Any], frequency: xr.DataArray) -> tuple[Citation, ...]:
    """As :func:`sources_outside`, of those parts that are not valid in every band."""
    outside = (part for part in parts if not bool(part.valid(frequency).all()))
    return tuple(dict.fromkeys(c for part in outside for c in sources_outside(part, frequency)))


@checked
def valid_between(frequency: Frequency, low: float, high: float) -> xr.DataArray:
    """Bands whose nominal label lies between two limits, both included.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz].
    low, high : float
        Limits [Hz].

    Returns
    -------
    xarray.DataArray of bool
        On ``frequency``.

    Examples
    --------
    >>> valid_between(bands.third_octaves(50, 80), 63, 100).values.tolist()
    [False, True, True]
    """
    inside: xr.DataArray = (frequency >= low) & (frequency <= high)
    return inside


@checked
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
    measured : bool
        Whether they were measured in the very building.

    Raises
    ------
    BandError
        Asked for a band the numbers do not hold; nothing is extrapolated.

    Examples
    --------
    >>> f = bands.third_octaves(50, 80)
    >>> from groundborne.path import FOUNDATION, GROUND
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
    measured: bool = False

    def __post_init__(self) -> None:
        if "frequency" not in getattr(self.change, "dims", ()):
            raise PathError("GivenChange: change must be a DataArray with the dim 'frequency'")
        finite("GivenChange", "change", self.change)
        bands.require_labels(self.change["frequency"], "GivenChange")

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The numbers at the asked bands [dB]."""
        asked = bands.require_labels(frequency, "GivenChange")
        cut = bands.select(self.change, float(asked[0]), float(asked[-1]))
        return levels.stamp_change(cut, long_name="given level change", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True at every band that is there."""
        held: xr.DataArray = frequency.isin(self.change["frequency"])
        return held


@checked
@dataclass(frozen=True, eq=False)
class Unchanged:
    """A step that changes nothing, where a term is known to be zero.

    Parameters
    ----------
    quantity_in, quantity_out : End
        What it takes and gives.
    citations : tuple of Citation
        Why it is zero.

    Examples
    --------
    >>> from groundborne.path import FOUNDATION, GROUND
    >>> float(Unchanged(GROUND, FOUNDATION).level_change(bands.third_octaves(63, 63))[0])
    0.0
    """

    quantity_in: End
    quantity_out: End
    _: KW_ONLY
    citations: tuple[Citation, ...] = ()

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Zero dB at every band."""
        zero = xr.zeros_like(frequency, dtype=float)
        return levels.stamp_change(zero, long_name="no level change", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, eq=False)
class Where:
    """An element that acts in some places only, and another, or none, in the others.

    Base isolation acts on rooms above the isolation plane; a transfer measured on two floors stands
    there in place of the one that is computed for all.

    Parameters
    ----------
    element : PathElement
        Acts where `where` is True.
    where : DataArray of bool
        On ``room``, ``floor``, ``column`` or any other dim that tells the places.
    otherwise : PathElement, optional
        Acts elsewhere. Without it nothing does (0 dB), and `element` must take and give the same
        quantity.

    Raises
    ------
    PathError
        The element changes the quantity, so that it cannot be left out anywhere; or the other one
        takes or gives something else.
    LabelError
        Labels of `where` and of what the elements hold differ.

    Examples
    --------
    >>> from groundborne.path import FOUNDATION
    >>> above = xr.DataArray([True, False], coords={"room": ["hall", "lift pit"]})
    >>> gain, more = (GivenChange(xr.DataArray([change], coords={"frequency": [63.0]}),
    ...                           quantity_in=FOUNDATION, quantity_out=FOUNDATION)
    ...               for change in (-10.0, 3.0))
    >>> Where(gain, above).level_change(bands.third_octaves(63, 63)).values.ravel().tolist()
    [-10.0, 0.0]
    >>> both = Where(gain, above, otherwise=more)
    >>> both.level_change(bands.third_octaves(63, 63)).values.ravel().tolist()
    [-10.0, 3.0]
    """

    element: PathElement
    where: xr.DataArray
    _: KW_ONLY
    otherwise: PathElement | None = None

    def __post_init__(self) -> None:
        one, other = self.element, self.otherwise
        if other is None and one.quantity_in != one.quantity_out:
            raise PathError(
                f"Where: {type(one).__name__} turns {one.quantity_in} into {one.quantity_out}; "
                "only an element that keeps the quantity can be left out in some places"
            )
        if other is not None and _ends(one) != _ends(other):
            raise PathError(
                f"Where: {type(one).__name__} turns {one.quantity_in} into {one.quantity_out}, and "
                f"{type(other).__name__} elsewhere {other.quantity_in} into {other.quantity_out}; "
                "both must take and give the same"
            )
        if self.where.dtype != bool:
            raise PathError(f"Where: where holds {self.where.dtype}; True and False are needed")

    @property
    def quantity_in(self) -> End:
        """What the elements take."""
        return self.element.quantity_in

    @property
    def quantity_out(self) -> End:
        """What the elements give."""
        return self.element.quantity_out

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the elements."""
        others = () if self.otherwise is None else self.otherwise.citations
        return tuple(dict.fromkeys((*self.element.citations, *others)))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The element's change where it acts, that of the other one or 0 dB elsewhere."""
        return self._chosen(lambda element: element.level_change(frequency))

    def level_change_in(self, answers: Answers) -> xr.DataArray:
        """As :meth:`level_change`, of elements that were asked before."""
        return self._chosen(answers.level_change)

    def _chosen(self, ask: Callable[[PathElement], xr.DataArray]) -> xr.DataArray:
        change = ask(self.element)
        other = 0.0 if self.otherwise is None else ask(self.otherwise)
        chosen: xr.DataArray = xr.where(self.where, change, other)
        chosen = chosen.transpose(..., "frequency", missing_dims="ignore")
        return levels.stamp_change(
            chosen, long_name=change.attrs.get("long_name", ""), citations=self.citations
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """The validity of each element where it acts."""
        here = self.element.valid(frequency) | ~self.where
        if self.otherwise is None:
            return here
        return here & (self.otherwise.valid(frequency) | self.where)


def _ends(element: PathElement) -> tuple[End, End]:
    return element.quantity_in, element.quantity_out
