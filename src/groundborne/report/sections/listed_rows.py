"""What a study lists row by row, as a listing: measurements, the register of crossings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, is_dataclass
from typing import Any

from groundborne.report.tree import Listing, Terms, words_listing


def listing_of(key: str, caption: str, rows: Sequence[Any]) -> Listing:
    """Rows as they are, without the columns that no row fills.

    Parameters
    ----------
    key, caption : str
        Of the listing.
    rows : sequence of dataclass or mapping
        Of one kind, one or more.
    """
    plain = [asdict(r) if is_dataclass(r) and not isinstance(r, type) else dict(r) for r in rows]
    names = [n for n in plain[0] if any(_text(r.get(n)) for r in plain)]
    header = tuple(n.replace("_", " ").capitalize() for n in names)
    return words_listing(
        key, caption, header, [tuple(_text(r.get(n)) for n in names) for r in plain]
    )


def terms_of(row: Any) -> Terms:
    """One row as names and what they are, without what is empty.

    Parameters
    ----------
    row : dataclass or mapping
        As of :func:`listing_of`.
    """
    plain = asdict(row) if is_dataclass(row) and not isinstance(row, type) else dict(row)
    return Terms(
        items=tuple(
            (name.replace("_", " ").capitalize(), (_text(value),))
            for name, value in plain.items()
            if _text(value)
        )
    )


def _text(value: Any) -> str:
    """A value in words: what is empty is nothing, lists and counts by their entries."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:g}"
        case Mapping() if set(value) == {"name", "calibrated"}:
            day = value["calibrated"]
            return f"{value['name']}, calibrated {day}" if day else str(value["name"])
        case Mapping():
            return "; ".join(f"{name}: {_text(v)}" for name, v in value.items())
        case list() | tuple():
            return "; ".join(_text(v) for v in value)
    return str(value)
