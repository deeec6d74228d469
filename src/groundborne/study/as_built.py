"""The path of the building without measures, from the ``[path]`` tables of a study file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError, finite, within
from groundborne.bands import require_labels
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    FREE_FOUNDATION,
    GROUND,
    MID_SPAN,
    End,
    GivenChange,
    Path,
    PathElement,
    Unchanged,
)
from groundborne.propagation import (
    FOUNDATIONS,
    FixedAmplification,
    FloorResonance,
    FtaStoreyAttenuation,
    FundamentalAmplification,
    GroundDistance,
    SpeedChange,
    StoreyAttenuation,
    StoreyStep,
    anc_floor_for_noise,
    anc_floor_vibration,
    edin_foundation,
    no_coupling_loss,
    no_storey_attenuation,
    published_coupling,
)
from groundborne.receiver import (
    RELATIONS,
    RadiatingPlate,
    Room,
    RoomSound,
    Surface,
    SurfaceMean,
    critical_frequency,
    relation,
)
from groundborne.study.building import Building
from groundborne.study.cross_checks import check_plates
from groundborne.study.floor_motion import FloorMotion
from groundborne.study.frame import Frame
from groundborne.study.section import Section, above_zero, zero_or_more


def read_floor_motion(
    section: Section, building: Building, frame: Frame | None
) -> FloorMotion | None:
    """How floors move at mid-span: by the column lines, or by the table ``[path.mid_span]``.

    Parameters
    ----------
    section : Section
        The table ``[path]``, before :func:`read_as_built` reads the rest of it.
    building : Building
        Floors and rooms.
    frame : Frame or None
        Column lines.

    Returns
    -------
    FloorMotion or None
        None where nothing says how.

    Raises
    ------
    StudyError
        The table does not lead to mid-span.
    """
    if section.has("mid_span"):
        table = section.section("mid_span")
        table.choice("model", _MID_SPAN_MODELS)
        with table.naming():
            step = _floor(table, building, "mid_span", frame)
            by_line = table.text("model") == "column line"
            motion = FloorMotion(as_built=step, frame=frame if by_line else None)
        table.done()
        return motion
    if frame is None or not frame.moves_slabs:
        return None
    return FloorMotion(as_built=frame.to_mid_span(frame.as_built), frame=frame)


def read_as_built(
    section: Section, building: Building, frame: Frame | None
) -> tuple[Path, Mapping[str, Surface] | None]:
    """Put the path together, for all rooms at once.

    Parameters
    ----------
    section : Section
        The table ``[path]``.
    building : Building
        Floors and rooms.
    frame : Frame or None
        Column lines, where the study has them.

    Returns
    -------
    tuple
        The path, and the radiating surfaces of the rooms where it sums over them.

    Raises
    ------
    StudyError
        A step is missing, unknown, out of bounds, or does not meet its neighbour.
    """
    with section.naming():
        return _as_built(section, building, frame)


def _as_built(
    section: Section, building: Building, frame: Frame | None
) -> tuple[Path, Mapping[str, Surface] | None]:
    elements: dict[str, PathElement] = {}
    if section.has("ground"):
        elements["ground"] = _ground(section.section("ground"))
    if section.has("speed"):
        elements["speed"] = _speed(section.section("speed"))
    storeys = section.section("storeys")
    if section.has("coupling"):
        by_line = storeys.text("model", "") == "column line"
        coupling = section.section("coupling")
        elements["coupling"] = _reaching(coupling, _coupling(coupling, by_line=by_line), building)
    # Without a step from the ground the path starts from the foundation, where a source is
    # measured under the standing building.
    loaded = not elements
    line = _storeys(storeys, building, "floor_of_room", frame, loaded=loaded)
    elements["storeys"] = _reaching(storeys, line, building)
    floor, radiation = section.section("floor"), section.section("radiation")
    surfaces = None
    if radiation.choice("model", ["room surfaces", "relation"]) == "relation":
        elements["floor"] = _reaching(floor, _floor(floor, building, "floor", frame), building)
        elements["radiation"] = relation(radiation.choice("relation", RELATIONS))
        radiation.done()
    else:
        surfaces = _surfaces(radiation, building, floor, storeys, frame, loaded=loaded)
        elements["surfaces"] = SurfaceMean(surfaces)
        elements["radiation"] = RoomSound(_rooms(building), surfaces)
    storeys.done()
    floor.done()
    section.known(["ground", "speed", "coupling", "mid_span"])
    section.done()
    path = Path(**elements)
    return (path if frame is None else frame.heard(path)), surfaces


def _reaching(section: Section, step: PathElement, building: Building) -> PathElement:
    """Refuse a step that is a table with fewer bands than the study, before it is evaluated."""
    if isinstance(step, GivenChange):
        with section.naming():
            step.level_change(building.rooms["frequency"])
    return step


def _spectrum(section: Section, key: str, sign: float, ends: tuple[End, End]) -> GivenChange:
    """A spectrum written into the study file as two lists."""
    frequency, values = section.numbers("frequency_hz"), section.numbers(key)
    if len(frequency) != len(values):
        raise StudyError(
            f"{section.where}: 'frequency_hz' has {len(frequency)} entries and {key!r} has "
            f"{len(values)}; they must be as many"
        )
    labels = require_labels(frequency, section.where)
    change = xr.DataArray(sign * np.array(values), coords={"frequency": labels})
    return GivenChange(
        change, quantity_in=ends[0], quantity_out=ends[1], citations=section.source()
    )


def _ground(section: Section) -> PathElement:
    element = GroundDistance(
        distance=section.number("distance_m", above_zero("m")),
        reference_distance=section.number("measured_distance_m", above_zero("m")),
        exponent=section.number("exponent", zero_or_more("")),
        damping_ratio=section.number("damping_ratio", zero_or_more("")),
        wave_speed=section.number("wave_speed_m_s", above_zero("m/s")),
        source_extent=section.number("source_extent_m", zero_or_more("m"), 0.0),
    )
    section.done()
    return element


def _speed(section: Section) -> PathElement:
    element = SpeedChange(
        speed=section.number("speed_km_h", above_zero("km/h")),
        reference_speed=section.number("measured_speed_km_h", above_zero("km/h")),
        slope=section.number("slope_db_per_decade", zero_or_more("dB"), 20.0),
    )
    section.done()
    return element


def _coupling(section: Section, *, by_line: bool) -> PathElement:
    model = section.choice("model", ["given", "handbook", "E DIN 45672-3", "none"])
    element: PathElement
    end = FREE_FOUNDATION if by_line else FOUNDATION
    if by_line and model != "none":
        _require_free(section, model)
    elif section.has(_ONLY_FREE):
        raise StudyError(
            f"{section.where}: {_ONLY_FREE!r} is said of a table of losses before a column line, "
            "which adds the reaction of building and soil; here nothing adds it, so leave the key "
            "out and give the loss to the loaded foundation"
        )
    if model == "given":
        element = _spectrum(section, "loss_db", -1.0, (GROUND, end))
    elif model == "none" and by_line:
        element = Unchanged(GROUND, end)
    elif model == "handbook":
        element = published_coupling(section.choice("foundation", FOUNDATIONS))
    elif model == "none":
        element = no_coupling_loss()
    else:
        place = section.choice("place", ["basement", "ground level"])
        element = edin_foundation(
            place, curve=section.choice("curve", ["lower", "mean", "upper"], "mean")
        )
    section.done()
    return element


_ONLY_FREE = "free_field_correction_only"


def _require_free(section: Section, model: str) -> None:
    """Refuse a coupling loss that holds what a column line adds: building and soil, twice."""
    twice = (
        f"{section.where}: the model {model!r} leads from the ground to the loaded foundation, and "
        "the model 'column line' of [path.storeys] adds the reaction of building and soil by "
        "itself, so that it would count twice; "
    )
    if model != "given":
        raise StudyError(
            f"{twice}take the model 'none' here, or storeys by another model. A table of what the "
            "foundation averages out of the free ground alone may be 'given', with "
            f"{_ONLY_FREE} = true"
        )
    if not section.has(_ONLY_FREE) or not section.flag(_ONLY_FREE):
        raise StudyError(
            f"{twice}take the model 'none' here, or, if 'loss_db' holds no more than what the "
            "foundation averages out of the free ground, without the building, say so with "
            f"{_ONLY_FREE} = true"
        )


def _require_frame(section: Section, frame: Frame | None) -> Frame:
    if frame is None:
        raise StudyError(f"{section.where}: the model 'column line' needs the table [structure]")
    return frame


def _storeys(
    section: Section, building: Building, of: str, frame: Frame | None, *, loaded: bool
) -> PathElement:
    model = section.choice("model", ["column line", "given", "none", "fixed", "FTA 2006"])
    if model == "given":
        return _spectrum(section, "change_db", 1.0, (FOUNDATION, COLUMN))
    if model == "column line":
        lines = _require_frame(section, frame)
        return lines.to_columns(getattr(lines, of), loaded=loaded)
    storeys = building.on_floor("storeys", of)
    if model == "none":
        return no_storey_attenuation()
    if model == "FTA 2006":
        return FtaStoreyAttenuation(storeys=storeys)
    per_storey = section.number("per_storey_db", zero_or_more("dB"))
    return StoreyAttenuation(per_storey=per_storey, storeys=storeys, citations=section.source())


_FLOOR_MODELS = (
    "column line",
    "ANC 2001, noise",
    "ANC 2001, vibration",
    "fixed",
    "fundamental",
    "given",
    "frequency ratio",
)


_MID_SPAN_MODELS = ("column line", "given", "ANC 2001, vibration", "frequency ratio")
"""Those that lead to mid-span; "given" with ``place = "mid-span"``."""


def _floor(section: Section, building: Building, surface: str, frame: Frame | None) -> PathElement:
    """From the columns at the room's floor to the slab under it (floor) or over it (ceiling)."""
    model = section.choice("model", _FLOOR_MODELS)
    of = "ceiling_floor" if surface == "ceiling" else "floor_of_room"
    if model == "column line":
        lines = _require_frame(section, frame)
        if surface == "mid_span":
            return lines.to_mid_span(lines.as_built)
        return lines.to_slabs(lines.as_built)[surface]
    if model == "ANC 2001, noise":
        return anc_floor_for_noise()
    if model == "ANC 2001, vibration":
        return anc_floor_vibration()
    if model == "fixed":
        return FixedAmplification(gain=section.number("gain_db"))
    if model == "fundamental":
        return FundamentalAmplification(
            natural_frequency=_plain(building.on_floor("natural_frequency", of)),
            gain=section.number("gain_db", finite, 6.0),
        )
    if model == "given":
        place = {"surface average": FLOOR_AVERAGE, "mid-span": MID_SPAN}
        return _spectrum(section, "gain_db", 1.0, (COLUMN, place[section.choice("place", place)]))
    possible = section.numbers("natural_frequencies_hz", above_zero("Hz"))
    natural = xr.DataArray(possible, dims="floor_frequency", coords={"floor_frequency": possible})
    return FloorResonance(
        natural_frequency=natural,
        construction=section.choice("construction", ["concrete", "timber"]),
        curve=section.choice("curve", ["lower", "mean", "upper"], "mean"),
    )


