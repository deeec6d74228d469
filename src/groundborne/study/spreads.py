"""Spreads of the errors of a study by default: of each stage that was not measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne.bands import exact
from groundborne.citation import Citation
from groundborne.path import (
    COLUMN,
    FOUNDATION,
    FREE_FOUNDATION,
    GROUND,
    PathElement,
    TransmissionPath,
)
from groundborne.propagation import GroundDistance
from groundborne.structure import Raft
from groundborne.study.line_change import given_in
from groundborne.study.masses import natural_frequency
from groundborne.study.model import StudyModel
from groundborne.study.natural_frequencies import floor_resonances
from groundborne.study.part import Part
from groundborne.uncertainty import Spread

E_DIN_SPREAD = Citation(
    key="edin45672-3-deviations",
    author="E DIN 45672-3",
    year="2023-02",
    title="Vibration in the surroundings of railway lines, forecast",
    locator="Annex A, deviations of Tables A.3 to A.5, taken as one standard deviation, with the "
    "residuals of generic buildings of this library",
    mark="seen second-hand",
    status="transcribed",
)

PRACTICE = Citation(
    key="spreads-by-practice",
    author="common practice",
    title="standard deviations of stages without statistics",
    mark="common practice",
    status="transcribed",
)

_BANDS = (5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0)
TO_FOUNDATION = {
    "basement": (6.6, 5.9, 5.6, 5.2, 5.2, 5.5, 7.2, 8.9, 9.1, 8.3, 9.0, 8.8, 7.9),
    "ground level": (5.6, 6.7, 6.2, 4.4, 3.8, 5.4, 5.2, 5.0, 7.0, 7.2, 6.1, 6.5, 7.0),
}
"""From the ground to the foundation by band, 5 to 80 Hz [dB]: half the width between the limits of
E DIN 45672-3:2023, Tables A.3 and A.4, and the rms deviation of this library's generic buildings
from their means, as root sum square."""

_RATIOS = (0.35, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0)
TO_FLOOR = (5.5, 7.7, 7.1, 8.0, 6.6, 6.0, 8.3, 8.8, 8.6, 8.8, 5.5)
"""From the foundation to mid-span, over frequency by natural frequency of the floor [dB]: likewise
of Table A.5."""

ABOVE_STATISTICS = 8.0
"""Of each of both above 80 Hz [dB], where no statistics are; common practice."""

ABOVE_RATIOS = 8.6
"""Of foundation to floor above the ratios of the table [dB]: root mean square of its numbers from 2
to 4 times the natural frequency."""

MEASURED = 2.0
"""Of a step that was measured in the building [dB]; common practice."""

TRAINS = 1.5
"""Of the mean of many recorded trains [dB], beside what their number leaves open; common
practice."""

DISTANCE = 0.3
"""Of the level change by distance, as a share of it [-]; common practice."""

ISOLATORS, NEAR_RESONANCE = 3.0, 5.0
"""Of the insertion loss of mounts and layers [dB], and of base isolation below five times its
frequency beside that: by so much do assumptions on the columns differ; common practice."""

ROOM_ABOVE, ROOM_BELOW = 3.0, 4.0
"""Of radiation and the mean over the room, above and below the Schroeder frequency [dB]; common
practice."""

FLOORS_SHARE, ROOMS_SHARE = 0.5, 0.3
"""Share of the variance that the floors of a building, and its rooms, have in common [-]; common
practice: the statistics do not tell buildings from floors."""

AT_BUILDING, ON_FOUNDATION = "trains on the ground at the building", "trains on the foundation"
AT_MID_SPAN, IN_ROOM = "trains at mid-span of the floor", "sound of trains in the room"
"""Measurements in the building as it stands; each tells of all that lies before it."""

AFTER = (ON_FOUNDATION, AT_MID_SPAN, IN_ROOM)
"""Those that have to wait until it stands."""

_RESONANT = 5.0
_SCHROEDER = 2000.0


@checked
def study_spreads(study: StudyModel) -> list[Spread]:
    """Sources of error of a study, each with its standard deviation, as far as nobody knows better.

    Parameters
    ----------
    study : Study
        What was measured in it has the spread of a measurement; all else those of published
        statistics, or of common practice where there are none.

    Returns
    -------
    list of Spread
        Those that add something: trains, distance, ground to foundation, foundation to floor, base
        isolation, layers in rooms, radiation and room.

    Notes
    -----
    Levels are medians: the means of the statistics are of decibels. Options share all errors of the
    building they stand in; base isolation and layers in rooms have an error of their own, which all
    options with mounts, and all with layers in a room, have in common. That the deviations of the
    draft standard are one standard deviation is assumed.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> [s.name for s in study_spreads(study)][:3]
    ['trains', 'ground to foundation', 'foundation to floor']
    """
    of = _Parts.of(study)
    return [spread for spread in of.spreads() if not spread.empty]


@dataclass(frozen=True, eq=False)
class _Parts:
    """Spreads by room, of each part of the building."""

    study: StudyModel
    rooms: xr.DataArray
    frequency: xr.DataArray

    @classmethod
    def of(cls, study: StudyModel) -> _Parts:
        rooms = xr.DataArray(study.rooms, dims="room", coords={"room": study.rooms})
        return cls(study, rooms, study.frequency)

    def spreads(self) -> list[Spread]:
        """All of them, empty ones too."""
        distance, foundation, average, mid_span = (
            self.by_part(one)
            for one in (self._distance, self._to_foundation, self._to_average, self._to_mid_span)
        )
        base, layers = self._base(), self._layers()
        both, practice = (E_DIN_SPREAD, PRACTICE), (PRACTICE,)
        return [
            Spread(
                name="trains", of_sound=TRAINS, of_floor=TRAINS, citations=practice, path=False
            ),
            Spread(
                name="distance", of_sound=distance, of_floor=distance, place="part_of_room",
                measured={AT_BUILDING: 1.0, ON_FOUNDATION: 0.0, AT_MID_SPAN: 0.0},
                measured_in_sound={IN_ROOM: 0.0}, citations=practice,
            ),
            Spread(
                name="ground to foundation", of_sound=foundation, of_floor=foundation,
                place="part_of_room", shared=0.0,
                measured={ON_FOUNDATION: MEASURED, AT_MID_SPAN: 0.0},
                measured_in_sound={IN_ROOM: 0.0}, citations=both,
            ),
            Spread(
                name="foundation to floor", of_sound=average, of_floor=mid_span,
                place="floor_of_room", shared=FLOORS_SHARE,
                measured={AT_MID_SPAN: MEASURED}, measured_in_sound={IN_ROOM: 0.0},
                citations=both,
            ),
            Spread(
                name="base isolation", of_sound=base, of_floor=base,
                citations=practice,
            ),
            Spread(
                name="layers in rooms", of_sound=layers[0], of_floor=layers[1],
                place="room", shared=ROOMS_SHARE, citations=practice,
            ),
            Spread(
                name="radiation and room", of_sound=self._room(), place="room",
                shared=ROOMS_SHARE, measured_in_sound={IN_ROOM: MEASURED}, citations=practice,
            ),
        ]  # fmt: skip

    def by_part(self, one: Any) -> xr.DataArray:
        """What is worked out for a part, for its rooms; in the order of the rooms of the study."""
        each = []
        for part in self.study.parts:
            rooms = self.rooms.sel(room=list(part.rooms))
            found = one(part, rooms) + xr.zeros_like(rooms, dtype=float) + 0.0 * self.frequency
            each.append(found.transpose("room", "frequency").reset_coords(drop=True))
        joined: xr.DataArray = xr.concat(each, dim="room", join="exact").sel(room=self.study.rooms)
        return joined

    def _distance(self, part: Part, rooms: xr.DataArray) -> xr.DataArray:
        """A share of what distance changes, in the mean over the columns a room hears."""
        total: Any = 0.0 * self.frequency
        for element in part.as_built.elements.values():
            if isinstance(element, GroundDistance):
                total = total + element.level_change(self.frequency)
        weights = part.as_built.weights
        if "column" in total.dims:
            own = total if weights is None else total.weighted(weights.fillna(0.0))
            total = own.mean("column")
        found: xr.DataArray = DISTANCE * abs(total)
        return found.sel(room=rooms["room"]) if "room" in found.dims else found

    def _to_foundation(self, part: Part, rooms: xr.DataArray) -> xr.DataArray:
        """By statistics from the ground on; nothing of trains recorded on the foundation."""
        if part.as_built.quantity_in != GROUND:
            return 0.0 * self.frequency
        frame = part.frame
        line = None if frame is None else frame.line
        raft = line is not None and isinstance(line.foundation, Raft)
        table = TO_FOUNDATION["basement" if raft or line is None else "ground level"]
        inside = np.interp(np.log10(self.frequency.values), np.log10(_BANDS), table)
        above = self.frequency.values > _BANDS[-1]
        computed = self.frequency.copy(data=np.where(above, ABOVE_STATISTICS, inside))
        given = _given_between(part.as_built, (GROUND,), (FOUNDATION, FREE_FOUNDATION), rooms)
        spread: xr.DataArray = xr.where(given, MEASURED, computed)
        return spread

    def _to_average(self, part: Part, rooms: xr.DataArray) -> xr.DataArray:
        """As sound in rooms has it, which the mean over the floor makes."""
        step = part.as_built.elements.get("floor")
        if part.surfaces is not None and "floor" in part.surfaces:
            step = part.surfaces["floor"].velocity
        return self._to_floor(part, rooms, [] if step is None else [step])

    def _to_mid_span(self, part: Part, rooms: xr.DataArray) -> xr.DataArray:
        """As it is felt at mid-span."""
        motion = part.floor_motion
        return self._to_floor(part, rooms, [] if motion is None else [motion.as_built])

    def _to_floor(
        self, part: Part, rooms: xr.DataArray, last: Sequence[PathElement]
    ) -> xr.DataArray:
        """By statistics over the natural frequency of the floor of each room.

        Half of their variance is taken to arise up to the columns, and half from these on; what
        was measured of both is known to the error of a measurement.
        """
        first = _floor_frequencies(self.study, part)
        floor_of_room = self.study.building.rooms["floor_of_room"].sel(room=rooms["room"]).values
        centre, rows = np.asarray(exact(self.frequency)), {}
        for name in dict.fromkeys(floor_of_room.tolist()):
            ratio = centre / first.get(str(name), np.nan)
            known = np.isfinite(ratio)
            inside = np.interp(np.log10(np.where(known, ratio, 1.0)), np.log10(_RATIOS), TO_FLOOR)
            inside = np.where(ratio > _RATIOS[-1], ABOVE_RATIOS, inside)
            over = self.frequency.values > _BANDS[-1]
            rows[name] = np.where(known & ~over, inside, ABOVE_STATISTICS)
        computed = xr.DataArray(
            [rows[name] for name in floor_of_room.tolist()], dims=("room", "frequency"),
            coords={"room": rooms["room"].values, "frequency": self.frequency.values},
        )  # fmt: skip
        given = _given_between(
            part.as_built, (FOUNDATION, FREE_FOUNDATION), (COLUMN,), rooms
        ).astype(float)
        for step in last:
            given = given + given_in(step, rooms, measured=True)
        left = computed * np.sqrt(1 - given / 2)
        spread: xr.DataArray = xr.where(given > 0, np.hypot(MEASURED, left), computed)
        return spread

    def _base(self) -> xr.DataArray:
        """Of rooms above the plane in options with mounts."""
        above = self.study.above_plane.astype(bool)
        rows = []
        for option in self.study.options:
            parts = []
            for part in self.study.parts:
                seen, there = option.seen_by(part)
                rooms = self.rooms.sel(room=list(part.rooms))
                own = xr.zeros_like(rooms, dtype=float) + 0.0 * self.frequency
                if seen.base is not None and there.plane is not None:
                    of = there.plane.crossed(seen.base)
                    f0 = float(
                        np.median(np.asarray(natural_frequency(of, there.plane.moving_mass)))
                    )
                    near = self.frequency < _RESONANT * f0
                    size = xr.where(near, np.hypot(ISOLATORS, NEAR_RESONANCE), ISOLATORS)
                    own = own + size * above.sel(room=rooms["room"])
                parts.append(own.transpose("room", "frequency"))
            rows.append(xr.concat(parts, dim="room", join="exact").sel(room=self.study.rooms))
        return _by_option(self.study, rows)

    def _layers(self) -> tuple[xr.DataArray, xr.DataArray]:
        """Of rooms with layers, in sound and, where the floor has one, at mid-span."""
        heard: list[xr.DataArray] = []
        felt: list[xr.DataArray] = []
        for option in self.study.options:
            treated = [r for m in option.measures for r in m.rooms]
            stood = [r for m in option.measures for r in m.rooms if m.layer("floor") is not None]
            for rows, names in ((heard, treated), (felt, stood)):
                rows.append(ISOLATORS * self.rooms.isin(names).astype(float))
        return _by_option(self.study, heard), _by_option(self.study, felt)

    def _room(self) -> xr.DataArray:
        """Above and below the Schroeder frequency of each room."""
        rooms = self.study.building.rooms
        if "reverberation_time" not in rooms:
            return xr.DataArray(ROOM_BELOW)
        time = rooms["reverberation_time"]
        time = time.median([d for d in time.dims if d != "room"])
        volume = rooms["length"] * rooms["width"] * rooms["height"]
        schroeder = _SCHROEDER * np.sqrt(time / volume)
        found: xr.DataArray = xr.where(self.frequency > schroeder, ROOM_ABOVE, ROOM_BELOW)
        return found.transpose("room", "frequency").reset_coords(drop=True)


def _by_option(study: StudyModel, rows: Sequence[xr.DataArray]) -> xr.DataArray:
    names = [option.name for option in study.options]
    found: xr.DataArray = xr.concat(list(rows), dim="option", join="exact")
    return found.assign_coords(option=names).reset_coords(drop=True)


def _given_between(
    path: TransmissionPath, starts: Sequence[Any], ends: Sequence[Any], rooms: xr.DataArray
) -> xr.DataArray:
    """Rooms for which the step from one of `starts` to one of `ends` was measured."""
    for element in path.elements.values():
        if element.quantity_in in starts and element.quantity_out in ends:
            return given_in(element, rooms, measured=True)
    return xr.zeros_like(rooms, dtype=bool)


def _floor_frequencies(study: StudyModel, part: Part) -> dict[str, float]:
    """First natural frequency of each floor [Hz]."""
    found: dict[str, float] = {}
    for resonance in floor_resonances(study, part):
        found |= dict.fromkeys(resonance.floors, resonance.frequency)
    return found
