"""A study, ready to evaluate."""

from __future__ import annotations

import json
import warnings
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import partial
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands, levels
from groundborne._arguments import checked
from groundborne._checks import RatingError, StudyError
from groundborne.citation import ValidityWarning, citation_texts
from groundborne.path import MID_SPAN, TransmissionPath
from groundborne.path.answers import Answers, Kept
from groundborne.rating import noise_rating
from groundborne.study.assessment import assess
from groundborne.study.band_sufficiency import changes_below
from groundborne.study.belonging import CHECKSUM, study_checksum
from groundborne.study.description import outermost
from groundborne.study.efficient import COST
from groundborne.study.equipment_levels import equipment_results
from groundborne.study.evaluation import levels_in, stage_order, stages_in
from groundborne.study.mass_results import mass_results
from groundborne.study.model import Progress, StudyModel, silent
from groundborne.study.note import ATTRIBUTE, Note, stored
from groundborne.study.notes import study_notes
from groundborne.study.part import Part
from groundborne.study.plane import base_changes
from groundborne.study.result_checks import result_notes
from groundborne.study.room_rating import STATE
from groundborne.study.service import BY_STATE, of_state, with_states
from groundborne.study.stage_limits import stage_limits
from groundborne.study.sureness import PROBABILITY, SAMPLES, how_sure

_EVALUATED = 0.7
"""Share of the work until levels are known, where errors are sampled as well."""

_PATHS = 0.6
"""Share of the work of an evaluation until every option has its path."""


