"""Verdicts as matrices, rooms by options, for the document."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from groundborne.report.verdict import listed, margin_text, rating_text, rooms_met, worst_of_group


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One verdict.

    Parameters
    ----------
    rating, margin : str
        As printed.
    met : bool
        Of the numbers before rounding.
    """

    rating: str
    margin: str
    met: bool


@dataclass(frozen=True, kw_only=True)
class Row:
    """Rooms with equal verdicts.

    Parameters
    ----------
    rooms, name, floors, limit : str
        What the row is of.
    cells : tuple of Cell
        One for each option.
    """

    rooms: str
    name: str
    floors: str
    limit: str
    cells: tuple[Cell, ...]


def criterion_matrix(table: pd.DataFrame, criterion: str, bound: str) -> list[Row]:
    """Rooms by options on one criterion; neighbours of a group with equal verdicts share a row."""
    part = table[table["criterion"] == criterion]
    rows: list[tuple[tuple[str, str, tuple[Cell, ...]], list[pd.Series]]] = []
    for _, of_room in part.groupby("room", sort=False):
        cells = tuple(
            Cell(
                rating=rating_text(r["rating"], criterion, bound),
                margin=margin_text(r["margin"]),
                met=r["met"] == "yes",
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
            name=str(members[0]["name"]) if len(members) == 1 else key[0],
            floors=listed(dict.fromkeys(str(m["floor"]) for m in members)),
            limit=key[1],
            cells=key[2],
        )
        for key, members in rows
    ]


@dataclass(frozen=True, kw_only=True)
class Summary:
    """One option in the overview.

    Parameters
    ----------
    option, met : str
        Name, and in how many rooms all criteria are met.
    all_met : bool
        Whether that is all rooms.
    cells : tuple of Cell
        The least margin of each group of rooms; ``rating`` names room and criterion.
    """

    option: str
    met: str
    all_met: bool
    cells: tuple[Cell, ...]


def overview(table: pd.DataFrame) -> tuple[list[str], list[Summary]]:
    """Groups of rooms, and for each option the least margin of each group."""
    worst = worst_of_group(table)
    groups = list(dict.fromkeys(table["group"]))
    rows = []
    for option, counts in rooms_met(table).iterrows():
        of_option = worst[worst["option"] == option].set_index("group")
        cells = tuple(
            Cell(
                rating=f"{of_option.at[g, 'room']}: {str(of_option.at[g, 'criterion']).split(',')[0]}",
                margin=margin_text(float(of_option.at[g, "margin"])),
                met=of_option.at[g, "met"] == "yes",
            )
            for g in groups
        )
        met, rooms = int(counts["met"]), int(counts["rooms"])
        rows.append(
            Summary(option=str(option), met=f"{met} of {rooms}", all_met=met == rooms, cells=cells)
        )
    return groups, rows
