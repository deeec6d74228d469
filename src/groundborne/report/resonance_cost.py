"""What coincident resonances can cost: what ratings owe to the bands that lie near both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import xarray as xr

from groundborne.bands import exact
from groundborne.study import Resonance, Study
from groundborne.study.moved_ratings import rating_number
from groundborne.study.natural_frequencies import NEAR
from groundborne.study.rated_samples import Rated

_SILENT = 200.0  # dB below what they are, of bands that are left out


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What ratings owe to some bands.

    Parameters
    ----------
    bands : tuple of float
        Nominal centres of the bands near both resonances [Hz].
    most : float
        By how much the rating that owes most to them would be lower if they carried nothing [dB, or
        NR]; NaN where none can be told.
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
    def _rated(self) -> dict[str, Rated]:
        """What each criterion is rated of, as far as trains can be summed up for it."""
        named = {c.label: c for cs in self.study.room_criteria.values() for c in cs}
        found = {}
        for label in map(str, self.result["criterion"].values.tolist()):
            try:
                rated = Rated.of(self.result, named[label], self.study.periods)
                rated.level  # noqa: B018
            except ValueError:  # fewer trains than the statistic asks, of a part of a result
                continue
            found[label] = rated
        return found

    @cached_property
    def _lost(self) -> dict[tuple[float, ...], xr.DataArray]:
        return {}

    def _less(self, bands: tuple[float, ...]) -> xr.DataArray:
        """By how much ratings are lower without some bands: option, room, criterion."""
        if bands not in self._lost:
            rows = []
            for label, rated in self._rated.items():
                quiet = rated.level["frequency"].isin(bands) * _SILENT
                less = rating_number(rated, rated.level) - rating_number(rated, rated.level - quiet)
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
