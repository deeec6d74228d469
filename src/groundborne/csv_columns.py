"""Columns of the CSV tables: what each is, its unit, and what it may be and usually is.

Ranges are common practice. Possible ranges are wide: they refuse what cannot be built, not what is
bold.
"""

from __future__ import annotations

import re

from groundborne.key import (
    ABSENT,
    Key,
    KeyTable,
    Range,
    choice,
    free_number,
    number,
    text,
    where,
)
from groundborne.usual_ranges import Quantity

_INFINITE = float("inf")

OCTAVES = ("4", "8", "16", "31.5", "63", "125", "250", "500")
"""Octaves in which a room may have a reverberation time."""

_SLAB_M: Range = (0.005, 0.08, 0.8, 10)
_SIDE_M: Range = (0.3, 1.2, 60, 500)
_RT_S: Range = (0.01, 0.15, 8, 30)
_SITE = "site coordinates begin anywhere; distances and plan areas are judged"
_JACK = "coordinates begin anywhere; the load per area is judged"
_SURVEY = "must lie within the jacks"

FLOORS = KeyTable(
    (
        text("floor", "", "name of the floor; rows ascend, and a room needs that of its ceiling"),
        number("storeys", "storeys", "storeys", (0, 0, 100, 300), "storeys above the foundation",
               uncertain=False),
        number("height_m", "height", "m", (-200, -40, 400, 2000),
               "above the foundation, not the storey height", uncertain=False),
        number("natural_frequency_hz", "natural_frequency", "Hz", (0.3, 4, 40, 300),
               "first resonance of the slab", default=None),
        number("slab_thickness_m", "slab_thickness", "m", _SLAB_M,
               "needed where rooms sum over their surfaces", default=None),
        text("use", "", "what the floor is used for", default=""),
    ),
    label="floor",
)  # fmt: skip

ROOMS = KeyTable(
    (
        text("room", "", "label of the room"),
        text("name", "room_name", "as in the report"),
        text("floor", "floor_of_room", "floor whose slab is the floor"),
        text("ceiling_floor", "ceiling_floor", "floor whose slab is the ceiling"),
        number("length_m", "length", "m", _SIDE_M, "inside"),
        number("width_m", "width", "m", _SIDE_M, "inside"),
        number("height_m", "height", "m", (0.5, 2, 20, 100), "inside"),
        text("criteria", "criteria", "set of criteria of [criteria]"),
        text("slab", "slab", "slab of [slabs] under it, if another than that of its storey; empty "
             "where it is that one", default=""),
        text("ceiling_slab", "ceiling_slab", "slab of [slabs] over it, likewise", default=""),
        *where(
            "rt_63hz_s", ABSENT,
            number("rt_s", "", "s", _RT_S, "reverberation time in all bands", default=None),
        ),
        *where(
            "rt_s", ABSENT,
            *(
                number(f"rt_{octave}hz_s", "", "s", _RT_S,
                       "reverberation time by octave, for each that the bands fall in",
                       default=None)
                for octave in OCTAVES
            ),
        ),
        number("volume_m3", "volume", "m³", (0.1, 5, 30000, 1e6),
               "where it is not the product of the sides", default=None),
        free_number("x_m", "x", _SITE, "centre of the room in the plan of the columns; with y_m "
                    "it hears the columns around it, else all", kind="number", default=None),
        free_number("y_m", "y", _SITE, "centre of the room", kind="number", default=None),
        text("part", "part", "part of the building it is in; needed with [parts]", default=None),
        text("group", "group", "rooms of one row in the overview; their label by default",
             default=None),
        *(
            number(f"{group}_depth_limit_m", f"{group}_limit", "m", (0.003, 0.04, 1, 10),
                   f"depth there is for {word}; empty where there is no limit", default=_INFINITE,
                   uncertain=False)
            for group, word in (
                ("floor", "a floating floor"), ("walls", "inner walls"), ("ceiling", "a ceiling")
            )
        ),
    ),
    label="room",
)  # fmt: skip

