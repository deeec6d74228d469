"""The path of the building without measures, from the ``[path]`` tables of a study file."""

from __future__ import annotations

from collections.abc import Mapping

import xarray as xr

from groundborne._checks import Faults, StudyError
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
    FixedAmplification,
    FloorResonance,
    FtaStoreyAttenuation,
    FundamentalAmplification,
    GroundDistance,
    SpeedChange,
    StoreyAttenuation,
    StoreyStep,
    Track,
    anc_floor_for_noise,
    anc_floor_vibration,
    edin_foundation,
    no_coupling_loss,
    no_storey_attenuation,
    published_coupling,
)
from groundborne.receiver import (
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
from groundborne.study.given import Given
from groundborne.study.keys.path import GROUND as GROUND_KEYS
from groundborne.study.table_files import plain
from groundborne.usual_ranges import judge


def floor_motion_of(given: Given, building: Building, frame: Frame | None) -> FloorMotion | None:
    """How floors move at mid-span: by the column lines, or by the table ``[path.mid_span]``.

    Parameters
    ----------
    given : Given
        The table ``[path]``.
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
    table: Given | None = given["mid_span"]
    if table is not None:
        with table.naming():
            step = _floor(table, building, "mid_span", frame)
            by_line = table["model"] == "column line"
            return FloorMotion(as_built=step, frame=frame if by_line else None)
    if frame is None or not frame.moves_slabs:
        return None
    return FloorMotion(as_built=frame.to_mid_span(frame.as_built), frame=frame)


def as_built_of(
    given: Given, building: Building, frame: Frame | None, *, track: Track | None = None
) -> tuple[Path, Mapping[str, Surface] | None]:
    """Put the path together, for all rooms at once.

    Parameters
    ----------
    given : Given
        The table ``[path]``.
    building : Building
        Floors and rooms.
    frame : Frame or None
        Column lines, where the study has them.
    track : Track or None
        From which columns, or else rooms, have their distances.

    Returns
    -------
    tuple
        The path, and the radiating surfaces of the rooms where it sums over them.

    Raises
    ------
    StudyError
        Steps that are out of bounds, or do not meet their neighbour: all that can be told apart.
    """
    faults = Faults()
    elements: dict[str, PathElement] = {}
    storeys, floor, radiation = given["storeys"], given["floor"], given["radiation"]
    by_line = storeys["model"] == "column line"
    for name, make in (("ground", GroundDistance), ("speed", SpeedChange)):
        if given.has(name):
            with faults.gathered(), given[name].naming():
                more = _distances(given[name], building, frame, track) if name == "ground" else {}
                elements[name] = make(**given[name].arguments(), **more)
    if given.has("coupling"):
        with faults.gathered(), given["coupling"].naming():
            step = _coupling(given["coupling"], by_line=by_line)
            elements["coupling"] = _reaching(step, building)
    # Without a step from the ground the path starts from the foundation, where a source is
    # measured under the standing building.
    loaded = not any(given.has(name) for name in ("ground", "speed", "coupling"))
    with faults.gathered(), storeys.naming():
        line = _storeys(storeys, building, "floor_of_room", frame, loaded=loaded)
        elements["storeys"] = _reaching(line, building)
    with faults.gathered(), floor.naming():
        bare = _floor(floor, building, "floor", frame)
        summed = radiation["model"] == "room surfaces"
        if summed and bare.quantity_out != FLOOR_AVERAGE:
            raise StudyError(
                f"{radiation.where}: the sum over room surfaces needs the {FLOOR_AVERAGE}; the "
                f"floor step gives the {bare.quantity_out}"
            )
        _reaching(bare, building)
    faults.settle()
    surfaces = None
    if not summed:
        elements |= {"floor": bare, "radiation": relation(radiation["relation"])}
    else:
        with radiation.naming():
            surfaces = _surfaces(given, bare, building, frame, loaded=loaded)
        elements["surfaces"] = SurfaceMean(surfaces)
        elements["radiation"] = RoomSound(_rooms(building), surfaces)
    with given.naming():
        return Path(**elements), surfaces


def _distances(
    given: Given, building: Building, frame: Frame | None, track: Track | None
) -> dict[str, xr.DataArray]:
    """Distance of each column from the track, or of each room where no line has columns [m]."""
    if track is None:
        return {}
    columns = building.columns
    if frame is not None and columns is not None and "column" in frame.column_weights.dims:
        places, dim = columns, "column"
    elif "x" in building.rooms:
        places, dim = building.rooms, "room"
    else:
        raise StudyError(
            "there is a [track], and neither columns with lines nor rooms have places; give rooms "
            "'x_m' and 'y_m', or leave [track] out and give 'distance_m'"
        )
    apart = plain(track.distance(places[["x", "y"]]))
    names = apart[dim].values
    judge(
        GROUND_KEYS.rows("distance_m")[0].quantity,
        apart.values.tolist(),
        subject=lambda at: f"{given.where}: the distance of {dim} {str(names[at])!r} from [track]",
        error=StudyError,
    )
    return {"distance": apart}


def _reaching(step: PathElement, building: Building) -> PathElement:
    """Refuse a step that is a table with fewer bands than the study, before it is evaluated."""
    if isinstance(step, GivenChange):
        step.level_change(building.rooms["frequency"])
    return step


def _spectrum(given: Given, key: str, sign: float, ends: tuple[End, End]) -> GivenChange:
    """A spectrum written into the study file as two lists."""
    values = sign * given.on_bands(key)
    return GivenChange(
        values, quantity_in=ends[0], quantity_out=ends[1], citations=given.citations()
    )


def _coupling(given: Given, *, by_line: bool) -> PathElement:
    model = given["model"]
    end = FREE_FOUNDATION if by_line else FOUNDATION
    if by_line and model != "none":
        _require_free(given, model)
    elif given.has(_ONLY_FREE):
        raise StudyError(
            f"{given.where}: {_ONLY_FREE!r} is said of a table of losses before a column line, "
            "which adds the reaction of building and soil; here nothing adds it, so leave the key "
            "out and give the loss to the loaded foundation"
        )
    if model == "given":
        return _spectrum(given, "loss_db", -1.0, (GROUND, end))
    if model == "none":
        return Unchanged(GROUND, end) if by_line else no_coupling_loss()
    if model == "handbook":
        return published_coupling(**given.arguments())
    return edin_foundation(**given.arguments())


_ONLY_FREE = "free_field_correction_only"


def _require_free(given: Given, model: str) -> None:
    """Refuse a coupling loss that holds what a column line adds: building and soil, twice."""
    twice = (
        f"{given.where}: the model {model!r} leads from the ground to the loaded foundation, and "
        "the model 'column line' of [path.storeys] adds the reaction of building and soil by "
        "itself, so that it would count twice; "
    )
    if model != "given":
        raise StudyError(
            f"{twice}take the model 'none' here, or storeys by another model. A table of what the "
            "foundation averages out of the free ground alone may be 'given', with "
            f"{_ONLY_FREE} = true"
        )
    if not given[_ONLY_FREE]:
        raise StudyError(
            f"{twice}take the model 'none' here, or, if 'loss_db' holds no more than what the "
            "foundation averages out of the free ground, without the building, say so with "
            f"{_ONLY_FREE} = true"
        )


def _storeys(
    given: Given, building: Building, of: str, frame: Frame | None, *, loaded: bool
) -> PathElement:
    model = given["model"]
    if model == "given":
        return _spectrum(given, "change_db", 1.0, (FOUNDATION, COLUMN))
    if model == "column line":
        assert frame is not None  # held against [structure] when it was read
        return frame.to_columns(getattr(frame, of), loaded=loaded)
    storeys = plain(building.on_floor("storeys", of))
    if model == "none":
        return no_storey_attenuation()
    if model == "FTA 2006":
        return FtaStoreyAttenuation(storeys=storeys)
    citations = given.citations()
    return StoreyAttenuation(storeys=storeys, citations=citations, **given.arguments())


def _floor(given: Given, building: Building, surface: str, frame: Frame | None) -> PathElement:
    """From the columns at the room's floor to the slab under it (floor) or over it (ceiling)."""
    model = given["model"]
    of = "ceiling_floor" if surface == "ceiling" else "floor_of_room"
    if model == "column line":
        assert frame is not None  # held against [structure] when it was read
        if surface == "mid_span":
            return frame.to_mid_span(frame.as_built)
        return frame.to_slabs(frame.as_built)[surface]
    if model == "ANC 2001, noise":
        return anc_floor_for_noise()
    if model == "ANC 2001, vibration":
        return anc_floor_vibration()
    if model == "fixed":
        return FixedAmplification(**given.arguments())
    if model == "fundamental":
        natural = plain(building.on_floor("natural_frequency", of))
        return FundamentalAmplification(natural_frequency=natural, **given.arguments())
    if model == "given":
        place = {"surface average": FLOOR_AVERAGE, "mid-span": MID_SPAN}
        return _spectrum(given, "gain_db", 1.0, (COLUMN, place[given["place"]]))
    possible = given["natural_frequencies_hz"]
    if not isinstance(possible, xr.DataArray):
        labels = {"floor_frequency": possible}
        possible = xr.DataArray(possible, dims="floor_frequency", coords=labels)
    return FloorResonance(natural_frequency=possible, **given.arguments())


def _rooms(building: Building) -> Room:
    rooms = building.rooms
    return Room(
        length=plain(rooms["length"]),
        width=plain(rooms["width"]),
        height=plain(rooms["height"]),
        reverberation_time=plain(rooms["reverberation_time"]),
        volume=plain(rooms["volume"]) if "volume" in rooms else None,
    )


def _surfaces(
    given: Given, floor: PathElement, building: Building, frame: Frame | None, *, loaded: bool
) -> dict[str, Surface]:
    """Floor, ceiling and two pairs of walls of every room."""
    floors, radiation = given["floor"], given["radiation"]
    slabs, walls = radiation["slabs"].arguments(), radiation["walls"].arguments()
    check_plates(
        radiation.where,
        slab_speed=slabs["longitudinal_speed"],
        wall_speed=walls["longitudinal_speed"],
        wall_thickness=walls["thickness"],
        line=frame.line if frame else None,
    )
    share = walls.pop("factor")
    wall_critical = critical_frequency(**walls)
    rooms = building.rooms
    length, width, height = (plain(rooms[n]) for n in ("length", "width", "height"))

    def slab(of: str) -> RadiatingPlate:
        thickness = plain(building.on_floor("slab_thickness", of))
        critical = critical_frequency(**slabs, thickness=thickness)
        return RadiatingPlate(length=length, width=width, critical_frequency=critical)

    def wall(side: xr.DataArray) -> Surface:
        plate = RadiatingPlate(
            length=side, width=height, critical_frequency=wall_critical, factor=share
        )
        return Surface(area=2 * side * height, radiation=plate)

    ceiling, storeys = _floor(floors, building, "ceiling", frame), given["storeys"]
    if floors["model"] != "column line":
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
