"""Odd study files, and odd tables beside a study file that is as it should be."""

from __future__ import annotations

import copy
import csv
import io
import math
import re
import shutil
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import oddities
import xarray as xr
from outcomes import Trial, not_finite

import groundborne as gb
from groundborne import sizing
from groundborne.source import read_passbys
from groundborne.study import keys
from groundborne.tables import read_table

SMALL = Path(__file__).parent / "small"
DATA = Path(__file__).parents[2] / "data"
_EVALUATED = 0.75  # share of what was read; the rest is only read
_DEMONSTRATION = 0.04  # share of the inputs that change a demonstration study


@cache
def files(study: str) -> dict[str, str]:
    """Texts of a study: "lines", "tables" (small), "music_school" or "tower"."""
    folder = SMALL / study if (SMALL / study).is_dir() else DATA / study
    return {f.name: f.read_text(encoding="utf-8") for f in sorted(folder.iterdir()) if f.is_file()}


def laid_out(place: Path, study: str, changed: dict[str, bytes]) -> Path:
    """The study in a folder, with some of its files exchanged."""
    folder = place / "study"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, whole in files(study).items():
        (folder / name).write_bytes(changed.get(name, whole.encode()))
    return folder


def _tables(study: str) -> tuple[str, ...]:
    return tuple(name for name in files(study) if name.endswith(".csv"))


@cache
def known_words() -> tuple[str, ...]:
    """Models, metrics, statistics and other words that the guide gives for study files."""
    return tuple(sorted({word for _, row in keys.rows() for word in row.choices}))


def _which(rng: Random) -> str:
    if rng.random() < _DEMONSTRATION:
        return rng.choice(["music_school", "tower"])
    return rng.choice(["lines", "tables", "tables"])


def evaluated(study: gb.Study) -> Any:
    """The result without its band levels for each passby."""
    return study.evaluate(band_levels=False)


def wrong_result(found: Any) -> str:
    """What is wrong with what came of a study: no number may be missing or infinite.

    Limit and margins are infinite where a room has no limit of a kind, frequencies of mounts where
    there are none, what may be added to a lower bound, and the least value of a metric without one,
    all as documented.
    """
    if isinstance(found, gb.Study):  # a limit that is not given is infinite
        return not_finite(found.passbys) or not_finite(found, infinite=True)
    if not isinstance(found, xr.Dataset):
        return not_finite(found)
    found = found.reset_coords([n for n in ("least",) if n in found.coords])
    names = ("nominal_frequency", "mount_frequency", "may_add", "least")
    free = {n: found[n] for n in names if n in found}
    margins = [n for n in ("limit", "margin", "margin_one_stage", "margin_by_state") if n in found]
    limited = {n: found[n].where(found["applies"], 0.0) for n in margins}
    said = not_finite(free, infinite=True)
    return said or not_finite(found.drop_vars(list(free)).assign(limited))


# -- Study files -----------------------------------------------------------------------------------


def study_file(rng: Random, place: Path) -> Trial:
    """A study file with odd values, keys, tables or text."""
    study = _which(rng)
    whole = files(study)["study.toml"]
    if rng.random() < 0.25:
        raw = oddities.encoded(rng, oddities.mangled_text(rng, whole))
        words: tuple[str, ...] = ("study.toml",)
        what = "text"
    else:
        data = tomllib.loads(whole)
        changes = [_change(rng, data) for _ in range(rng.choice([1, 1, 1, 2]))]
        raw = oddities.toml(data).encode("utf-8", "replace")
        words = tuple(w for _, keys in changes for w in keys)
        what = "; ".join(said for said, _ in changes)
    folder = laid_out(place, study, {"study.toml": raw})
    words = (*words, *_tables(study))  # a table that does not fit the change, with its row
    return Trial(f"{study}: {what}", _reading(rng, folder), words, wrong_result)


def _reading(rng: Random, folder: Path) -> Callable[[], Any]:
    evaluate = rng.random() < _EVALUATED

    def call() -> Any:
        study = gb.read_study(folder / "study.toml")
        rooms = read_table(folder / _named(folder, "rooms"))
        assert study.rooms == rooms.text("room").tolist()
        return evaluated(study) if evaluate else study

    return call


