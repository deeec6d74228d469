"""A study: a building, its trains, its criteria and its options, ready to evaluate."""

from __future__ import annotations

import json
import warnings
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import Numeric, RatingError, StudyError, known
from groundborne.citation import ValidityWarning, citation_texts
from groundborne.isolation import Mount
from groundborne.path import MID_SPAN, Path
from groundborne.rating import Criterion, noise_rating
from groundborne.rating.noise import A_RANGE
from groundborne.receiver import Surface
from groundborne.source import Passbys
from groundborne.study.band_sufficiency import LOWEST_FELT, changes_below
from groundborne.study.building import Building
from groundborne.study.description import (
    Difference,
    checksum,
    describe,
    differences,
    outermost,
)
from groundborne.study.evaluation import evaluate, stage_changes
from groundborne.study.floor_motion import FloorMotion
from groundborne.study.frame import Frame
from groundborne.study.masses import mass_results
from groundborne.study.notes import study_notes
from groundborne.study.option import Option
from groundborne.study.period import Period
from groundborne.study.plane import Plane, base_changes, tuned_mount
from groundborne.study.result_checks import check_result
from groundborne.study.stage_limits import stage_limits
from groundborne.study.verdict import rate
from groundborne.usual_ranges import UnusualValueWarning, collected

_IN_WORDS = {
    "frequency": "bands",
    "as_built": "path",
    "floor_motion": "motion of floors",
    "plane": "isolation plane",
}
"""Parts of a study whose names in a description are not those in code."""


