"""A commented study to begin from, written from the table of keys; it runs as it is."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.csv_columns import CSV_TABLES
from groundborne.files import write_files
from groundborne.key import GIVEN, Key, KeyTable
from groundborne.study.guide import comment, toml_value
from groundborne.study.keys import FORMAT, STUDY

STUDY_FILE = "study.toml"
_INVENTED = "# Invented as an example: no real place, building, people or measurement."

_NIGHT = {"period": "night", "time_weighting": "S max"}

EXAMPLE: dict[str, Any] = {
    "format": FORMAT,
    "name": "Example house by a railway",
    "invented": True,
    "description": "a small house on four columns; put your own building in its place",
    "currency": "crowns, invented",
    "details": {
        "client": "the family (invented)", "author": "F. Underhill (invented)",
        "date": "2026-06-15", "revision": "A", "status": "draft",
    },
    "bands": {"low_hz": 5, "high_hz": 250},
    "source": {
        "passbys": "passbys.csv", "quantity": "velocity", "reference": "1 nm/s",
        "time_weighting": "S max", "location": "ground",
        "description": "invented levels on the ground where the house will stand",
    },
    "measurements": [
        {"site": "the plot, before building", "date": "2026-05-04", "table": "passbys.csv",
         "instruments": [{"name": "geophone (invented)", "calibrated": "2025-10-01"}],
         "mounting": "spike in firm soil", "left_out": {"two trains at once": 2}},
    ],
    "site": {
        "track_side": "y-", "track_offset_m": 20, "rail_level_m": 0.5, "ground_level_m": 0.6,
    },
    "periods": {"night": {"hours": 8, "trains": {"metro": 40}}},
    "building": {"floors": "floors.csv", "rooms": "rooms.csv", "columns": "columns.csv",
                 "register": "crossings.csv"},
    "path": {
        "coupling": {"model": "none"},
        "storeys": {"model": "column line"},
        "floor": {"model": "column line"},
        "radiation": {
            "model": "room surfaces",
            "slabs": {"longitudinal_wave_speed_m_s": 3600},
            "walls": {"longitudinal_wave_speed_m_s": 2500, "thickness_m": 0.14},
        },
    },
    "structure": {
        "storeys": "structure.csv", "span_x_m": 6.0, "span_y_m": 6.0, "slab_density_kg_m3": 2400,
        "slab_poisson": 0.2, "column_modulus_pa": 33e9, "column_density_kg_m3": 2450,
        "column_loss_factor": 0.02,
        "foundation": {
            "model": "rectangular footing", "length_m": 7.0, "width_m": 7.0, "embedment_m": 0.8,
            "shear_wave_speed_m_s": 180, "density_kg_m3": 1900, "poisson": 0.35,
            "loss_factor": 0.06, "mass_kg": 70000,
        },
    },
    "isolation": {"lowest_isolated_floor": "0", "load": {"imposed_share": 0.3}},
    "inspection": {"access": "crawl space under the lowest slab"},
    "criteria": {
        "bedroom": [
            {"metric": "LASmax", "limit": 35, "statistic": "percentile", "percentile": 95,
             **_NIGHT, "source": "the client's brief, in words"},
            {"metric": "VDV", "limit": 0.2, "statistic": "fourth-power sum", **_NIGHT},
        ],
        "office": [
            {"metric": "LASmax", "limit": 40, "statistic": "maximum", "time_weighting": "S max"},
        ],
    },
    "options": [
        {"name": "no isolation", "cost": 0, "cost_source": "nothing is built"},
        {"name": "springs 4.5 Hz", "description": "steel springs under the lowest slab",
         "cost": 42000, "cost_source": "estimate, invented",
         "base": {"natural_frequency_hz": 4.5, "loss_factor": 0.02, "own_mass_kg_per_mn": 220}},
        {"name": "box in the bedroom", "cost": 15000, "cost_source": "estimate, invented",
         "rooms": [
            {"measure": "box in box", "rooms": ["B1"],
             "floor": {"construction": "jack-up concrete", "thickness_m": 0.1,
                       "density_kg_m3": 2400, "youngs_modulus_pa": 30e9,
                       "mount_stiffness_n_m": 0.9e6, "mount_loss_factor": 0.1,
                       "spacing_x_m": 1.2, "spacing_y_m": 1.4, "air_gap_m": 0.08,
                       "air_state": "filled"},
             "walls": {"natural_frequency_hz": 12.0, "loss_factor": 0.1},
             "ceiling": {"natural_frequency_hz": 12.0, "loss_factor": 0.1}},
        ]},
    ],
}  # fmt: skip
"""What the example says; every other key stands beside it as a comment."""

_SPECTRUM = (52, 55, 59, 61, 63, 64, 67, 73, 79, 86, 87, 85, 80, 74, 67, 59, 50, 41)
_BANDS = ("5", "6.3", "8", "10", "12.5", "16", "20", "25", "31.5", "40", "50", "63", "80", "100",
          "125", "160", "200", "250")  # fmt: skip
_PASSBYS = 20


def _passbys() -> list[list[Any]]:
    """Invented trains: a spectrum that moves up and down with the train, and a little by band."""
    rows = []
    for train in range(_PASSBYS):
        shift = 3.0 * math.sin(1.7 * train)
        levels = [round(level + shift + math.sin(train + 0.8 * band), 1)
                  for band, level in enumerate(_SPECTRUM)]  # fmt: skip
        speed = 60 + 3 * (train % 5)
        rows.append([f"P{train + 1:02d}", "metro", speed, round(130 / speed * 3.6, 1), *levels])
    return rows


TABLES: dict[str, tuple[str, list[str], list[list[Any]]]] = {
    "passbys.csv": (
        "passbys",
        ["passby", "train_type", "speed_kmh", "duration_s", *(f"{band} Hz" for band in _BANDS)],
        _passbys(),
    ),
    "floors.csv": (
        "floors", ["floor", "storeys", "height_m", "slab_thickness_m", "use"],
        [["0", 0, 0.9, 0.25, "bedrooms"], ["1", 1, 4.4, 0.25, "offices"], ["2", 2, 7.9, 0.25, ""]],
    ),
    "rooms.csv": (
        "rooms", ["room", "name", "group", "floor", "ceiling_floor", "length_m", "width_m",
                  "height_m", "rt_s", "floor_depth_limit_m", "criteria"],
        [["B1", "Bedroom, front", "bedrooms", "0", "1", 5.6, 4.8, 3.2, 0.5, 0.3, "bedroom"],
         ["O1", "Office", "offices", "1", "2", 5.6, 5.6, 3.1, 0.6, "", "office"]],
    ),
    "columns.csv": (
        "columns", ["column", "x_m", "y_m", "permanent_kn", "imposed_kn", "panel_share"],
        [[name, x, y, 198, 54, 0.25]
         for name, x, y in (("A1", 0, 0), ("A2", 0, 6), ("B1", 6, 0), ("B2", 6, 6))],
    ),
    "structure.csv": (
        "storeys", ["floor", "storey_height_m", "column_area_m2", "slab_thickness_m",
                   "slab_modulus_pa", "slab_loss_factor", "superimposed_kg_m2"],
        [[floor, height, 0.09, 0.25, 33e9, 0.05, 125]
         for floor, height in (("0", 0.9), ("1", 3.5), ("2", 3.5))],
    ),
    "crossings.csv": (
        "register", ["name", "kind", "treatment", "status", "floor", "grid", "responsible", "note"],
        [["incoming services", "services", "resilient", "agreed", "0", "A1",
          "mechanical engineer", "hoses"],
         ["front steps", "stair", "gap", "open", "0", "A2 to B2", "architect", ""]],
    ),
}  # fmt: skip
"""Tables of the example: kind, header, rows."""


def example(row: Key) -> Any:
    """A value of a key that is not given: its default, or one from the middle of what is usual."""
    if row.kind == "date":
        return "2026-03-31"
    if row.kind == "choice":
        return row.default or row.choices[0]
    if row.kind == "flag":
        return True if row.default is None else row.default
    if row.kind in ("number", "numbers"):
        if row.quantity is None:
            return [31.5, 63.0] if row.kind == "numbers" else 31.5
        middle = _middle(*row.quantity.usual)
        return [middle, middle] if row.kind == "numbers" else row.default or middle
    if row.kind == "texts":
        return list(row.default or ("...",))
    return row.default or ("table.csv" if row.kind == "file" else "...")


def _middle(low: float, high: float) -> float:
    between = math.sqrt(low * high) if low > 0 else (low + high) / 2
    return float(f"{between:.1g}")


class _Writer:
    """Writes tables with all their keys, those of one kind in full only once."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._told: dict[int, str] = {}

    def table(self, of: KeyTable, place: str, data: Mapping[str, Any] | None, header: str) -> None:
        """One table and those below it, as a comment where there is no data."""
        mark = "# " if data is None else ""
        whole, given = id(of) not in self._told, data or {}
        self._told.setdefault(id(of), place)
        self.lines += [f"{mark}{header}"] if header else []
        inner = []
        for key in of.keys:
            applies = _applies(key, given)
            if isinstance(key.inner, Key | KeyTable) and key.kind != "file":
                inner += [key] if whole or key.name in given else []
            elif key.name in given and applies:
                self._line(mark, key, given[key.name], whole=whole)
            elif whole:
                self._line("# ", key, example(key), whole=whole)
        for key in inner:
            self._below(key, f"{place}.{key.name}".lstrip("."), given.get(key.name))

    def _line(self, mark: str, key: Key, value: Any, *, whole: bool) -> None:
        said = f"  # {comment(key)}" if whole else ""
        self.lines.append(f"{mark}{key.name} = {toml_value(value)}{said}")

    def _below(self, key: Key, place: str, value: Any) -> None:
        mark, row = "# " if value is None else "", key.inner
        if isinstance(row, KeyTable):
            header = f"[[{place}]]" if key.kind == "tables" else f"[{place}]"
            if value is None and id(row) in self._told:
                elsewhere = f"keys as in [{self._told[id(row)]}]"
                self.lines += ["", f"# {header}  # {comment(key)}; {elsewhere}"]
                return
            for entry in value if isinstance(value, list) else [value]:
                told = [f"# {comment(key)}"] if id(row) not in self._told else []
                self.lines += ["", *told]
                self.table(row, place, entry, header)
        elif isinstance(row, Key) and isinstance(row.inner, KeyTable):
            self.lines += ["", f"# {comment(key)}"]
            for name, part in (value or {"NAME": None}).items():
                self._below(row, f"{place}.{name}", part)
        elif isinstance(row, Key):
            self.lines += ["", f"{mark}[{place}]  # {comment(key)}"]
            for name, part in (value or {}).items():
                bare = re.fullmatch(r"[\w-]+", name, re.ASCII)  # others stand in quotes
                written = name if bare else toml_value(name)
                self._line("", replace(row, name=written), part, whole=True)