_WIND: Range = (-1e6, -20000, 20000, 1e6)
_PARTIAL = "part of the permanent load"

_LOADS: dict[str, tuple[Range, str]] = {
    "permanent": ((1, 50, 50000, 1e6), "at the isolation plane; needed, or parts, or by floor"),
    "imposed": ((0, 5, 20000, 1e6), "at the isolation plane, characteristic; needed, or by floor"),
    "structure": ((0, 20, 50000, 1e6), _PARTIAL),
    "superimposed": ((0, 5, 30000, 1e6), "the other part of the permanent load"),
    "wind": (_WIND, "of any direction, taken both ways"),
    "wind_x": (_WIND, "along x, taken both ways"),
    "wind_y": (_WIND, "along y, taken both ways; further directions as `wind_ne_kn`, with signs"),
    "accidental": ((-1e6, -50000, 50000, 1e6), "what an accident adds, or lifts where below 0"),
}  # fmt: skip
LOADS = tuple(_LOADS)
"""Loads a table may hold, each followed by its unit, ``_kn`` or ``_n``; also :func:`is_wind`."""
LOAD_UNITS = {"kn": 1e3, "n": 1.0}
"""Newtons in each unit of loads."""
_OF_FLOOR: dict[str, tuple[Range, str]] = {
    "permanent": ((0, 0, 5000, 1e6), "of the slab, what rests on it and the column on it"),
    "imposed": ((0, 0, 5000, 1e6), "what the floor adds, characteristic"),
    "structure": ((0, 0, 5000, 1e6), _PARTIAL),
    "superimposed": ((0, 0, 5000, 1e6), "the other part of the permanent load"),
}  # fmt: skip
_DIRECTION = re.compile(r"wind_[a-z0-9]+(_[a-z0-9]+)*")


def is_wind(name: str) -> bool:
    """Whether a name is a load by wind from one direction: ``wind_x``, ``wind_ne``, ``wind_45``.

    Examples
    --------
    >>> is_wind("wind_ne"), is_wind("wind"), is_wind("imposed")
    (True, False, False)
    """
    return _DIRECTION.fullmatch(name) is not None


def load_key(name: str, *, by_floor: bool = False) -> Key | None:
    """Row of a load of columns in kN or N, or None of what is no load.

    Parameters
    ----------
    name : str
        Column: ``permanent_n``, ``wind_ne_kn``.
    by_floor : bool
        Of one floor; wind and accident are not told floor by floor.

    Examples
    --------
    >>> load_key("permanent_n").quantity.usual
    (50000.0, 50000000.0)
    """
    base, _, unit = name.rpartition("_")
    known = _OF_FLOOR if by_floor else _LOADS
    if unit not in LOAD_UNITS or not (base in known or (is_wind(base) and not by_floor)):
        return None
    bounds, meaning = known.get(base, (_WIND, "wind from one direction, as it stands"))
    size = 1e3 / LOAD_UNITS[unit]
    least, low, high, most = (size * bound for bound in bounds)
    return number(name, base, "kN" if unit == "kn" else "N", (least, low, high, most), meaning,
                  scale=LOAD_UNITS[unit], zero=least == 0, default=None)  # fmt: skip


_OF_IMPOSED = (
    text("category", "category", "use, of which psi2 of the imposed load moves: A dwellings, B "
         "offices, C congregation, D shops, E storage, F and G traffic, H roofs", default=None),
    number("imposed_share", "imposed_share", "", (0, 0, 1, 1),
           "of the imposed load that moves with the building and that mounts are tuned on, where "
           "the study does not say it", default=None, slips="share", zero=True),
)  # fmt: skip

