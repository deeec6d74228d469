"""Keys of the building: its tables, its structure on the soil, and where it can be isolated."""

from __future__ import annotations

from groundborne.csv_columns import COLUMNS, FLOOR_LOADS, FLOORS, REGISTER, ROOMS, STOREYS
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.isolation.bypass import TWO_STAGE_LIMIT
from groundborne.isolation.crossings import UNLISTED_SHARE
from groundborne.key import ABSENT, KeyTable, Range, choice, number, table, text, where
from groundborne.structure.phases import APPARENT_SPEED, KINDS
from groundborne.structure.slab import LOADS
from groundborne.study.bypass import BYPASSES

_SPAN: Range = (0.3, 3, 20, 200)
_MODULUS: Range = (1e8, 8e9, 2.2e11, 1e12)
_COLUMN_DENSITY: Range = (50, 400, 8000, 25000)
_EN_1990 = "EN 1990 [seen second-hand], Table A1.1: psi2 and 1"
_MOVES = ("of the imposed loads that moves, in the load the mounts are tuned on; needed unless the "
          "tables of loads have a column category or imposed_share")  # fmt: skip

BUILDING = KeyTable(
    (
        table("floors", FLOORS, "CSV table of the floors, lowest first", kind="file"),
        table("rooms", ROOMS, "CSV table of the rooms", kind="file"),
        table("columns", COLUMNS, "CSV table of the columns and their loads", kind="file",
              optional=True),
        table("floor_loads", FLOOR_LOADS, "CSV table of what each floor adds to each column: the "
              "loads at the isolation plane and the masses of [structure] follow from it",
              kind="file", optional=True),
        table("register", REGISTER, "CSV table of all that crosses the isolation plane, with who "
              "sees to it and how far that is", kind="file", optional=True),
    )
)  # fmt: skip

BASEMENT_WALLS = KeyTable(
    (
        number("height_m", "height", "m", (0.1, 2, 8, 60), "of the walls, cast with the raft"),
        number("thickness_m", "thickness", "m", (0.01, 0.15, 0.8, 5), "of the walls"),
        number("spacing_m", "spacing", "m", (0.3, 3, 20, 200), "from wall to wall, both ways"),
    )
)  # fmt: skip

_PADS = text(
    "pads_and_strips", "", "whether it stands for pads and strips taken together: each is small "
    "against the waves in the ground, and none is shared by columns", kind="flag", default=False,
)  # fmt: skip


def _foundation(*rafts: str) -> KeyTable:
    """Of soil and of springs; under column lines also a raft on the one and on the other."""
    footings = ("rectangular footing", *rafts[:1])
    springs = ("springs and dashpots", *rafts[1:])
    rigid = ("rectangular footing", "springs and dashpots")
    bends = (
        number("thickness_m", "thickness", "m", (0.03, 0.25, 4, 20), "of the raft"),
        number("concrete_modulus_pa", "youngs_modulus", "Pa", (1e8, 1.5e10, 5e10, 1e12),
               "of the raft, dynamic"),
        number("concrete_density_kg_m3", "density", "kg/m³", (300, 1800, 2700, 25000),
               "of the raft"),
        number("concrete_poisson", "poisson", "", (0, 0.1, 0.3, 0.499), "of the raft", zero=True,
               slips="share"),
        number("concrete_loss_factor", "loss_factor", "", (2e-4, 0.01, 0.15, 1), "of the raft",
               slips="share"),
        number("superimposed_kg_m2", "superimposed_mass", "kg/m²", (0, 25, 3000, 1e5),
               "what lies on the raft and moves with it", zero=True, default=0.0),
        table("basement_walls", BASEMENT_WALLS, "that stiffen the raft in both directions",
              optional=True),
    )  # fmt: skip
    return KeyTable(
        (
            choice("model", "", (*rigid, *rafts),
                   "of the whole building; springs stand for all columns together"
                   + ("; a raft bends between columns, the others are rigid" if rafts else "")),
            *where(
                "model", ("rectangular footing", *rafts),
                number("length_m", "length", "m", (0.1, 0.5, 150, 2000), "longer side"),
                number("width_m", "width", "m", (0.1, 0.5, 100, 2000), "shorter side"),
            ),
            *where(
                "model", footings,
                number("embedment_m", "embedment", "m", (0, 0.3, 9, 100), "of its base", zero=True,
                       default=0.0),
                number("shear_wave_speed_m_s", "shear_wave_speed", "m/s", (10, 70, 1500, 5000),
                       "of the soil at small strain"),
                number("density_kg_m3", "density", "kg/m³", (300, 1200, 2700, 10000),
                       "of the soil"),
                number("poisson", "poisson", "", (0, 0.1, 0.499, 0.499), "of the soil",
                       slips="share"),
                number("loss_factor", "loss_factor", "", (0, 0.01, 0.3, 1), "of the soil",
                       zero=True, slips="share"),
            ),
            *where(
                "model", springs,
                number("stiffness_n_m", "stiffness", "N/m", (1e5, 1e7, 1e13, 1e15),
                       "dynamic stiffness"),
                number("damping_n_s_m", "damping", "N s/m", (0, 1e5, 1e11, 1e14),
                       "of the dashpots", zero=True, default=0.0),
                number("loss_factor", "loss_factor", "", (0, 0.01, 0.3, 1), "of the springs",
                       zero=True, slips="share", default=0.0),
            ),
            *where(
                "model", rigid,
                number("mass_kg", "mass", "kg", (0, 500, 3e8, 1e11), "of the foundation itself",
                       zero=True, default=0.0),
            ),
            *(where("model", "rectangular footing", _PADS) if rafts else ()),
            *(where("model", rafts, *bends) if rafts else ()),
        )
    )  # fmt: skip


