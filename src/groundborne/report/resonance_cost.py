"""What coincident resonances can cost: what ratings owe to the bands that lie near both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr

from groundborne.bands import exact
from groundborne.levels import decibel
from groundborne.rating import Criterion
from groundborne.study import Resonance, Study
from groundborne.study.natural_frequencies import NEAR
from groundborne.study.room_rating import CHANGES, rating_alone

_SILENT = 200.0  # dB below what they are, of bands that are left out


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What ratings owe to some bands.

    Parameters
    ----------
    bands : tuple of float
        Nominal centres of the bands near both resonances [Hz].
    most : float
        By how much the rating that owes most to them would be lower if they carried nothing, every
        train rated by itself with and without them [dB, or NR]; NaN where none can be told.
    room, criterion : str
        Of that rating.
    rooms, of : int
        Rooms in which a rating would be lower by ``FELT`` or more, and rooms that both reach.
    """

    bands: tuple[float, ...]
    most: float
    room: str
    criterion: str
    rooms: int
    of: int


FELT = 1.0
"""What counts as a cost of resonances [dB, or NR]; common practice."""


@dataclass(frozen=True, eq=False)
class ResonanceCosts:
    """Costs of coincident resonances.

    Parameters
    ----------
    study : Study
        With its criteria.
    result : Dataset
        Of it, without samples.
    """

    study: Study
    result: xr.Dataset

    @cached_property
    def _plain(self) -> xr.Dataset:
        """The result with whole level changes in place of those of stages."""
        result = self.result
        changes = [name for name, _, _, _ in CHANGES.values() if name in result]
        whole = {
            name: result[name].sum("stage", skipna=False)
            for name in changes
            if "stage" in result[name].dims
        }
        return (result.drop_dims("stage") if "stage" in result.dims else result).assign(whole)

    @cached_property
    def _rated(self) -> dict[str, tuple[Criterion, xr.DataArray]]:
        """Criteria with their ratings, as far as the result carries them."""
        named = {c.label: c for cs in self.study.room_criteria.values() for c in cs}
        found = {}
        for label in map(str, self.result["criterion"].values.tolist()):
            try:
                found[label] = named[label], self._number(self._plain, named[label])
            except ValueError:  # fewer trains than the statistic asks, of a part of a result
                continue
        return found

    def _number(self, result: xr.Dataset, criterion: Criterion) -> xr.DataArray:
        """Rating of every train by itself, as rooms are rated; of amplitudes as a level."""
        value = rating_alone(result, criterion, self.study.periods)
        return 2 * decibel(value) if criterion.of.scale.ratio else value

    @cached_property
    def _lost(self) -> dict[tuple[float, ...], xr.DataArray]:
        return {}

    def _less(self, bands: tuple[float, ...]) -> xr.DataArray:
        """By how much ratings are lower without some bands: option, room, criterion."""
        if bands not in self._lost:
            quiet = self.result["frequency"].isin(bands).drop_attrs(deep=False) * _SILENT
            names = [name for name, _, _, _ in CHANGES.values() if name in self._plain]
            without = self._plain.assign({name: self._plain[name] - quiet for name in names})
            rows = []
            for label, (criterion, rating) in self._rated.items():
                less = rating - self._number(without, criterion)
                applies = self.result["applies"].sel(criterion=label, drop=True)
                rows.append(less.where(applies).reset_coords(drop=True))
            along = xr.Variable("criterion", list(self._rated))
            self._lost[bands] = xr.concat(rows, dim=along, join="exact")
        return self._lost[bands]

    def of(
        self, option: str, part: str, one: Resonance, others: Sequence[Resonance]
    ) -> Cost | None:
        """What ratings owe to the bands near a resonance and those that it coincides with.

        Parameters
        ----------
        option, part : str
            Names.
        one : Resonance
            That coincides with others.
        others : sequence of Resonance
            On a common floor with it.

        Returns
        -------
        Cost or None
            None where no room is reached or no band is near.
        """
        near = [self._near(one, other) for other in others]
        bands = tuple(sorted({b for each in near for b in each}))
        felt = [_common(one, other) for other in others]
        rooms, floors = self.result["part_of_room"], self.result["floor_of_room"]
        here = [
            str(room)
            for room, of, floor in zip(
                self.result["room"].values, rooms.values, floors.values, strict=True
            )
            if str(of) == part and any(not f or str(floor) in f for f in felt)
        ]
        if not bands or not here or not self._rated:
            return None
        less = self._less(bands).sel(option=option, room=here)
        values = less.transpose("room", "criterion").values
        if not np.isfinite(values).any():
            return None
        at, criterion = np.unravel_index(int(np.nanargmax(values)), values.shape)
        many = np.nanmax(np.where(np.isfinite(values), values, -np.inf), axis=1) >= FELT - 1e-9
        return Cost(
            bands=bands, most=float(values[at, criterion]), room=here[int(at)],
            criterion=str(less["criterion"].values[int(criterion)]),
            rooms=int(many.sum()), of=len(here),
        )  # fmt: skip

    def _near(self, one: Resonance, other: Resonance) -> list[float]:
        """Bands within a third of an octave of both."""
        found = []
        for label in self.result["frequency"].values.tolist():
            centre = float(np.asarray(exact(np.array([label])))[0])
            if all(
                centre < NEAR * high and low < NEAR * centre
                for low, high in (r.span or (r.frequency, r.frequency) for r in (one, other))
            ):
                found.append(float(label))
        return found


def _common(one: Resonance, other: Resonance) -> frozenset[str]:
    """Floors that both reach; empty for all."""
    if not one.floors or not other.floors:
        return one.floors or other.floors
    return one.floors & other.floors
