"""The path of the building without measures, from the ``[path]`` tables of a study file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Faults, StudyError
from groundborne.path import (
    FLOOR_AVERAGE,
    FOUNDATION,
    GROUND,
    GivenChange,
    PathElement,
    TransmissionPath,
    Unchanged,
)
from groundborne.propagation import (
    FreeFoundation,
    GroundDistance,
    SpeedChange,
    StoreyStep,
    WallsBelowFloor,
)
from groundborne.receiver import (
    PISTON_UP_TO,
    ModalField,
    RadiatingPlate,
    Room,
    RoomSound,
    Surface,
    SurfaceMean,
    critical_frequency,
    in_field,
    relation,
)
from groundborne.study.building import Building
from groundborne.study.cross_checks import check_plates
from groundborne.study.floor_motion import FloorMotion
from groundborne.study.frame import Frame
from groundborne.study.given import Given
from groundborne.study.horizontal_file import horizontal_of
from groundborne.study.keys.path import GROUND as GROUND_KEYS, GROUND_TO_FLOOR
from groundborne.study.line_change import alike_in
from groundborne.study.line_steps import mounted_columns
from groundborne.study.path_steps import (
    coupling_step,
    floor_step,
    leads_from_the_ground,
    reaching,
    storeys_step,
)
from groundborne.study.room_slabs import RoomSlabs
from groundborne.study.table_files import plain
from groundborne.study.transfers import Transfers
from groundborne.usual_ranges import judge


def floor_motion_of(
    given: Given, building: Building, frame: Frame | None, *, transfers: Transfers
) -> FloorMotion | None:
    """How floors move at mid-span: by the column lines, or by the table ``[path.mid_span]``.

    Parameters
    ----------
    given : Given
        The table ``[path]``.
    building : Building
        Floors and rooms.
    frame : Frame or None
        Column lines.
    transfers : mapping of str to Cells
        Tables of its steps by floor, room or column.

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
            step = floor_step(table, building, "mid_span", frame, transfers.get("mid_span"))
            follows = table["model"] in ("column line", "given") or "mid_span" in transfers
            return FloorMotion(as_built=step, frame=frame if follows else None)
    floor = given["floor"]
    if floor["model"] == GROUND_TO_FLOOR:
        with floor.naming():
            cells = transfers.get("floor") if floor["place"] == "mid-span" else None
            return FloorMotion(as_built=floor_step(floor, building, "mid_span", frame, cells))
    if frame is None or not frame.moves_slabs:
        return None
    return FloorMotion(as_built=frame.to_mid_span(frame.as_built), frame=frame)


