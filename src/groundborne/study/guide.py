"""The guide to study files, written from the table of keys: for README.md and data/study_keys.md.

``python -m groundborne.study.guide`` in the folder of the project renews both.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from pathlib import Path as FilePath
from typing import Any

from groundborne.csv_columns import CSV_TABLES
from groundborne.files import write_files
from groundborne.key import Key, KeyTable
from groundborne.study.keys import places
from groundborne.usual_ranges import PRACTICE

BEGIN = "<!-- study keys: begin; renewed by python -m groundborne.study.guide -->"
END = "<!-- study keys: end -->"
"""Marks of the block in README.md."""

README, WHOLE = "README.md", "data/study_keys.md"

_WHOLE = """# Keys of study files

Written from the table of keys by `python -m groundborne.study.guide`; edit the table, not this
file. A number outside the possible range is refused; one outside the usual range is used, and a
warning says so. Usual ranges are common practice unless a source stands beside them. Numbers marked
~ may be given from a script as arrays of any dims (`read_study(..., changes=...)`).
"""


def toml_value(value: Any) -> str:
    """A value as TOML writes it.

    Examples
    --------
    >>> toml_value(["a", "b"]), toml_value(35e9), toml_value(True), toml_value({"all": 120})
    ('["a", "b"]', '3.5e+10', 'true', '{ "all" = 120 }')
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, dict):
        return (
            "{ " + ", ".join(f"{toml_value(k)} = {toml_value(v)}" for k, v in value.items()) + " }"
        )
    big = isinstance(value, float) and (abs(value) >= 1e6 or not value.is_integer())
    return f"{value:.6g}" if big else f"{value:.0f}" if isinstance(value, float) else repr(value)


def needs(row: Key) -> str:
    """Whether a key is needed, or what stands for it, and where it applies."""
    if row.needed:
        said = "needed"
    elif row.default in (None, "", (), math.inf):
        said = "optional"
    else:
        said = f"{toml_value(row.default)} by default"
    return " ".join([said, *dict.fromkeys(_where(w.words) for w in row.when)])


def _where(words: str) -> str:
    return words if words.startswith("with") else f"with {words}"


def range_words(row: Key) -> list[str]:
    """Unit, usual and possible range of a number, in words."""
    if row.quantity is None:
        return [row.free] if row.free else []
    usual = row.quantity.usual_words.removesuffix(f" ({PRACTICE})")
    possible = row.quantity.possible_words
    return [usual, *([f"possible: {possible}"] if possible else [])]


def comment(row: Key) -> str:
    """All that is known of a key, in a line.

    Examples
    --------
    >>> from groundborne.study.keys import declared
    >>> comment(declared("isolation.load").rows("mass_kg")[0])
    'on all mounts, without columns; optional without [structure]; usual: 20000 to 5e+08 kg; \
possible: 100 to 1e+10 kg'
    """
    words = [row.meaning, needs(row), *range_words(row)]
    if row.kind == "choice":
        words.append("one of " + ", ".join(f'"{c}"' for c in row.choices))
    return "; ".join(filter(None, words))


def readme_block() -> str:
    """Keys by table, those that are needed first: the block between the marks in README.md."""
    lines = ["| table | with | needed | optional |", "|---|---|---|---|"]
    seen: dict[int, str] = {}
    for place, of, _ in places():
        name = f"`[{place}]`" if place else "top of the file"
        if id(of) in seen:
            lines.append(f"| {name} | | as {seen[id(of)]} | |")
            continue
        seen[id(of)] = name
        lines.extend(_rows(name, of))
    for place, of in CSV_TABLES.items():
        lines.extend(_rows(f"CSV: {place}", of))
    return "\n".join(lines)


def _rows(name: str, of: KeyTable) -> Iterator[str]:
    """A line for the keys of a table that always apply, and one for each condition."""
    by_condition: dict[str, list[Key]] = {}
    for key in of.keys:
        by_condition.setdefault(", ".join(w.words for w in key.when), []).append(key)
    alike: dict[tuple[str, str], list[str]] = {}
    for words, keys in by_condition.items():
        needed = _named(k for k in keys if k.needed)
        optional = _named(k for k in keys if not k.needed)
        alike.setdefault((needed, optional), []).append(words)
    for (needed, optional), conditions in alike.items():
        first, *others = conditions
        head = first.rpartition(" = ")[0]
        words = ", ".join([first, *(o.removeprefix(f"{head} = ") for o in others)])
        yield f"| {name} | {words} | {needed} | {optional} |"
        name = ""


def _named(keys: Iterable[Key]) -> str:
    names = [key.name for key in keys if key.name != "*"]
    octaves = [n for n in names if n.startswith("rt_") and n != "rt_s"]
    if octaves:
        names = [n for n in names if n not in octaves[1:-1]]
        at = names.index(octaves[0])
        names[at : at + 2] = [f"{octaves[0]}` to `{octaves[-1]}"]
    return ", ".join(f"`{n}`" for n in dict.fromkeys(names))


def whole_guide() -> str:
    """Every key with its unit, ranges, default and meaning."""
    parts = [_WHOLE]
    seen: dict[int, str] = {}
    for place, of, row in places():
        title = f"[{place}]" if place else "Top of the file"
        told = f"\n{row.meaning}\n" if row is not None else ""
        if id(of) in seen:
            parts.append(f"## {title}\n{told}\nAs {seen[id(of)]}.\n")
            continue
        seen[id(of)] = title
        parts.append(f"## {title}\n{told}\n{_table(of)}\n")
    parts.extend(f"## CSV table: {place}\n\n{_table(of)}\n" for place, of in CSV_TABLES.items())
    return "\n".join(parts)


def _table(of: KeyTable) -> str:
    lines = ["| key | meaning | | usual | possible |", "|---|---|---|---|---|"]
    for key in of.keys:
        usual, possible = "", ""
        if key.quantity is not None:
            usual, *rest = range_words(key)
            usual = usual.removeprefix("usual: ")
            possible = rest[0].removeprefix("possible: ") if rest else ""
        elif key.free:
            usual = key.free
        name = "any name" if key.name == "*" else f"`{key.name}`" + " ~" * key.uncertain
        choices = ""
        if key.kind == "choice":
            choices = ": " + ", ".join(f'"{c}"' for c in key.choices)
        lines.append(f"| {name} | {key.meaning}{choices} | {needs(key)} | {usual} | {possible} |")
    return "\n".join(line.replace("|  |", "| |") for line in lines)


def renewed(text: str) -> str:
    """The text of README.md with the block as the table gives it.

    Parameters
    ----------
    text : str
        With both marks.

    Raises
    ------
    ValueError
        A mark is missing.
    """
    if text.count(BEGIN) != 1 or text.count(END) != 1:
        raise ValueError(f"{README}: the marks {BEGIN!r} and {END!r} are needed once each")
    block = f"{BEGIN}\n\n{readme_block()}\n\n{END}"
    return re.sub(f"{re.escape(BEGIN)}.*{re.escape(END)}", lambda _: block, text, flags=re.DOTALL)


def _main() -> None:
    text = renewed(FilePath(README).read_text(encoding="utf-8"))
    contents = {FilePath(README): text.encode(), FilePath(WHOLE): whole_guide().encode()}
    write_files(contents, where="guide", overwrite=True)


if __name__ == "__main__":
    _main()
