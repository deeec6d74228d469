"""What was put in, in words and tables of text for the document."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne.citation import Citation
from groundborne.isolation import DistributedMount, InService, LinearMount, SurfaceIsolation
from groundborne.isolation.rooms.sprung_surface import SprungSurface
from groundborne.rating.statistics import HAZEN
from groundborne.report.assessment import listed
from groundborne.study import Option, Study
from groundborne.study.change_words import change_in_words
from groundborne.study.description import outermost
from groundborne.study.equipment_levels import standing_equipment
from groundborne.study.masses import natural_frequency
from groundborne.study.service import described
from groundborne.weighting import IEC_61672_1

_SHOWN_VALUES = 150
_LIGHT, _ONE_DECIMAL = 10.0, 100.0  # t, Hz


@dataclass(frozen=True, kw_only=True)
class Rows:
    """A small table of text.

    Parameters
    ----------
    header : tuple of str
        Column names.
    rows : tuple of tuple of str
        Cells.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True)
class InputFile:
    """A file that the study was read from.

    Parameters
    ----------
    name, digest : str
        File name, and SHA-256 of the text.
    lines : int
        Of the text.
    """

    name: str
    digest: str
    lines: int


@dataclass(frozen=True, kw_only=True)
class Evaluated:
    """What the numbers are of, where the input files do not tell it.

    Parameters
    ----------
    parts : tuple of str
        What a script changed after the files were read; empty for a study that was not read.
    rows : Rows
        Every value that differs, or all of them.
    left_out : int
        Values that are not shown.
    """

    parts: tuple[str, ...]
    rows: Rows
    left_out: int


def evaluated(study: Study) -> Evaluated | None:
    """Values that were evaluated, where they are not those of the input files; None if they are."""
    if not study.as_read:
        values = [(k, v) for k, v in study.described().items() if " · citations" not in k]
        rows = Rows(header=("part", "evaluated"), rows=tuple(values[:_SHOWN_VALUES]))
        return Evaluated(parts=(), rows=rows, left_out=max(0, len(values) - _SHOWN_VALUES))
    changed = study.changed
    if not changed:
        return None
    # Sources have a table of their own.
    shown = [d for d in changed if " · citations" not in d.key] or list(changed)
    cells = [(d.key, _told(d.read), _told(d.now)) for d in shown]
    cells = [cell for cell in cells if cell[1] != cell[2]]
    return Evaluated(
        parts=tuple(outermost([d.key for d in changed])),
        rows=Rows(
            header=("part", "as read from the files", "evaluated"),
            rows=tuple(cells[:_SHOWN_VALUES]),
        ),
        left_out=max(0, len(cells) - _SHOWN_VALUES),
    )


_KINDS = {
    "LinearMount": "mounts of a stiffness",
    "DistributedMount": "mounts with a mass of their own",
    "InService": "mounts as they are in service",
    "RoomMeasure": "measure in rooms",
    "SurfaceIsolation": "layer on a surface",
    "Option": "an option",
    "inf": "no limit",
    "none": "none",
    "": "none",
}
"""Kinds of parts and values as a reader is told them."""


def _told(value: str) -> str:
    return _KINDS.get(value, value)


def evaluated_table(study: Study) -> pd.DataFrame:
    """Every value of a study, as it was read and as it was evaluated."""
    # What was changed before the study was built stands first, by its address in the files.
    made = {d.key: d for d in study.changes}
    now = {**{k: d.now for k, d in made.items()}, **study.described()}
    read = {**{k: d.read for k, d in made.items()}, **study.as_read}
    keys = [*now, *(k for k in read if k not in now)]
    table = {
        "part": keys,
        "evaluated": [now.get(k, "") for k in keys],
        "as_read": [read.get(k, "") for k in keys],
    }
    frame = pd.DataFrame(table)
    same = frame["evaluated"] == frame["as_read"]
    frame["differs"] = ["no" if s else "yes" for s in same] if read else "not read from files"
    return frame


def options_in_words(study: Study) -> list[tuple[str, str, list[str]]]:
    """Name, description and measures of every option."""
    return [(o.name, o.description, _measures(study, o)) for o in study.options]


