"""The building, and the parts of it that stand apart, built from the checked values of files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Faults, Numeric, StudyError
from groundborne.cells import Cells
from groundborne.citation import Citation
from groundborne.isolation import Crossing, EnergyPath
from groundborne.loads import ColumnLoads
from groundborne.loads.plausible import load_column
from groundborne.loads.reader import loads_of
from groundborne.propagation import Track
from groundborne.structure import (
    ColumnLine,
    Mobility,
    Raft,
    RigidMass,
    SemiInfiniteRod,
)
from groundborne.structure.element import GRAVITY
from groundborne.study.as_built import as_built_of, floor_motion_of
from groundborne.study.building import Building, floors_of, rooms_of
from groundborne.study.bypass import BYPASSES, STATED, Bypass
from groundborne.study.cross_checks import Files, check_columns
from groundborne.study.description import describe
from groundborne.study.foundation_file import (
    foundation_of,
    free_foundation_of,
    share_under_lines,
)
from groundborne.study.frame import Frame
from groundborne.study.frame_checks import check_foundation, check_rod, check_storeys
from groundborne.study.frame_file import column_mass, line_of
from groundborne.study.given import Given
from groundborne.study.masses import TOTAL_REFUSED
from groundborne.study.option_checks import check_path
from groundborne.study.part import Part
from groundborne.study.parts_file import PartGiven
from groundborne.study.plane import MobilityPlane, Plane
from groundborne.study.room_places import hears
from groundborne.study.room_slabs import RoomSlabs


def part_of(
    one: PartGiven,
    building: Building,
    frequency: xr.DataArray,
    tables: Mapping[str, Cells],
    files: Files,
    *,
    before: Frame | None = None,
) -> tuple[Part, Frame | None]:
    """One part of the building, or the building as one, and its column lines.

    Of an option beside the lines as built, `before`.
    """
    given, here = one.given, one.of(building)
    levels = tables.get(one.storeys)
    files = {**files, **_load_places(tables), **({"storeys": levels.file} if levels else {})}
    slabs = RoomSlabs.of(given["slabs"] or {}, here.rooms)
    heard = None
    if given.has("structure"):
        heard = hears(here.rooms, here.columns, given["structure"], tables["rooms"])
    frame = _frame(given, here, frequency, levels, files, slabs=slabs, heard=heard, before=before)
    plane: Plane | None = frame if given.has("isolation") else None
    if frame is None and given.has("isolation"):
        if one.name:
            raise StudyError(
                f"{given['isolation'].where}: it needs column lines; give the part [structure]"
            )
        plane = _mobility_plane(given["isolation"], here, files)
    transfers = {step: tables[at] for step, (at, _) in one.transfers().items()}
    floor_motion = floor_motion_of(given["path"], here, frame, transfers=transfers)
    free = None
    if frame is not None:
        free = free_foundation_of(given["structure"]["foundation"], frame.line.foundation)
    path, surfaces = as_built_of(
        given["path"], here, frame, transfers=transfers, slabs=slabs, free=free
    )
    check_path(path.elements, files["study"])
    part = Part(
        name=one.name,
        rooms=here.rooms["room"].values.tolist(),
        as_built=path,
        surfaces=surfaces,
        floor_motion=floor_motion,
        plane=plane,
        loads=here.loads if one.name else None,
        free_foundation=free,
    )
    return part, frame


def _track(given: Given | None) -> Track | None:
    """The centre line of the track, where the study has one."""
    if given is None:
        return None
    x, y = given["x_m"], given["y_m"]
    if len(x) != len(y):
        raise StudyError(
            f"{given.where}: 'x_m' has {len(x)} entries and 'y_m' has {len(y)}; each pair is a "
            "corner of the line, so that they must be as many"
        )
    with given.naming():
        points = tuple(zip(map(float, x), map(float, y), strict=True))
        return Track(points=points, **given.arguments())


def building_of(
    tables: Mapping[str, Cells],
    frequency: xr.DataArray,
    parts: Sequence[PartGiven],
    faults: Faults,
) -> Building:
    """Floors, rooms and columns by their tables, with the track."""
    floors, rooms, loads, track = xr.Dataset(), xr.Dataset(), None, None
    with faults.gathered():
        track = _track(parts[0].given["track"])
    with faults.gathered():
        floors = floors_of(tables["floors"])
    with faults.gathered():
        rooms = rooms_of(tables["rooms"], tables["floors"].labels, frequency)
    if "columns" in tables:
        with faults.gathered():
            loads = _loads(tables, parts)
            loads = loads if parts[0].name else parts[0].sharing(loads)
    return Building(floors, rooms, loads, track=track)


def _loads(tables: Mapping[str, Cells], parts: Sequence[PartGiven]) -> ColumnLoads:
    """Loads of the columns, from the floors above the plane of their part where those are known."""
    cells, levels = tables["columns"], tables.get("floor_loads")
    if levels is None:
        return loads_of(cells)
    floors = tables["floors"].labels
    lowest = xr.full_like(cells["column"], floors[0], dtype=object)
    needed = {}
    for part in parts:
        rows = tables[part.storeys].labels if part.storeys in tables else floors
        lowest = lowest.where(~part.at_columns(cells), part.lowest or rows[0])
        if part.storeys in tables:
            needed[part.name] = rows
        else:
            needed[part.name] = part.floors(floors, tables["rooms"])
    return loads_of(cells, levels, floors=floors, needed=needed, more={"lowest": lowest})


def _frame(
    given: Given,
    building: Building,
    frequency: xr.DataArray,
    levels: Cells | None,
    files: Files,
    *,
    slabs: RoomSlabs,
    heard: xr.DataArray | None,
    before: Frame | None = None,
) -> Frame | None:
    """Column lines, and the plane at which they can be cut if the study isolates.

    Where an option changes slabs or columns of the lines `before`, column loads follow: what the
    model gains or loses above the mounts is added to what they carry.
    """
    if not given.has("structure") or levels is None:
        return None
    stood = None if before is None else before.line
    line = line_of(given["structure"], levels, building, before=stood)
    frame = Frame(
        line=line,
        frequency=frequency,
        floor_of_room=slabs.floor_of_room,
        ceiling_floor=slabs.ceiling_floor,
        other_slabs=slabs.others,
        moves_slabs=given["path"]["floor"]["model"] == "column line",
        hears=heard,
    )
    if before is not None and _differ(frame, before):
        frame = replace(frame, measured=before)
    isolation = given["isolation"]
    floor = isolation["lowest_isolated_floor"] if isolation else ""
    of = given["structure"]["foundation"].where
    _check_structure(line, building, files, floor, of)  # before masses are compared, to say more
    if not isolation:
        return frame
    load = isolation if "imposed_share" in isolation.of.names else isolation["load"]
    mass: Any = column_mass(building, load.where)
    if before is not None:
        mass = mass + (line.mass_from(floor) - before.moving_mass)
    with load.naming():
        try:
            return replace(frame, floor=floor, mass=mass, **_beside(isolation))
        except StudyError as error:
            more = _fitting_floor(line, floor, mass)
            raise StudyError(f"{error} ({levels.file}){more}") from None


def _differ(frame: Frame, before: Frame) -> bool:
    """Whether an option changes lines, or slabs that follow them."""
    now, built = ((f.line, f.other_slabs) for f in (frame, before))
    return describe(now) != describe(built)


def _fitting_floor(line: ColumnLine, floor: str, carried: Any) -> str:
    """Says what would bring structure and loads together: loads in tonnes, or another floor."""
    total = float(np.sum(np.asarray(carried)))
    masses = {str(n): float(np.sum(np.asarray(line.mass_from(n)))) for n in line.floors}
    if abs(np.log(masses[floor] / (GRAVITY * total))) < np.log1p(TOTAL_REFUSED):
        return f". {GRAVITY:.2f} times the loads would fit: are they in t in place of kN?"
    off = {name: abs(np.log(mass / total)) for name, mass in masses.items()}
    best = min(off, key=lambda name: off[name])
    if best == floor or off[best] > np.log1p(TOTAL_REFUSED):
        return ""
    return (
        f". From floor {best!r} up the structure weighs {masses[best] / 1e3:,.0f} t: are the loads "
        f"those under {best!r}, and should 'lowest_isolated_floor' be {best!r} in place of "
        f"{floor!r}?"
    )


def _load_places(tables: Mapping[str, Cells]) -> dict[str, str]:
    """Which file holds the loads of columns, and in which columns."""
    cells = tables.get("floor_loads", tables.get("columns"))
    if cells is None:
        return {}
    names = {name: load_column(cells, name) for name in ("permanent", "imposed")}
    return {"loads": cells.file, **names}


def _check_structure(
    line: ColumnLine, building: Building, files: Files, floor: str, where: str
) -> None:
    """Hold structure, loads and foundation against each other."""
    levels = [str(level) for level in line.floors]
    check_columns(building, files, above=levels[levels.index(floor) if floor else 0 :])
    check_storeys(line, building, files, floor=floor)
    under: Any = line.foundation
    mass = float(np.mean(np.asarray(line.total_mass / share_under_lines(under))))
    whole = under if isinstance(under, Raft) else under.foundation
    check_foundation(whole, mass, building, where=where)


def _mobility_plane(given: Given, building: Building, files: Files) -> MobilityPlane:
    floor, load = given["lowest_isolated_floor"], given["load"]
    mass: Numeric = load["mass_kg"]
    if mass is None:
        of_columns = column_mass(building, load.where).sum("column")
        mass = of_columns if of_columns.dims else float(of_columns)
    floors = building.floors["floor"].values.tolist()
    check_columns(building, files, above=floors[floors.index(floor) :])
    with given.naming():
        plane = MobilityPlane(
            floor=floor,
            mass=mass,
            below=foundation_of(given["below"]),
            above=_above_mobility(given["above"], mass),
            **_beside(given),
        )
    check_foundation(plane.below, mass, building, where=given["below"].where)
    check_rod(plane.above, mass, where=given["above"].where)
    return plane


def _beside(given: Given) -> dict[str, Any]:
    """What crosses the plane beside the mounts, and what is counted that nobody listed."""
    crossings = []
    for one in given["crossings"] or []:
        with one.naming():
            crossings.append(Crossing(**one.arguments()))
    share = given["unlisted_share"]
    if given["all_crossings_listed"]:
        if share is not None:
            raise StudyError(
                f"{given.where}: 'all_crossings_listed' is true, and 'unlisted_share' counts what "
                "is not listed; leave one out"
            )
        share = 0.0
    more: dict[str, Any] = {} if share is None else {"unlisted_share": share}
    kind, reduction, why = (given[key] for key in ("bypass", "bypass_db", "bypass_source"))
    if kind != BYPASSES[0]:
        if not why.strip():
            raise StudyError(f"{given.where}: 'bypass_source' is empty; say where it is known from")
        own = (Citation(key="input", author=why, mark="input", status="assumed"),)
        paths: tuple[EnergyPath, ...] = ()
        if kind == "stated":
            paths = (EnergyPath(name=STATED, reduction=reduction, sources=own),)
        more |= {"paths": paths, "reason": why}
    return {"crossings": tuple(crossings), "bypass": Bypass(**more)}


def _above_mobility(given: Given, mass: Numeric) -> Mobility:
    if given["model"] == "rigid mass":
        return RigidMass(mass=mass)
    return SemiInfiniteRod(**given.arguments())
