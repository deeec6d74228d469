"""Keys of the options: mounts under the building, measures in its rooms."""

from __future__ import annotations

from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.isolation.rooms.air import AIR_LOSS_FACTOR
from groundborne.key import (
    ABSENT,
    GIVEN,
    Key,
    KeyTable,
    Range,
    choice,
    free_number,
    number,
    table,
    text,
    where,
)
from groundborne.study.keys.equipment import OPTION_EQUIPMENT
from groundborne.study.keys.structure import ONE_WAY

_SHARE_LOSS: Range = (1e-5, 0.02, 0.4, 1)
_TIMES: Range = (1, 1, 3, 5)
_APART: Range = (0.05, 0.3, 3, 20)
_SPAN: Range = (0.3, 2, 20, 200)

_FACTOR: Range = (0.5, 0.9, 1.6, 3)

SERVICE = KeyTable(
    (
        number("amplitude_factor", "", "", _FACTOR, "stiffness at the strain of trains over that "
               "as tested", default=None),
        number("hardness_irhd", "", "IRHD", (40, 40, 75, 90), "of the rubber, for the same from "
               "'test_strain'", default=None),
        number("test_strain", "", "", (1e-7, 1e-6, 0.1, 0.5), "amplitude of the test behind the "
               "stiffness", slips="share", default=None),
        number("temperature_factor", "", "", _FACTOR, "stiffness at the temperature in service "
               "over that as tested", default=None),
        number("temperature_c", "", "°C", (-10, 0, 30, 40), "in service, for the same", zero=True,
               default=None),
        number("test_temperature_c", "", "°C", (-10, 10, 30, 40), "of the test; 23 if left out",
               zero=True, default=None),
        number("age_factor", "", "", _FACTOR, "stiffness at the end of life over that when new; "
               "ratings are then of the worse of both", default=None),
        number("years", "", "a", (0, 10, 60, 60), "of life, for the same of natural rubber",
               zero=True, default=None),
        number("tolerance_factor", "", "", (0.5, 0.75, 1.25, 3), "stiffness as delivered over that "
               "stated", default=None),
        number("reference_frequency_hz", "", "Hz", (0.3, 1, 100, 500), "at which the stiffness "
               "holds: it then follows the law that goes with the loss factor; without, it is the "
               "same at all frequencies", default=None),
    )
)  # fmt: skip

BASE = KeyTable(
    (
        number("natural_frequency_hz", "natural_frequency", "Hz", (0.3, 2.5, 20, 100),
               "on a rigid base, under the load of the mounts"),
        number("loss_factor", "loss_factor", "", (1e-5, 0.004, 0.4, 1), "of the mounts",
               slips="share"),
        number("dynamic_to_static", "dynamic_to_static", "", _TIMES,
               "dynamic over static stiffness", default=1.0),
        number("own_mass_kg_per_mn", "own_mass_per_load", "kg/MN", (0, 40, 1500, 1e5),
               "mass of what gives way, by load; without, mounts have no surge, and a note says so",
               zero=True, default=0.0, scale=1e-6),
        number("travel_to_solid_m", "travel_to_solid", "m", (1e-4, 0.003, 0.15, 1),
               "to where mounts go solid; the static deflection has to stay below", default=None),
        number("horizontal_ratio", "", "", (0.001, 0.05, 1.5, 10), "horizontal over vertical "
               "stiffness of the mounts; without it what [path.horizontal] says stays as built",
               default=None),
        table("service", SERVICE, "what makes rubber stiffer in the building than on the test "
              "bench; mounts are tuned as tested", optional=True),
    )
)  # fmt: skip

SLAB = KeyTable(
    (
        choice("on", "", ("columns", "edges", "two supports"),
               "a flat slab, one on walls or beams, or joists, ribs and decks"),
        number("span_x_m", "span_x", "m", _SPAN, "along x, or of the joists"),
        number("span_y_m", "span_y", "m", _SPAN, "along y, or along the supports"),
        *where(
            "on", ("columns", "edges"),
            number("thickness_m", "thickness", "m", (0.005, 0.018, 0.8, 10), "of the slab"),
            number("density_kg_m3", "density", "kg/m³", (50, 400, 3000, 25000), "of the slab"),
            number("youngs_modulus_pa", "youngs_modulus", "Pa", (1e8, 2e9, 6e10, 1e12),
                   "of the slab, dynamic"),
            number("poisson", "poisson", "", (0, 0.1, 0.4, 0.499), "of the slab", zero=True,
                   slips="share"),
        ),
        *where("on", "two supports", *ONE_WAY),
        number("loss_factor", "loss_factor", "", (2e-4, 0.01, 0.2, 1), "of the slab",
               slips="share"),
        number("superimposed_kg_m2", "superimposed_mass", "kg/m²", (0, 25, 1000, 20000),
               "mass that lies on it", zero=True, default=0.0),
    )
)  # fmt: skip

