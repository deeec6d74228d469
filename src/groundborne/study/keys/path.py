"""Keys of the path from the source to the room, step by step."""

from __future__ import annotations

from dataclasses import replace

from groundborne.csv_columns import TRANSFERS
from groundborne.key import (
    ABSENT,
    GIVEN,
    Key,
    KeyTable,
    Range,
    bands_row,
    choice,
    free_number,
    number,
    table,
    text,
    where as only,
)
from groundborne.propagation import FOUNDATIONS
from groundborne.propagation.walls import FACING_SHARE
from groundborne.receiver import RELATIONS
from groundborne.receiver.modal_field import PHASES, POSITIONS

_DISTANCE: Range = (0.1, 3, 300, 1e4)
_SPEED: Range = (1, 15, 350, 700)
_WAVE: Range = (300, 1400, 5300, 13000)
_HOPKINS = "Hopkins 2007 [seen second-hand], Table A2"
_CURVES = ("lower", "mean", "upper")

_PLAN = "site coordinates begin anywhere; distances are judged"

TRACK = KeyTable(
    (
        free_number("x_m", "", _PLAN, "corners of its centre line, in the plan of the columns",
                    kind="numbers"),
        free_number("y_m", "", _PLAN, "corners of its centre line", kind="numbers"),
        number("depth_m", "depth", "m", (0, 0, 60, 500),
               "of the rails below the level at which the source was measured", zero=True,
               default=0.0),
    )
)  # fmt: skip

GROUND = KeyTable(
    (
        *only("/track", None,
              number("distance_m", "distance", "m", _DISTANCE, "from track to building")),
        number("measured_distance_m", "reference_distance", "m", _DISTANCE,
               "from track to where the source was measured; from the rails on the slant where "
               "[track] has a depth"),
        number("exponent", "exponent", "", (0, 0.1, 1.5, 5), "of geometric attenuation",
               zero=True),
        number("damping_ratio", "damping_ratio", "", (0, 0.003, 0.08, 0.5), "of the soil",
               zero=True, slips="share"),
        number("wave_speed_m_s", "wave_speed", "m/s", (10, 60, 1500, 7000), "of the soil"),
        number("source_extent_m", "source_extent", "m", (0, 3, 500, 1e4),
               "length of track that radiates", zero=True, default=0.0),
        *only("/track", GIVEN,
              number("share_along_building", "share_along", "", (0, 0.3, 1, 1),
                     "of the decay that is left behind the nearest column; on rafts and box "
                     "basements 0.5", zero=True, slips="share", default=1.0)),
    )
)  # fmt: skip

SPEED = KeyTable(
    (
        number("speed_km_h", "speed", "km/h", _SPEED, "of the trains to predict"),
        number("measured_speed_km_h", "reference_speed", "km/h", _SPEED, "of those measured"),
        number("slope_db_per_decade", "slope", "dB", (0, 10, 40, 150), "level over speed",
               zero=True, default=20.0),
    )
)  # fmt: skip


def _spectrum(name: str, bounds: Range, meaning: str) -> tuple[Key, ...]:
    """A spectrum as two lists; where a table is named, of places that it has no row for."""
    lists = (
        bands_row(),
        number(name, "", "dB", bounds, meaning, kind="numbers"),
    )
    others = (replace(key, needed=False) for key in lists)
    return (
        *only("model", "given", *only("table", ABSENT, *lists)),
        *only("model", "given", *only("table", GIVEN, *others)),
    )


def _by_place(bounds: Range, meaning: str) -> tuple[Key, ...]:
    """A table by floor, room or column, which stands in place of the model where it has a row."""
    band = number("*", "", "dB", bounds, meaning)
    return (
        table("table", replace(TRANSFERS, bands=band),
              "CSV table by floor, room or column, which stands in place of the model for those it "
              f"holds: {meaning}", kind="file", optional=True),
        *only("table", GIVEN,
              text("table_source", "", "where its numbers come from, in words", default=None)),
    )  # fmt: skip


_SOURCE = text("source", "", "where the numbers come from, in words", default=None)
MEASURED_HERE = "measured_here"
"""Key that says of numbers that they were measured in the building itself."""

_HERE = text(
    MEASURED_HERE,
    "",
    "whether the numbers of list and table were measured in this very "
    "building: then what is not known of them is the error of a measurement, and else that "
    "of published statistics",
    default=False,
    kind="flag",
)
_GAIN: Range = (-100, -25, 30, 60)
_LOSS, _LOWERS = (-60, -15, 30, 100), "loss, positive lowers the level"
_CHANGE, _RAISES = (-100, -30, 25, 60), "a measured transfer, positive raises"
_GAINS = "positive raises the level"

