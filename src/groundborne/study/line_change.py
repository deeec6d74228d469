"""What column lines answer to the ground, and steps of a path that follow them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, reduce
from operator import or_
from typing import Any

import xarray as xr

from groundborne._arguments import Frequency
from groundborne._checks import Numeric
from groundborne.bands import exact
from groundborne.citation import Citation
from groundborne.isolation.bypass import BYPASS
from groundborne.levels import decibel, stamp_change
from groundborne.path import End, GivenChange, PathElement, TransmissionPath, Where
from groundborne.propagation import StoreyStep
from groundborne.structure import ColumnLine, FlatSlab, Slab, known_failures, reverberant
from groundborne.structure.ladder import distinct
from groundborne.structure.tributary import TRIBUTARY

OtherSlabs = Mapping[str, tuple[str, Slab]]


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorResponse:
    """Mean squares over the free velocity of the ground, per floor and band [-].

    Parameters
    ----------
    column, surface, slab, mid_panel, mean : DataArray
        At the columns, over the floors, over the structural slabs, at mid-panel, and of the mean
        velocity of the floors; dims (floor, frequency) and ``column`` where there are several.
    citations : tuple of Citation
        Sources of the lines.
    line : ColumnLine
        Whose response it is.
    other_slabs : mapping of str to (str, Slab)
        Slabs of other kinds on its floors, by their names on ``floor``.
    bypass : _Bypassing, optional
        Of what it is the sum, where energy arrives beside mounts.
    """

    column: xr.DataArray
    surface: xr.DataArray
    slab: xr.DataArray
    mid_panel: xr.DataArray
    mean: xr.DataArray
    citations: tuple[Citation, ...]
    line: ColumnLine
    other_slabs: OtherSlabs = field(default_factory=dict)
    bypass: _Bypassing | None = None

    @property
    def frequency(self) -> xr.DataArray:
        """Its bands."""
        return self.column["frequency"]

    @cached_property
    def _elsewhere(self) -> dict[tuple[float, ...], FloorResponse]:
        return {}

    def at(self, frequency: xr.DataArray) -> FloorResponse:
        """The response in other bands, worked out once."""
        labels = tuple(frequency["frequency"].values.tolist())
        if labels == tuple(self.frequency.values.tolist()):
            return self
        if labels not in self._elsewhere:
            self._elsewhere[labels] = (
                FloorResponse.of(self.line, frequency, other_slabs=self.other_slabs)
                if self.bypass is None
                else self.bypass.at(frequency)
            )
        return self._elsewhere[labels]

    @cached_property
    def _failing(self) -> dict[tuple[float, ...], xr.DataArray]:
        return {}

    def failing(self, frequency: xr.DataArray) -> xr.DataArray:
        """Bands in which its line is known to fail, worked out once for all steps that follow."""
        labels = tuple(frequency["frequency"].values.tolist())
        if labels not in self._failing:
            self._failing[labels] = known_failures(frequency, line=self.line)
        return self._failing[labels]

    def beside(
        self,
        built: FloorResponse,
        *,
        share: Numeric,
        floors: Sequence[str | int],
        citations: tuple[Citation, ...],
    ) -> FloorResponse:
        """The same with energy that arrives at some floors by ways beside the mounts.

        Parameters
        ----------
        built : FloorResponse
            Without mounts, in the same bands.
        share : float or DataArray
            Energy that arrives so, over that without mounts [-].
        floors : sequence of str or int
            That it arrives at.
        citations : tuple of Citation
            Sources of the share.
        """

        def summed(name: str) -> xr.DataArray:
            own, before = getattr(self, name), getattr(built, name)
            labels = own["floor"].reset_coords(drop=True)
            total: xr.DataArray = own + before * share * labels.isin(list(floors))
            return total

        sums: dict[str, Any] = {name: summed(name) for name in _PLACES}
        return replace(
            self,
            **sums,
            citations=tuple(dict.fromkeys((*self.citations, BYPASS, *citations))),
            bypass=_Bypassing(self, built, share, tuple(floors), citations),
        )

    def rooms_as_one(self, level: xr.DataArray, length: Numeric, width: Numeric) -> Numeric:
        """Least share of the surface average with which floors of rooms move as a whole [-].

        Of flat slabs on columns, `level` by room; of others 0, for their rooms take up the panel.
        """
        slabs = dict(zip(self.line.floors, self.line.slabs, strict=True))
        slabs |= {name: slab for name, (_, slab) in self.other_slabs.items()}
        names = list(dict.fromkeys(level.values.ravel().tolist()))
        kinds, index = distinct([slabs[name] for name in names])
        total: Numeric = 0.0
        for kind, slab in enumerate(kinds):
            if isinstance(slab, FlatSlab):
                wave = reverberant.wavenumber(slab, exact(self.frequency))
                share = reverberant.moving_as_one(wave, length=length, width=width)
                here = level.isin([n for n, i in zip(names, index, strict=True) if i == kind])
                total = total + share * here.reset_coords(drop=True)
        return total

    @classmethod
    def of(
        cls,
        line: ColumnLine,
        frequency: Frequency,
        *,
        on_floating_floor: bool = False,
        other_slabs: OtherSlabs,
    ) -> FloorResponse:
        """Evaluate a line, or many on ``column``, in nominal bands."""
        places = ("column", "surface", "mid_panel", "mean")
        found: dict[str, Any] = line.floor_mean_squares(
            frequency,
            places=(*places, "slab") if on_floating_floor else places,
            on_floating_floor=on_floating_floor,
            other_slabs=other_slabs,
        )
        found.setdefault("slab", found["surface"])
        # Above its first resonance a panel moves as its losses allow, and its mean as it would
        # between columns in phase; no more than all of it moves as a whole.
        found["mean"] = found["mean"].where(found["mean"] < found["surface"], found["surface"])
        other = [c for _, slab in other_slabs.values() for c in slab.citations]
        citations = tuple(dict.fromkeys((*line.citations, *other, TRIBUTARY)))
        return cls(**found, citations=citations, line=line, other_slabs=other_slabs)


_PLACES = ("column", "surface", "slab", "mid_panel", "mean")


@dataclass(frozen=True, eq=False)
class _Bypassing:
    """Of what a response is the sum: see :meth:`FloorResponse.beside`."""

    springs: FloorResponse
    built: FloorResponse
    share: Numeric
    floors: tuple[str | int, ...]
    citations: tuple[Citation, ...]

    def at(self, frequency: xr.DataArray) -> FloorResponse:
        """The sum in other bands."""
        return self.springs.at(frequency).beside(
            self.built.at(frequency),
            share=self.share,
            floors=self.floors,
            citations=self.citations,
        )


class LineChange(GivenChange):
    """A level change of column lines: numbers in the bands of a study, worked out in others."""

    _make: Callable[[FloorResponse], xr.DataArray]
    _response: FloorResponse
    _more: tuple[Citation, ...]

    @classmethod
    def of(
        cls,
        make: Callable[[FloorResponse], xr.DataArray],
        response: FloorResponse,
        *,
        quantity_in: End,
        quantity_out: End,
        more: tuple[Citation, ...] = (),
    ) -> LineChange:
        """The change that `make` takes from a response, as a ratio of mean squares."""
        found = cls(
            decibel(make(response)).drop_attrs(deep=False),
            quantity_in=quantity_in,
            quantity_out=quantity_out,
            citations=(*response.citations, *more),
        )
        # No fields: a study is described by its lines and mounts, and this follows from them.
        object.__setattr__(found, "_make", make)
        object.__setattr__(found, "_response", response)
        object.__setattr__(found, "_more", more)
        return found

    def under(self, response: FloorResponse) -> LineChange:
        """The same change of lines that answer otherwise: on mounts, with other slabs."""
        return LineChange.of(
            self._make,
            response,
            quantity_in=self.quantity_in,
            quantity_out=self.quantity_out,
            more=self._more,
        )

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """At the asked bands [dB]."""
        if bool(frequency["frequency"].isin(self.change["frequency"]).all()):
            return super().level_change(frequency)
        change = decibel(self._make(self._response.at(frequency)))
        return stamp_change(
            change, long_name="level change of column lines", citations=self.citations
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """At every band, but where :func:`~groundborne.structure.known_failures` says otherwise."""
        return ~self._response.failing(frequency)


def given_in(
    step: PathElement, rooms: xr.DataArray, *, by_column: bool = False, measured: bool = False
) -> xr.DataArray:
    """Rooms for which a step is numbers that were given, in all of it or beside column lines.

    Parameters
    ----------
    step : PathElement
        Of a path.
    rooms : DataArray
        Their labels.
    by_column : bool
        Whether only numbers count that differ from column to column.
    measured : bool
        Whether only numbers count that were measured in the building.

    Returns
    -------
    DataArray of bool
        On ``room``.
    """
    none: xr.DataArray = xr.zeros_like(rooms, dtype=bool)
    if isinstance(step, Where):
        inside, outside = (
            none if one is None else given_in(one, rooms, by_column=by_column, measured=measured)
            for one in (step.element, step.otherwise)
        )
        if "room" not in step.where.dims:  # some columns of every room
            return inside | outside
        return (inside & step.where) | (outside & ~step.where)
    if isinstance(step, GivenChange):
        numbers = not isinstance(step, LineChange) and (step.measured or not measured)
        return ~none if numbers and (not by_column or "column" in step.change.dims) else none
    parts: tuple[PathElement, ...] = ()
    if isinstance(step, TransmissionPath):
        parts = tuple(step.elements.values())
    if isinstance(step, StoreyStep):
        parts = (step.here, step.there)
    found = (given_in(p, rooms, by_column=by_column, measured=measured) for p in parts)
    return reduce(or_, found, none)


def alike_in(step: PathElement, rooms: xr.DataArray) -> xr.DataArray:
    """Rooms for which a step is numbers that were given, the same for all columns."""
    return given_in(step, rooms) & ~given_in(step, rooms, by_column=True)


def following(step: PathElement, response: FloorResponse) -> PathElement:
    """A step in which all that follows column lines follows another response of theirs.

    Parameters
    ----------
    step : PathElement
        Of any kind: what was measured, tabulated or made by a user stays as it is, also where it
        stands beside lines (:class:`~groundborne.path.Where`, a path inside a path).
    response : FloorResponse
        Of the same lines, for example on mounts.
    """
    if isinstance(step, LineChange):
        return step.under(response)
    if isinstance(step, TransmissionPath):
        return step.replace(**{n: following(e, response) for n, e in step.elements.items()})
    if isinstance(step, Where) and step.otherwise is not None:
        return replace(
            step,
            element=following(step.element, response),
            otherwise=following(step.otherwise, response),
        )
    return step
