"""Usual and possible values of every key and column, and of what follows from several of them.

A row is: unit, least possible, least usual, largest usual, largest possible, and "zero" where
exactly 0 stands for "none"; last what may have happened to a number outside, where that does not
follow from its unit (see :attr:`groundborne.usual_ranges.Quantity.slips`). Names are
``table.key`` of the study file or ``table.column`` of a CSV file; ``*`` stands for names of the
user's own. Ranges are common practice unless :data:`MARKS` names a source. Possible ranges are
wide: they refuse what cannot be built, not what is bold.
"""

from __future__ import annotations

from fnmatch import fnmatchcase
from functools import lru_cache
from typing import Any

from groundborne.usual_ranges import PRACTICE, Quantity

Row = tuple[Any, ...]

_INFINITE = float("inf")

_STUDY: dict[str, Row] = {
    "bands.low_hz": ("Hz", 0.1, 1, 31.5, 1000),
    "bands.high_hz": ("Hz", 1, 31.5, 1000, 20000),
    "periods.*.hours": ("h", 0.01, 1, 24, 24),
    "periods.*.trains.*": ("trains", 0, 1, 3000, 1e5, "zero"),
    "criteria.*.percentile": ("", 0, 50, 99, 100, "percent"),
    "isolation.load.imposed_share": ("", 0, 0.2, 1, 1, "zero", "share"),
    "isolation.load.mass_kg": ("kg", 100, 2e4, 5e8, 1e10),
    "isolation.above.area_m2": ("m²", 1e-4, 0.05, 100, 1e4),
    "isolation.above.youngs_modulus_pa": ("Pa", 1e8, 8e9, 2.2e11, 1e12),
    "isolation.above.density_kg_m3": ("kg/m³", 50, 400, 8000, 25000),
}

_PATH: dict[str, Row] = {
    "path.ground.distance_m": ("m", 0.1, 3, 300, 1e4),
    "path.ground.measured_distance_m": ("m", 0.1, 3, 300, 1e4),
    "path.ground.exponent": ("", 0, 0.1, 1.5, 5, "zero"),
    "path.ground.damping_ratio": ("", 0, 0.003, 0.08, 0.5, "zero", "share"),
    "path.ground.wave_speed_m_s": ("m/s", 10, 60, 1500, 7000),
    "path.ground.source_extent_m": ("m", 0, 3, 500, 1e4, "zero"),
    "path.speed.speed_km_h": ("km/h", 1, 15, 350, 700),
    "path.speed.measured_speed_km_h": ("km/h", 1, 15, 350, 700),
    "path.speed.slope_db_per_decade": ("dB", 0, 10, 40, 150, "zero"),
    "path.coupling.loss_db": ("dB", -60, -15, 30, 100),
    "path.storeys.change_db": ("dB", -100, -30, 25, 60),
    "path.storeys.per_storey_db": ("dB", 0, 0.5, 4, 30, "zero"),
    "path.*.gain_db": ("dB", -100, -25, 30, 60),
    "path.*.natural_frequencies_hz": ("Hz", 0.3, 4, 80, 300),
    "path.radiation.slabs.longitudinal_wave_speed_m_s": ("m/s", 300, 1400, 5300, 13000),
    "path.radiation.walls.longitudinal_wave_speed_m_s": ("m/s", 300, 1400, 5300, 13000),
    "path.radiation.walls.thickness_m": ("m", 5e-4, 0.009, 0.5, 5),
    "path.radiation.walls.radiating_share": ("", 0, 0.2, 1, 1, "share"),
}

_STRUCTURE: dict[str, Row] = {
    "structure.span_x_m": ("m", 0.3, 3, 20, 200),
    "structure.span_y_m": ("m", 0.3, 3, 20, 200),
    "structure.slab_density_kg_m3": ("kg/m³", 50, 400, 3000, 25000),
    "structure.slab_poisson": ("", 0, 0.1, 0.4, 0.499, "zero", "share"),
    "structure.column_modulus_pa": ("Pa", 1e8, 8e9, 2.2e11, 1e12),
    "structure.column_density_kg_m3": ("kg/m³", 50, 400, 8000, 25000),
    "structure.column_loss_factor": ("", 1e-5, 0.004, 0.1, 1, "share"),
    "structure.foundation_share": ("", 1e-6, 1e-3, 1, 1, "share"),
}

