"""Reading a study from a TOML file and the CSV files beside it."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne import bands
from groundborne._arguments import checked
from groundborne._checks import StudyError, TableError
from groundborne.files import read_plain
from groundborne.levels import REFERENCES, TIME_WEIGHTINGS, reference_value
from groundborne.path import FOUNDATION, GROUND, End
from groundborne.rating import METRICS, STATISTICS, Criterion
from groundborne.rating.metrics import CURVE_FAMILY, PERIOD_DOSE
from groundborne.rating.vibration_curves import CLASSES
from groundborne.source import Passbys, read_passbys
from groundborne.structure import ColumnLine, Mobility, RigidMass, SemiInfiniteRod
from groundborne.structure.element import GRAVITY
from groundborne.study.as_built import read_as_built, read_floor_motion
from groundborne.study.building import Building, read_columns, read_floors, read_rooms
from groundborne.study.constructions import Slabs
from groundborne.study.cross_checks import (
    Files,
    check_columns,
    check_floors,
    check_rooms,
)
from groundborne.study.frame import Frame
from groundborne.study.frame_checks import check_foundation, check_levels, check_rod
from groundborne.study.frame_file import column_mass, read_foundation, read_line
from groundborne.study.masses import TOTAL_REFUSED
from groundborne.study.option_checks import check_options, check_path, check_periods
from groundborne.study.option_file import read_options
from groundborne.study.part import Part
from groundborne.study.period import Period
from groundborne.study.plane import MobilityPlane, Plane
from groundborne.study.section import Section, above_zero, read_toml, zero_or_more
from groundborne.study.study import Study
from groundborne.usual_ranges import UnusualValueWarning, collected

FORMAT = "groundborne study 1"
"""First line of every study file; it changes when older files could be misread."""

_STARTS: dict[str, End] = {"ground": GROUND, "foundation": FOUNDATION}
TableFinder = Callable[[Section, str], FilePath]


@checked
def read_study(path: str | FilePath) -> Study:
    """Read a study file and the tables it names.

    Parameters
    ----------
    path : str or Path
        TOML file; tables are looked for beside it, and outside its folder only where the key
        ``other_folders`` allows it. The format is described in the README.

    Returns
    -------
    Study
        Ready to evaluate.

    Raises
    ------
    ValueError
        ``StudyError``, ``TableError`` or another named subclass: something is missing, unknown,
        of the wrong type or out of bounds. The sentence names file, table or row, and column or
        key.

    Warns
    -----
    UnusualValueWarning
        A number outside its usual range, by itself or together with others; the same words are in
        :attr:`Study.unusual` and among the notes of every result.

    Examples
    --------
    >>> study = read_study("data/music_school/study.toml")
    >>> study.name, len(study.rooms)
    ('Quillbrook music school', 15)
    """
    with collected() as unusual:
        study = _read(FilePath(path))
    for sentence in unusual:
        warnings.warn(sentence, UnusualValueWarning, stacklevel=3)  # past the check of arguments
    study = replace(study, unusual=tuple(unusual))
    return replace(study, as_read=study.described())


def _read(file: FilePath) -> Study:
    top, text = read_toml(file)
    top.choice("format", [FORMAT])
    folders = [file.parent, *(file.parent / f for f in top.texts("other_folders", []))]
    inputs = {file.name: text}
    names = {"study": file.name}

    def table(section: Section, key: str) -> FilePath:
        name = section.text(key)
        found = _inside(folders, name, f"{section.where}: {key!r}")
        names[key] = found.name
        try:
            content = read_plain(found, error=TableError, wanted="a CSV file")
        except TableError as error:
            raise TableError(f"{section.where}: {key!r}: {error}") from None
        inputs[name] = content.decode("utf-8-sig", errors="replace")
        return found

    frequency = _frequency(top.section("bands"))
    source = top.section("source")
    measured = table(source, "passbys")
    passbys = _passbys(source, measured)
    _check_bands(frequency, passbys, file.name)
    periods = {n: _period(n, top.section("periods").section(n)) for n in _names(top, "periods")}
    section = top.section("building")
    floors = read_floors(table(section, "floors"))
    sets = _names(top, "criteria")
    rooms = read_rooms(
        table(section, "rooms"), floors["floor"].values.tolist(), frequency, criteria=sets
    )
    columns = read_columns(table(section, "columns")) if section.has("columns") else None
    section.done()
    building = Building(floors, rooms, columns)
    check_floors(building, names)
    check_rooms(building, names)
    frame = _frame(top, building, frequency, table, names)
    steps = top.section("path")
    floor_motion = read_floor_motion(steps, building, frame)
    _check_start(steps, str(passbys.level.attrs["location"]))
    as_built, surfaces = read_as_built(steps, building, frame)
    plane: Plane | None = None
    if top.has("isolation"):
        plane = frame or _mobility_plane(top.section("isolation"), building, names)
    criteria = {
        name: tuple(_criterion(s) for s in top.section("criteria").sections(name)) for name in sets
    }
    slabs: Slabs = frame.room_slabs() if frame else {}
    options = read_options(
        top.sections("options"), plane=plane, slabs=slabs, rooms=rooms["room"].values.tolist()
    )
    study = Study(
        name=top.text("name"),
        description=top.text("description", ""),
        invented=top.flag("invented", False),
        frequency=frequency,
        passbys=passbys,
        building=building,
        parts=(
            Part(
                rooms=rooms["room"].values.tolist(),
                as_built=as_built,
                surfaces=surfaces,
                floor_motion=floor_motion,
                plane=plane,
            ),
        ),
        options=options,
        criteria=criteria,
        periods=periods,
        inputs=inputs,
    )
    top.done()
    check_periods(study, file.name, passbys=measured.name)
    check_path(study.as_built.elements, file.name)
    check_options(study.options, file.name, own_slabs=frame is None)
    return study


_FROM_GROUND = ("ground", "speed", "coupling")


def _check_start(path: Section, measured: str) -> None:
    """Refuse a path that does not begin where the source was measured."""
    leading = [f"[path.{name}]" for name in _FROM_GROUND if path.has(name)]
    if measured == FOUNDATION.location and leading:
        are = f"{' and '.join(leading)} {'start' if len(leading) > 1 else 'starts'}"
        raise StudyError(
            f"{path.where}: the passbys of [source] were measured on the foundation, where the "
            f"path then begins, and {are} in the ground: remove {' and '.join(leading)}, or, if "
            'they were measured in the ground, say location = "ground"'
        )
    if measured == GROUND.location and not path.has("coupling"):
        raise StudyError(
            f"{path.where}: the passbys of [source] were measured in the ground, and nothing leads "
            'to the foundation: add [path.coupling] (model = "none" if nothing is lost), or, if '
            'they were measured under the standing building, say location = "foundation"'
        )


def _inside(folders: Sequence[FilePath], name: str, where: str) -> FilePath:
    """File of a study: tables go into the report whole, so that others must be allowed by name."""
    try:
        found = (folders[0] / name).resolve()
        allowed = [folder.resolve() for folder in folders]
    except (OSError, ValueError, RuntimeError) as error:
        raise StudyError(f"{where} is {name!r}, which cannot be read ({error})") from None
    if not any(found.is_relative_to(folder) for folder in allowed):
        raise StudyError(
            f"{where} is {name!r}, which lies outside the folder of the study ({allowed[0]}); move "
            "the table there, or name its folder in the list 'other_folders' at the top of the "
            "study file"
        )
    return folders[0] / name


def _names(top: Section, key: str) -> list[str]:
    return top.section(key).names() if top.has(key) else []


def _check_bands(frequency: xr.DataArray, passbys: Passbys, file: str) -> None:
    have = passbys.level["frequency"].values
    for band in frequency.values.tolist():
        if band not in have:
            raise StudyError(
                f"{file}, [bands]: {bands.label(band)} Hz is asked for, and the passbys hold "
                f"{bands.label(have[0])} to {bands.label(have[-1])} Hz"
            )


def _frequency(section: Section) -> xr.DataArray:
    low, high = (
        section.number("low_hz", above_zero("Hz")),
        section.number("high_hz", above_zero("Hz")),
    )
    section.done()
    with section.naming():
        return bands.third_octaves(low, high)


def _passbys(section: Section, file: FilePath) -> Passbys:
    quantity = section.choice("quantity", ["velocity", "acceleration"])
    reference = section.text("reference", next(iter(REFERENCES[quantity])))
    with section.naming():
        reference_value(quantity, reference)
    select = section.section("select", optional=True)
    chosen = {key: select.text(key) for key in select.names()}
    passbys = read_passbys(
        file,
        quantity=quantity,
        reference=reference,
        time_weighting=section.choice("time_weighting", TIME_WEIGHTINGS),
        location=_STARTS[section.choice("location", _STARTS)],
        band_column=section.text("band_column", "{band} Hz"),
        name_column=section.text("name_column", "passby"),
        kind_column=section.text("kind_column") if section.has("kind_column") else None,
        passby_kinds=section.texts("passby_kinds", ["passby"]),
        background_kinds=section.texts("background_kinds", ["background"]),
        ignore_columns=section.texts("ignore_columns", []),
        select=chosen,
    )
    section.text("description", "")
    section.done()
    return passbys


def _period(name: str, section: Section) -> Period:
    trains = section.section("trains")
    counts = {kind: trains.number(kind, zero_or_more("trains")) for kind in trains.names()}
    hours = section.number("hours", above_zero("h"))
    section.done()
    with section.naming():
        return Period(name=name, hours=hours, trains=counts)


def _frame(
    top: Section, building: Building, frequency: xr.DataArray, table: TableFinder, files: Files
) -> Frame | None:
    """Column lines, and the plane at which they can be cut if the study isolates."""
    if not top.has("structure"):
        return None
    section = top.section("structure")
    line = read_line(section, table(section, "levels"), building)
    rooms = building.rooms
    frame = Frame(
        line=line,
        frequency=frequency,
        floor_of_room=rooms["floor_of_room"].reset_coords(drop=True),
        ceiling_floor=rooms["ceiling_floor"].reset_coords(drop=True),
        moves_slabs=top.section("path").section("floor").text("model") == "column line",
    )
    if not top.has("isolation"):
        _check_structure(line, building, files, "")
        return frame
    isolation = top.section("isolation")
    floor = _lowest_isolated(isolation, line, building, files)
    _check_structure(line, building, files, floor)  # before masses are compared, to say more
    load = isolation.section("load")
    share = load.number("imposed_share", zero_or_more(""))
    mass: Any = column_mass(building, share, load.where)
    load.done()
    isolation.done()
    with load.naming():
        try:
            return replace(frame, floor=floor, mass=mass)
        except StudyError as error:
            raise StudyError(f"{error}{_fitting_floor(line, floor, mass)}") from None


def _lowest_isolated(section: Section, line: ColumnLine, building: Building, files: Files) -> str:
    """The floor over the mounts: one with a slab on columns."""
    key = "lowest_isolated_floor"
    floor, levels = section.text(key), [str(n) for n in line.levels]
    if floor in building.floors["floor"].values and floor not in levels:
        raise StudyError(
            f"{section.where}: {key!r} is {floor!r}, which {files['levels']} has no row for; "
            "mounts stand under the slab of a row, at the head of its column. Rows are there for "
            f"{', '.join(map(repr, levels))}; the lowest of them is {levels[0]!r}"
        )
    return section.choice(key, levels)


def _fitting_floor(line: ColumnLine, floor: str, carried: Any) -> str:
    """Says what would bring structure and loads together: loads in tonnes, or another floor."""
    total = float(np.sum(np.asarray(carried)))
    masses = {str(n): float(np.sum(np.asarray(line.mass_from(n)))) for n in line.levels}
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


def _check_structure(line: ColumnLine, building: Building, files: Files, floor: str) -> None:
    """Hold structure, loads and foundation against each other."""
    check_columns(building, files, lowest=floor or str(line.levels[0]))
    check_levels(line, building, files, floor=floor)
    shared: Any = line.foundation
    mass = float(np.mean(np.asarray(line.total_mass / shared.share)))
    where = "[structure], [foundation]"
    check_foundation(shared.foundation, mass, building, files, where=where)


def _mobility_plane(section: Section, building: Building, files: Files) -> MobilityPlane:
    floors = building.floors["floor"].values.tolist()
    floor = section.choice("lowest_isolated_floor", floors)
    load = section.section("load")
    if load.has("mass_kg"):
        mass = load.number("mass_kg", above_zero("kg"))
    else:
        share = load.number("imposed_share", zero_or_more(""))
        mass = float(column_mass(building, share, load.where).sum())
    load.done()
    check_columns(building, files, lowest=floor)
    plane = MobilityPlane(
        floor=floor,
        mass=mass,
        below=read_foundation(section.section("below")),
        above=_above_mobility(section.section("above"), mass),
    )
    check_foundation(plane.below, mass, building, files, where="[isolation], [below]")
    check_rod(plane.above, mass, where=f"{files['study']}, [isolation], [above]")
    section.done()
    return plane


def _above_mobility(section: Section, mass: float) -> Mobility:
    model = section.choice("model", ["rigid mass", "columns without reflections"])
    above: Mobility
    if model == "rigid mass":
        above = RigidMass(mass=mass)
    else:
        above = SemiInfiniteRod(
            area=section.number("area_m2", above_zero("m²")),
            youngs_modulus=section.number("youngs_modulus_pa", above_zero("Pa")),
            density=section.number("density_kg_m3", above_zero("kg/m³")),
        )
    section.done()
    return above


def _criterion(section: Section) -> Criterion:
    single = [name for name, metric in METRICS.items() if metric.fixed_limit is None]
    name = section.choice("metric", [*single, CURVE_FAMILY])
    if name == CURVE_FAMILY:
        name = section.choice("curve", CLASSES)
    of = METRICS[name]
    shared: dict[str, Any] = {
        "statistic": section.choice("statistic", [PERIOD_DOSE, *STATISTICS]),
        "percentile": section.number("percentile") if section.has("percentile") else None,
        "period": section.text("period") if section.has("period") else None,
        "time_weighting": section.choice("time_weighting", of.time_weightings),
        "citation": next(iter(section.source()), None),
    }
    limit = of.fixed_limit
    if limit is None:
        limit = section.number("limit", of=of.usual_limit)
    section.done()
    with section.naming():
        return Criterion(metric=name, limit=limit, **shared)
