"""Answers as matrices, rooms by options, for the document."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pandas as pd

from groundborne.rating import Scale
from groundborne.report.assessment import listed
from groundborne.report.marks import signs
from groundborne.report.printed import margin_run, margin_whole, rating_run, rating_words
from groundborne.report.tree import Runs

_FEW = 8  # rooms that a narrow column takes


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One answer.

    Parameters
    ----------
    rating, margin : str
        As printed, with the marks of bounds and of what decided.
    answer : str
        Of the numbers before rounding.
    runs : tuple
        The same, each number with its place in the table; of the first of rooms that are alike.
    """

    rating: str
    margin: str
    answer: str
    runs: Runs = field(default=(), compare=False)


@dataclass(frozen=True, kw_only=True)
class Row:
    """Rooms with equal answers.

    Parameters
    ----------
    rooms, name, floors, limit : str
        What the row is of.
    many : bool
        Whether the list of rooms is long.
    cells : tuple of Cell
        One for each option.
    """

    rooms: str
    name: str
    floors: str
    limit: str
    many: bool
    cells: tuple[Cell, ...]


def criterion_matrix(table: pd.DataFrame, criterion: str, scale: Scale) -> list[Row]:
    """Rooms by options on one criterion; neighbours of a group with equal answers share a row."""
    part = table[table["criterion"] == criterion]
    rows: list[tuple[tuple[str, str, tuple[Cell, ...]], list[pd.Series]]] = []
    for _, of_room in part.groupby("room", sort=False):
        cells = tuple(
            Cell(
                rating=rating_words(r, scale),
                margin=margin_whole(r) + signs(r["decided_by"]),
                answer=r["answer"],
                runs=(rating_run(r, scale), " / ", margin_run(r, scale)) if "key" in r else (),
            )
            for r in of_room.to_dict("records")
        )
        first = of_room.iloc[0]
        key = (str(first["group"]), f"{first['limit']:g}", cells)
        for known, members in rows:
            if known == key:
                members.append(first)
                break
        else:
            rows.append((key, [first]))
    return [
        Row(
            rooms=listed(str(m["room"]) for m in members),
            name=str(members[0]["name"])
            if len(members) == 1
            else f"{key[0]}, {len(members)} rooms",
            floors=_floors(list(dict.fromkeys(str(m["floor"]) for m in members))),
            limit=key[1],
            many=len(members) > _FEW,
            cells=key[2],
        )
        for key, members in rows
    ]


MOST_OPTIONS = 6
"""Options that stand side by side on a page without shrinking it."""


def blocks(options: list[str], rows: list[Row]) -> list[tuple[list[str], list[Row]]]:
    """The same rows with as many options as a page takes, block by block.

    Examples
    --------
    >>> [names for names, _ in blocks([f"option {n}" for n in range(1, 9)], [])]
    [['option 1', 'option 2', 'option 3', 'option 4'], ['option 5', 'option 6', 'option 7', \
'option 8']]
    """
    count = max(1, -(-len(options) // MOST_OPTIONS))
    size = max(1, -(-len(options) // count))
    return [
        (options[at : at + size], [replace(r, cells=r.cells[at : at + size]) for r in rows])
        for at in range(0, len(options), size)
    ]


def _floors(names: list[str]) -> str:
    return listed(names) if len(names) < 4 else f"{names[0]} … {names[-1]}, {len(names)} floors"
