"""Keys of ``[[uncertain]]`` and ``[[alternatives]]``: what of a study is not known for sure."""

from __future__ import annotations

from typing import Any, Literal

from groundborne.key import NEEDED, Key, KeyTable, choice, free_number, number, table, text, where
from groundborne.uncertainty.distribution import DISTRIBUTIONS

_UNIT = "in the unit of its key"
_CENTRED = ("normal", "lognormal")
_ENDS = ("uniform", "triangular")


def _free(
    name: str,
    meaning: str,
    *,
    kind: Literal["number", "numbers"] = "number",
    default: Any = NEEDED,
) -> Key:
    return free_number(name, name, _UNIT, meaning, kind=kind, default=default)


UNCERTAIN = KeyTable(
    (
        text("key", "", 'the way to it, such as "structure.foundation.shear_wave_speed_m_s", '
             '"options.NAME.base.natural_frequency_hz" or "rooms.rt_s"'),
        choice("distribution", "name", DISTRIBUTIONS, "of its value; empirical: each of `values` "
               "is as likely as the others"),
        *where("distribution", _CENTRED,
               _free("centre", "mean of a normal, median of a lognormal distribution; the value of "
                     "the file if left out", default=None),
               _free("standard_deviation", "about it", default=None),
               number("coefficient_of_variation", "coefficient_of_variation", "",
                      (0, 0.01, 1, 10), "in its place: standard deviation over mean", default=None,
                      uncertain=False),
               _free("low", "where it is truncated", default=None),
               _free("high", "where it is truncated", default=None)),
        *where("distribution", _ENDS, _free("low", "lower end"), _free("high", "upper end")),
        *where("distribution", "triangular", _free("mode", "its peak")),
        *where("distribution", "empirical", _free("values", "as measured", kind="numbers")),
        text("source", "", "where that is from, in words"),
    ),
    label="key",
)  # fmt: skip
"""Keys of an entry of ``[[uncertain]]``."""

ALTERNATIVE = KeyTable(
    (
        text("stage", "stage", "what it is a model of, in words; those of one stage stand for each "
             "other"),
        text("name", "name", "of the model, in words"),
        number("weight", "weight", "", (0, 0.01, 0.99, 1), "share of the belief in it; those of a "
               "stage add up to 1", uncertain=False),
        text("source", "source", "of the model and of its weight, in words"),
        table("changes", text("*", "", "in place of that of the file", kind="value"),
              "keys of structure, slabs, parts, path, isolation, track, options, rooms, floors, "
              "storeys and columns that are otherwise with it, by the way to them, such as "
              "path.coupling.model = \"E DIN 45672-3\"; nothing for the model of the file itself",
              kind="named", optional=True),
    ),
    label="name",
)  # fmt: skip
"""Keys of an entry of ``[[alternatives]]``."""
