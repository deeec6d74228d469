"""Usual and possible values of what follows from several numbers of a study, or from its results.

A row is: unit, least possible, least usual, largest usual, largest possible, and "zero" where
exactly 0 stands for "none"; last what may have happened to a number outside, where that does not
follow from its unit (see :attr:`groundborne.usual_ranges.Quantity.slips`). Ranges are common
practice unless :data:`MARKS` names a source. Those of keys and columns stand with them.
"""

from __future__ import annotations

from typing import Any

from groundborne.usual_ranges import PRACTICE, Quantity

Row = tuple[Any, ...]

_INFINITE = float("inf")

_DERIVED: dict[str, Row] = {
    # Rooms
    "room absorption coefficient": ("", 0.002, 0.04, 0.8, 1.5),
    "room height over storey": ("", 0.02, 0.4, 1.02, 1.02, "m for m"),
    "room height over shorter side": ("", 0.005, 0.05, 2.5, 50),
    "room longer over shorter side": ("", 0, 1, 7, 200),
    "rooms of a floor over plan": ("", 0, 0, 1.2, 1000, "m² for m²"),
    "room side over plan": ("", 0, 0, 1.1, 10, "m for m, from 0"),
    "room outside columns": ("m", 0, 0, 1, _INFINITE, "step"),
    "room in another part": ("m", 0, 0, 0.01, _INFINITE, "step"),
    "room volume over box": ("", 0.02, 0.3, 1.3, 20, "m³ for m³"),
    # Floors and storeys
    "height of one storey": ("m", 0.1, 2.2, 10, 100),
    "rise over storey height": ("", 0.02, 0.75, 1.33, 50, "m for m"),
    "slab thickness in two tables": ("", 0.02, 0.75, 1.33, 50, "m for m"),
    "floor frequency in two tables": ("", 0.01, 0.5, 2, 100),
    "wave speed in two places": ("", 0.05, 0.6, 1.7, 20),
    "mass of a floor of an option": ("kg/m²", 2, 12, 2000, 20000),
    "mass of a slab": ("kg/m²", 5, 80, 2000, 20000),
    "resonance of a slab": ("Hz", 0.3, 4, 35, 300),
    "superimposed over median": ("", 0, 0.24, 4.2, 1e4, "zero"),
    "column area over next": ("", 1e-4, 0.25, 6, 1e4),
    "strain of columns": ("", 1e-8, 4e-5, 1e-3, 1e-1),
    "wave speed of a thin wall": ("m/s", 0, 1300, 2300, 13000),
    # Columns
    "grid over panels": ("", 0.005, 0.5, 2, 200, "m² for m²"),
    "distance of columns": ("m", 0.2, 1, 25, 500),
    "area of a column": ("m²", 0.1, 7, 180, 1e4),
    "distance over median": ("", 0, 0.4, 2.5, 100),
    "permanent load per area": ("kN/m²", 0.1, 2.5, 25, 1000),
    "imposed load per area": ("kN/m²", 0, 0.2, 6, 500, "zero"),
    "imposed load over median": ("", 0, 0.15, 5, 1e4, "zero"),
    "imposed over permanent": ("", 0, 0.02, 1, 100, "zero"),
    "wind pressure": ("kN/m²", 0, 0.11, 3, 300, "zero"),
    # Foundation
    "foundation bounce": ("Hz", 0.1, 2.8, 20, 500),
    "foundation damping": ("", 0, 0.02, 1.2, 100, "zero"),
    "foundation mass per plan": ("kg/m²", 0, 250, 8000, 1e6, "zero"),
    "foundation mass over building": ("", 0, 0.02, 1.5, 1000, "zero"),
    "raft over panels": ("", 0.1, 0.9, 1.6, 10),
    "footing over grid": ("", 0.01, 0.3, 3, 100, "m for m"),
    # Ground and trains
    "distance over measured": ("", 0.002, 0.2, 6, 500, "m for m"),
    "speed over measured": ("", 0.02, 0.3, 3, 50),
    "trains per hour": ("trains/h", 0, 0.1, 100, 1000, "zero"),
    "trains per hour over longest period": ("", 0, 0.05, 2.5, 1e5, "zero"),
    "train length": ("m", 1, 28, 1600, 50000),
    "train length over median": ("", 0, 0.3, 3.5, 1e5),
    "median speed": ("km/h", 1, 25, 320, 700),
    "largest band": ("dB re 1 nm/s", -_INFINITE, 50, 125, _INFINITE, "level"),
    "median of largest bands": ("dB re 1 nm/s", -_INFINITE, 65, 112, _INFINITE, "level"),
    "largest band heard in rooms": ("dB re 20 µPa", -_INFINITE, 20, 85, _INFINITE),
    "largest band of floors": ("dB re 1 nm/s", -_INFINITE, 45, 112, _INFINITE, "level"),
    "band off its neighbours": ("dB", -_INFINITE, -20, 20, _INFINITE, "step"),
    "outermost band off its neighbour": ("dB", -_INFINITE, -30, 30, _INFINITE, "step"),
    # What a building without measures comes to
    "sound without measures": ("dB(A)", -_INFINITE, -_INFINITE, 60, _INFINITE, "level"),
    "floor without measures": ("dB re 1 nm/s", -_INFINITE, -_INFINITE, 112, _INFINITE, "level"),
    # Mounts and constructions
    "loss factor of steel": ("", 0, 0.002, 0.15, 1),
    "loss factor of rubber": ("", 0, 0.02, 0.4, 1),
    "deflection of mounts or hangers": ("m", 1e-6, 0.0018, 0.04, 1),
    "deflection of elements": ("m", 1e-6, 0.0003, 0.02, 1),
    "use of capacity": ("", 0, 0.15, 1, 10),
    "density of boards": ("kg/m³", 10, 300, 2700, 25000),
    "frequency of a wall on strips": ("Hz", 0.05, 2, 20, 300),
    "frequency of a wall with its air": ("Hz", 0.05, 5, 30, 300),
    "strips of a wall over its air": ("", 0, 0.02, 1, _INFINITE),
    "distance of jacks": ("m", 0.05, 0.25, 4, 100),
    "load of jacks per area": ("kN/m²", 0.02, 0.8, 15, 500),
    "least load of mounts over the present": ("", 1e-9, 0.02, 1, 1000, "N for N"),
    "most load of mounts over the present": ("", 0.1, 0.8, 30, 1e4, "N for N"),
    "load of a column over its neighbours": ("", 0, 0.2, 5, _INFINITE),
    "spread of a survey": ("mm", 0, 1, 150, _INFINITE, "zero"),
}

MARKS = {
    "largest band": "US FTA 2006 [seen], section 10.1: at most 123 dB in all at 3 m",
    "median of largest bands": "US FTA 2006 [seen], section 10.1: rapid transit at 3 m at "
    "most 110 dB in all",
    "floor without measures": "US FTA 2006 [seen], Table 8-3: 112 dB, limit of offices",
    "wave speed of a thin wall": "Hopkins 2007 [seen second-hand], Table A2: boards",
}
"""Sources of usual ranges that have one."""


def _quantity(name: str, row: Row) -> Quantity:
    unit, least, low, high, most = row[:5]
    return Quantity(
        unit=unit,
        usual=(low, high),
        possible=(least, most),
        zero="zero" in row[5:],
        slips=next((word for word in row[5:] if word != "zero"), None),
        mark=MARKS.get(name, PRACTICE),
    )


DERIVED: dict[str, Quantity] = {name: _quantity(name, row) for name, row in _DERIVED.items()}
"""Every quantity by its name."""


def derived(name: str) -> Quantity:
    """Bounds of what follows from several numbers, such as the load of a column per area."""
    return DERIVED[name]
