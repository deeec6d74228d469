"""Blocks of samples of a study, drawn and rated: plain arrays, which go to other processes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from groundborne.study.rated_samples import Rated, RatedSums
from groundborne.uncertainty import BLOCK, Draws, Spread, Tally
from groundborne.uncertainty.draws import Normals

_ROUNDING = 1e-6  # dB; a rating on its limit keeps it
_TRAINS = 2  # stream of what the number of trains leaves open
_POWER = np.float32(np.log(10) / 10)
_ROOMS = 8  # that are rated at once: their spectra fit into a cache


@dataclass(frozen=True, eq=False)
class Block:
    """Counts of one block of samples, or of several together; all are whole numbers.

    Parameters
    ----------
    tally : Tally
        Deviations of ratings, on option, room, criterion.
    better : Tally
        Deviations of every option but the first, less those of the first.
    met : tuple of ndarray
        Samples that meet each criterion, likewise; all criteria of each room, on option and room;
        and of all rooms, on option; each by case of the mechanics first.
    squares : tuple of ndarray
        Squares of the same of every block, summed up, without cases.
    blocks : int
        How many there are.
    """

    tally: Tally
    better: Tally
    met: tuple[np.ndarray[Any, Any], ...]
    squares: tuple[np.ndarray[Any, Any], ...]
    blocks: int = 1

    def taking(self, other: Block) -> Block:
        """Both together, in the memory of this one where it is wide enough."""
        return Block(
            self.tally.taking(other.tally),
            self.better.taking(other.better),
            tuple(a + b for a, b in zip(self.met, other.met, strict=True)),
            tuple(a + b for a, b in zip(self.squares, other.squares, strict=True)),
            self.blocks + other.blocks,
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Errors:
    """How the spreads of a study add up in the levels of one quantity.

    Parameters
    ----------
    sizes : tuple of ndarray
        Standard deviation of each spread [dB]: option or 1, room, frequency.
    """

    sizes: tuple[np.ndarray[Any, Any], ...]

    @classmethod
    def of(cls, spreads: Sequence[Spread], quantity: str, result: xr.Dataset) -> Errors:
        """Of the spreads of a study, for the rooms and options of its result."""
        sizes = []
        for spread in spreads:
            size = spread.of(quantity)
            full = (1.0 * size).broadcast_like(
                xr.Dataset(coords={n: result[n].values for n in ("room", "frequency")})
            )
            if "option" in full.dims:
                full = full.sel(option=result["option"].values)
            else:
                full = full.expand_dims("option")
            full = full.sel(room=result["room"].values)
            sizes.append(full.transpose("option", "room", "frequency").values.astype(np.float32))
        return cls(sizes=tuple(sizes))

    @cached_property
    def groups(self) -> list[list[int]]:
        """Options that err alike."""
        found: dict[bytes, list[int]] = {}
        for at in range(max((len(s) for s in self.sizes), default=1)):
            own = b"".join(s[at].tobytes() for s in self.sizes if len(s) > 1)
            found.setdefault(own, []).append(at)
        return list(found.values())

    def of_rooms(
        self, normals: Sequence[Normals], rooms: slice, groups: Sequence[Sequence[int]]
    ) -> list[tuple[list[Sequence[int]], np.ndarray[Any, Any]]]:
        """Errors in some rooms [dB], room, sample and frequency, with the groups that have them."""
        shared: Any = np.zeros((1, *normals[0].values.shape[1:]), np.float32)
        own: list[tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]] = []
        for size, (values, place) in zip(self.sizes, normals, strict=True):
            of_size = size[:, rooms, None]
            if of_size.any():
                here = values if place is None else values[place[rooms]]
                if len(size) > 1:
                    own.append((of_size, here))
                else:
                    shared = shared + of_size[0] * here
        alike: dict[bytes, list[Sequence[int]]] = {}
        for group in groups:
            key = b"".join(of_size[group[0]].tobytes() for of_size, _ in own)
            alike.setdefault(key, []).append(group)
        found = []
        for those in alike.values():
            total = shared
            for of_size, here in own:
                if of_size[those[0][0]].any():
                    total = total + of_size[those[0][0]] * here
            found.append((those, total))
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Kernel:
    """Draws and rates blocks of samples.

    Parameters
    ----------
    draws : Draws
        Errors by block.
    errors : dict of str to Errors
        By quantity.
    rated : tuple of Rated or RatedSums
        What each criterion is rated of, with its quantity.
    trains_spread : ndarray
        What the number of trains leaves open [dB, or NR]: option, room, criterion.
    margin, applies : ndarray
        Of the result: option, room, criterion; room, criterion.
    cases : int
        Of the mechanics, a power of two up to ``BLOCK``.
    """

    draws: Draws
    errors: dict[str, Errors]
    rated: tuple[tuple[str, Rated | RatedSums], ...]
    trains_spread: np.ndarray[Any, Any]
    margin: np.ndarray[Any, Any]
    applies: np.ndarray[Any, Any]
    cases: int = 1

    def deviations(self, number: int, *, stream: int = 0) -> np.ndarray[Any, Any]:
        """Ratings of a block less those without errors: option, room, criterion, sample [dB]."""
        found = np.empty((*self.margin.shape, BLOCK), np.float32)
        normals = self.draws.normals(number, stream=stream)
        for quantity, errors in self.errors.items():
            here = [(k, r) for k, (q, r) in enumerate(self.rated) if q == quantity]
            sums = [(k, r) for k, r in here if isinstance(r, RatedSums)]
            groups = self._groups(errors)
            for rooms in self._runs_of_rooms if sums else ():
                for those, own in errors.of_rooms(normals, rooms, groups):
                    power = np.exp(_POWER * own)
                    for k, of_sums in sums:
                        for group in those:
                            found[group, rooms, k] = of_sums.deviation(power, rooms, group)
            for k, rated in here:
                if isinstance(rated, Rated):
                    self._by_rule(rated, found[:, :, k], normals, errors)
        generator = np.random.default_rng([self.draws.seed, _TRAINS, stream, number])
        trains = generator.standard_normal(BLOCK, dtype=np.float32)
        found += self.trains_spread[..., None] * trains
        return found

    @property
    def _runs_of_rooms(self) -> list[slice]:
        return [slice(at, at + _ROOMS) for at in range(0, self.margin.shape[1], _ROOMS)]

    def _groups(self, errors: Errors) -> list[list[int]]:
        if len(errors.groups) == 1:
            return [list(range(self.margin.shape[0]))]
        return errors.groups

    def _by_rule(
        self,
        rated: Rated,
        found: np.ndarray[Any, Any],
        normals: Sequence[Normals],
        errors: Errors,
    ) -> None:
        """By the rule of a metric as it stands, into `found`: option, room, sample."""
        for group in self._groups(errors):
            own = self.drawn(normals, errors, group)
            for at in group:
                found[at] = rated.deviation(own, at, self.cases)

    def drawn(
        self, normals: Sequence[Normals], errors: Errors, group: Sequence[int]
    ) -> xr.DataArray:
        """Errors of the options of a group [dB]: room, sample, frequency."""
        ((_, own),) = errors.of_rooms(normals, slice(None), [group])
        return xr.DataArray(
            own, dims=("room", "sample", "frequency"),
            coords={
                "room": self.draws.rooms["room"].values,
                "frequency": self.draws.frequency["frequency"].values,
            },
        )  # fmt: skip

    def block(self, number: int) -> Block:
        """Count one block of samples."""
        off = self.deviations(number)
        met = off <= (self.margin + _ROUNDING).astype(np.float32)[..., None]
        whole = (met | ~self.applies[..., None]).all(axis=2)
        counted = tuple(self._by_case(a) for a in (met, whole, whole.all(axis=1)))
        of_block = (a.sum(axis=0) for a in counted)
        return Block(
            Tally.of(np.moveaxis(off, -1, 0)),
            Tally.of(np.moveaxis(off[1:] - off[:1], -1, 0)),
            counted,
            tuple(a**2 for a in of_block),
        )

    def _by_case(self, met: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        by_case = met.reshape(*met.shape[:-1], self.cases, -1).sum(axis=-1, dtype=np.int64)
        return np.moveaxis(by_case, -1, 0)

    def blocks(self, numbers: range) -> Block:
        """Count several blocks.

        Parameters
        ----------
        numbers : range
            Of the blocks.
        """
        total = self.block(numbers[0])
        for number in numbers[1:]:
            total = total.taking(self.block(number))
        return total

    def without_rooms(self) -> Kernel:
        """The same, with nothing of the result but what draws need."""
        needed = ("room", "part_of_room", "floor_of_room")
        rooms = xr.Dataset(coords={n: self.draws.rooms[n].reset_coords(drop=True) for n in needed})
        return replace(self, draws=replace(self.draws, rooms=rooms))