def _rooms(building: Building) -> Room:
    rooms = building.rooms
    return Room(
        length=_plain(rooms["length"]),
        width=_plain(rooms["width"]),
        height=_plain(rooms["height"]),
        reverberation_time=_plain(rooms["reverberation_time"]),
        volume=_plain(rooms["volume"]) if "volume" in rooms else None,
    )


def _plain(array: xr.DataArray) -> xr.DataArray:
    """The bare quantity, without coordinates of its own or attributes."""
    return array.reset_coords(drop=True).drop_attrs(deep=False)


def _share(where: str, name: str, value: Any) -> None:
    within(where, name, value, 1e-6, 1.0, "")


def _surfaces(
    section: Section,
    building: Building,
    floors: Section,
    storeys: Section,
    frame: Frame | None,
    *,
    loaded: bool,
) -> dict[str, Surface]:
    """Floor, ceiling and two pairs of walls of every room."""
    floor = _floor(floors, building, "floor", frame)
    if floor.quantity_out != FLOOR_AVERAGE:
        raise StudyError(
            f"{section.where}: the sum over room surfaces needs the {FLOOR_AVERAGE}; the floor "
            f"step gives the {floor.quantity_out}"
        )
    _reaching(floors, floor, building)
    slabs, walls = section.section("slabs"), section.section("walls")
    slab_speed = slabs.number("longitudinal_wave_speed_m_s", above_zero("m/s"))
    slabs.done()
    wall_speed = walls.number("longitudinal_wave_speed_m_s", above_zero("m/s"))
    thickness = walls.number("thickness_m", above_zero("m"))
    wall_critical = critical_frequency(longitudinal_speed=wall_speed, thickness=thickness)
    check_plates(
        section.where,
        slab_speed=slab_speed,
        wall_speed=wall_speed,
        wall_thickness=thickness,
        line=frame.line if frame else None,
    )
    share = walls.number("radiating_share", _share, 1.0)
    walls.done()
    section.done()
    rooms = building.rooms
    length, width, height = (_plain(rooms[n]) for n in ("length", "width", "height"))

    def slab(of: str) -> RadiatingPlate:
        critical = critical_frequency(
            longitudinal_speed=slab_speed, thickness=_plain(building.on_floor("slab_thickness", of))
        )
        return RadiatingPlate(length=length, width=width, critical_frequency=critical)

    def wall(side: xr.DataArray) -> Surface:
        plate = RadiatingPlate(
            length=side, width=height, critical_frequency=wall_critical, factor=share
        )
        return Surface(area=2 * side * height, radiation=plate)

    ceiling = _floor(floors, building, "ceiling", frame)
    if floors.text("model") != "column line":
        # The lines give the slab over a room from the columns at its floor; a table does not.
        here = _storeys(storeys, building, "floor_of_room", frame, loaded=loaded)
        there = _storeys(storeys, building, "ceiling_floor", frame, loaded=loaded)
        ceiling = Path(columns=StoreyStep(here, there), floor=ceiling)
    return {
        "floor": Surface(area=length * width, radiation=slab("floor_of_room"), velocity=floor),
        "ceiling": Surface(
            area=length * width,
            radiation=slab("ceiling_floor"),
            velocity=ceiling,
        ),
        "long walls": wall(length),
        "short walls": wall(width),
    }