COLUMNS = KeyTable(
    (
        text("column", "", "label of the column"),
        free_number("x_m", "x", _SITE, "position", kind="number"),
        free_number("y_m", "y", _SITE, "position", kind="number"),
        *(key for name in LOADS if (key := load_key(f"{name}_kn"))),
        *_OF_IMPOSED,
        text("part", "part", "part of the building it carries; needed with [parts]", default=None),
        number("panel_share", "panel_share", "", (0.01, 0.1, 2, 10),
               "floor it carries: 1 interior, 0.5 edge, 0.25 corner; of a strip of wall its floor "
               "over span_x_m times span_y_m; needed by [structure], where it also weighs the "
               "column in means", default=None, slips="share"),
        number("area_m2", "area", "m²", (1e-4, 0.005, 4, 100),
               "section in all storeys, of a strip of wall its thickness times its length; empty "
               "where it is that of the storeys", default=_INFINITE),
        number("modulus_pa", "youngs_modulus", "Pa", (1e8, 1e9, 2.2e11, 1e12),
               "dynamic, of masonry 1e9 to 1.5e10; empty where it is that of [structure]",
               default=_INFINITE),
        number("density_kg_m3", "density", "kg/m³", (50, 400, 8000, 25000),
               "with plaster; empty where it is that of [structure]", default=_INFINITE),
        number("loss_factor", "loss_factor", "", (1e-5, 0.004, 0.1, 1),
               "of masonry with joints 0.01 to 0.05; empty where it is that of [structure]",
               default=_INFINITE, slips="share"),
    ),
    label="column",
)  # fmt: skip

OWN_SECTION = ("area_m2", "modulus_pa", "density_kg_m3", "loss_factor")
"""Columns that make a line of the column table a strip of wall, or a column unlike the others."""

FLOOR_LOADS = KeyTable(
    (
        text("column", "", "label of the column"),
        text("floor", "", "as in the floor table; each column has a row for each"),
        *(key for name in _OF_FLOOR if (key := load_key(f"{name}_kn", by_floor=True))),
        *_OF_IMPOSED,
    ),
    label="column.floor",
)  # fmt: skip

STOREYS = KeyTable(
    (
        text("floor", "", "as in the floor table; rows ascend, each a slab and what is below"),
        number("storey_height_m", "height", "m", (0.05, 0.5, 8, 100), "of the column below"),
        number("column_area_m2", "area", "m²", (1e-4, 0.005, 4, 100), "of the column below"),
        number("slab_thickness_m", "thickness", "m", _SLAB_M, "of the slab"),
        number("slab_modulus_pa", "youngs_modulus", "Pa", (1e8, 5e9, 6e10, 1e12),
               "of the slab, dynamic"),
        number("slab_loss_factor", "loss_factor", "", (2e-4, 0.01, 0.2, 1),
               "with all that is built on the slab", slips="share"),
        number("superimposed_kg_m2", "superimposed_mass", "kg/m²", (0, 25, 1000, 20000),
               "finishes, partitions, facade and the share of imposed load; left out where "
               "loads by floor give it", zero=True, default=None),
    ),
    label="floor",
)  # fmt: skip

PASSBYS = KeyTable(
    (
        text("passby", "", "name of the passby; and one column for each band, such as `31.5 Hz`"),
        text("train_type", "", "needed by timetables that count types", default=None),
        text("track", "", "", default=None),
        number("speed_kmh", "", "km/h", (1, 8, 350, 700), "of the train", default=None,
               uncertain=False),
        number("duration_s", "", "s", (0.1, 1, 180, 3600), "needed by VDV and LAeq", default=None,
               uncertain=False),
    ),
    label="passby",
)  # fmt: skip

_PLACE = "names the rows, where it is the first column; then one column for each band, such as"

TRANSFERS = KeyTable(
    (
        text("floor", "", f"{_PLACE} `31.5 Hz` [dB]", default=None),
        text("room", "", f"{_PLACE} `31.5 Hz`; a row holds for the slab over the room too",
             default=None),
        text("column", "", f"{_PLACE} `31.5 Hz`; a row holds on all floors", default=None),
    ),
)  # fmt: skip
"""Transfers by place: what their numbers are, is said by the step they belong to."""