_FOUNDATION: dict[str, Row] = {
    "length_m": ("m", 0.1, 0.5, 150, 2000),
    "width_m": ("m", 0.1, 0.5, 100, 2000),
    "embedment_m": ("m", 0, 0.3, 9, 100, "zero"),
    "mass_kg": ("kg", 0, 500, 3e8, 1e11, "zero"),
    "shear_wave_speed_m_s": ("m/s", 10, 70, 1500, 5000),
    "density_kg_m3": ("kg/m³", 300, 1200, 2700, 10000),
    "poisson": ("", 0, 0.1, 0.499, 0.499, "share"),
    "loss_factor": ("", 0, 0.01, 0.3, 1, "zero", "share"),
    "stiffness_n_m": ("N/m", 1e5, 1e7, 1e13, 1e15),
    "damping_n_s_m": ("N s/m", 0, 1e5, 1e11, 1e14, "zero"),
}

_OPTIONS: dict[str, Row] = {
    "base.natural_frequency_hz": ("Hz", 0.3, 2.5, 20, 100),
    "base.loss_factor": ("", 1e-5, 0.004, 0.4, 1, "share"),
    "base.dynamic_to_static": ("", 1, 1, 3, 5),
    "base.own_mass_kg_per_mn": ("kg/MN", 0, 40, 1500, 1e5, "zero"),
    "base.travel_to_solid_m": ("m", 1e-4, 0.003, 0.15, 1),
    "rooms.*.slab.span_x_m": ("m", 0.3, 2, 20, 200),
    "rooms.*.slab.span_y_m": ("m", 0.3, 2, 20, 200),
    "rooms.*.slab.thickness_m": ("m", 0.005, 0.018, 0.8, 10),
    "rooms.*.slab.density_kg_m3": ("kg/m³", 50, 400, 3000, 25000),
    "rooms.*.slab.youngs_modulus_pa": ("Pa", 1e8, 2e9, 6e10, 1e12),
    "rooms.*.slab.poisson": ("", 0, 0.1, 0.4, 0.499, "zero", "share"),
    "rooms.*.slab.loss_factor": ("", 2e-4, 0.01, 0.2, 1, "share"),
    "rooms.*.slab.superimposed_kg_m2": ("kg/m²", 0, 25, 1000, 20000, "zero"),
    "rooms.*.natural_frequency_hz": ("Hz", 0.3, 4, 30, 100),
    "rooms.*.loss_factor": ("", 1e-5, 0.02, 0.4, 1, "share"),
    "rooms.*.largest_loss_db": ("dB", 0, 10, 40, 60),
    "rooms.floor.thickness_m": ("m", 0.005, 0.05, 0.3, 3),
    "rooms.floor.density_kg_m3": ("kg/m³", 50, 1000, 3000, 25000),
    "rooms.floor.youngs_modulus_pa": ("Pa", 1e7, 1e10, 5e10, 1e12),
    "rooms.floor.mount_stiffness_n_m": ("N/m", 100, 3e4, 2e7, 1e10),
    "rooms.floor.mount_loss_factor": ("", 1e-5, 0.02, 0.4, 1, "share"),
    "rooms.floor.mount_capacity_n": ("N", 10, 500, 1e5, 1e8),
    "rooms.floor.spacing_x_m": ("m", 0.05, 0.3, 3, 20),
    "rooms.floor.spacing_y_m": ("m", 0.05, 0.3, 3, 20),
    "rooms.floor.air_gap_m": ("m", 0.001, 0.025, 0.5, 5),
    "rooms.floor.superimposed_kg_m2": ("kg/m²", 0, 5, 500, 1e4, "zero"),
    "rooms.floor.finish_m": ("m", 0, 0.003, 0.12, 1, "zero"),
    "rooms.floor.imposed_n_m2": ("N/m²", 0, 750, 10000, 1e6, "zero"),
    "rooms.floor.dynamic_to_static": ("", 1, 1, 3, 5),
    "rooms.floor.poisson": ("", 0, 0.1, 0.4, 0.499, "zero", "share"),
    "rooms.floor.batten_kg_m": ("kg/m", 0.01, 0.5, 20, 500),
    "rooms.floor.batten_height_m": ("m", 0.002, 0.02, 0.2, 2),
    "rooms.floor.batten_spacing_m": ("m", 0.05, 0.2, 1.2, 20),
    "rooms.floor.element_spacing_m": ("m", 0.05, 0.2, 1.5, 20),
    "rooms.floor.element_stiffness_n_m": ("N/m", 100, 1e4, 1e7, 1e10),
    "rooms.floor.element_loss_factor": ("", 1e-5, 0.02, 0.4, 1, "share"),
    "rooms.floor.element_height_m": ("m", 0.001, 0.01, 0.15, 2),
    "rooms.floor.element_capacity_n": ("N", 10, 100, 2e4, 1e8),
    "rooms.floor.boards.thickness_m": ("m", 5e-4, 0.006, 0.06, 1),
    "rooms.floor.boards.density_kg_m3": ("kg/m³", 50, 350, 2500, 25000),
    "rooms.floor.boards.youngs_modulus_pa": ("Pa", 1e7, 1e9, 1.5e10, 1e12),
    "rooms.walls.leaf_kg_m2": ("kg/m²", 0.5, 8, 400, 5000),
    "rooms.walls.leaf_m": ("m", 0.001, 0.009, 0.3, 3),
    "rooms.walls.height_m": ("m", 0.3, 2, 15, 100),
    "rooms.walls.strip_stiffness_n_m2": ("N/m²", 100, 1e4, 1e7, 1e10),
    "rooms.walls.cavity_m": ("m", 0.001, 0.025, 0.6, 10),
    "rooms.walls.ties_per_m2": ("per m²", 0, 0.2, 6, 100, "zero"),
    "rooms.walls.tie_stiffness_n_m": ("N/m", 0, 1e4, 1e7, 1e10, "zero"),
    "rooms.ceiling.boards_kg_m2": ("kg/m²", 0.5, 8, 150, 5000),
    "rooms.ceiling.frame_kg_m2": ("kg/m²", 0, 1, 30, 1000, "zero"),
    "rooms.ceiling.boards_m": ("m", 0, 0.009, 0.15, 2, "zero"),
    "rooms.ceiling.spacing_x_m": ("m", 0.05, 0.3, 3, 20),
    "rooms.ceiling.spacing_y_m": ("m", 0.05, 0.3, 3, 20),
    "rooms.ceiling.hanger_deflection_m": ("m", 1e-4, 0.003, 0.06, 0.5),
    "rooms.ceiling.hanger_stiffness_n_m": ("N/m", 100, 3e3, 1e6, 1e9),
    "rooms.ceiling.hanger_capacity_n": ("N", 1, 50, 2e4, 1e7),
    "rooms.ceiling.cavity_m": ("m", 0.001, 0.08, 2, 20),
    "rooms.ceiling.edge_offset_m": ("m", 0, 0.03, 1.5, 10, "zero"),
    "rooms.ceiling.dynamic_to_static": ("", 1, 1, 3, 5),
}