def _named(folder: Path, key: str) -> str:
    text = (folder / "study.toml").read_bytes().decode("utf-8-sig")
    return str(tomllib.loads(text.replace("\r\n", "\n"))["building"][key])


def _change(rng: Random, data: dict[str, Any]) -> tuple[str, tuple[str, ...]]:
    """Change one thing of a study file; return what, and the words that a refusal may name."""
    place = rng.choice(oddities.leaves(data))
    while isinstance(_at(data, place), (dict, list)) and rng.random() < 0.7:
        place = rng.choice(oddities.leaves(data))
    table, key = _at(data, place[:-1]), place[-1]
    names = tuple(str(p) for p in place if isinstance(p, str))
    old = table[key]
    kind = rng.choice(["value"] * 6 + ["remove", "new key", "rename", "swap", "list"])
    if kind == "remove":
        del table[key]
        return f"{'.'.join(names)} removed", (*names, "study.toml")
    if kind in ("new key", "rename") and isinstance(table, dict):
        new = rng.choice([f"{key}s", str(key).upper(), f"{key} ", "comment", oddities.text(rng)])
        table[new] = copy.deepcopy(old) if kind == "new key" else table.pop(key)
        return f"{'.'.join(names)}: {kind} {new[:20]!r}", (*names, *_printed(new), "study.toml")
    if kind == "swap":
        other = rng.choice(oddities.leaves(data))
        there, name = _at(data, other[:-1]), other[-1]
        if place[: len(other)] != other and other[: len(place)] != place:
            table[key], there[name] = there[name], old
            more = tuple(str(p) for p in other if isinstance(p, str))
            return f"{'.'.join(names)} swapped with {'.'.join(more)}", (*names, *more)
    if kind == "list" and isinstance(old, list):
        table[key] = rng.choice(
            [[], old[:-1], [*old, *old[-1:]], old[::-1], [old], [*old, oddities.value(rng)]]
        )
        return f"{'.'.join(names)}: another list", names
    known = isinstance(old, str) and rng.random() < 0.5
    table[key] = rng.choice(known_words()) if known else oddities.value(rng, old)
    return f"{'.'.join(names)} = {repr(table[key])[:40]}", names


def _printed(word: str) -> tuple[str, ...]:
    return (word, repr(word)) if word else ("''",)


def _at(data: Any, place: tuple[Any, ...]) -> Any:
    for step in place:
        data = data[step]
    return data


# -- Tables ----------------------------------------------------------------------------------------


def table(rng: Random, place: Path) -> Trial:
    """A table of a study, or of the sizing, with odd cells, header, rows or encoding."""
    if rng.random() < 0.3:
        return _table_alone(rng, place)
    study = _which(rng)
    name = rng.choice(_tables(study))
    what, whole, words = _changed_table(rng, files(study)[name])
    raw = oddities.encoded(rng, whole)
    folder = laid_out(place, study, {name: raw})
    if name in ("passbys.csv", "measured.csv") and rng.random() < 0.5:
        return Trial(f"{study}/{name}: {what}", lambda: _passbys(folder / name), (name, *words))
    words = (*words, *files(study))  # or what does not fit to it any longer
    return Trial(f"{study}/{name}: {what}", _reading(rng, folder), words, wrong_result)


def _table_alone(rng: Random, place: Path) -> Trial:
    grid = sizing.read_jacks(DATA / "jacking" / "jacks.csv")
    readers: dict[Path, Callable[[Path], Any]] = {
        DATA / "tower" / "columns.csv": sizing.read_loads,
        DATA / "components" / "springs.csv": sizing.read_components,
        DATA / "components" / "pads.csv": sizing.read_components,
        DATA / "jacking" / "jacks.csv": sizing.read_jacks,
        DATA / "jacking" / "survey.csv": lambda file: sizing.read_survey(file, grid=grid),
    }
    source = rng.choice(list(readers))
    what, whole, words = _changed_table(rng, source.read_text(encoding="utf-8"))
    file = place / source.name
    file.write_bytes(oddities.encoded(rng, whole))
    # A load, a hole or a certificate that is not given stays NaN, as documented.
    return Trial(
        f"{source.name}: {what}",
        lambda: readers[source](file),
        (source.name, *words),
        lambda found: not_finite(found, nan=True),
    )