@checked(own_labels=["parts", "options"])
class Study(StudyModel):  # noqa: D101
    __doc__ = StudyModel.__doc__

    def evaluate(self, *, band_levels: bool = True, progress: Progress = silent) -> xr.Dataset:
        """Levels, ratings and margins of every room and option.

        Parameters
        ----------
        band_levels : bool
            Whether to keep the band levels of every passby.
        progress : callable
            Called as ``progress(stage, fraction)`` with what comes next, in words, and the share of
            the work that is done, 0 to 1: every option, then every phase of what they share.

        Returns
        -------
        xarray.Dataset
            As :func:`~groundborne.study.evaluate`, and: ``rating``, ``limit``, ``margin``,
            ``applies`` on ``criterion``; ``nr`` (of the energy mean of the passbys, where the
            bands reach the 31.5 Hz octave);
            ``base_change`` with ``base_change_without_bypass``, ``base_change_low`` and
            ``base_change_high``, ``power_change`` and ``ideal_change`` (option, frequency): base
            isolation as predicted, by the mounts alone, its spread over floors and columns, in
            power through the mounts, and by single-degree-of-freedom theory; the masses on
            and above the mounts with the frequencies they give every option's mounts, and the
            weights of the columns, as :func:`~groundborne.study.masses.mass_results`; what is known
            of rooms as coordinates. Where mounts are given as new and at the end of their life,
            levels are of the state with the smallest margin of the option, ``state_of_levels``,
            and ``rating_by_state``, ``margin_by_state`` and ``base_change_by_state`` of both;
            ``cost`` of the options, where each of them has one. The
            attribute ``notes`` holds guards and cautions, read by
            :func:`~groundborne.study.notes_of`; ``changed_after_reading`` a JSON list of what a
            script changed after the files were read, and ``study_checksum`` stands for every value
            of the study that a number or a note rests on: another date or revision leaves it.

        Raises
        ------
        ValueError
            From any element, rating or criterion; the sentence says which.

        Warns
        -----
        ValidityWarning
            Anything used outside its range; the same is in ``notes``.
        """
        described = self.described()
        changed = self.changed_after(described)
        self.require_rebuilt(changed)
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always", ValidityWarning)
            result = self._levels(band_levels=band_levels, progress=progress)
            progress("ratings", 0.85)
            result, state = self._rated(result)
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
        progress("base isolation", 0.9)
        mounted = [part for part in self.parts if part.plane is not None] or self.parts[:1]
        bases = {
            part.name: self._base_changes(part).merge(mass_results(self, part), join="exact")
            for part in mounted
        }
        result = result.merge(
            _of_state(_of_parts(bases), state), join="exact", combine_attrs="override"
        )
        progress("notes", 0.95)
        odd = result_notes(self, result)
        if self.passbys.background is not None:
            f = self.frequency.values
            result["background_level"] = bands.select(
                self.passbys.background, float(f[0]), float(f[-1])
            )
        costs = [option.cost for option in self.options if option.cost is not None]
        if len(costs) == len(self.options):
            units = {"units": self.currency, "long_name": "cost of the option"}
            result[COST] = xr.DataArray(costs, dims="option", attrs=units)
        result = result.assign_coords(self._room_coordinates())
        result.attrs |= {
            "title": self.name,
            "description": self.description,
            "invented": "yes" if self.invented else "no",
            "base_isolation": " ".join(
                dict.fromkeys(p.plane.words for p in self.parts if p.plane is not None)
            ),
            CHECKSUM: study_checksum(described),
            "changed_after_reading": json.dumps(
                outermost([d.key for d in (*self.changes, *changed)]), ensure_ascii=False
            ),
            ATTRIBUTE: stored(
                [
                    *(Note(kind="unusual input", values={"text": text}) for text in self.unusual),
                    *odd,
                    *study_notes(self, result),
                    *(Note(kind="outside validity", values={"text": m}) for m in messages),
                ]
            ),
            "limit_citations": citation_texts(
                c.citation for cs in self.criteria.values() for c in cs if c.citation is not None
            ),
        }
        progress("evaluated", 1.0)
        return result

    def levels(self, *, band_levels: bool = True, progress: Progress = silent) -> xr.Dataset:
        """Levels in rooms and of floors, without ratings, masses and notes.

        Parameters
        ----------
        band_levels, progress
            As for :meth:`evaluate`.

        Returns
        -------
        xarray.Dataset
            As :func:`~groundborne.study.evaluate`, with ``floor_change`` and ``floor_level`` where
            floors are rated, all as :meth:`evaluate` gives them: where mounts are given as new and
            at the end of their life, of the state with the smallest margin of the option.

        Raises
        ------
        ValueError
            From any element; the sentence says which.

        Warns
        -----
        ValidityWarning
            Anything used outside its range.

        Examples
        --------
        >>> import groundborne as gb
        >>> study = gb.read_study("data/tower/study.toml")
        >>> found = study.with_options([gb.Option(name="as built")]).levels(band_levels=False)
        >>> "mean_level" in found, "rating" in found
        (True, False)
        """
        self.require_rebuilt(self.changed_after(self.described()))
        result = self._levels(band_levels=band_levels, progress=progress)
        if STATE not in result.dims:
            return result
        return self._rated(result)[0][list(result.data_vars)]

    def how_sure(
        self,
        *,
        samples: int = SAMPLES,
        probability: float = PROBABILITY,
        seed: int = 1,
        mechanics: xr.Dataset | None = None,
        band_levels: bool = True,
        progress: Progress = silent,
    ) -> xr.Dataset:
        """As :meth:`evaluate`, with answers as what is known lets them be given.

        Parameters
        ----------
        samples, probability, seed, mechanics
            As for :func:`~groundborne.study.how_sure`.
        band_levels, progress
            As for :meth:`evaluate`.

        Returns
        -------
        xarray.Dataset
            As :func:`~groundborne.study.how_sure`.
        """

        def tell(stage: str, done: float) -> None:
            progress(stage, _EVALUATED * done)

        def tell_more(stage: str, done: float) -> None:
            progress(stage, _EVALUATED + (1 - _EVALUATED) * done)

        result = self.evaluate(band_levels=band_levels, progress=tell)
        return how_sure(
            self, result, samples=samples, probability=probability, seed=seed,
            mechanics=mechanics, progress=tell_more,
        )  # fmt: skip

    def _rated(self, result: xr.Dataset) -> tuple[xr.Dataset, xr.DataArray | None]:
        """Levels with their ratings, and the state of the mounts that is shown."""
        rated = assess(result, room_criteria=self.room_criteria, periods=self.periods)
        result = result.merge(rated, join="exact")
        return with_states(result.merge(equipment_results(self, result), join="exact"))

    def _levels(self, *, band_levels: bool, progress: Progress) -> xr.Dataset:
        """Levels of every part of the building, and what bounds them, in the order of the rooms."""
        paths = {}
        for number, part in enumerate(self.parts):
            where = f"{part.name}, " * bool(part.name)

            def tell(stage: str, done: float, at: int = number, where: str = where) -> None:
                progress(f"{where}{stage}", _PATHS * (at + done) / len(self.parts))

            paths[part.name] = self.paths(part.name, progress=tell)
        progress("vibration of floors", _PATHS)
        floors = {
            part.name: self.floor_paths(part.name, paths=paths[part.name]) for part in self.parts
        }
        self._require_motion(floors)
        progress("levels in rooms", 0.7)
        order, source = stage_order(*paths.values()), self.source
        each = []
        for part in self.parts:
            here, felt = paths[part.name], floors[part.name]
            answers = Answers(source["frequency"])
            found = levels_in(answers, here, source, band_levels=band_levels, order=order)
            steps = stages_in(answers, felt) if felt else None
            if steps is not None:
                change = steps.sum("stage", skipna=False)
                found = found.merge(
                    self._floor_levels(change), join="exact", combine_attrs="override"
                )
            found = found.merge(self._changes_below(here, felt), join="exact")
            limits = stage_limits(self, part, answers, here, found["level_change"], steps)
            found = found.merge(limits, join="exact")
            each.append(_in_rooms(found, part.rooms))
        return each[0] if len(each) == 1 else _joined(each).sel(room=self.rooms)

    def _require_motion(self, floors: Mapping[str, Mapping[str, TransmissionPath]]) -> None:
        """Refuse vibration that only some parts of the building can be rated by."""
        lacking = [part for part in self.parts if not floors[part.name]]
        felt = any(c.of.felt for cs in self.criteria.values() for c in cs)
        if lacking and felt and len(lacking) < len(self.parts):
            raise StudyError(
                f"study: {lacking[0].in_words} does not say how its floors move at mid-span, and "
                "other parts do; give it [path.mid_span]"
            )

    def _floor_levels(self, change: xr.DataArray) -> xr.Dataset:
        change.attrs = {"long_name": "level change, source to floor at mid-span", "units": "dB"}
        level = levels.stamp(
            change.drop_attrs(deep=False) + levels.energy_mean(self.source, "passby"),
            quantity="velocity",
            reference="1 nm/s",
            long_name="velocity of the floor at mid-span, energy mean of passbys",
            location=str(MID_SPAN.location),
            time_weighting=self.source.attrs.get("time_weighting", ""),
        )
        return xr.Dataset({"floor_change": change, "floor_level": level})

    def _changes_below(
        self, paths: Mapping[str, TransmissionPath], floors: Mapping[str, TransmissionPath]
    ) -> xr.Dataset:
        """Level changes below the first band, where a rating of the study goes on."""
        changes = {}
        for quantity, name, of in (
            ("sound pressure", "change_below", paths),
            ("velocity", "floor_change_below", floors),
        ):
            asked = [c.of for cs in self.criteria.values() for c in cs if c.of.quantity == quantity]
            lowest = min((metric.rule.lowest for metric in asked), default=np.inf)
            change = changes_below(of, self.frequency, lowest) if of else None
            if change is not None:
                changes[name] = change
        return xr.Dataset(changes)

    def _base_changes(self, part: Part) -> xr.Dataset:
        zero = xr.zeros_like(self.frequency, dtype=float)
        none = base_changes(*(zero for _ in range(6)))
        parts, kept = [], Kept()
        for option, there in self.seen_by(part):
            found = none
            base, plane = option.base, there.plane
            if base is not None and plane is not None:
                ask = partial(plane.changes, base, self.frequency)
                found = kept.once(ask, "changes", plane, base)
            parts.append(found.expand_dims(option=[option.name]))
        parts = list(xr.broadcast(*parts, exclude=("option",)))
        joined = xr.concat(parts, dim="option", join="exact", combine_attrs="override")
        return joined.transpose("option", ..., "frequency")

    def _room_coordinates(self) -> dict[str, xr.DataArray]:
        rooms = self.building.rooms
        height = self.building.on_floor("height")
        part = {room: part.name for part in self.parts for room in part.rooms}
        return {
            "room_name": rooms["room_name"],
            "room_group": rooms["group"],
            "floor_of_room": rooms["floor_of_room"],
            "part_of_room": rooms["room"].copy(data=[part[room] for room in self.rooms]),
            "room_height": height,
            "above_plane": self.above_plane.astype(int).astype("int8"),
        }