FOUNDATION = _foundation("raft", "raft on piles")
BELOW = _foundation()

PHASES = KeyTable(
    (
        choice("model", "kind", KINDS, "how columns move against each other: all phases that the "
               "apparent speed or faster waves make; all phases; none; that of one wave",
               default="window"),
        *where(
            "model", ("window", "wave"),
            number("apparent_speed_m_s", "apparent_speed", "m/s", (10, 80, 3000, 10000),
                   "with which waves pass along the foundation; 200 of a window is fitted",
                   default=APPARENT_SPEED),
        ),
        *where(
            "model", "wave",
            number("direction_deg", "direction", "°", (-360, -180, 180, 360),
                   "of the wave in plan, from x towards y", zero=True),
        ),
        *where(
            "model", ("window", "uniform"),
            number("slab_scatter", "scatter", "", (0, 0.02, 0.2, 0.5), "standard deviation of "
                   "the slabs' natural frequencies from level to level", zero=True, slips="share",
                   default=0.0, uncertain=False),
            number("points", "points", "", (1, 3, 10, 40), "phases on each axis of the grid, a "
                   "whole number", default=3, uncertain=False),
        ),
    )
)  # fmt: skip

STRUCTURE = KeyTable(
    (
        table("storeys", STOREYS, "CSV table of slabs and the columns below, lowest first",
              kind="file"),
        number("span_x_m", "span_x", "m", _SPAN, "distance of columns along x"),
        number("span_y_m", "span_y", "m", _SPAN, "distance of columns along y"),
        number("slab_density_kg_m3", "density", "kg/m³", (50, 400, 3000, 25000), "of the slabs"),
        number("slab_poisson", "poisson", "", (0, 0.1, 0.4, 0.499), "of the slabs", zero=True,
               slips="share"),
        choice("slab_load", "load", LOADS, "how slabs load the columns", default=LOADS[0]),
        number("column_modulus_pa", "", "Pa", _MODULUS, "of the columns, dynamic"),
        number("column_density_kg_m3", "", "kg/m³", _COLUMN_DENSITY, "of the columns"),
        number("column_loss_factor", "", "", (1e-5, 0.004, 0.1, 1), "of the columns",
               slips="share"),
        number("foundation_share", "", "", (1e-6, 1e-3, 1, 1),
               "of one line, where there is no column table", default=None, slips="share"),
        table("foundation", FOUNDATION, "of the whole building"),
        table("phases", PHASES, "how the columns of the grid move against each other",
              optional=True),
    )
)  # fmt: skip

ABOVE = KeyTable(
    (
        choice("model", "", ("rigid mass", "semi-infinite columns"),
               "what stands on the mounts"),
        *where(
            "model", "semi-infinite columns",
            number("area_m2", "area", "m²", (1e-4, 0.05, 100, 1e4), "of all columns"),
            number("youngs_modulus_pa", "youngs_modulus", "Pa", _MODULUS,
                   "of the columns, dynamic"),
            number("density_kg_m3", "density", "kg/m³", _COLUMN_DENSITY, "of the columns"),
        ),
    )
)  # fmt: skip

LOAD = KeyTable(
    (
        *where(
            "mass_kg", ABSENT,
            number("imposed_share", "", "", (0, 0.2, 1, 1),
                   _MOVES, zero=True, slips="share", mark=_EN_1990, default=None),
        ),
        *where(
            "/structure", ABSENT,
            number("mass_kg", "", "kg", (100, 2e4, 5e8, 1e10), "on all mounts, without columns",
                   default=None),
        ),
    )
)  # fmt: skip

