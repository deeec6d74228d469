"""Where a building, its mounts and its trains resonate, and which of these meet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne.bands import exact
from groundborne.levels import decibel, energy, energy_mean
from groundborne.structure import BareSlab, ColumnLine, FlatSlab, RigidMass, column_weights
from groundborne.structure.ladder import distinct
from groundborne.structure.phases import IN_PHASE
from groundborne.structure.response import foundation_mobility
from groundborne.study.frame import Frame
from groundborne.study.masses import natural_frequency
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.part import Part

NEAR = 10**0.1
"""Frequencies closer than one third of an octave are said to meet [-]."""

KINDS = ("trains", "foundation-soil", "columns", "mounts", "floors", "room layers")
"""Kinds of resonance, from the source to the room."""


_PROMINENT = 3.0  # dB, of a maximum over what lies around it, to be a mode


@checked
@dataclass(frozen=True, kw_only=True)
class Resonance:
    """One resonance, or a peak of the source.

    Parameters
    ----------
    kind : str
        One of ``KINDS``.
    name : str
        In words.
    frequency : float
        [Hz]; of many, the median.
    floors : frozenset of str
        Floors that feel it; empty for all.
    span : tuple of float, optional
        Lowest and highest [Hz], where it differs from column to column.
    """

    kind: str
    name: str
    frequency: float
    floors: frozenset[str] = frozenset()
    span: tuple[float, float] | None = None

    @property
    def in_words(self) -> str:
        """Frequency, or lowest and highest where they differ in what is shown."""
        low, high = (f"{f:.1f}" for f in self.span or (self.frequency, self.frequency))
        return f"{low} Hz" if low == high else f"{low} to {high} Hz"

    def coincides_with(self, other: Resonance) -> bool:
        """Whether two of different kinds lie within a third of an octave on a common floor."""
        one, two = (r.span or (r.frequency, r.frequency) for r in (self, other))
        low, high = min(one[1], two[1]), max(one[0], two[0])
        shared = not self.floors or not other.floors or bool(self.floors & other.floors)
        # Columns and the building on its soil are one system, whose modes are those of both.
        one_system = {self.kind, other.kind} == {"columns", "foundation-soil"}
        return self.kind != other.kind and shared and high < NEAR * low and not one_system


@checked
def resonances(study: StudyModel, option: Option, *, part: str | None = None) -> list[Resonance]:
    """Resonances of one option, from trains to room layers.

    Parameters
    ----------
    study : Study
        With or without column lines; without, columns and soil are not listed.
    option : Option
        One of its options, or another for the same building.
    part : str, optional
        Of the building, by its name; not needed where it is one.

    Returns
    -------
    list of Resonance
        In the order of ``KINDS``. Where parameters are sampled, those of their medians.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> found = resonances(study, study.options[1])
    >>> [round(r.frequency, 1) for r in found if r.kind == "mounts"]
    [9.1]
    """
    here = study.part("" if part is None else part)
    seen, there = option.seen_by(here)
    found = [*building_resonances(study, there), *option_resonances(study, seen, there)]
    return sorted(found, key=lambda r: KINDS.index(r.kind))


def building_resonances(study: StudyModel, part: Part) -> list[Resonance]:
    """Resonances of a part without mounts and layers: trains, soil, columns, floors.

    Parameters
    ----------
    study : Study
        Its trains and floors.
    part : Part
        Of its building, as built or as an option has it, with or without column lines.

    Returns
    -------
    list of Resonance
        In the order of ``KINDS``.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> kinds = {r.kind for r in building_resonances(study, study.part())}
    >>> kinds >= {"trains", "columns", "floors"}
    True
    """
    found = [*_trains(study)]
    frame = part.plane if isinstance(part.plane, Frame) else None
    if frame is not None:
        line = _middle(frame.line)
        found += [*_on_soil(line), *_columns(line)]
    return [*found, *floor_resonances(study, part)]


def option_resonances(study: StudyModel, option: Option, part: Part) -> list[Resonance]:
    """Resonances that one option brings: mounts, layers in rooms.

    Parameters
    ----------
    study : Study
        The building.
    option : Option
        As the part sees it.
    part : Part
        As it is with the option.

    Returns
    -------
    list of Resonance
        In the order of ``KINDS``; none for the building as it is.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/music_school/study.toml")
    >>> option_resonances(study, study.options[0], study.part())
    []
    """
    found = []
    if option.base is not None and part.plane is not None:
        f0 = np.asarray(natural_frequency(part.plane.crossed(option.base), part.plane.moving_mass))
        found.append(
            Resonance(
                kind="mounts",
                name="mounts",
                frequency=float(np.median(f0)),
                floors=_floors_above(study, part.plane.floor),
                span=(float(f0.min()), float(f0.max())),
            )
        )
    return [*found, *_layers(study, option)]


@checked
def coincidences(found: Iterable[Resonance]) -> list[tuple[Resonance, Resonance]]:
    """Pairs that meet; each amplifies what the other passes.

    Parameters
    ----------
    found : iterable of Resonance
        From :func:`resonances`.

    Returns
    -------
    list of tuple
        Pairs of different kinds within a third of an octave, on a common floor.

    Examples
    --------
    >>> mounts = Resonance(kind="mounts", name="mounts", frequency=9.0)
    >>> floor = Resonance(kind="floors", name="floor 3", frequency=10.9)
    >>> len(coincidences([mounts, floor]))
    1
    """
    return [(a, b) for a, b in combinations(found, 2) if a.coincides_with(b)]


def coincidence_note(option: Option, found: Iterable[Resonance]) -> list[Note]:
    """The pairs in one note, or none: of an option those that it brings itself."""
    own = {"mounts", "room layers"}
    pairs = [
        (a, b) for a, b in coincidences(found) if not option.is_isolated or own & {a.kind, b.kind}
    ]
    if not pairs:
        return []
    words = [[a.name, a.in_words, b.name, b.in_words] for a, b in pairs]
    return [Note(kind="coincident resonances", option=option.name, values={"pairs": words})]


def _trains(study: StudyModel) -> list[Resonance]:
    """Bands where a source spectrum peaks within 10 dB of its largest band.

    Of all measured bands, so that the edge of what is evaluated is no peak; the outermost band is
    none either, since what lies beyond it is not known, and nor is a band in which most trains
    were not detectable. Passbys count as the timetable of the criteria has them.
    """
    level = study.passbys.level
    unknown = np.zeros(level.sizes["frequency"], dtype=bool)
    if "upper_limit" in level.coords:
        unknown = (level["upper_limit"].mean("passby") > 0.5).values
    found = set()
    for weight in _weights(study, level):
        mean = np.asarray(_typical(_weighted_mean(level, weight)).values)
        peak = np.zeros(mean.size, dtype=bool)
        peak[1:-1] = (mean[1:-1] > mean[:-2]) & (mean[1:-1] >= mean[2:])
        peak &= (mean > mean.max() - 10) & ~unknown
        found |= set(level["frequency"].values[peak].tolist())
    shown = [f for f in sorted(found) if f in study.frequency.values]
    return [
        Resonance(kind="trains", name="peak of the source spectrum", frequency=float(f))
        for f in exact(np.array(shown)).tolist()
    ]


def _weights(study: StudyModel, level: xr.DataArray) -> list[xr.DataArray | None]:
    """How many trains each passby stands for, once for each period that a criterion names."""
    named = {c.period for of in study.criteria.values() for c in of}
    known = [study.periods[n] for n in named if n is not None and n in study.periods]
    return [p.weight(level) for p in known] or [None]


def _weighted_mean(level: xr.DataArray, weight: xr.DataArray | None) -> xr.DataArray:
    if weight is None:
        return energy_mean(level, "passby")
    return decibel((weight * energy(level)).sum("passby") / weight.sum("passby"))


def _typical(value: Any) -> Any:
    """Of samples the median, of columns the largest; what is on frequency stays."""
    if not isinstance(value, xr.DataArray):
        return value
    if "column" in value.dims:
        value = value.max("column")
    others = [d for d in value.dims if d != "frequency"]
    value = value.median(others) if others else value
    return value if value.ndim else value.item()


def _middle(line: ColumnLine) -> ColumnLine:
    """The column with most panels, standing for all; of samples the median of every parameter."""
    weights = column_weights(line=line)
    first = 0  # one column, with all that is its own: lines may be walls beside columns
    if "column" in weights.dims:
        first = int(weights.mean([d for d in weights.dims if d != "column"]).argmax("column"))

    def pick(part: object) -> object:
        if isinstance(part, xr.DataArray):
            one = part.isel(column=first, drop=True) if "column" in part.dims else part
            return _typical(one)
        if isinstance(part, tuple):
            return tuple(pick(p) for p in part)
        if is_dataclass(part) and not isinstance(part, type):
            return replace(part, **{f.name: pick(getattr(part, f.name)) for f in fields(part)})
        return part

    picked = pick(line)
    assert isinstance(picked, ColumnLine)
    return picked


def _scan() -> xr.DataArray:
    return xr.DataArray(np.geomspace(1.0, 250.0, 4000), dims="frequency")


def _on_soil(line: ColumnLine) -> list[Resonance]:
    """The building as a rigid mass on its foundation: where their reactances cancel."""
    f = _scan()
    soil = 1 / foundation_mobility(line.foundation, f, IN_PHASE)
    reactance = (soil.imag + 2 * np.pi * f * float(np.asarray(line.total_mass))).values
    crossing = np.flatnonzero((reactance[:-1] < 0) & (reactance[1:] >= 0))
    return [
        Resonance(
            kind="foundation-soil", name="foundation-soil resonance", frequency=float(f.values[i])
        )
        for i in crossing[:1].tolist()
    ]


def _columns(line: ColumnLine) -> list[Resonance]:
    """Axial modes of the columns with the slabs as masses, seen at the roof."""
    masses = tuple(
        replace(s, slab=RigidMass(mass=s.slab.mass)) if isinstance(s.slab, FlatSlab) else s
        for s in line.storeys
    )
    f = _scan()
    in_phase = replace(line, storeys=masses, phases=IN_PHASE)
    ratio = abs(in_phase.velocity_ratio(f)).isel(floor=-1).values
    peaks = [i for i in _maxima(ratio) if _prominence(20 * np.log10(ratio), i) >= _PROMINENT]
    return [
        Resonance(
            kind="columns", name=f"axial mode {n} of the columns", frequency=float(f.values[i])
        )
        for n, i in enumerate(peaks[:4], start=1)
    ]


def _maxima(values: np.ndarray[Any, Any]) -> list[int]:
    """Where a curve is above both its neighbours, without its ends."""
    inside = values[1:-1]
    found: list[int] = (np.flatnonzero((inside > values[:-2]) & (inside > values[2:])) + 1).tolist()
    return found


def _prominence(values: np.ndarray[Any, Any], at: int) -> float:
    """Height of a maximum above the higher of the lowest values on the way to higher ground."""
    sides = (values[at::-1], values[at:])
    lowest = []
    for side in sides:
        higher = np.flatnonzero(side > values[at])
        lowest.append(side[: higher[0] if higher.size else None].min())
    return float(values[at] - max(lowest))


def _floors_above(study: StudyModel, lowest: str) -> frozenset[str]:
    names = [str(n) for n in study.building.floors["floor"].values]
    return frozenset(names[names.index(lowest) :])


def floor_resonances(study: StudyModel, part: Part) -> list[Resonance]:
    """First resonances of the slabs, equal ones together.

    Parameters
    ----------
    study, part
        As for :func:`building_resonances`.
    """
    frame = part.plane if isinstance(part.plane, Frame) else None
    moved: dict[str, str] = {}  # floors of the slabs that differ from those of their floor
    if frame is not None:
        moved = {name: floor for name, (floor, _) in frame.other_slabs.items()}
        flat = [
            (str(name), slab)
            for name, slab in (
                *zip(frame.line.floors, frame.line.slabs, strict=True),
                *((name, slab) for name, (_, slab) in frame.other_slabs.items()),
            )
            if isinstance(slab, BareSlab)
        ]
        slabs, index = distinct([slab for _, slab in flat])
        first = [float(np.max(np.asarray(_typical(slab.first_resonance)))) for slab in slabs]
        pairs = [(name, first[i]) for (name, _), i in zip(flat, index, strict=True)]
    elif "natural_frequency" in study.building.floors:
        floors = study.building.floors
        rooms = study.building.rooms["floor_of_room"].sel(room=list(part.rooms)).values
        own = part.floor_frequencies
        stated = {} if own is None else dict(zip(rooms.tolist(), own, strict=True))
        given = floors["natural_frequency"]
        pairs = [
            (str(name), float(stated.get(name, _typical(given.sel(floor=name)))))
            for name in floors["floor"].values.tolist()
        ]
    else:
        return []
    grouped: dict[float, list[str]] = {}
    for name, f in pairs:
        grouped.setdefault(round(f, 2), []).append(name)
    return [
        Resonance(
            kind="floors",
            name=_floor_name(names),
            frequency=f,
            floors=frozenset(moved.get(name, name) for name in names),
        )
        for f, names in grouped.items()
    ]


def _floor_name(names: list[str]) -> str:
    if len(names) == 1:
        return f"floor {names[0]}"
    return f"floors {names[0]} to {names[-1]}" if len(names) > 2 else f"floors {', '.join(names)}"


def _layers(study: StudyModel, option: Option) -> list[Resonance]:
    """Floating floors, linings and ceilings, felt on the floor of their rooms."""
    rooms = study.building.rooms
    found = []
    for measure in option.measures:
        here = rooms.sel(room=list(measure.rooms))
        where = measure.rooms[0] + (" and others" if len(measure.rooms) > 1 else "")
        for group in measure.treatments:
            # A layer on its slab knows its own frequency, also where no box says what it is.
            natural = getattr(measure.layer(group), "natural_frequency", None)
            if natural is None:
                continue
            of = "ceiling_floor" if group == "ceiling" else "floor_of_room"
            found.append(
                Resonance(
                    kind="room layers",
                    name=f"{group} layer in {where}",
                    frequency=float(np.median(np.asarray(natural))),
                    floors=frozenset(here[of].values.astype(str).tolist()),
                )
            )
    return found
