"""The table of study keys: every key of the study file and every column beside it.

A row is a :class:`~groundborne.key.Key`; to add one, write it into the table it belongs to, and let
the reader take it. What the reader takes and no row declares is a defect, and the other way round.
"""

from __future__ import annotations

from collections.abc import Iterator

from groundborne.csv_columns import CSV_TABLES
from groundborne.key import Key, KeyTable, choice, table, text
from groundborne.study.keys.details import DETAILS, INSPECTION, MEASUREMENT, SITE
from groundborne.study.keys.equipment import EQUIPMENT
from groundborne.study.keys.options import OPTION
from groundborne.study.keys.path import PATH, TRACK
from groundborne.study.keys.structure import (
    BUILDING,
    ISOLATION,
    PART_ISOLATION,
    SLAB,
    STRUCTURE,
)
from groundborne.study.keys.trains import BANDS, CRITERION, CURVE, PERIOD, SOURCE
from groundborne.study.keys.uncertain import ALTERNATIVE, UNCERTAIN

FORMAT = "groundborne study 1"
"""First line of every study file; it changes when older files could be misread."""

PART = KeyTable(
    (
        table("structure", STRUCTURE, "its column lines",
              optional=True),
        table("path", PATH, "its steps from the source; as for the building if left out",
              optional=True),
        table("isolation", PART_ISOLATION, "where it can be isolated, with its lines",
              optional=True),
    )
)  # fmt: skip
"""Keys of a part of a building that stands apart."""

STUDY = KeyTable(
    (
        choice("format", "", (FORMAT,), "of the file"),
        text("name", "", "of the project"),
        text("invented", "", "true marks demonstration data in every output", default=False,
             kind="flag"),
        text("description", "", "for the report", default=""),
        text("currency", "", "of the cost of options; needed where one has a cost", default=""),
        text("other_folders", "", "folders outside this one that tables may lie in", default=(),
             kind="texts"),
        table("details", DETAILS, "title block of the report", optional=True),
        table("bands", BANDS, "nominal one-third-octave bands to evaluate"),
        table("source", SOURCE, "passbys as measured"),
        table("measurements", MEASUREMENT, "what was measured for the study, how and when",
              kind="tables", optional=True),
        table("periods", table("*", PERIOD, "part of the day"), "timetable", kind="named",
              optional=True),
        table("track", TRACK, "where it lies, if columns and rooms have places: distances follow",
              optional=True),
        table("site", SITE, "track and ground beside the building, for drawings alone",
              optional=True),
        table("building", BUILDING, "tables of the building"),
        table("path", PATH, "steps from the source to the room"),
        table("structure", STRUCTURE, "column lines with their slabs on the soil",
              optional=True),
        table("isolation", ISOLATION, "needed if an option isolates the base", optional=True),
        table("inspection", INSPECTION, "how the mounts are kept; what is left out is told as open",
              optional=True),
        table("slabs", table("*", SLAB, "a kind of slab, by the name that rooms give it"),
              "slabs of rooms that differ from that of their floor; columns of that floor move "
              "them, and they do not load the lines", kind="named", optional=True),
        table("parts", table("*", PART, "a part, by the name that rooms and columns give it"),
              "parts of the building that stand apart: a hall and an annexe with a joint between "
              "them, rooms measured beside rooms computed", kind="named", optional=True),
        table("criteria", table("*", CRITERION, "a set that rooms name", kind="tables"),
              "sets of limits", kind="named", optional=True),
        table("curves", table("*", CURVE, "a curve, by the name that criteria give it"),
              "limits by band of your own", kind="named", optional=True),
        table("equipment", EQUIPMENT, "instruments and tables with limits of their own",
              kind="tables", optional=True),
        table("uncertain", UNCERTAIN, "numbers of physics that are not known for sure: the study "
              "is evaluated with their values, and how sure its answers are rests on cases of "
              "them",
              kind="tables", optional=True),
        table("alternatives", ALTERNATIVE, "other models of single stages, each with a weight, one "
              "of each stage that of the file: the study is evaluated with that, and how sure its "
              "answers are rests on all of them",
              kind="tables", optional=True),
        table("options", OPTION, "the first is what the others are compared with", kind="tables"),
    )
)  # fmt: skip
"""Keys at the top of a study file."""


def rows(of: KeyTable = STUDY, at: str = "") -> Iterator[tuple[str, Key]]:
    """Every row of the study file with its place, in order.

    Parameters
    ----------
    of : KeyTable
        Where to begin.
    at : str
        Its place: names of the tables it stands in, each with a dot behind; ``*`` stands for a name
        of the user's.
    """
    for key in of.keys:
        place, row = f"{at}{key.name}", key
        while isinstance(row.inner, Key):
            yield place, row
            place, row = f"{place}.*", row.inner
        yield place, row
        if isinstance(row.inner, KeyTable) and row.kind != "file":
            yield from rows(row.inner, f"{place}.")


def places() -> Iterator[tuple[str, KeyTable, Key | None]]:
    """Every table of the study file with its place and the row that holds it, in order."""
    yield "", STUDY, None
    for place, row in rows():
        if isinstance(row.inner, KeyTable) and row.kind != "file":
            yield place, row.inner, row


def declared(place: str) -> KeyTable:
    """Keys of a table of the study file, or columns of a kind of CSV table.

    Parameters
    ----------
    place : str
        As given by :func:`places`, or a key of :data:`~groundborne.csv_columns.CSV_TABLES`.

    Examples
    --------
    >>> declared("isolation.load").names
    ['imposed_share', 'mass_kg']
    """
    for here, of, _ in places():
        if here == place:
            return of
    return CSV_TABLES[place]
