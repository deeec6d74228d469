"""Keys of equipment: what it is, what it stands on, and the mounts an option may give it."""

from __future__ import annotations

from groundborne.key import (
    ABSENT,
    GIVEN,
    Key,
    KeyTable,
    bands_row,
    choice,
    number,
    table,
    text,
    where as only,
)

_SPRINGS = (
    number("natural_frequency_hz", "natural_frequency", "Hz", (0.05, 0.5, 20, 100),
           "of the equipment on a floor that does not give way"),
    *only("damping_n_s_m", ABSENT,
          number("loss_factor", "loss_factor", "", (1e-5, 0.004, 0.5, 1), "of the mounts",
                 slips="share")),
    *only("damping_n_s_m", GIVEN,
          number("loss_factor", "loss_factor", "", (0, 0.004, 0.5, 1), "of the springs",
                 zero=True, slips="share", default=0.0)),
    number("damping_n_s_m", "", "N s/m", (0.01, 10, 1e5, 1e8),
           "of viscous dampers beside the mounts, all together", default=None),
)  # fmt: skip

SIDEWAYS = KeyTable(_SPRINGS)

MOUNTS = KeyTable(
    (
        *_SPRINGS,
        number("dynamic_to_static", "dynamic_to_static", "", (1, 1, 3, 5),
               "dynamic over static stiffness", default=1.0),
        number("travel_to_solid_m", "travel_to_solid", "m", (1e-4, 0.003, 0.15, 1),
               "to where mounts go solid; the static deflection has to stay below", default=None),
        table("x", SIDEWAYS, "the same mounts along x, where its level is given", optional=True),
        table("y", SIDEWAYS, "the same mounts along y", optional=True),
    )
)  # fmt: skip

OPTION_EQUIPMENT = KeyTable(
    (text("name", "", "of the equipment that gets these mounts"), *MOUNTS.keys), label="name"
)

FLOOR = KeyTable(
    (
        choice("model", "", ("does not give way", "mobility", "mass on a spring"),
               "how the floor gives way under the equipment"),
        *only("model", "mobility",
              number("mobility_m_n_s", "", "m/(N s)", (1e-10, 1e-7, 3e-4, 0.1),
                     "at its point, of all bands")),
        *only("model", "mass on a spring",
              number("natural_frequency_hz", "", "Hz", (0.3, 4, 80, 300), "of the floor"),
              number("mass_kg", "", "kg", (1, 200, 1e5, 1e8), "with which it moves there"),
              number("loss_factor", "", "", (2e-4, 0.01, 0.2, 1), "of the floor",
                     slips="share")),
    )
)  # fmt: skip


def _levels(kind: str) -> tuple[Key, ...]:
    words = "level of the floor along {} over that along the vertical"
    return tuple(
        number(f"{axis}_db", "", "dB", (-60, -20, 10, 40), words.format(axis), default=None,
               kind="numbers" if kind == "numbers" else "number")
        for axis in "xy"
    )  # fmt: skip


HORIZONTAL = KeyTable(
    (
        bands_row("third-octave bands of lists; without, a number for all", default=None),
        *only("frequency_hz", ABSENT, *_levels("number")),
        *only("frequency_hz", GIVEN, *_levels("numbers")),
    )
)  # fmt: skip

BACKGROUND = KeyTable(
    (
        bands_row(),
        number("level_db_re_1_nm_s", "", "dB", (-20, 20, 100, 160),
               "vertical, without trains, energy mean over the period", kind="numbers",
               uncertain=False),
    )
)  # fmt: skip

AXES_CRITERIA = KeyTable(
    (
        text("z", "", "set of criteria along the vertical"),
        text("x", "", "along x", default=None),
        text("y", "", "along y", default=None),
    )
)

EQUIPMENT = KeyTable(
    (
        text("name", "name", "short and unique"),
        text("room", "room", "on the floor of which it stands, at mid-span"),
        number("mass_kg", "mass", "kg", (0.01, 1, 20000, 1e7),
               "of what moves with it, the table included"),
        *only("criteria_by_axis", ABSENT,
              text("criteria", "criteria", "set of criteria of vibration, along every axis")),
        table("criteria_by_axis", AXES_CRITERIA, "a set for each axis", optional=True),
        number("rigid_up_to_hz", "rigid_up_to", "Hz", (0.5, 10, 500, 20000),
               "above which it has modes of its own; bands above are marked", default=None,
               uncertain=False),
        table("mounts", MOUNTS, "what it stands on without options", optional=True),
        table("floor", FLOOR, "of the place it stands on; the slab under its room, endless, if "
              "left out", optional=True),
        table("horizontal", HORIZONTAL, "without a level nothing is shown along an axis",
              optional=True),
        table("background", BACKGROUND, "of the floor there; a period rms contains it",
              optional=True),
    ),
    label="name",
)  # fmt: skip