_STIFFNESS: Range = (1e4, 5e4, 2e10, 1e11)
_PLAN: Range = (1e-2, 0.04, 2, 3)

COMPONENTS = KeyTable(
    (
        text("component", "", "name of the part"),
        text("kind", "", "`spring`, `bearing` or `pad`"),
        number("static_stiffness_n_m", "static_stiffness", "N/m", _STIFFNESS, "vertical"),
        number("dynamic_stiffness_n_m", "dynamic_stiffness", "N/m", _STIFFNESS, "vertical"),
        number("loss_factor", "loss_factor", "", (0, 0.003, 0.4, 1), "", slips="share"),
        number("own_mass_kg", "own_mass", "kg", (0, 0.05, 3000, 1e4), "of what gives way",
               zero=True),
        number("least_load_n", "least_load", "N", (0, 100, 2e7, 5e7), "", zero=True),
        number("rated_load_n", "rated_load", "N", (1e2, 500, 2e7, 5e7), ""),
        number("largest_load_n", "largest_load", "N", (1e2, 1000, 4e7, 5e7), ""),
        number("largest_deflection_m", "largest_deflection", "m", (1e-4, 1e-3, 0.15, 0.3),
               "to solid, or to the limit of strain"),
        number("lateral_stiffness_n_m", "lateral_stiffness", "N/m", (0, 1e4, 2e10, 1e11), "",
               zero=True),
        number("height_m", "height", "m", (5e-3, 0.01, 0.8, 1.5), ""),
        number("plan_x_m", "plan_x", "m", _PLAN, ""),
        number("plan_y_m", "plan_y", "m", _PLAN, ""),
        number("stiffness_tolerance", "stiffness_tolerance", "", (0, 0.02, 0.35, 0.5), "",
               zero=True, slips="share"),
        number("creep_per_decade", "creep_per_decade", "", (0, 0.0005, 0.15, 0.3), "",
               zero=True, slips="share"),
        text("certificate", "", "may be empty"),
    ),
    label="component",
)  # fmt: skip

JACKS = KeyTable(
    (
        text("jack", "", "name of the jack"),
        free_number("x_m", "x", _JACK, "position", kind="number"),
        free_number("y_m", "y", _JACK, "position", kind="number"),
        number("load_kn", "load", "kN", (0.01, 0.2, 50, 1000), "", default=None),
    ),
    label="jack",
)

SURVEY = KeyTable(
    (
        text("point", "", "name of the point"),
        free_number("x_m", "x", _SURVEY, "position", kind="number"),
        free_number("y_m", "y", _SURVEY, "position", kind="number"),
        free_number("level_mm", "", "levels begin anywhere; their spread is judged",
                    "a levelled height", kind="number"),
        number("gap_mm", "", "mm", (0, 5, 300, _INFINITE), "or the gap under the floor"),
    ),
    label="point",
)  # fmt: skip

ROOM_LEVEL_KINDS = ("passby", "background")
STATISTICS = ("S max", "F max", "leq", "max hold")
"""What a band level of a passby may be."""

ROOM_LEVELS = KeyTable(
    (
        text("room", "", "as in the room table; and one column for each band, such as `31.5 Hz` "
             "[dB]"),
        text("passby", "", "name of the passby, the same in all rooms; of background that of its "
             "segment"),
        choice("kind", "", ROOM_LEVEL_KINDS, "whether a train passes"),
        choice("statistic", "", STATISTICS, "of passbys all the same; of background `leq`, which "
               "is taken off, or that of the passbys, which says what stands out"),
        text("train_type", "", "of passbys, needed where the prediction tells types", default=""),
        text("position", "", "of microphone or transducer, where a room has several", default=""),
        number("duration_s", "", "s", (0.1, 1, 180, 3600), "of passbys, the same in all rooms; "
               "needed by VDV and LAeq", default=None, uncertain=False),
    ),
    label="room.passby",
)  # fmt: skip

