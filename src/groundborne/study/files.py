"""Reading a study from a TOML file and the CSV files beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

import xarray as xr

from groundborne import bands
from groundborne._checks import StudyError, known, not_negative, positive
from groundborne.citation import Citation
from groundborne.isolation import SurfaceIsolation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.levels import REFERENCES, TIME_WEIGHTINGS
from groundborne.path import FOUNDATION, GROUND, End
from groundborne.rating import METRICS, STATISTICS, Criterion
from groundborne.source import Passbys, read_passbys
from groundborne.structure import (
    Mobility,
    RectangularFooting,
    RigidMass,
    SemiInfiniteRod,
    SpringFoundation,
)
from groundborne.study.as_built import read_as_built
from groundborne.study.building import Building, read_columns, read_floors, read_rooms
from groundborne.study.model import Study
from groundborne.study.option import SURFACE_GROUPS, IsolationPlane, Option, RoomMeasure
from groundborne.study.section import Section, read_toml
from groundborne.study.verdict import Period

FORMAT = "groundborne study 1"
"""First line of every study file; it changes when older files could be misread."""

_STARTS: dict[str, End] = {"ground": GROUND, "foundation": FOUNDATION}
_GRAVITY = 9.80665


def read_study(path: str | FilePath) -> Study:
    """Read a study file and the tables it names.

    Parameters
    ----------
    path : str or Path
        TOML file; tables are looked for beside it. The format is described in the README.

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
    """
    file = FilePath(path)
    top, text = read_toml(file)
    top.choice("format", [FORMAT])
    folder = file.parent
    inputs = {file.name: text}

    def table(section: Section, key: str) -> FilePath:
        found = folder / section.text(key)
        if found.is_file():
            inputs[found.name] = found.read_text(encoding="utf-8-sig", errors="replace")
        return found

    frequency = _frequency(top.section("bands"))
    source = top.section("source")
    passbys = _passbys(source, table(source, "passbys"))
    periods = {n: _period(n, top.section("periods").section(n)) for n in _names(top, "periods")}
    section = top.section("building")
    floors = read_floors(table(section, "floors"))
    rooms = read_rooms(table(section, "rooms"), floors["floor"].values.tolist(), frequency)
    columns = read_columns(table(section, "columns")) if section.has("columns") else None
    section.done()
    building = Building(floors, rooms, columns)
    as_built, surfaces = read_as_built(top.section("path"), building)
    plane = _plane(top.section("isolation"), building) if top.has("isolation") else None
    criteria = {
        name: tuple(_criterion(s) for s in top.section("criteria").sections(name))
        for name in _names(top, "criteria")
    }
    options = tuple(
        _option(s, plane, rooms["room"].values.tolist()) for s in top.sections("options")
    )
    study = Study(
        name=top.text("name"),
        description=top.text("description", ""),
        invented=top.flag("invented", False),
        frequency=frequency,
        passbys=passbys,
        building=building,
        as_built=as_built,
        surfaces=surfaces,
        plane=plane,
        options=options,
        criteria=criteria,
        periods=periods,
        inputs=inputs,
    )
    top.done()
    _check_bands(study, file.name)
    return study


def _names(top: Section, key: str) -> list[str]:
    return top.section(key).names() if top.has(key) else []


def _check_bands(study: Study, file: str) -> None:
    have = study.passbys.level["frequency"].values
    for band in study.frequency.values.tolist():
        if band not in have:
            raise StudyError(
                f"{file}, [bands]: {bands.label(band)} Hz is asked for, and the passbys hold "
                f"{bands.label(have[0])} to {bands.label(have[-1])} Hz"
            )


def _frequency(section: Section) -> xr.DataArray:
    low, high = section.number("low_hz", _hz), section.number("high_hz", _hz)
    section.done()
    try:
        return bands.third_octaves(low, high)
    except ValueError as error:
        raise StudyError(f"{section.where}: {error}") from None


def _hz(where: str, name: str, value: Any) -> None:
    positive(where, name, value, "Hz")


def _above(unit: str) -> Any:
    return lambda where, name, value: positive(where, name, value, unit)


def _at_least_0(unit: str) -> Any:
    return lambda where, name, value: not_negative(where, name, value, unit)


def _passbys(section: Section, file: FilePath) -> Passbys:
    quantity = section.choice("quantity", ["velocity", "acceleration"])
    select = section.section("select", optional=True)
    chosen = {key: select.text(key) for key in select.names()}
    passbys = read_passbys(
        file,
        quantity=quantity,
        reference=section.text("reference", next(iter(REFERENCES[quantity]))),
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
    counts = {kind: trains.number(kind, _at_least_0("trains")) for kind in trains.names()}
    hours = section.number("hours", _above("h"))
    section.done()
    return Period(name=name, hours=hours, trains=counts)


def _plane(section: Section, building: Building) -> IsolationPlane:
    floors = building.floors["floor"].values.tolist()
    floor = section.choice("lowest_isolated_floor", floors)
    load = section.section("load")
    if load.has("mass_kg"):
        mass = load.number("mass_kg", _above("kg"))
    else:
        if building.columns is None:
            raise StudyError(
                f"{load.where}: the mass comes from the columns, and [building] names no column "
                "table; give 'mass_kg' or the table"
            )
        share = load.number("imposed_share", _at_least_0(""))
        newtons = building.columns["permanent"] + share * building.columns["imposed"]
        mass = float(newtons.sum()) / _GRAVITY
    load.done()
    plane = IsolationPlane(
        floor=floor,
        mass=mass,
        below=_below(section.section("below")),
        above=_above_mobility(section.section("above"), mass),
    )
    section.done()
    return plane


def _below(section: Section) -> Mobility:
    model = section.choice("model", ["rectangular footing", "springs and dashpots"])
    below: Mobility
    if model == "rectangular footing":
        below = RectangularFooting(
            length=section.number("length_m", _above("m")),
            width=section.number("width_m", _above("m")),
            shear_wave_speed=section.number("shear_wave_speed_m_s", _above("m/s")),
            density=section.number("density_kg_m3", _above("kg/m³")),
            poisson=section.number("poisson", _at_least_0("")),
            loss_factor=section.number("loss_factor", _at_least_0("")),
            embedment=section.number("embedment_m", _at_least_0("m"), 0.0),
            mass=section.number("mass_kg", _at_least_0("kg"), 0.0),
        )
    else:
        below = SpringFoundation(
            stiffness=section.number("stiffness_n_m", _above("N/m")),
            damping=section.number("damping_n_s_m", _at_least_0("N s/m"), 0.0),
            loss_factor=section.number("loss_factor", _at_least_0(""), 0.0),
            mass=section.number("mass_kg", _at_least_0("kg"), 0.0),
        )
    section.done()
    return below


def _above_mobility(section: Section, mass: float) -> Mobility:
    model = section.choice("model", ["rigid mass", "columns without reflections"])
    above: Mobility
    if model == "rigid mass":
        above = RigidMass(mass=mass)
    else:
        above = SemiInfiniteRod(
            area=section.number("area_m2", _above("m²")),
            youngs_modulus=section.number("youngs_modulus_pa", _above("Pa")),
            density=section.number("density_kg_m3", _above("kg/m³")),
        )
    section.done()
    return above


def _criterion(section: Section) -> Criterion:
    metric = section.choice("metric", METRICS)
    criterion: Mapping[str, Any] = {
        "metric": metric,
        "limit": section.number("limit"),
        "statistic": section.choice("statistic", STATISTICS),
        "percentile": section.number("percentile") if section.has("percentile") else None,
        "period": section.text("period") if section.has("period") else None,
        "time_weighting": section.choice("time_weighting", METRICS[metric][1]),
        "citation": read_citation(section),
    }
    section.done()
    try:
        return Criterion(**criterion)
    except ValueError as error:
        raise StudyError(f"{section.where}: {error}") from None


def read_citation(section: Section) -> Citation | None:
    """Source of a limit or spectrum, as the user words it."""
    if not section.has("source"):
        return None
    return Citation(key="input", author=section.text("source"), mark="input", status="assumed")


def _option(section: Section, plane: IsolationPlane | None, rooms: list[str]) -> Option:
    base = None
    if section.has("base"):
        if plane is None:
            raise StudyError(
                f"{section.where}: it isolates the base, and the study has no table [isolation]"
            )
        mount = section.section("base")
        base = plane.isolation(
            natural_frequency=mount.number("natural_frequency_hz", _hz),
            loss_factor=mount.number("loss_factor", _above("")),
            dynamic_to_static=mount.number("dynamic_to_static", _above(""), 1.0),
        )
        mount.done()
    option = Option(
        name=section.text("name"),
        description=section.text("description", ""),
        base=base,
        measures=tuple(_measure(s, rooms) for s in section.sections("rooms", optional=True)),
    )
    section.done()
    return option


def _measure(section: Section, known_rooms: list[str]) -> RoomMeasure:
    rooms = section.texts("rooms")
    for room in rooms:
        known(section.where, "room", room, known_rooms, StudyError)
    treatments = {}
    for group in SURFACE_GROUPS:
        if not section.has(group):
            continue
        layer = section.section(group)
        treatments[group] = SurfaceIsolation(
            natural_frequency=layer.number("natural_frequency_hz", _hz),
            loss_factor=layer.number("loss_factor", _above("")),
            largest_loss=layer.number("largest_loss_db", _at_least_0("dB"), SINGLE_STAGE_LIMIT),
        )
        layer.done()
    measure = RoomMeasure(
        rooms=tuple(rooms), treatments=treatments, name=section.text("measure", "room isolation")
    )
    section.done()
    return measure