ONE_WAY = (
    number("bending_stiffness_n_m", "bending_stiffness", "N m", (1e3, 1e5, 1e9, 1e11),
           "along the span, of a metre of width: E I over the spacing of the joists"),
    number("cross_stiffness_n_m", "cross_stiffness", "N m", (10, 500, 1e8, 1e11),
           "across, of a metre: of boarding or topping alone"),
    number("own_mass_kg_m2", "own_mass", "kg/m²", (3, 15, 800, 1e4),
           "joists and boarding"),
)  # fmt: skip
"""Of a slab that spans between two supports."""

SLAB = KeyTable(
    (
        choice("model", "", ("flat", "on edges", "one way"),
               "on columns, on four edges, or between two supports (joists, hollow blocks, decks)"),
        number("span_x_m", "span_x", "m", _SPAN, "of the joists or ribs, or along x"),
        number("span_y_m", "span_y", "m", _SPAN, "along the supports, or along y"),
        *where(
            "model", ("flat", "on edges"),
            number("thickness_m", "thickness", "m", (0.005, 0.08, 0.8, 10), "of the slab"),
            number("density_kg_m3", "density", "kg/m³", (50, 400, 3000, 25000), "of the slab"),
            number("youngs_modulus_pa", "youngs_modulus", "Pa", (1e8, 5e9, 6e10, 1e12),
                   "of the slab, dynamic"),
            number("poisson", "poisson", "", (0, 0.1, 0.4, 0.499), "of the slab", zero=True,
                   slips="share"),
        ),
        *where(
            "model", "one way", *ONE_WAY,
        ),
        number("loss_factor", "loss_factor", "", (2e-4, 0.01, 0.2, 1),
               "with all that is built on it", slips="share"),
        number("superimposed_kg_m2", "superimposed_mass", "kg/m²", (0, 25, 1000, 20000),
               "finishes, partitions and the share of imposed load", zero=True, default=0.0),
    )
)  # fmt: skip

CROSSING = KeyTable(
    (
        text("name", "name", "what it is"),
        number("stiffness_n_m", "stiffness", "N/m", (0, 1e4, 1e10, 1e13),
               "vertical dynamic stiffness of all of it together", zero=True, default=0.0),
        number("loss_factor", "loss_factor", "", (0, 0.005, 0.5, 1), "of that stiffness",
               zero=True, slips="share", default=0.1),
        number("damping_n_s_m", "damping", "N s/m", (0, 1e2, 1e9, 1e12),
               "viscous, of all of it together", zero=True, default=0.0),
        text("columns", "columns", "beside which it crosses, in equal parts; all by area if left "
             "out", default=(), kind="texts"),
    ),
    label="name",
)  # fmt: skip

_BYPASS = (
    text("all_crossings_listed", "", "whether nothing else crosses the plane than what is listed; "
         "else a share of the mounts' stiffness is counted beside it", default=False, kind="flag"),
    number("unlisted_share", "", "", (0, 0.01, 1, 10), "stiffness of crossings that nobody listed "
           f"over that of the mounts; {UNLISTED_SHARE:g} if left out, common practice",
           default=None, slips="share"),
    choice("bypass", "", BYPASSES, "energy that arrives beside the mounts: the way that limits one "
           f"stage ({SINGLE_STAGE_LIMIT:g} dB) or two ({TWO_STAGE_LIMIT:g} dB), one that is "
           "stated, or none", default=BYPASSES[0]),
    *where(
        "bypass", "stated",
        number("bypass_db", "", "dB", (3, 15, 40, 120),
               "how far it lies below what arrives without isolation"),
    ),
    *where(
        "bypass", BYPASSES[1:],
        text("bypass_source", "", "where that is known from"),
    ),
)  # fmt: skip

ISOLATION = KeyTable(
    (
        text("lowest_isolated_floor", "", "floor whose slab rests on the mounts"),
        table("load", LOAD, "what the mounts carry"),
        table(
            "crossings",
            CROSSING,
            "what crosses the plane beside the mounts of every option: "
            "stairs, risers, facade, soil, dampers, stops",
            kind="tables",
            optional=True,
        ),
        *_BYPASS,
        *where(
            "/structure",
            ABSENT,
            table("below", BELOW, "mobility of the ground under the mounts"),
            table("above", ABOVE, "mobility of the building on the mounts"),
        ),
    )
)

PART_ISOLATION = KeyTable(
    (
        text("lowest_isolated_floor", "", "floor whose slab rests on the mounts"),
        number("imposed_share", "", "", (0, 0.2, 1, 1),
               _MOVES, zero=True, slips="share", mark=_EN_1990, default=None),
        table("crossings", CROSSING, "what crosses the plane beside the mounts", kind="tables",
              optional=True),
        *_BYPASS,
    )
)  # fmt: skip
