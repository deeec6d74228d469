"""Keys of the source, its timetable and the criteria it is held against."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from groundborne.csv_columns import PASSBYS
from groundborne.key import (
    ABSENT,
    Key,
    KeyTable,
    When,
    bands_row,
    choice,
    number,
    table,
    text,
    where,
)
from groundborne.levels import REFERENCES, TIME_WEIGHTINGS
from groundborne.rating import METRICS, STATISTICS
from groundborne.rating.limit_curve import USUAL, USUAL_LEVEL, Outside
from groundborne.rating.metrics import CURVE_FAMILY, PERIOD_DOSE
from groundborne.rating.statistics import PERIOD_RMS
from groundborne.rating.vibration_curves import CLASSES
from groundborne.usual_ranges import Quantity

_ISO = "ISO 14837-1:2005 [seen]: felt vibration 1 to 80 Hz, noise 16 to 250 Hz"

BANDS = KeyTable(
    (
        number("low_hz", "low", "Hz", (0.1, 1, 31.5, 1000), "first third-octave band, nominal",
               mark=_ISO, uncertain=False),
        number("high_hz", "high", "Hz", (1, 31.5, 1000, 20000), "last third-octave band, nominal",
               mark=_ISO, uncertain=False),
    )
)  # fmt: skip

LOCATIONS = {
    "ground": "before anything is built",
    "foundation": "under the standing building, without mounts",
}

SOURCE = KeyTable(
    (
        table("passbys", PASSBYS, "CSV table of measured passbys", kind="file"),
        choice("quantity", "quantity", ("velocity", "acceleration"), "of the levels"),
        text("reference", "reference",
             ", ".join(f'"{r}"' for of in ("velocity", "acceleration") for r in REFERENCES[of])
             + "; the first of its quantity by default", default=None),
        choice("time_weighting", "time_weighting", TIME_WEIGHTINGS, "of the levels"),
        choice("location", "", LOCATIONS,
               "; ".join(f'"{name}": {words}' for name, words in LOCATIONS.items())),
        text("band_column", "band_column", "how columns of bands are named",
             default="{band} Hz"),
        text("name_column", "name_column", "column of the names of passbys", default="passby"),
        text("kind_column", "kind_column", "column that tells passbys from background",
             default=None),
        text("passby_kinds", "passby_kinds", "what it says of passbys", default=("passby",),
             kind="texts"),
        text("background_kinds", "background_kinds", "what it says of background",
             default=("background",), kind="texts"),
        text("ignore_columns", "ignore_columns", "columns that are not read", default=(),
             kind="texts"),
        table("select", text("*", "", "what the column has to say"),
              'rows to read, such as { axis = "z" }', kind="named", optional=True),
        text("description", "", "where and how it was measured", default=""),
    )
)  # fmt: skip

PERIOD = KeyTable(
    (
        number("hours", "hours", "h", (0.01, 1, 24, 24), "length of the period", uncertain=False),
        table("trains",
              number("*", "", "trains", (0, 1, 3000, 1e5), "trains of this type", zero=True,
                     uncertain=False),
              'number by train_type, or { all = 120 }', kind="named"),
    )
)  # fmt: skip

OWN_CURVE = "curve"
"""Metric of a criterion on a curve of ``[curves]``."""

CURVE = KeyTable(
    (
        bands_row(),
        *where("limit_db_re_1_nm_s", ABSENT,
               Key(name="limit_um_s", kind="numbers", meaning="rms velocity in each band",
                   quantity=USUAL)),
        Key(name="limit_db_re_1_nm_s", kind="numbers", meaning="the same as a level, in its place",
            quantity=USUAL_LEVEL, needed=False),
        choice("outside", "outside", get_args(Outside),
               "bands from 5 to 80 Hz that it does not hold: refused, or free of any limit",
               default="refused"),
        text("source", "", "whose limits these are, in words", default=None),
    )
)  # fmt: skip

_SINGLE = {name: metric for name, metric in METRICS.items() if metric.usual_limit is not None}
"""Metrics that are given a limit; the others are curves, which are their own."""


def _limit(name: str, usual: Quantity | None) -> Key:
    return Key(
        name="limit", kind="number", meaning=f"of {name}", argument="limit", quantity=usual,
        when=(When(key="metric", values=(name,)),),
    )  # fmt: skip


def _weightings() -> Iterator[Key]:
    """Time weightings that the levels of a metric may have, alike ones in one row."""
    weightings = {name: metric.time_weightings for name, metric in _SINGLE.items()}
    of_curves = METRICS[CLASSES[0]].time_weightings
    weightings |= {CURVE_FAMILY: of_curves, OWN_CURVE: of_curves}
    for each in dict.fromkeys(weightings.values()):
        names = [name for name, own in weightings.items() if own == each]
        words = "of the levels it is formed from"
        yield from where("metric", names, choice("time_weighting", "time_weighting", each, words))


CRITERION = KeyTable(
    (
        choice("metric", "", (*_SINGLE, CURVE_FAMILY, OWN_CURVE),
               "of sound in the room, or of the vibration of its floor"),
        *(_limit(name, metric.usual_limit) for name, metric in _SINGLE.items()),
        *where("metric", CURVE_FAMILY,
               choice("curve", "", CLASSES, "takes the place of a limit")),
        *where("metric", OWN_CURVE,
               text("curve", "", "name of a curve of [curves], in place of a limit")),
        choice("statistic", "statistic", (PERIOD_DOSE, PERIOD_RMS, *STATISTICS),
               f'over passbys; "{PERIOD_DOSE}" of VDV and "{PERIOD_RMS}" of curves, over all '
               "trains of its period"),
        number("percentile", "percentile", "", (0, 50, 99, 100), 'of statistic = "percentile"',
               default=None, slips="percent", uncertain=False),
        text("period", "period", "weights passbys by its timetable", default=None),
        *_weightings(),
        text("source", "", "of the limit, in words", default=None),
    ),
    label="metric",
)  # fmt: skip