def _in_rooms(result: xr.Dataset, rooms: Sequence[str]) -> xr.Dataset:
    """What no step of the path told apart by room, for every room."""
    lacking = [
        n for n, v in result.data_vars.items() if "option" in v.dims and "room" not in v.dims
    ]
    spread = {n: result[n].expand_dims(room=list(rooms)) for n in lacking}
    lead = ("option", "stage", "room", "passby")
    return result.assign(spread).transpose(*lead, ..., "frequency", missing_dims="ignore")


def _joined(parts: Sequence[xr.Dataset]) -> xr.Dataset:
    """Results of the parts of a building, one behind the other."""
    first = parts[0]
    data: dict[str, xr.DataArray] = {}
    for name, array in first.data_vars.items():
        each = [part[name] for part in parts]
        if "room" in array.dims:
            each = list(xr.broadcast(*each, exclude=("room",)))
            array = xr.concat(each, dim="room", join="exact", coords="minimal", compat="override")
        data[str(name)] = array
    cited = list(dict.fromkeys(part.attrs["citations"] for part in parts))
    return xr.Dataset(data, attrs={**first.attrs, "citations": "; ".join(cited)})


def _of_state(bases: xr.Dataset, state: xr.DataArray | None) -> xr.Dataset:
    """Base isolation in the state that is shown, and in both."""
    if state is not None and STATE in bases["base_change"].dims:
        bases = bases.assign({f"base_change{BY_STATE}": bases["base_change"]})
    return of_state(bases, state)


def _of_parts(bases: Mapping[str, xr.Dataset]) -> xr.Dataset:
    """What the mounts of parts do: by column where there are columns, else by part."""
    if len(bases) == 1:
        return next(iter(bases.values()))
    data: dict[str, xr.DataArray] = {}
    for name in next(iter(bases.values())).data_vars:
        each = [of[name] for of in bases.values()]
        each = list(xr.broadcast(*each, exclude=("column",)))  # of options that change one part
        by_column = all("column" in array.dims for array in each)
        along: Any = "column" if by_column else xr.Variable("part", list(bases))
        data[str(name)] = xr.concat(
            each, dim=along, join="exact", coords="minimal", compat="override"
        )
    return xr.Dataset(data)