def _measures(study: Study, option: Option) -> list[str]:
    changes = "; ".join(map(change_in_words, option.changes))
    parts = [f"Changed in the building: {changes}"] * bool(changes)
    if not parts:
        parts = [f"Changed: {part.in_words} is another than as built" for part in option.parts]
    for whole in study.parts:
        seen, part = option.seen_by(whole)
        mount, plane = seen.base, part.plane
        if mount is None or plane is None:
            continue
        nominal = natural_frequency(mount, plane.mass)
        f0 = natural_frequency(mount, plane.moving_mass)
        of = f" of {part.in_words}" if part.name else ""
        text = (
            f"Base isolation under floor {plane.floor}{of}: mounts of {_hertz(f0)} Hz on a rigid "
            f"base under the masses of the model, {_tonnes(plane.moving_mass)} t (nominal "
            f"{_hertz(nominal)} Hz under the column loads, {_tonnes(plane.mass)} t)"
        )
        stiffer = mount.factor if isinstance(mount, InService) else None
        mount = described(mount)
        if isinstance(mount, (LinearMount, DistributedMount)):
            text += (
                f", loss factor {_span(mount.loss_factor, 2)}, dynamic over static stiffness "
                f"{_span(mount.dynamic_to_static, 2)}"
            )
        if isinstance(mount, DistributedMount):
            text += f", first internal mode at {_hertz(mount.internal_frequency)} Hz"
        if stiffer is not None:
            text += f", {_span(stiffer, 2)} times as stiff in service as described"
        if plane.crossings:
            text += f"; the plane is crossed by {listed(c.name for c in plane.crossings)}"
        parts.append(text)
    for measure in option.measures:
        built = {} if measure.box is None else measure.box.parts
        layers = [
            f"{group} {_construction(built[group]) if group in built else _layer(t)}"
            for group, t in measure.treatments.items()
        ]
        parts.append(f"{measure.name}, in {listed(measure.rooms)}: {'; '.join(layers)}")
    parts += [
        f"Mounts of equipment {name!r}" + _tuned(study, option, name) for name in option.equipment
    ]
    return parts or ["No measure: the building as designed."]


def _tuned(study: Study, option: Option, name: str) -> str:
    equipment = next(one for one in study.equipment if one.name == name)
    f0 = replace(equipment, mounts=option.equipment[name]).natural_frequency
    return (
        f": {_hertz(f0)} Hz under {_span(equipment.mass, 3)} kg on a floor that does not give way"
    )


def _layer(treatment: Any) -> str:
    if isinstance(treatment, SurfaceIsolation):
        return (
            f"{_hertz(treatment.natural_frequency)} Hz, loss factor "
            f"{_span(treatment.loss_factor, 2)}, "
            f"at most {_span(treatment.largest_loss)} dB"
        )
    return type(treatment).__name__


def _construction(part: SprungSurface) -> str:
    gap, state = part.air
    return (
        f"{part.in_words} of {_span(part.mass_per_area, 3)} kg/m² over {_span(1e3 * gap, 3)} mm "
        f"of air ({state}), {_span(1e3 * part.build_up, 3)} mm deep, "
        f"{_hertz(part.natural_frequency)} Hz with the air "
        f"({_hertz(part.vented_frequency)} Hz without), loss factor "
        f"{_span(part.loss_factor_combined, 2)}"
    )


def _tonnes(mass: Any) -> str:
    """Whole tonnes, and two figures of what is lighter than ten."""
    tonnes = np.asarray(mass, dtype=float) / 1e3
    return _span(tonnes, 2) if tonnes.min() < _LIGHT else _span(np.round(tonnes), 9)


def _hertz(frequency: Any) -> str:
    """One decimal below 100 Hz, none from there on."""
    numbers = np.asarray(frequency, dtype=float)
    return _span(np.where(numbers < _ONE_DECIMAL, np.round(numbers, 1), np.round(numbers)), 9)


def _span(value: Any, figures: int = 4) -> str:
    """From the least to the largest, or the one number where they print alike."""
    numbers = np.asarray(value, dtype=float)
    ends = [
        np.format_float_positional(float(f"{end:.{figures}g}"), trim="-")
        for end in (float(numbers.min()), float(numbers.max()))
    ]
    return " to ".join(dict.fromkeys(ends))


def rooms_rows(study: Study) -> Rows:
    """Rooms as they were read."""
    rooms = study.building.rooms
    wanted = {
        "room_name": "name", "group": "group", "floor_of_room": "floor",
        "ceiling_floor": "floor above", "length": "length, m", "width": "width, m",
        "height": "height, m", "volume": "volume, m³", "criteria": "criteria",
    }  # fmt: skip
    columns = {"room": rooms["room"]} | {new: rooms[n] for n, new in wanted.items() if n in rooms}
    texts = [_texts(column) for column in columns.values()]
    header = list(columns)
    if "reverberation_time" in rooms:
        header.append("reverberation time, s")
        texts.append([_span(row) for row in rooms["reverberation_time"].values])
    return Rows(header=tuple(header), rows=tuple(zip(*texts, strict=True)))


def floors_rows(study: Study) -> Rows:
    """Floors as they were read."""
    floors = study.building.floors
    wanted = {
        "storeys": "storeys above the foundation", "height": "height, m",
        "natural_frequency": "natural frequency, Hz", "slab_thickness": "slab thickness, m",
    }  # fmt: skip
    columns = {"floor": floors["floor"]} | {
        new: floors[n] for n, new in wanted.items() if n in floors
    }
    texts = [_texts(column) for column in columns.values()]
    return Rows(header=tuple(columns), rows=tuple(zip(*texts, strict=True)))


def _texts(column: xr.DataArray) -> list[str]:
    if column.dtype.kind in "if":
        return [f"{v:g}" for v in column.values.tolist()]
    return [str(v) for v in column.values.tolist()]