def _applies(key: Key, given: Mapping[str, Any]) -> bool:
    """Whether a key goes with what the example says."""
    for when in key.when:
        inside = EXAMPLE if when.key.startswith("/") else given
        value = inside.get(when.key.removeprefix("/"))
        if not (value is not None if when.values == (GIVEN,) else value in when.values):
            return False
    return True


def starter_files() -> dict[str, str]:
    """Text of every file of the study, by name."""
    writer = _Writer()
    writer.table(STUDY, "", EXAMPLE, "")
    head = [
        _INVENTED,
        "# Every key is here: those of the example, and all others as comments behind a #.",
        "# Numbers outside the possible range are refused; those outside the usual one are named.",
    ]
    files = {STUDY_FILE: "\n".join([*head, *writer.lines]) + "\n"}
    for name, (kind, header, rows) in TABLES.items():
        files[name] = "\n".join([_INVENTED, *_columns(kind, header)]) + "\n" + _csv(header, rows)
    return files


def _columns(kind: str, header: list[str]) -> Iterator[str]:
    for key in CSV_TABLES[kind].keys:
        left_out = "" if key.name in header else "(left out) "
        yield f"# {left_out}{key.name}: {comment(key)}"


def _csv(header: list[str], rows: list[list[Any]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows([header, *rows])
    return buffer.getvalue()


@checked
def write_starter(folder: str | FilePath) -> tuple[FilePath, ...]:
    """Write a commented study to begin from, whole or not at all.

    Parameters
    ----------
    folder : str or Path
        New, or one that holds none of the files.

    Returns
    -------
    tuple of Path
        The study file, then its tables.

    Raises
    ------
    StudyError
        The folder cannot be made, or one of the files is there already.

    Examples
    --------
    >>> import tempfile
    >>> from groundborne import read_study
    >>> file, *tables = write_starter(FilePath(tempfile.mkdtemp()) / "house")
    >>> read_study(file).rooms
    ['B1', 'O1']
    """
    place = FilePath(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise StudyError(f"new study: the folder {place} cannot be made ({error})") from None
    contents = {place / name: text.encode("utf-8") for name, text in starter_files().items()}
    write_files(contents, where="new study")
    return tuple(contents)