_TABLES: dict[str, Row] = {
    "floors.storeys": ("storeys", 0, 0, 100, 300),
    "floors.height_m": ("m", -200, -40, 400, 2000),
    "floors.natural_frequency_hz": ("Hz", 0.3, 4, 40, 300),
    "floors.slab_thickness_m": ("m", 0.005, 0.08, 0.8, 10),
    "rooms.length_m": ("m", 0.3, 1.2, 60, 500),
    "rooms.width_m": ("m", 0.3, 1.2, 60, 500),
    "rooms.height_m": ("m", 0.5, 2, 20, 100),
    "rooms.volume_m3": ("m³", 0.1, 5, 30000, 1e6),
    "rooms.rt_s": ("s", 0.01, 0.15, 8, 30),
    "rooms.rt_*hz_s": ("s", 0.01, 0.15, 8, 30),
    "rooms.*_depth_limit_m": ("m", 0.003, 0.04, 1, 10),
    "columns.permanent_kn": ("kN", 1, 50, 50000, 1e6),
    "columns.imposed_kn": ("kN", 0, 5, 20000, 1e6, "zero"),
    "columns.structure_kn": ("kN", 0, 20, 50000, 1e6, "zero"),
    "columns.superimposed_kn": ("kN", 0, 5, 30000, 1e6, "zero"),
    "columns.wind*_kn": ("kN", -1e6, -20000, 20000, 1e6),
    "columns.accidental_kn": ("kN", -1e6, -50000, 50000, 1e6),
    "columns.panel_share": ("", 0.01, 0.1, 2, 10, "share"),
    "levels.storey_height_m": ("m", 0.05, 0.5, 8, 100),
    "levels.column_area_m2": ("m²", 1e-4, 0.005, 4, 100),
    "levels.slab_thickness_m": ("m", 0.005, 0.08, 0.8, 10),
    "levels.slab_modulus_pa": ("Pa", 1e8, 5e9, 6e10, 1e12),
    "levels.slab_loss_factor": ("", 2e-4, 0.01, 0.2, 1, "share"),
    "levels.superimposed_kg_m2": ("kg/m²", 0, 25, 1000, 20000, "zero"),
    "passbys.speed_kmh": ("km/h", 1, 8, 350, 700),
    "passbys.duration_s": ("s", 0.1, 1, 180, 3600),
    "jacks.load_kn": ("kN", 0.01, 0.2, 50, 1000),
    "survey.gap_mm": ("mm", 0, 5, 300, _INFINITE),
}