def criteria_rows(study: Study) -> Rows:
    """Criteria sets with their limits and sources."""
    rows = [
        (
            name,
            c.label,
            f"{c.limit:g} {c.unit}".rstrip(),
            c.time_weighting,
            c.citation.text if c.citation else "no source given",
        )
        for name, criteria in study.criteria.items()
        for c in criteria
    ]
    return Rows(header=("set", "criterion", "limit", "levels", "source"), rows=tuple(rows))


def periods_rows(study: Study) -> Rows:
    """Timetable."""
    rows = [
        (name, f"{p.hours:g}", listed(f"{kind} {n:g}" for kind, n in p.trains.items()))
        for name, p in study.periods.items()
    ]
    return Rows(header=("period", "hours", "trains"), rows=tuple(rows))


def path_rows(study: Study) -> Rows:
    """Steps of the path without measures, with what each takes and gives."""
    rows = [
        (
            name.replace("_", " "),
            str(element.quantity_in),
            str(element.quantity_out),
            listed(dict.fromkeys(c.author for c in element.citations)) or "none given",
        )
        for name, element in _as_built_steps(study)
    ]
    return Rows(header=("step", "takes", "gives", "after"), rows=tuple(rows))


_STEP_WORDS = {
    "ground": ("Ground", "distance to the building, and damping"),
    "coupling": ("Foundation", "soil and foundation move together"),
    "storeys": ("Columns", "up the storeys, with their slabs"),
    "floor": ("Floors", "slabs at their resonances"),
    "surfaces": ("Room surfaces", "floors, walls and ceilings move"),
    "radiation": ("Rooms", "sound of all surfaces"),
}
"""Title and words of a step in the picture of the chain."""


def chain_steps(study: Study, option: str) -> list[tuple[str, str]]:
    """Steps from the trains to the rooms, with an option, for a reader.

    Parameters
    ----------
    study : Study
        Its first part stands for the others.
    option : str
        Whose mounts and layers are among them.
    """
    chosen = next(o for o in study.options if o.name == option)
    count = study.source.sizes["passby"]
    where = str(study.source.attrs.get("location", ""))
    quantity = str(study.source.attrs.get("quantity", ""))
    steps = [("Trains", f"{count} passbys, {quantity} {where}".rstrip(" ,"))]
    mounts = ("Mounts", f"of {chosen.name}")
    for name in study.parts[0].as_built.elements:
        told = _STEP_WORDS.get(name, (name.replace("_", " ").capitalize(), ""))
        if chosen.is_mounted and mounts not in steps and name in ("storeys", "floor", "surfaces"):
            steps.append(mounts)
        if chosen.measures and name == "radiation":
            steps.append(("Layers in rooms", listed(m.name for m in chosen.measures)))
        steps.append(told)
    steps.append(("Ratings", "each criterion on its own statistic"))
    return steps


def _as_built_steps(study: Study) -> list[tuple[str, Any]]:
    """Steps to the sound in the rooms, and the one to mid-span where there is one."""
    steps: list[tuple[str, Any]] = []
    for part in study.parts:
        of = f"{part.name}: " if part.name else ""
        steps += [(f"{of}{name}", element) for name, element in part.as_built.elements.items()]
        if part.floor_motion is not None:
            steps.append((f"{of}mid_span", part.floor_motion.as_built))
    return steps


def sources_rows(study: Study) -> Rows:
    """Everything that a number of the report rests on, with how it reached us."""
    citations: list[Citation] = []
    for part in study.parts:
        for paths in (study.paths(part.name), study.floor_paths(part.name)):
            citations += [c for path in paths.values() for c in path.citations]
    citations += [
        c for o in study.options for m in o.measures if m.box is not None for c in m.box.citations
    ]
    standing = standing_equipment(study).values()
    citations += [c for of in standing for one in of.values() for c in one.citations]
    criteria = [c for cs in study.criteria.values() for c in cs]
    citations += [c.citation for c in criteria if c.citation is not None]
    citations.append(IEC_61672_1)
    citations += [c for criterion in criteria for c in criterion.of.citations]
    citations += [HAZEN] * any(c.percentile is not None for c in criteria)
    unique: Iterable[Citation] = dict.fromkeys(citations)
    rows = sorted(
        (
            f"{c.author} ({c.year})" if c.year else c.author,
            ", ".join(part for part in (c.title, c.locator) if part),
            c.mark,
            c.status,
        )
        for c in unique
    )
    return Rows(header=("source", "title and place", "reached us", "status"), rows=tuple(rows))


def input_files(study: Study) -> list[InputFile]:
    """The files that were read, with a digest of the text."""
    files = []
    for name, text in study.inputs.items():
        plain = plain_text(text)
        lines = plain.split("\n")
        files.append(
            InputFile(
                name=name,
                digest=hashlib.sha256(plain.encode("utf-8")).hexdigest(),
                lines=len(lines) - (not lines[-1]),
            )
        )
    return files


def plain_text(text: str) -> str:
    """Text of an input file as reports keep it and digests are of it: with line feeds."""
    return text.replace("\r\n", "\n").replace("\r", "\n")
