"""Path elements: the protocol, and those that are plain numbers, nothing, or a choice of place."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
from typing import Protocol, runtime_checkable

import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import Frequency, checked
from groundborne._checks import PathError, finite
from groundborne.citation import Citation
from groundborne.path.ends import End


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
    >>> from groundborne.path import FOUNDATION
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

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The element's change where it acts, 0 dB elsewhere."""
        change = self.element.level_change(frequency)
        masked: xr.DataArray = xr.where(self.where, change, 0.0)
        masked.attrs = change.attrs
        return masked

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """The element's validity where it acts."""
        return self.element.valid(frequency) | ~self.where