_LOOKED_UP = ("criteria", "group", "room_name", "_limit")
"""What of the building is read when a study is evaluated, not when it is put together."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Study:
    """Everything an evaluation needs; read from files, or put together by hand.

    Parameters
    ----------
    name : str
        Title of the study.
    frequency : DataArray
        Nominal bands that are evaluated [Hz].
    passbys : Passbys
        Measured source, on at least these bands.
    building : Building
        Floors, rooms and columns.
    as_built : Path
        From source to the rooms without any measure, for all rooms at once.
    surfaces : mapping of str to Surface, optional
        Radiating surfaces of the rooms, where the path sums over them.
    floor_motion : FloorMotion, optional
        How floors move at mid-span, where people feel them; criteria of vibration need it.
    plane : Plane, optional
        Where the building can be isolated: a :class:`Frame` of column lines, or a
        :class:`MobilityPlane`.
    options : tuple of Option
        With unique names; the first is what the others are compared with.
    criteria : mapping of str to tuple of Criterion
        Criteria sets; the rooms name them.
    periods : mapping of str to Period
        Timetable.
    description : str
        In words.
    invented : bool
        Whether people, places and numbers are made up.
    inputs : mapping of str to str
        Text of the files it was read from, by file name, for the report.
    as_read : mapping of str to str
        Description of the study as it was read, to tell what a script changed after that; empty
        for a study put together by hand.
    unusual : tuple of str
        What its files hold outside the usual range, in words; they go into the notes of results.

    Raises
    ------
    StudyError
        Options or criteria that do not fit the rooms.
    """

    name: str
    frequency: xr.DataArray
    passbys: Passbys
    building: Building
    as_built: Path
    surfaces: Mapping[str, Surface] | None = None
    floor_motion: FloorMotion | None = None
    plane: Plane | None = None
    options: tuple[Option, ...]
    criteria: Mapping[str, tuple[Criterion, ...]]
    periods: Mapping[str, Period] = field(default_factory=dict)
    description: str = ""
    invented: bool = False
    inputs: Mapping[str, str] = field(default_factory=dict)
    as_read: Mapping[str, str] = field(default_factory=dict)
    unusual: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.options:
            raise StudyError("study: there is no option; at least one is needed")
        names = [o.name for o in self.options]
        for name in names:
            if names.count(name) > 1:
                raise StudyError(f"study: the option {name!r} is given twice")
        for room, wanted in zip(self.rooms, self.building.rooms["criteria"].values, strict=True):
            known(f"room {room!r}", "criteria", str(wanted), self.criteria, StudyError)
        for option in self.options:
            if option.base is not None and self.plane is None:
                raise StudyError(
                    f"option {option.name!r}: it isolates the base, and the study has no isolation "
                    "plane"
                )
            for measure in option.measures:
                unknown = set(measure.rooms) - set(self.rooms)
                if unknown:
                    where = f"option {option.name!r}"
                    known(where, "room", min(unknown), self.rooms, StudyError)
            option.require_depth(self.building.rooms)

    def described(self) -> dict[str, str]:
        """Every value that an evaluation rests on: see :mod:`groundborne.study.description`."""
        left_out = ("inputs", "as_read")
        parts = {
            _IN_WORDS.get(f.name, f.name): getattr(self, f.name)
            for f in fields(self)
            if f.name not in left_out
        }
        return describe(parts)

    @property
    def changed(self) -> tuple[Difference, ...]:
        """What differs from what was read from files; nothing for a study put together by hand."""
        return differences(self.as_read, self.described()) if self.as_read else ()

    @property
    def rooms(self) -> list[str]:
        """Labels of the rooms."""
        return [str(r) for r in self.building.rooms["room"].values]

    @property
    def source(self) -> xr.DataArray:
        """Passby levels on the bands of the study [dB re 1 nm/s]."""
        f = self.frequency.values
        return bands.select(self.passbys.level, float(f[0]), float(f[-1]))

    @property
    def above_plane(self) -> xr.DataArray:
        """Which rooms the isolation plane carries, on ``room``; none without a plane."""
        if self.plane is None:
            return xr.DataArray(np.zeros(len(self.rooms), dtype=bool), coords={"room": self.rooms})
        return self.building.above(self.plane.floor)

    @property
    def frame(self) -> Frame | None:
        """Column lines whose slabs the rooms follow, where there are any."""
        if isinstance(self.plane, Frame):
            return self.plane
        return None if self.floor_motion is None else self.floor_motion.frame

    @property
    def room_criteria(self) -> dict[str, tuple[Criterion, ...]]:
        """Criteria of every room."""
        named = self.building.rooms["criteria"].values
        return {r: self.criteria[str(c)] for r, c in zip(self.rooms, named, strict=True)}

    def mount(
        self,
        *,
        natural_frequency: Numeric,
        loss_factor: Numeric,
        dynamic_to_static: Numeric = 1.0,
        own_mass_per_load: Numeric = 0.0,
        travel_to_solid: Numeric = np.inf,
    ) -> Mount:
        """Mounts for an option: see :func:`~groundborne.study.tuned_mount`.

        Raises
        ------
        StudyError
            The study has no isolation plane.
        """
        if self.plane is None:
            raise StudyError("study: it has no isolation plane, so there is nothing to mount")
        return tuned_mount(
            self.plane,
            natural_frequency=natural_frequency,
            loss_factor=loss_factor,
            dynamic_to_static=dynamic_to_static,
            own_mass_per_load=own_mass_per_load,
            travel_to_solid=travel_to_solid,
        )

    def with_options(self, options: Sequence[Option]) -> Study:
        """Return the same study with other options.

        Raises
        ------
        StudyError
            Not a list of :class:`Option`, or one that does not fit the rooms.
        """
        return replace(self, options=tuple(options))

    def paths(self) -> dict[str, Path]:
        """One path for each option, for all rooms at once."""
        return {
            o.name: o.path(
                self.as_built,
                plane=self.plane,
                above_plane=self.above_plane,
                surfaces=self.surfaces,
                frame=self.frame,
            )
            for o in self.options
        }

    def floor_paths(self) -> dict[str, Path]:
        """One path for each option to the floor at mid-span; none without :attr:`floor_motion`."""
        if self.floor_motion is None:
            return {}
        rooms = self.above_plane["room"]
        return {
            option.name: self.floor_motion.path(
                path, mount=option.base, treatment=option.felt(rooms, frame=self.frame)
            )
            for option, path in zip(self.options, self.paths().values(), strict=True)
        }

    def _require_rebuilt(self) -> None:
        """Refuse a building changed in a script whose path, surfaces and plane are the old ones.

        They were made from the building as it was read; a change of it alone would be printed in
        the report and change no level.
        """
        keys = [d.key for d in self.changed]
        follows = tuple(
            _IN_WORDS.get(f, f) for f in ("as_built", "surfaces", "plane", "floor_motion")
        )
        odd = [
            key
            for key in keys
            if key.startswith("building") and not any(free in key for free in _LOOKED_UP)
        ]
        if odd and not any(key.startswith(follows) for key in keys):
            raise StudyError(
                f"study: {odd[0]!r} was changed after reading, and path, surfaces and isolation "
                "plane were made from what was read, so that no level would follow. Change the "
                "tables of the study and read it again, or replace as_built, surfaces and plane too"
            )

    def evaluate(self, *, band_levels: bool = True) -> xr.Dataset:
        """Levels, ratings and margins of every room and option.

        Parameters
        ----------
        band_levels : bool
            Whether to keep the band levels of every passby.

        Returns
        -------
        xarray.Dataset
            As :func:`~groundborne.study.evaluate`, and: ``rating``, ``limit``, ``margin``,
            ``applies`` on ``criterion``; ``nr`` (of the energy mean of the passbys, where the
            bands reach the 31.5 Hz octave);
            ``base_change`` with ``base_change_low`` and ``base_change_high``, ``power_change`` and
            ``ideal_change`` (option, frequency): base isolation as predicted, its spread over
            floors and columns, in power, and by single-degree-of-freedom theory; the masses on
            and above the mounts with the frequencies they give every option's mounts, and the
            weights of the columns, as :func:`~groundborne.study.masses.mass_results`; what is known
            of rooms as coordinates. The attribute ``notes`` holds guards and cautions in words, as
            a JSON list; ``changed_after_reading`` likewise what a script changed after the files
            were read, and ``study_checksum`` stands for every value of the study.

        Raises
        ------
        ValueError
            From any element, rating or criterion; the sentence says which.

        Warns
        -----
        ValidityWarning
            Anything used outside its range; the same words are in ``notes``.
        """
        self._require_rebuilt()
        paths = self.paths()
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always", ValidityWarning)
            result = evaluate(paths, self.source, band_levels=band_levels)
            result = self._in_rooms(result)
            floors = self.floor_paths()
            steps = stage_changes(floors, self.frequency) if floors else None
            if steps is not None:
                found = self._floor_levels(steps)
                result = result.merge(found, join="exact", combine_attrs="override")
            result = result.merge(self._changes_below(paths, floors), join="exact")
            result = result.merge(stage_limits(self, result, paths, steps), join="exact")
            result = result.merge(
                rate(result, room_criteria=self.room_criteria, periods=self.periods), join="exact"
            )
        number = None
        with warnings.catch_warnings(), suppress(RatingError):  # too few bands carry no NR
            # Of a number nobody set a limit on, the mark in its attributes is enough.
            warnings.simplefilter("ignore", ValidityWarning)
            number = noise_rating(result["mean_level"])
        messages = []
        for warning in caught:
            if not issubclass(warning.category, ValidityWarning):
                warnings.warn_explicit(
                    warning.message, warning.category, warning.filename, warning.lineno
                )
            elif str(warning.message) not in messages:
                messages.append(str(warning.message))
        for message in messages:
            warnings.warn(message, ValidityWarning, stacklevel=2)
        if number is not None:
            result["nr"] = number
        result = result.merge(self._base_changes(), join="exact", combine_attrs="override")
        result = result.merge(mass_results(self), join="exact", combine_attrs="override")
        with collected() as odd:
            check_result(self, result)
        for sentence in odd:
            warnings.warn(sentence, UnusualValueWarning, stacklevel=2)
        if self.passbys.background is not None:
            f = self.frequency.values
            result["background_level"] = bands.select(
                self.passbys.background, float(f[0]), float(f[-1])
            )
        result = result.assign_coords(self._room_coordinates())
        result.attrs |= {
            "title": self.name,
            "description": self.description,
            "invented": "yes" if self.invented else "no",
            "base_isolation": "" if self.plane is None else self.plane.words,
            "study_checksum": checksum(self.described()),
            "changed_after_reading": json.dumps(
                outermost([d.key for d in self.changed]), ensure_ascii=False
            ),
            "notes": json.dumps(
                [*self.unusual, *odd, *study_notes(self, result), *messages], ensure_ascii=False
            ),
            "limit_citations": citation_texts(
                c.citation for cs in self.criteria.values() for c in cs if c.citation is not None
            ),
        }
        return result

    def _floor_levels(self, steps: xr.DataArray) -> xr.Dataset:
        change = steps.sum("stage", skipna=False)
        change.attrs = {"long_name": "level change, source to floor at mid-span", "units": "dB"}
        level = levels.stamp(
            change.drop_attrs(deep=False) + levels.energy_mean(self.source, "passby"),
            quantity="velocity",
            reference="1 nm/s",
            long_name="velocity of the floor at mid-span, energy mean of passbys",
            location=str(MID_SPAN.location),
            time_weighting=self.source.attrs.get("time_weighting", ""),
        )
        return self._in_rooms(xr.Dataset({"floor_change": change, "floor_level": level}))

    def _changes_below(self, paths: Mapping[str, Path], floors: Mapping[str, Path]) -> xr.Dataset:
        """Level changes below the first band, where a rating of the study goes on."""
        felt = any(c.of.vibration for of in self.criteria.values() for c in of)
        changes = {
            "change_below": changes_below(paths, self.frequency, A_RANGE[0]),
            "floor_change_below": changes_below(floors, self.frequency, LOWEST_FELT)
            if felt and floors
            else None,
        }
        return self._in_rooms(xr.Dataset({n: c for n, c in changes.items() if c is not None}))

    def _in_rooms(self, result: xr.Dataset) -> xr.Dataset:
        """What no step of the path told apart by room, for every room."""
        lacking = [
            n for n, v in result.data_vars.items() if "option" in v.dims and "room" not in v.dims
        ]
        spread = {n: result[n].expand_dims(room=self.rooms) for n in lacking}
        lead = ("option", "stage", "room", "passby")
        return result.assign(spread).transpose(*lead, ..., "frequency", missing_dims="ignore")

    def _base_changes(self) -> xr.Dataset:
        zero = xr.zeros_like(self.frequency, dtype=float)
        none = base_changes(zero, zero, zero, zero, zero)
        parts = []
        for option in self.options:
            found = none
            if option.base is not None and self.plane is not None:
                found = self.plane.changes(option.base, self.frequency)
            parts.append(found.expand_dims(option=[option.name]))
        parts = list(xr.broadcast(*parts, exclude=("option",)))
        joined = xr.concat(parts, dim="option", join="exact", combine_attrs="override")
        return joined.transpose("option", ..., "frequency")

    def _room_coordinates(self) -> dict[str, xr.DataArray]:
        rooms = self.building.rooms
        height = self.building.on_floor("height")
        return {
            "room_name": rooms["room_name"],
            "room_group": rooms["group"],
            "floor_of_room": rooms["floor_of_room"],
            "room_height": height,
            "above_plane": self.above_plane.astype(int).astype("int8"),
        }