BOARD = KeyTable(
    (
        number("thickness_m", "thickness", "m", (5e-4, 0.006, 0.06, 1), "of the board",
               uncertain=False),
        number("density_kg_m3", "density", "kg/m³", (50, 350, 2500, 25000), "of the board",
               uncertain=False),
        number("youngs_modulus_pa", "youngs_modulus", "Pa", (1e7, 1e9, 1.5e10, 1e12),
               "of the board", uncertain=False),
    )
)  # fmt: skip

_BY_FREQUENCY = (
    number("natural_frequency_hz", "natural_frequency", "Hz", (0.3, 4, 30, 100), "of the layer"),
    number("loss_factor", "loss_factor", "", _SHARE_LOSS, "of the layer", slips="share"),
)
_LARGEST = number(
    "largest_loss_db", "", "dB", (0, 10, 40, 60), "beyond which no single stage goes",
    default=SINGLE_STAGE_LIMIT,
)  # fmt: skip
_AIR = choice("air_state", "air_state", AIR_LOSS_FACTOR, "of the air behind", default="sealed")


def _dynamic(name: str = "dynamic_to_static") -> Key:
    return number(
        name, name, "", _TIMES, "dynamic over static stiffness of the mounts", default=None
    )


def _surface(constructions: dict[str, tuple[Key, ...]], *, slab: str = "") -> KeyTable:
    """A surface by its natural frequency, or by one of its constructions."""
    on_slab: tuple[Key, ...] = ()
    if slab:
        words = f"{slab} the room, only where floors do not follow column lines"
        on_slab = (table("slab", SLAB, words, optional=True),)
    return KeyTable(
        (
            choice(
                "construction",
                "",
                constructions,
                "how it is built, in place of a natural frequency",
                default=None,
            ),
            *where("construction", ABSENT, *_BY_FREQUENCY),
            *(
                row
                for name, keys in constructions.items()
                for row in where("construction", name, *keys)
            ),
            *where("construction", GIVEN, _AIR, *on_slab),
            _LARGEST,
        )
    )


_SUPERIMPOSED = number(
    "superimposed_kg_m2", "superimposed_mass", "kg/m²", (0, 5, 500, 1e4), "mass that lies on it",
    zero=True, default=None,
)  # fmt: skip
_IMPOSED = number(
    "imposed_n_m2", "imposed_load", "N/m²", (0, 750, 10000, 1e6), "characteristic imposed load",
    zero=True, default=None,
)  # fmt: skip
_AIR_GAP = number(
    "air_gap_m", "air_gap", "m", (0.001, 0.025, 0.5, 5), "between floor and slab"
)  # fmt: skip

FLOOR = _surface(
    {
        "jack-up concrete": (
            number("thickness_m", "thickness", "m", (0.005, 0.05, 0.3, 3), "of the slab"),
            number("density_kg_m3", "density", "kg/m³", (50, 1000, 3000, 25000), "of the slab"),
            number("youngs_modulus_pa", "youngs_modulus", "Pa", (1e7, 1e10, 5e10, 1e12),
                   "of the slab, dynamic"),
            number("mount_stiffness_n_m", "mount_stiffness", "N/m", (100, 3e4, 2e7, 1e10),
                   "of one mount"),
            number("mount_loss_factor", "mount_loss_factor", "", _SHARE_LOSS, "of the mounts",
                   slips="share"),
            number("spacing_x_m", "spacing_x", "m", _APART, "of the mounts"),
            number("spacing_y_m", "spacing_y", "m", _APART, "of the mounts"),
            _AIR_GAP,
            _SUPERIMPOSED,
            number("finish_m", "finish_thickness", "m", (0, 0.003, 0.12, 1), "depth of finishes",
                   zero=True, default=None),
            _IMPOSED,
            number("mount_capacity_n", "mount_capacity", "N", (10, 500, 1e5, 1e8), "of one mount",
                   default=None),
            _dynamic(),
            number("poisson", "poisson", "", (0, 0.1, 0.4, 0.499), "of the slab", zero=True,
                   default=None, slips="share"),
        ),
        "boards on battens": (
            table("boards", BOARD, "layers from above", kind="tables"),
            number("batten_kg_m", "batten_mass", "kg/m", (0.01, 0.5, 20, 500), "of a batten"),
            number("batten_height_m", "batten_height", "m", (0.002, 0.02, 0.2, 2), "of a batten"),
            number("batten_spacing_m", "batten_spacing", "m", (0.05, 0.2, 1.2, 20), "of battens"),
            number("element_spacing_m", "element_spacing", "m", (0.05, 0.2, 1.5, 20),
                   "along a batten"),
            number("element_stiffness_n_m", "element_stiffness", "N/m", (100, 1e4, 1e7, 1e10),
                   "of one element"),
            number("element_loss_factor", "element_loss_factor", "", _SHARE_LOSS, "of elements",
                   slips="share"),
            number("element_height_m", "element_height", "m", (0.001, 0.01, 0.15, 2),
                   "of an element"),
            _AIR_GAP,
            text("joints_staggered", "joints_staggered", "of the boards", default=True,
                 kind="flag"),
            _SUPERIMPOSED,
            _IMPOSED,
            number("element_capacity_n", "element_capacity", "N", (10, 100, 2e4, 1e8),
                   "of one element", default=None),
            _dynamic(),
        ),
    },
    slab="under",
)  # fmt: skip