def _changed_table(rng: Random, whole: str) -> tuple[str, str, tuple[str, ...]]:
    """What was changed, the new text, and words that a refusal may name beside the file."""
    notes = [line for line in whole.splitlines() if line.startswith("#")]
    rows = list(csv.reader(line for line in whole.splitlines() if not line.startswith("#")))
    kind = rng.choice(["cell"] * 5 + ["text", "text", "header", "row", "column", "order", "mark"])
    if kind == "text":
        return "text", oddities.mangled_text(rng, whole), ()
    i, j = rng.randrange(1, len(rows)), rng.randrange(len(rows[0]))
    what, words = f"{kind} {rows[0][j]!r}", (rows[0][j],)
    if kind == "cell":
        near = float(rows[i][j]) if re.fullmatch(r"-?\d+\.?\d*", rows[i][j]) else None
        odd = repr(oddities.number(rng, near)) if rng.random() < 0.5 else rng.choice(oddities.CELLS)
        rows[i][j] = odd
        what = f"row {i}, {rows[0][j]!r} = {odd[:30]!r}"
        words = (*words, f"row {i}", repr(odd.strip()))
    elif kind == "header":
        rows[0][j] = rng.choice([rng.choice(rows[0]), oddities.text(rng), rows[0][j] + " "])
    elif kind == "row":
        change = rng.choice(["drop", "double", "long", "short", "none"])
        if change == "drop":
            del rows[i]
        elif change == "double":
            rows.insert(i, list(rows[i]))
        elif change == "none":
            del rows[1:]
        else:
            rows[i] = rows[i] + ["1"] if change == "long" else rows[i][:-1]
    elif kind == "column":
        change = rng.choice(["drop", "double", "new", "swap"])
        k = rng.randrange(len(rows[0]))
        for row in rows:
            if change == "drop":
                del row[j]
            elif change == "swap":
                row[j], row[k] = row[k], row[j]
            else:
                row.insert(k, row[j] if change == "double" else "extra")
    elif kind == "order":
        body = rows[1:]
        rng.shuffle(body)
        rows = [rows[0], *body]
    buffer = io.StringIO()
    mark = rng.choice([";", "\t", "|", " "]) if kind == "mark" else ","
    csv.writer(buffer, delimiter=mark, lineterminator="\n").writerows(rows)
    return what, "\n".join(notes) + "\n" * bool(notes) + buffer.getvalue(), words


def _passbys(file: Path) -> Any:
    """Read passbys, and hold what was read against the cells as another reader gives them."""
    lines = file.name == "passbys.csv"
    own: dict[str, Any] = {"quantity": "velocity", "reference": "1 nm/s"}
    if not lines:
        own = {
            "quantity": "acceleration", "reference": "1 µm/s²", "band_column": "L{band}",
            "name_column": "event", "kind_column": "kind", "passby_kinds": ["train"],
            "background_kinds": ["quiet"], "ignore_columns": ["remark"], "select": {"axis": "z"},
        }  # fmt: skip
    passbys = read_passbys(file, time_weighting="S max", **own)
    level = passbys.level
    gb.bands.require_labels(level["frequency"], "passbys")
    names = level["passby"].values.tolist()
    assert len(set(names)) == len(names) > 0
    text = file.read_bytes().decode("utf-8-sig")
    if lines:  # those of the others are converted from acceleration
        assert set(level.values.ravel().tolist()) <= _numbers(text), "a level that no cell holds"
    if '"' not in text and lines:
        body = [x for x in re.split(r"[\r\n]+", text) if x.strip(" ,\t\x0b\x0c\x1c\x1d\x1e\x85")]
        rows = [x for x in body if not x.startswith("#")][1:]
        assert len(rows) == len(names), "a row was left out"
    return passbys


def _numbers(text: str) -> set[float]:
    cells = (c for row in csv.reader(io.StringIO(text)) for c in row)
    found = set()
    for cell in cells:
        try:
            found.add(float(cell))
        except ValueError:
            continue
    return {v for v in found if math.isfinite(v)}