def as_built_of(
    given: Given,
    building: Building,
    frame: Frame | None,
    *,
    transfers: Transfers,
    slabs: RoomSlabs,
    free: FreeFoundation | None,
) -> tuple[TransmissionPath, Mapping[str, Surface] | None]:
    """Put the path together, for all rooms at once.

    Parameters
    ----------
    given : Given
        The table ``[path]``.
    building : Building
        Floors and rooms.
    frame : Frame or None
        Column lines, where the study has them.
    transfers : mapping of str to Cells
        Tables of its steps by floor, room or column.
    slabs : RoomSlabs
        That rooms name in place of those of their floor.
    free : FreeFoundation or None
        What the foundation of the lines makes of the ground.

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
                more = _distances(given[name], building, frame) if name == "ground" else {}
                elements[name] = make(**given[name].arguments(), **more)
    if given.has("coupling"):
        with faults.gathered(), given["coupling"].naming():
            step = coupling_step(
                given["coupling"], building, frame, transfers, by_line=by_line, free=free
            )
            elements["coupling"] = reaching(step, building)
    # Without a step from the ground the path starts from the foundation, where a source is
    # measured under the standing building.
    loaded = not any(given.has(name) for name in ("ground", "speed", "coupling"))
    from_ground = False
    with faults.gathered(), floor.naming():
        from_ground = leads_from_the_ground(given)
    if from_ground:  # no loss of its own, of which a source would speak
        elements["coupling"] = Unchanged(GROUND, FOUNDATION)
    with faults.gathered(), storeys.naming():
        line = storeys_step(storeys, building, "floor_of_room", frame, transfers, loaded=loaded)
        elements["storeys"] = reaching(line, building)
    with faults.gathered(), floor.naming():
        bare = floor_step(floor, building, "floor", frame, transfers.get("floor"))
        summed = radiation["model"] == "room surfaces"
        if summed and bare.quantity_out != FLOOR_AVERAGE:
            raise StudyError(
                f"{radiation.where}: the sum over room surfaces needs the {FLOOR_AVERAGE}; the "
                f"floor step gives the {bare.quantity_out}"
            )
        reaching(bare, building)
    sideways = None
    if given.has("horizontal"):
        with faults.gathered(), given["horizontal"].naming():
            if not summed:
                raise StudyError(
                    "horizontal motion moves the walls of rooms, and no wall is in the model "
                    "'relation' of [path.radiation]; leave the table out, or sum over room surfaces"
                )
            sideways = horizontal_of(
                given["horizontal"], building, frame, transfers, elements, loaded=loaded
            )
    faults.settle()
    surfaces = None
    if not summed:
        elements |= {"floor": bare, "radiation": relation(radiation["relation"])}
    else:
        with radiation.naming():
            surfaces = _surfaces(
                given, bare, building, frame, transfers, slabs, loaded=loaded, sideways=sideways
            )
        elements["surfaces"] = SurfaceMean(surfaces)
        elements["radiation"] = RoomSound(_rooms(building), surfaces)
    with given.naming():
        return TransmissionPath(**elements), surfaces


def _distances(given: Given, building: Building, frame: Frame | None) -> dict[str, xr.DataArray]:
    """Distance of each column from the track, or of each room where no line has columns [m].

    With that of the nearest column, where decay along the building is not that of the ground.
    """
    track = building.track
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
    if not np.any(np.asarray(given["share_along_building"]) != 1.0):
        return {"distance": apart}
    if dim == "room":
        raise StudyError(
            f"{given.where}: 'share_along_building' is of the decay behind the nearest column, and "
            "no column lines of this path have places; leave it out"
        )
    return {"distance": apart, "facade_distance": apart.min("column")}


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
    given: Given,
    floor: PathElement,
    building: Building,
    frame: Frame | None,
    transfers: Transfers,
    named: RoomSlabs,
    *,
    loaded: bool,
    sideways: PathElement | None,
) -> dict[str, Surface]:
    """Floor, ceiling and two pairs of walls of every room."""
    floors, radiation = given["floor"], given["radiation"]
    slabs = radiation["slabs"].arguments()
    walls = radiation["walls"].arguments(*_WALL_PLATES)
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
        of_storeys = critical_frequency(**slabs, thickness=thickness)
        critical = named.radiating(of, of_storeys)
        return RadiatingPlate(length=length, width=width, critical_frequency=critical)

    def wall(side: xr.DataArray) -> Surface:
        plate = RadiatingPlate(
            length=side, width=height, critical_frequency=wall_critical, factor=share
        )
        area = 2 * side * height
        return Surface(area=area, radiation=plate, velocity=moved, sideways=sideways)

    def horizontal(of: str, velocity: PathElement) -> Surface:
        """Floor or ceiling: as a piston by its mean, where lines give it or it may move as one."""
        piston: dict[str, Any] = {}
        level = "floor_of_room" if of == "floor" else "ceiling_floor"
        if radiation["field"] == "diffuse":
            pass  # the idealisation is whole: all radiates by bending waves
        elif frame is not None and floors["model"] in ("column line", "given"):
            # Also of an average that was measured on the slabs of the lines: theirs is the share.
            step = floor if of == "floor" else slab_above
            alike = alike_in(step, rooms["room"])
            piston["mean_velocity"] = frame.to_mean(
                getattr(frame, level), alike=alike, sides=(length, width)
            )
        elif "natural_frequency" in building.floors:
            natural = plain(building.on_floor("natural_frequency", level))
            if bool(np.isfinite(np.asarray(natural)).all()):
                piston["piston_up_to"] = PISTON_UP_TO * natural
        return Surface(area=length * width, radiation=slab(level), velocity=velocity, **piston)

    moved = TransmissionPath(floor=floor, walls=_walls(radiation["walls"], building, sideways))
    storeys, cells = given["storeys"], transfers.get("floor")
    by_lines = floors["model"] == "column line" and not {"storeys", "floor"} & set(transfers)
    if by_lines:
        # The lines give the slab over a room from the columns at its floor.
        ceiling = slab_above = floor_step(floors, building, "ceiling", frame, None)
    else:
        here, there = (
            storeys_step(storeys, building, of, frame, transfers, loaded=loaded)
            for of in ("floor_of_room", "ceiling_floor")
        )
        steps: dict[str, PathElement] = {"columns": StoreyStep(here, there)}
        if frame is not None:
            alike = [alike_in(step, rooms["room"]) for step in (here, there)]
            steps["mounts"] = mounted_columns(
                frame, frame.ceiling_floor, alike=(alike[0], alike[1])
            )
        slab_above = floor_step(floors, building, "ceiling", frame, cells, from_own=True)
        ceiling = TransmissionPath(**steps, floor=slab_above)
    surfaces = {
        "floor": horizontal("floor", floor),
        "ceiling": horizontal("ceiling", ceiling),
        "long walls": wall(length),
        "short walls": wall(width),
    }
    if radiation["field"] == "diffuse":
        return surfaces
    field = ModalField(
        room=_rooms(building), **radiation.arguments("ceiling", "position", "leak_frequency_hz")
    )
    return in_field(surfaces, field=field)


_WALL_PLATES = ("longitudinal_wave_speed_m_s", "thickness_m", "radiating_share")


def _walls(given: Given, building: Building, sideways: PathElement | None) -> PathElement:
    """From the surface average of the floor to that of the walls."""
    measured = given["measured_below_floor_db"]
    beside = [key for key in ("frequency_hz", "source") if given[key] is not None]
    if measured is None:
        if beside:
            raise StudyError(
                f"{given.where}: {beside[0]!r} is of 'measured_below_floor_db', which is not "
                "given; give that, or leave it out"
            )
        below = given["below_floor_db"]
        return WallsBelowFloor() if below is None else WallsBelowFloor(change=-below)
    if sideways is not None:
        raise StudyError(
            f"{given.where}: walls measured against their floor ('measured_below_floor_db') hold "
            "what horizontal motion gave them, and [path.horizontal] would add it again; leave one "
            "out"
        )
    if given["below_floor_db"] is not None:
        raise StudyError(
            f"{given.where}: 'below_floor_db' and 'measured_below_floor_db' both say how far walls "
            "are below their floor; leave one out"
        )
    if given["frequency_hz"] is None:
        raise StudyError(
            f"{given.where}: 'measured_below_floor_db' is given and 'frequency_hz', its bands, is "
            "not; give both"
        )
    step = GivenChange(
        -given.on_bands("measured_below_floor_db"),
        quantity_in=FLOOR_AVERAGE,
        quantity_out=FLOOR_AVERAGE,
        citations=given.citations(),
    )
    with given.naming():
        return reaching(step, building)
