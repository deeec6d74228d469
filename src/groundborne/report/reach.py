"""How much of a study a number of a report rests on: all of it, an option, its mounts, a frame."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any


class Reach(Enum):
    """What a number follows from."""

    LEVELS = "trains, path, option and criteria"
    LIMIT = "the criterion and the room that has it"
    STATED = "what the option states"
    ROOMS = "what the option does in its rooms"
    MOUNTS = "mounts of the option and the loads on them"
    FRAME = "ground, frame, mounts and floors"


_OF_OPTIONS = {
    "cost": Reach.STATED,
    "rooms_treated": Reach.ROOMS,
    "most_depth": Reach.ROOMS,
    "floor_depth": Reach.ROOMS,
    "added_mass": Reach.ROOMS,
    "mount_frequency": Reach.MOUNTS,
    "deflection": Reach.MOUNTS,
    "load": Reach.MOUNTS,
}

_OF_RESONANCES = ("frequency_hz", "low_hz", "high_hz")

FORMULAS = {
    ("assessment", "limit"): "As the criterion of the room states it.",
    ("equipment", "limit"): "As the criterion of the equipment states it.",
    ("options", "cost"): "As the option states it, with its source.",
    ("options", "rooms_treated"): "Rooms that the measures of the option name, counted.",
    ("options", "most_depth"): "Largest depth of the constructions of the option in rooms.",
    ("options", "floor_depth"): "Largest depth of the constructions of the option on floors.",
    ("options", "mount_frequency"): (
        "Natural frequency of the mass on a mount with its dynamic stiffness, on a rigid base."
    ),
    ("options", "deflection"): (
        "Deflection m g/k of a mount: quasi-permanent load over static stiffness, or along the "
        "curve of the mount."
    ),
    ("options", "load"): "Load m g on a mount: quasi-permanent load of the column.",
    ("options", "added_mass"): (
        "Sum of mass per area times area over the constructions of the option in rooms, and own "
        "mass of its mounts."
    ),
}
"""What numbers are that are not worked out as others of their table, by the begin of the column."""


def reach_of(table: str, column: str) -> Reach:
    """What a number follows from.

    Parameters
    ----------
    table, column : str
        Of the number.

    Examples
    --------
    >>> reach_of("options", "deflection_low_mm").name, reach_of("options", "cost").name
    ('MOUNTS', 'STATED')
    >>> reach_of("resonances", "cost_at_most").name
    'LEVELS'
    """
    if table == "resonances" and column in _OF_RESONANCES:
        return Reach.FRAME
    if column == "limit":
        return Reach.LIMIT
    if table == "options":
        found = [r for name, r in _OF_OPTIONS.items() if column.startswith(name)]
        return found[0] if found else Reach.LEVELS
    return Reach.LEVELS


def formula_of(table: str, column: str) -> str:
    """Name of the formula of a number: that of its table, or one of its own.

    Examples
    --------
    >>> formula_of("options", "load_high_kn"), formula_of("options", "rooms_met")
    ('options:load', 'options')
    """
    own = [n for t, n in FORMULAS if t == table and column.startswith(n)]
    return f"{table}:{own[0]}" if own else table


def traced_row(table: str, column: str, row: Mapping[Any, Any]) -> Mapping[Any, Any]:
    """A row with the room and criterion that one of its numbers is of.

    Examples
    --------
    >>> row = {"cost_room": "A", "cost_criterion": "NR, mean"}
    >>> traced_row("resonances", "cost_at_most", row)["room"]
    'A'
    """
    if table == "resonances" and column == "cost_at_most":
        return {**row, "room": row["cost_room"], "criterion": row["cost_criterion"]}
    return row
