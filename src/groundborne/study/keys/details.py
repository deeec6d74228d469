"""Keys of what a study says beside its numbers: title block, measurements, upkeep, the site."""

from __future__ import annotations

from typing import get_args

from groundborne.key import (
    KeyTable,
    Range,
    choice,
    date,
    number,
    table,
    text,
    where as only,
)
from groundborne.study.details import TRACK_SIDES, Status

DETAILS = KeyTable(
    (
        text("client", "client", "for whom", default=""),
        text("author", "author", "by whom", default=""),
        text("checker", "checker", "who looked it over", default=""),
        date("date", "date", "of this revision", default=None),
        text("revision", "revision", "such as A or P2", default=""),
        choice("status", "status", get_args(Status), "what it may be used for", default=None),
        text("project_number", "project_number", "of the author or the client", default=""),
        text("note", "note", "what else stands in the title block", default=""),
    )
)  # fmt: skip

INSTRUMENT = KeyTable(
    (
        text("name", "name", "what it is, with its number"),
        date("calibrated", "calibrated", "day of its last calibration", default=None),
    ),
    label="name",
)

_EVENTS: Range = (0, 1, 5000, 1e6)

MEASUREMENT = KeyTable(
    (
        text("site", "site", "where it was"),
        date("date", "date", "first day"),
        date("until", "until", "last day, if another", default=None),
        text("position", "position", "where on the site; of the source [source] says it in "
             "description, if left out", default=None),
        choice("quantity", "quantity", ("velocity", "acceleration"),
               "what was measured; of the source as in [source] if left out", default=None),
        table("instruments", INSTRUMENT, "with what", kind="tables", optional=True),
        text("mounting", "mounting", "how the sensor was coupled to what it measured",
             default=""),
        text("table", "table", "file of the study that came of it, such as passbys.csv",
             default=""),
        number("events_recorded", "", "events", _EVENTS, "trains recorded; those kept and left "
               "out if left out", zero=True, default=None, uncertain=False),
        number("events_kept", "", "events", _EVENTS, "trains that the study uses; of the table of "
               "passbys it says how many", zero=True, default=None, uncertain=False),
        table("left_out",
              number("*", "", "events", _EVENTS, "events left out for this reason", zero=True,
                     uncertain=False),
              'number by reason, such as { "two trains at once" = 3 }', kind="named",
              optional=True),
    )
)  # fmt: skip

INSPECTION = KeyTable(
    (
        text("fire_protection", "fire_protection", "of the mounts", default=""),
        text("access", "access", "to each of them, and with what headroom", default=""),
        text("interval", "interval", "when they are looked at, and what is measured then",
             default=""),
        text("replacement", "replacement", "how one is exchanged", default=""),
        text("replacement_load_case", "replacement_load_case",
             "what carries while it is out, and under which loads", default=""),
    )
)  # fmt: skip

_LEVEL: Range = (-200, -60, 60, 500)

SITE = KeyTable(
    (
        choice("track_side", "track_side", TRACK_SIDES,
               "where the track lies in the plan of the columns, unless [track] says it: "
               + "; ".join(f'"{side}" {words}' for side, words in TRACK_SIDES.items()),
               default=None),
        *only("track_side", [side for side in TRACK_SIDES if "below" not in side],
              number("track_offset_m", "track_offset", "m", (0, 1, 150, 2000), "from the "
                     "outermost columns to the centre of the near track", uncertain=False)),
        *only("track_side", [side for side in TRACK_SIDES if "below" in side],
              number("track_offset_m", "track_offset", "m", (-100, -40, 40, 100), "from the middle "
                     "of the columns to the centre of the track", zero=True, uncertain=False)),
        number("rail_level_m", "rail_level", "m", _LEVEL, "of the rails above the foundation, as "
               "heights of floors", zero=True, default=None, uncertain=False),
        number("ground_level_m", "ground_level", "m", _LEVEL, "of the ground beside the building, "
               "likewise", zero=True, default=None, uncertain=False),
    )
)  # fmt: skip