COUPLING = KeyTable(
    (
        choice("model", "", ("given", "handbook", "E DIN 45672-3", "free foundation", "none"),
               "from the ground to the foundation; before a column line the second and third "
               "would count building and soil twice, the fourth is what the foundation, free of "
               "the building, makes of the ground by its size and mass, and the fifth leaves that "
               "out: it follows the ground as it is"),
        *_spectrum("loss_db", _LOSS, _LOWERS),
        *_by_place(_LOSS, _LOWERS),
        _HERE,
        *only("model", "handbook",
              choice("foundation", "foundation", FOUNDATIONS, "type of the handbook")),
        *only("model", "E DIN 45672-3",
              choice("place", "place", ("basement", "ground level"), "where the level is"),
              choice("curve", "curve", _CURVES, "of the standard", default="mean")),
        *only("model", "free foundation",
              number("apparent_speed_m_s", "apparent_speed", "m/s", (10, 80, 3000, 10000),
                     "with which waves pass along the foundation; 200 to 2000 m/s alike likely if "
                     "left out", default=None),
              number("coherent_share", "coherent_share", "", (0, 0.3, 1, 1),
                     "of the motion that no plan averages; 0.7 if left out [fitted], and 0 of a "
                     "raft on waves of no given speed", zero=True, slips="share", default=None)),
        text("free_field_correction_only", "",
             "needed as true before a column line: the losses are what the foundation averages "
             "out of the free ground, without the building", default=None, kind="flag"),
        _SOURCE,
    )
)  # fmt: skip

STOREYS = KeyTable(
    (
        choice("model", "", ("column line", "given", "none", "fixed", "FTA 2006"),
               "from the foundation to the columns of each floor"),
        *_spectrum("change_db", _CHANGE, _RAISES),
        *_by_place(_CHANGE, _RAISES),
        _HERE,
        *only("model", "fixed",
              number("per_storey_db", "per_storey", "dB", (0, 0.5, 4, 30), "loss by storey",
                     zero=True)),
        *only("model", ("given", "fixed"), _SOURCE),
    )
)  # fmt: skip


GROUND_TO_FLOOR = "E DIN 45672-3, ground to floor"
"""Model of ``[path.floor]`` that leads from the ground to the floor in one step."""


def _floor(models: tuple[str, ...], meaning: str) -> KeyTable:
    place = choice("place", "", ("surface average", "mid-span"), "where the level is")
    rows = (
        *only("model", "fixed", number("gain_db", "gain", "dB", _GAIN, "in all bands")),
        *only("model", "fundamental",
              number("gain_db", "gain", "dB", _GAIN, "at the floor's own frequency",
                     default=6.0)),
        *only("model", "given", place, _SOURCE),
        *_spectrum("gain_db", _GAIN, _GAINS),
        *only("model", "frequency ratio",
              number("natural_frequencies_hz", "", "Hz", (0.3, 4, 80, 300),
                     "possible frequencies of the floor", kind="numbers"),
              choice("construction", "construction", ("concrete", "timber"), "of the floor"),
              choice("curve", "curve", _CURVES, "of the standard", default="mean")),
        *only("model", GROUND_TO_FLOOR,
              number("natural_frequencies_hz", "", "Hz", (7.1, 8, 80, 89),
                     "possible frequencies of all floors, else those of the table of floors; each "
                     "counts with the third octave that it lies in", kind="numbers",
                     default=None),
              choice("construction", "", ("concrete", "timber"), "of the floors"),
              replace(place, needed=False, default="mid-span",
                      meaning="where the level is; the average is taken as high as mid-span")),
    )  # fmt: skip
    own = (
        row for row in rows for when in row.when if when.key == "model" and when.values[0] in models
    )
    others = tuple(m for m in models if m not in ("given", GROUND_TO_FLOOR))
    return KeyTable((
        choice("model", "", models, meaning), *own, *_by_place(_GAIN, _GAINS), _HERE,
        *only("table", GIVEN, *only("model", others, place)),
    ))  # fmt: skip


FLOOR = _floor(
    ("column line", "fundamental", "ANC 2001, noise", "ANC 2001, vibration", "fixed", "given",
     "frequency ratio", GROUND_TO_FLOOR),
    "from the columns to the slab; the last leads from the ground to the floor of any storey and "
    'holds coupling and building: [path.coupling] and [path.storeys] are then "none", and there is '
    "no [path.mid_span]",
)  # fmt: skip
MID_SPAN = _floor(
    ("column line", "given", "ANC 2001, vibration", "frequency ratio"),
    'from the columns to where people stand, "given" with place = "mid-span"; by the column lines '
    "where floors follow them",
)

_OVER: Range = (-60, -20, 10, 40)
_UNKNOWN_RATIO: Range = (0.001, 0.05, 2, 20)


def _by_band(name: str, bounds: Range, meaning: str) -> tuple[Key, ...]:
    """A number for all bands, or a list of numbers on those that stand beside it."""
    return (
        *only("frequency_hz", ABSENT, number(name, "", "dB", bounds, meaning)),
        *only("frequency_hz", GIVEN, number(name, "", "dB", bounds, meaning, kind="numbers")),
    )