_COMPONENTS: dict[str, Row] = {
    "static_stiffness_n_m": ("N/m", 1e4, 5e4, 2e10, 1e11),
    "dynamic_stiffness_n_m": ("N/m", 1e4, 5e4, 2e10, 1e11),
    "loss_factor": ("", 0, 0.003, 0.4, 1, "share"),
    "own_mass_kg": ("kg", 0, 0.05, 3000, 1e4, "zero"),
    "least_load_n": ("N", 0, 100, 2e7, 5e7, "zero"),
    "rated_load_n": ("N", 1e2, 500, 2e7, 5e7),
    "largest_load_n": ("N", 1e2, 1000, 4e7, 5e7),
    "largest_deflection_m": ("m", 1e-4, 1e-3, 0.15, 0.3),
    "lateral_stiffness_n_m": ("N/m", 0, 1e4, 2e10, 1e11, "zero"),
    "height_m": ("m", 5e-3, 0.01, 0.8, 1.5),
    "plan_x_m": ("m", 1e-2, 0.04, 2, 3),
    "plan_y_m": ("m", 1e-2, 0.04, 2, 3),
    "stiffness_tolerance": ("", 0, 0.02, 0.35, 0.5, "zero", "share"),
    "creep_per_decade": ("", 0, 0.0005, 0.15, 0.3, "zero", "share"),
}

