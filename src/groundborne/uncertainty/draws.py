"""Errors drawn in blocks, each of which is the same whoever draws it, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from scipy.special import ndtri

from groundborne._arguments import checked
from groundborne._checks import StudyError, counted
from groundborne.uncertainty.correlation import band_correlation, correlation_root
from groundborne.uncertainty.spread import Spread

BLOCK = 1024
"""Samples of a block, a power of two, as low-discrepancy points want it."""

METHODS = ("low-discrepancy", "random")

_COMMON, _OWN = 0, 1  # what a stream of numbers is for


class Normals(NamedTuple):
    """Errors of one kind in a block: place, sample, frequency; and the place of every room."""

    values: np.ndarray[Any, Any]
    place: np.ndarray[Any, Any] | None


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Draws:
    """Errors of several kinds for the rooms of a building, on ``sample``.

    Parameters
    ----------
    spreads : sequence of Spread
        Of names that differ.
    frequency : DataArray
        Nominal bands [Hz].
    rooms : Dataset
        ``room`` with the coordinates ``part_of_room`` and ``floor_of_room``.
    seed : int
        0 or more. The same seed gives the same errors, in whatever blocks they are asked for.
    method : str
        ``low-discrepancy``: errors that all places share are points of a scrambled Sobol' sequence,
        scrambled anew in every block, so that blocks are independent and their scatter tells the
        error of what is worked out of them; ``random``: of a generator. What is each place's own is
        always of a generator.

    Raises
    ------
    ValueError
        Spreads of one name, a negative seed, an unknown method.

    References
    ----------
    Owen, scrambled nets [from memory]; the generator is numpy's.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> rooms = xr.Dataset(coords={"room": ["A", "B"], "part_of_room": ("room", ["", ""]),
    ...                            "floor_of_room": ("room", ["1", "2"])})
    >>> draws = Draws(spreads=(Spread(name="trains", of_sound=1.5),), rooms=rooms,
    ...               frequency=third_octaves(50, 80), seed=1)
    >>> draws.block(0)["trains"].sizes
    Frozen({'sample': 1024, 'frequency': 3})
    """

    spreads: Sequence[Spread]
    frequency: xr.DataArray
    rooms: xr.Dataset
    seed: int
    method: str = METHODS[0]

    def __post_init__(self) -> None:
        names = [s.name for s in self.spreads]
        for name in names:
            if names.count(name) > 1:
                raise StudyError(f"Draws: {counted(2, 'spread')} are called {name!r}; one may be")
        if self.seed < 0:
            raise StudyError(f"Draws: seed is {self.seed}; it must be 0 or more")
        if self.method not in METHODS:
            listed = ", ".join(map(repr, METHODS))
            raise StudyError(f"Draws: method is {self.method!r}; it is one of {listed}")

    @cached_property
    def _roots(self) -> list[np.ndarray[Any, Any]]:
        lengths = {s.bands_correlated for s in self.spreads}
        of = {n: correlation_root(band_correlation(self.frequency, length=n)) for n in lengths}
        return [of[s.bands_correlated] for s in self.spreads]

    @cached_property
    def _places(self) -> list[tuple[np.ndarray[Any, Any], int]]:
        """Number of its place for every room, and how many places there are."""
        found = []
        for spread in self.spreads:
            if not spread.place or spread.shared == 1.0:
                found.append((np.zeros(0, int), 0))
                continue
            names, at = np.unique(self.rooms[spread.place].values, return_inverse=True)
            found.append((at, len(names)))
        return found

    def block(self, number: int, *, stream: int = 0) -> dict[str, xr.DataArray]:
        """Errors of a block, in standard deviations.

        Parameters
        ----------
        number : int
            Of the block, from 0.
        stream : int
            Another number gives errors that are independent of these.

        Returns
        -------
        dict of str to DataArray
            By the name of the spread, on ``sample`` and ``frequency``, and on ``room`` where places
            differ; normal with mean 0 and standard deviation 1 in every band.
        """
        labels = self.frequency["frequency"].values
        rooms = self.rooms["room"].values
        found = {}
        for spread, one in zip(self.spreads, self.normals(number, stream=stream), strict=True):
            if one.place is None:
                found[spread.name] = xr.DataArray(
                    one.values[0], dims=("sample", "frequency"), coords={"frequency": labels}
                )
                continue
            found[spread.name] = xr.DataArray(
                one.values[one.place], dims=("room", "sample", "frequency"),
                coords={"frequency": labels, "room": rooms},
            ).transpose("sample", ...)  # fmt: skip
        return found

    def normals(self, number: int, *, stream: int = 0) -> list[Normals]:
        """The same by place, as plain arrays, in the order of the spreads.

        Parameters
        ----------
        number, stream
            As of :meth:`block`.
        """
        for name, value in (("number", number), ("stream", stream)):
            if value < 0:
                raise ValueError(f"Draws: {name} is {value}; it must be 0 or more")
        bands = self.frequency.size
        common = self._common(number, stream).reshape(BLOCK, len(self.spreads), bands)
        found = []
        for at, spread in enumerate(self.spreads):
            root, (place, count) = self._roots[at].astype(np.float32).T, self._places[at]
            all_share = _in_pieces(common[:, at].astype(np.float32), root)
            if not count:
                found.append(Normals(all_share[None], None))
                continue
            generator = np.random.default_rng([self.seed, _OWN, stream, number, at])
            own = generator.standard_normal((count, BLOCK, bands), dtype=np.float32)
            own = _in_pieces(own, root)
            own *= np.float32(np.sqrt(1 - spread.shared))
            if spread.shared:
                own += np.float32(np.sqrt(spread.shared)) * all_share
            found.append(Normals(own, place))
        return found

    def _common(self, number: int, stream: int) -> np.ndarray[Any, Any]:
        size = len(self.spreads) * self.frequency.size
        generator = np.random.default_rng([self.seed, _COMMON, stream, number])
        if self.method == METHODS[1]:
            return generator.standard_normal((BLOCK, size))
        from scipy.stats import qmc

        points = qmc.Sobol(size, scramble=True, rng=generator).random(BLOCK)
        # Points lie on a grid of 2^-30 that holds 0; its middle holds none that is infinite.
        normal: np.ndarray[Any, Any] = ndtri(points.clip(2.0**-31, 1 - 2.0**-31))
        return normal


def _in_pieces(samples: np.ndarray[Any, Any], root: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Product with a matrix, so small that it starts no threads of its own beside ours."""
    found: np.ndarray[Any, Any] = samples.reshape(-1, BLOCK // 4, samples.shape[-1]) @ root
    return found.reshape(samples.shape)