_SWAYS = (
    "horizontal level of the storey over that where the source was measured, positive raises the "
    "level"
)


HORIZONTAL = KeyTable(
    (
        choice("model", "", ("given", "frame in bending"),
               "from the horizontal motion where the source is to that of the storey: measured, or "
               "columns that bend between floors, without walls and cores, which carry more"),
        bands_row("third-octave bands of lists; without, a number for all", default=None),
        *_by_band("level_db", _OVER, "horizontal level over the vertical one at the point where "
                  "the source was measured"),
        *only("model", "given",
              *(replace(key, needed=False) for key in _by_band("change_db", _CHANGE, _SWAYS))),
        *_by_place(_CHANGE, _SWAYS),
        number("facing_share", "facing_share", "", (0.001, 0.25, 1, 1), "of the walls of a room, "
               "which faces the motion: half of walls in two directions [derived]",
               default=FACING_SHARE, slips="share"),
        *only("model", "frame in bending",
              choice("joints", "", ("slabs in bending", "held"), "of columns and slabs: turn as "
                     "far as slabs bend, or not at all", default="slabs in bending"),
              *only("joints", "slabs in bending",
                    choice("direction", "", ("x", "y"), "of the motion, along the spans",
                           default="x"),
                    number("slab_width_share", "", "", (0.01, 0.2, 1, 1), "of a panel's width that "
                           "turns with the joint; 0.4 of flat slabs: EN 1992-1-1, I.1 [from "
                           "memory]", default=0.4, slips="share")),
              number("column_depth_m", "", "m", (0.02, 0.15, 3, 30), "of all columns along the "
                     "motion; square ones if left out", default=None),
              number("foundation_ratio", "", "", _UNKNOWN_RATIO, "horizontal over vertical "
                     "stiffness of springs and dashpots or piles; of footings it follows from the "
                     "soil", default=None)),
        text("source", "", "where the numbers come from, in words", default=None),
    )
)  # fmt: skip

_WAVE_SPEED = number(
    "longitudinal_wave_speed_m_s", "longitudinal_speed", "m/s", _WAVE, "of bending plates",
    mark=_HOPKINS,
)  # fmt: skip

RADIATION = KeyTable(
    (
        choice("model", "", ("room surfaces", "relation"), "from the surfaces to the sound"),
        *only("model", "relation",
              choice("relation", "", RELATIONS, "one of the literature")),
        *only("model", "room surfaces",
              choice("field", "", ("modes", "diffuse"), "of the room: by its modes below the "
                     "Schroeder frequency, floors moving as a whole in part, or diffuse at all "
                     "frequencies and all by bending waves", default="modes"),
              *only("field", "modes",
                    choice("ceiling", "phase", PHASES, "how its mean velocity adds to that of the "
                           "floor", default=PHASES[0]),
                    choice("position", "position", POSITIONS, "in the room", default=POSITIONS[0]),
                    number("leak_frequency_hz", "leak_frequency", "Hz", (0, 5, 32, 100),
                           "below which bands are marked, because doors and windows let the "
                           "pressure out: some 16 Hz; without it they are upper bounds there",
                           zero=True, default=0.0)),
              table("slabs", KeyTable((_WAVE_SPEED,)), "floor and ceiling"),
              table("walls", KeyTable((
                  _WAVE_SPEED,
                  number("thickness_m", "thickness", "m", (5e-4, 0.009, 0.5, 5), "of a leaf"),
                  number("radiating_share", "factor", "", (0, 0.2, 1, 1),
                         "of the wall area that radiates", default=1.0, slips="share"),
                  number("below_floor_db", "", "dB", (-10, 5, 15, 60), "of the surface average of "
                         "the walls below that of the floor; 10 if left out", zero=True,
                         default=None),
                  number("measured_below_floor_db", "", "dB", (-30, -10, 30, 60),
                         "the same by band, as measured, in its place", zero=True, kind="numbers",
                         default=None),
                  bands_row("of the measured levels", default=None),
                  text("source", "", "of the measured levels", default=None),
              )), "all four walls")),
    )
)  # fmt: skip

PATH = KeyTable(
    (
        table("ground", GROUND, "from the measured distance to another", optional=True),
        table("speed", SPEED, "from the measured speed to another", optional=True),
        table("coupling", COUPLING, "from the ground to the foundation", optional=True),
        table("storeys", STOREYS, "from the foundation to the floors"),
        table("floor", FLOOR, "from the columns to the slabs"),
        table("mid_span", MID_SPAN, "to where people stand", optional=True),
        table(
            "horizontal",
            HORIZONTAL,
            "horizontal motion of ground and storeys, which moves walls; left out, a note says so",
            optional=True,
        ),
        table("radiation", RADIATION, "from the slabs to the sound"),
    )
)