_DERIVED: dict[str, Row] = {
    # Rooms
    "room absorption coefficient": ("", 0.002, 0.04, 0.8, 1.5),
    "room height over storey": ("", 0.02, 0.4, 1.02, 1.02, "m for m"),
    "room height over shorter side": ("", 0.005, 0.05, 2.5, 50),
    "room longer over shorter side": ("", 0, 1, 7, 200),
    "rooms of a floor over plan": ("", 0, 0, 1.2, 1000, "m² for m²"),
    "room side over plan": ("", 0, 0, 1.1, 10, "m for m, from 0"),
    "room volume over box": ("", 0.02, 0.3, 1.3, 20, "m³ for m³"),
    # Floors and levels
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

EXEMPT = {
    "path.*.frequency_hz": "labels of bands, nominal or refused",
    "columns.x_m": "site coordinates begin anywhere; distances and plan areas are judged",
    "columns.y_m": "site coordinates begin anywhere; distances and plan areas are judged",
    "jacks.x_m": "coordinates begin anywhere; the load per area is judged",
    "jacks.y_m": "coordinates begin anywhere; the load per area is judged",
    "survey.x_m": "must lie within the jacks",
    "survey.y_m": "must lie within the jacks",
    "survey.level_mm": "levels begin anywhere; their spread is judged",
}
"""Numbers without a range, each with the reason."""

MARKS = {
    "bands.*": "ISO 14837-1:2005 [seen]: felt vibration 1 to 80 Hz, noise 16 to 250 Hz",
    "isolation.load.imposed_share": "EN 1990 [seen second-hand], Table A1.1: psi2 and 1",
    "path.radiation.*.longitudinal_wave_speed_m_s": "Hopkins 2007 [seen second-hand], Table A2",
    "derived.largest band": "US FTA 2006 [seen], section 10.1: at most 123 dB in all at 3 m",
    "derived.median of largest bands": "US FTA 2006 [seen], section 10.1: rapid transit at 3 m at "
    "most 110 dB in all",
    "derived.floor without measures": "US FTA 2006 [seen], Table 8-3: 112 dB, limit of offices",
    "derived.wave speed of a thin wall": "Hopkins 2007 [seen second-hand], Table A2: boards",
}
"""Sources of usual ranges that have one."""


def _quantities() -> dict[str, Quantity]:
    rows = {**_STUDY, **_PATH, **_STRUCTURE, **_TABLES}
    for place in ("structure.foundation", "isolation.below"):
        rows |= {f"{place}.{key}": row for key, row in _FOUNDATION.items()}
    rows |= {f"options.{key}": row for key, row in _OPTIONS.items()}
    rows |= {f"components.{key}": row for key, row in _COMPONENTS.items()}
    for name in [n for n in rows if n.startswith("columns.") and n.endswith("_kn")]:
        unit, *bounds = rows[name]
        bounds = [1e3 * b if isinstance(b, (int, float)) else b for b in bounds]
        rows[name.removesuffix("_kn") + "_n"] = (unit.removeprefix("k"), *bounds)
    rows |= {f"derived.{key}": row for key, row in _DERIVED.items()}
    return {name: _quantity(name, row) for name, row in rows.items()}


def _quantity(name: str, row: Row) -> Quantity:
    unit, least, low, high, most = row[:5]
    return Quantity(
        unit=unit,
        usual=(low, high),
        possible=(least, most),
        zero="zero" in row[5:],
        slips=next((word for word in row[5:] if word != "zero"), None),
        mark=next((m for n, m in MARKS.items() if fnmatchcase(name, n)), PRACTICE),
    )


QUANTITIES: dict[str, Quantity] = _quantities()
"""Every quantity, by ``place.name``."""


@lru_cache(maxsize=4096)
def find(place: str, name: str) -> Quantity | None:
    """Bounds of a key or column.

    Parameters
    ----------
    place : str
        Table of the study file (``structure.foundation``), or kind of CSV file (``rooms``).
    name : str
        Key or column.

    Returns
    -------
    Quantity or None
        None for what :data:`EXEMPT` names.

    Raises
    ------
    LookupError
        A name that is in neither: a number that a reader takes and nobody bounded.

    Examples
    --------
    >>> find("rooms", "rt_63hz_s").usual
    (0.15, 8)
    """
    full = f"{place}.{name}"
    if full in QUANTITIES:
        return QUANTITIES[full]
    for pattern, quantity in QUANTITIES.items():
        if "*" in pattern and fnmatchcase(full, pattern):
            return quantity
    if any(fnmatchcase(full, pattern) for pattern in EXEMPT):
        return None
    raise LookupError(f"{full} has no range in groundborne.usual_values")


def derived(name: str) -> Quantity:
    """Bounds of what follows from several numbers, such as the load of a column per area."""
    return QUANTITIES[f"derived.{name}"]