DEFLECTIONS = KeyTable(
    (
        text("column", "", "as in the schedule"),
        number("deflection_mm", "deflection", "mm", (0, 1, 60, 500), "from the free height",
               scale=1e-3, zero=True, uncertain=False),
        number("load_kn", "load", "kN", (1, 50, 50000, 1e6), "on the column when it was read; of "
               "all columns or none", scale=1e3, default=None, uncertain=False),
    ),
    label="column",
)  # fmt: skip

GAPS = KeyTable(
    (
        text("point", "", "name of the point"),
        number("gap_mm", "gap", "mm", (0, 1, 300, 1000), "clear", scale=1e-3, zero=True,
               uncertain=False),
        number("least_mm", "least", "mm", (0, 1, 300, 1000), "that it has to be", scale=1e-3,
               zero=True, uncertain=False),
        number("most_mm", "most", "mm", (0, 1, 300, 1000), "that it may be; no limit where it is "
               "left out", scale=1e-3, default=None, uncertain=False),
        text("where", "", "in words", default=""),
    ),
    label="point",
)  # fmt: skip

CROSSING_KINDS = ("services", "lift", "stair", "facade", "drain", "cable", "other")
CROSSING_TREATMENTS = {
    "rigid": "held on both sides",
    "resilient": "a connector, a sleeve or a bearing that gives way",
    "gap": "nothing touches",
    "not decided": "nobody has said how",
}
CROSSING_STATES = ("open", "agreed", "built", "inspected")
"""What crosses the isolation plane, how it is treated, and how far that is."""

REGISTER = KeyTable(
    (
        text("name", "name", "what crosses; of a crossing that [isolation] counts its name there"),
        choice("kind", "kind", CROSSING_KINDS, "of what crosses"),
        choice("treatment", "treatment", CROSSING_TREATMENTS,
               "; ".join(f"{name}: {words}" for name, words in CROSSING_TREATMENTS.items())),
        choice("status", "status", CROSSING_STATES, "how far it is"),
        text("part", "part", "part of the building, where several have an isolation plane",
             default=""),
        text("floor", "floor", "as in the floor table; empty where it is several", default=""),
        text("grid", "grid", "axes or columns, in words", default=""),
        number("stiffness_n_m", "stiffness", "N/m", (0, 1e4, 1e10, 1e13), "vertical, dynamic, of "
               "all of it; empty of a crossing that [isolation] counts, which holds it",
               zero=True, default=_INFINITE, uncertain=False),
        text("specification", "specification", "of what is between", default=""),
        text("responsible", "responsible", "who sees to it", default=""),
        text("note", "note", "what else there is to say", default=""),
    ),
    label="name",
)  # fmt: skip

CSV_TABLES: dict[str, KeyTable] = {
    "floors": FLOORS,
    "rooms": ROOMS,
    "columns": COLUMNS,
    "floor_loads": FLOOR_LOADS,
    "storeys": STOREYS,
    "register": REGISTER,
    "passbys": PASSBYS,
    "transfers": TRANSFERS,
    "components": COMPONENTS,
    "jacks": JACKS,
    "survey": SURVEY,
    "room_levels": ROOM_LEVELS,
    "deflections": DEFLECTIONS,
    "gaps": GAPS,
}
"""Every table by what its rows are."""


def find_column(place: str, name: str) -> Quantity | None:
    """Range of a column.

    Parameters
    ----------
    place : str
        One of ``CSV_TABLES``.
    name : str
        Column.

    Returns
    -------
    Quantity or None
        None of a column that has a reason not to have one.

    Raises
    ------
    LookupError
        A name that stands for no number of this table.

    Examples
    --------
    >>> find_column("rooms", "rt_63hz_s").usual
    (0.15, 8)
    """
    for key in CSV_TABLES[place].rows(name):
        if key.quantity is not None or key.free:
            return key.quantity
    raise LookupError(f"{place}.{name} has no range in groundborne.csv_columns")
