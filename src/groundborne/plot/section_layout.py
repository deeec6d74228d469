"""Where storeys, rooms and the track stand in the section of a building."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from groundborne.plot.room_cells import Cell, Shown, in_grid
from groundborne.plot.track_lines import nearest_point, track_distance, track_line
from groundborne.study import Study
from groundborne.study.part import Part

_LEAST, _MOST = 2.4, 7.0
"""Height of building and ground [in]."""
_CELL_WIDE, _CELL_TALL = 0.42, 0.27
"""Sides of a cell that holds a number [in]."""
_NAMES, TRACK, _EDGE = 0.66, 1.2, 0.14
"""Widths beside each part, for names of floors, of the track, and at the right [in]."""
SPRING = 0.14
"""Height of a spring at most [in]."""


@dataclass(frozen=True, eq=False)
class Block:
    """A part of the building in the drawing.

    Parameters
    ----------
    part : Part
        As built.
    left, width : float
        Its left side, and how wide it is drawn [in].
    floors, heights : list
        Names and heights above the foundation [m], lowest first.
    rows : list of tuple
        Rooms side by side: what is shown of them, storeys from and to, left and right end as
        shares of its width.
    """

    part: Part
    left: float
    width: float
    floors: list[str]
    heights: list[float]
    rows: list[tuple[list[Shown], int, int, float, float]]


def track_side(study: Study) -> str:
    """Whether the track is drawn ``beside`` the building, ``below`` it, or not (empty)."""
    distance = track_distance(study)
    if distance is None:
        return ""
    return "below" if distance == 0 and _is_below(study) else "beside"


def _is_below(study: Study) -> bool:
    return study.site.is_below or study.building.track is not None


def blocks_of(study: Study, shown: dict[str, Shown], across: float) -> list[Block]:
    """Parts of the building side by side, nearest to the track first.

    Parameters
    ----------
    study : Study
        With its parts.
    shown : dict of str to Shown
        Every room.
    across : float
        Width of the drawing [in].
    """
    first = TRACK if track_side(study) == "beside" else 0.0
    names = min(_NAMES, 0.5 * (across - first) / len(study.parts))
    width = (across - first - _EDGE) / len(study.parts) - names
    blocks, left = [], first + names
    parts = sorted(study.parts, key=lambda p: track_distance(study, p.name or None) or 0.0)
    for part in parts:
        floors = _floors(study, part)
        heights = study.building.floors["height"]
        levels = [float(np.ravel(heights.sel(floor=name).values)[0]) for name in floors]
        rows = _rows(study, part, floors, shown)
        blocks.append(Block(part, left, width, floors, levels, rows))
        left += width + names
    return blocks


def _floors(study: Study, part: Part) -> list[str]:
    """Floors of a part, lowest first: all of a building that is one."""
    building = study.building
    every = [str(f) for f in building.floors["floor"].values]
    if not part.name:
        return every
    rooms = building.rooms.sel(room=list(part.rooms))
    own = {*rooms["floor_of_room"].values.tolist(), *rooms["ceiling_floor"].values.tolist()}
    if part.plane is not None:
        own.add(part.plane.floor)
    if part.frame is not None:
        own |= set(part.frame.line.floors)
    return [name for name in every if name in own]


def _rows(
    study: Study, part: Part, floors: list[str], shown: dict[str, Shown]
) -> list[tuple[list[Shown], int, int, float, float]]:
    """Rooms by storey; one that reaches past the floor of others stands at the side by itself."""
    rooms = study.building.rooms
    order = _in_order(study, part)
    low_of, top_of = (
        {r: floors.index(str(rooms[name].sel(room=r).values)) for r in order}
        for name in ("floor_of_room", "ceiling_floor")
    )
    starts = set(low_of.values())
    tall = [r for r in order if any(low_of[r] < s < top_of[r] for s in starts)]
    length = {r: float(np.ravel(rooms["length"].sel(room=r).values)[0]) for r in order}
    taken = np.zeros(len(floors))
    placed = []
    for room in sorted(tall, key=lambda r: low_of[r]):
        storeys = range(low_of[room], top_of[room])
        beside = max(
            sum(length[r] for r in order if low_of[r] == s and r != room) for s in storeys
        )  # fmt: skip
        left = max(float(taken[s]) for s in storeys)
        end = left + float(np.clip(length[room] / (length[room] + beside), 0.15, 0.5))
        taken[low_of[room] : top_of[room]] = end
        placed.append((room, left, end))
    # Others keep at least a fifth of the width beside them.
    most = 0.8 if len(tall) < len(order) else 1.0
    shrink = min(1.0, most / max(float(taken.max()), 1e-9))
    found = [([shown[r]], low_of[r], top_of[r], a * shrink, b * shrink) for r, a, b in placed]
    for low in sorted({low_of[r] for r in order if r not in tall}):
        rest = [r for r in order if low_of[r] == low and r not in tall]
        start = float(taken[low : max(top_of[r] for r in rest)].max()) * shrink
        # Under ceilings of different floors rooms share the width by their number.
        for top in sorted({top_of[r] for r in rest}):
            group = [r for r in rest if top_of[r] == top]
            end = start + (1.0 - start) * len(group) / len(rest)
            rest = [r for r in rest if r not in group]
            found.append(([shown[r] for r in group], low, top, start, end))
            start = end
    return found


def _in_order(study: Study, part: Part) -> list[str]:
    """Rooms of a part, nearest to the track first where places are known."""
    rooms, line = study.building.rooms, track_line(study)
    names = list(part.rooms)
    if line is None or not {"x", "y"} <= set(rooms.variables):
        return names
    here = rooms.sel(room=names)
    places = np.stack([here["x"].values, here["y"].values], axis=-1)
    away = [float(np.hypot(*(nearest_point(line, p) - p))) for p in places]
    return [name for _, name in sorted(zip(away, names, strict=True), key=lambda pair: pair[0])]


def reach_of(study: Study, blocks: Sequence[Block]) -> tuple[float, float]:
    """Lowest and highest level that is drawn [m]."""
    base, top = base_level(blocks), max(block.heights[-1] for block in blocks)
    low, high = base, top
    if track_side(study):
        rails = rail_level(study, blocks)
        low, high = min(low, rails - 0.8), max(high, rails + 1.5)
    return low, max(high, low + 1.0)


def base_level(blocks: Sequence[Block]) -> float:
    """Level of the foundation [m]: 0, or the lowest floor where that lies below it."""
    return min(0.0, min(block.heights[0] for block in blocks))


def rail_level(study: Study, blocks: Sequence[Block]) -> float:
    """Level at which rails are drawn [m]: their own, unless that leaves no room for storeys."""
    base, top = base_level(blocks), max(block.heights[-1] for block in blocks)
    tall = max(top - base, 3.0)
    level = study.site.rail_level
    if level is None:
        known_ground = study.site.ground_level
        level = base - 0.3 * tall if track_side(study) == "below" else known_ground or 0.0
    return float(np.clip(level, base - 0.6 * tall, top))


def height_of(blocks: Sequence[Block], reach: float) -> float:
    """Height of building and ground [in], as its fullest storey asks."""
    asked = [0.0]
    for block in blocks:
        for row, low, high, left, right in block.rows:
            across = max(int((right - left) * block.width / _CELL_WIDE), 1)
            rows = -(-len(row) // across)
            storey = max(block.heights[high] - block.heights[low], 0.1)
            asked.append((rows * _CELL_TALL + 0.1) / storey * reach)
    return float(np.clip(max(asked), _LEAST, _MOST))


def spring_of(block: Block, unit: float) -> float:
    """Height of the springs under the isolation plane [m]: within the storey below, if any.

    `unit` is the height of an inch [m].
    """
    plane = block.part.plane
    assert plane is not None
    at = block.floors.index(plane.floor)
    below = block.heights[at] - (block.heights[at - 1] if at else base_level([block]))
    share = 0.4 if any(high == at for _, _, high, _, _ in block.rows) else 0.65  # of rooms below
    return min(SPRING * unit, share * below) if below > 0 else SPRING * unit


def cells_of(block: Block, spring: float, unit: float) -> list[Cell]:
    """Cells of the rooms of a part over springs of some height [m]; `unit` is that of an inch."""
    found: list[Cell] = []
    plane = block.part.plane
    for row, low, high, left, right in block.rows:
        bottom, top = block.heights[low], block.heights[high]
        if spring and plane is not None and block.floors[high] == plane.floor:
            top -= 1.5 * spring
        edge = 0.03 * (top - bottom)
        wide, tall = (right - left) * block.width, (top - bottom) / unit
        rows = 1
        while wide / -(-len(row) // rows) < _CELL_WIDE and tall / (rows + 1) >= 0.9 * _CELL_TALL:
            rows += 1
        x, width = block.left + block.width * left, block.width * (right - left)
        found += in_grid(row, x, bottom + edge, width, top - bottom - 2 * edge, rows)
    return found