WALLS = _surface(
    {
        "leaf on strips": (
            number("leaf_kg_m2", "leaf_mass", "kg/m²", (0.5, 8, 400, 5000), "of the leaf"),
            number("leaf_m", "leaf_thickness", "m", (0.001, 0.009, 0.3, 3), "of the leaf"),
            number("height_m", "height", "m", (0.3, 2, 15, 100), "of the wall"),
            number("strip_stiffness_n_m2", "strip_stiffness", "N/m²", (100, 1e4, 1e7, 1e10),
                   "of the strips, by length"),
            number("cavity_m", "cavity_depth", "m", (0.001, 0.025, 0.6, 10), "behind the leaf"),
            number("loss_factor", "loss_factor", "", _SHARE_LOSS, "of strips and ties",
                   slips="share"),
            number("ties_per_m2", "ties", "per m²", (0, 0.2, 6, 100), "to the wall behind",
                   zero=True, default=None),
            number("tie_stiffness_n_m", "tie_stiffness", "N/m", (0, 1e4, 1e7, 1e10), "of one tie",
                   zero=True, default=None),
        ),
    }
)  # fmt: skip

CEILING = _surface(
    {
        "hung boards": (
            number("boards_kg_m2", "board_mass", "kg/m²", (0.5, 8, 150, 5000), "of all boards"),
            number("spacing_x_m", "spacing_x", "m", _APART, "of the hangers"),
            number("spacing_y_m", "spacing_y", "m", _APART, "of the hangers"),
            number("cavity_m", "cavity_depth", "m", (0.001, 0.08, 2, 20), "over the boards"),
            number("loss_factor", "loss_factor", "", _SHARE_LOSS, "of the hangers",
                   slips="share"),
            number("hanger_deflection_m", "hanger_deflection", "m", (1e-4, 0.003, 0.06, 0.5),
                   "under the ceiling; it or the stiffness is needed", default=None),
            number("hanger_stiffness_n_m", "hanger_stiffness", "N/m", (100, 3e3, 1e6, 1e9),
                   "of one hanger", default=None),
            _dynamic(),
            number("frame_kg_m2", "frame_mass", "kg/m²", (0, 1, 30, 1000), "of the frame",
                   zero=True, default=None),
            number("boards_m", "board_thickness", "m", (0, 0.009, 0.15, 2), "of all boards",
                   zero=True, default=None),
            number("edge_offset_m", "edge_offset", "m", (0, 0.03, 1.5, 10),
                   "of the first hangers from the wall", zero=True, default=None),
            number("hanger_capacity_n", "hanger_capacity", "N", (1, 50, 2e4, 1e7),
                   "of one hanger", default=None),
        ),
    },
    slab="over",
)  # fmt: skip

MEASURE = KeyTable(
    (
        text("measure", "", "what it is, for the report", default="room isolation"),
        text("rooms", "", "labels of the rooms that get it", kind="texts"),
        table("floor", FLOOR, "the whole floor", optional=True),
        table("walls", WALLS, "all walls", optional=True),
        table("ceiling", CEILING, "the whole ceiling", optional=True),
    ),
    label="measure",
)

OPTION = KeyTable(
    (
        text("name", "name", "short and unique"),
        text("description", "description", "for the report", default=""),
        free_number(
            "cost",
            "cost",
            "in the currency of the study, 0 or more; prices are of their place and year",
            "of the option over that of the building without any",
            kind="number",
            default=None,
        ),
        *where(
            "cost", GIVEN, text("cost_source", "cost_source", "whose number that is, and of when")
        ),
        table("base", BASE, "mounts under the building", optional=True),
        table(
            "bases",
            table("*", BASE, "mounts under the part"),
            "mounts by part of the building, where several can be isolated",
            kind="named",
            optional=True,
        ),
        table("rooms", MEASURE, "measures in rooms", kind="tables", optional=True),
        table(
            "equipment",
            OPTION_EQUIPMENT,
            "mounts of equipment, in place of those it has",
            kind="tables",
            optional=True,
        ),
        table(
            "changes",
            text("*", "", "in place of that of the building", kind="value"),
            "keys of the building that are otherwise with the option: of structure, slabs, parts, "
            "path, isolation.crossings, storeys and floors, by the way to them, such as "
            "slabs.hall.thickness_m = 0.3 or storeys.superimposed_kg_m2 = 400",
            kind="named",
            optional=True,
        ),
    ),
    label="name",
)
