"""What a Word document is made of, as its markup: runs, fields, bookmarks, tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from docx.oxml import OxmlElement
from docx.oxml.ns import qn

TWIPS = 1440 / 25.4
"""To a millimetre: twentieths of a point, in which Word measures."""

_SYMBOLS = "Segoe UI Symbol"  # has the signs of answers; office programs without it find another


def node(tag: str, *inner: Any, **given: object) -> Any:
    """An element of WordprocessingML with its attributes.

    Examples
    --------
    >>> node("jc", val="right").get(qn("w:val"))
    'right'
    """
    found = OxmlElement(f"w:{tag}")
    for name, value in given.items():
        found.set(qn(f"w:{name}"), str(value))
    for one in inner:
        found.append(one)
    return found


def plain(words: object) -> str:
    r"""Words without what neither XML nor paper can hold.

    Examples
    --------
    >>> plain("a\x00b\n")
    'a b\n'
    """
    return "".join(c if c.isprintable() or c == "\n" else " " for c in str(words))


def run(words: str, *, bold: bool = False, style: str = "", sign: bool = False) -> Any:
    """Words in one look; breaks of lines stay.

    Parameters
    ----------
    words : str
        Whatever came from the study.
    bold : bool
        Whether they carry weight.
    style : str
        Id of a character style.
    sign : bool
        Whether they are signs that few fonts have.
    """
    look = node("rPr")
    if style:
        look.append(node("rStyle", val=style))
    if sign:
        look.append(node("rFonts", ascii=_SYMBOLS, hAnsi=_SYMBOLS, cs=_SYMBOLS))
    if bold:
        look.append(node("b"))
    found = node("r", look) if len(look) else node("r")
    for at, line in enumerate(plain(words).split("\n")):
        if at:
            found.append(node("br"))
        found.append(_text("t", line))
    return found


def tab() -> Any:
    """A run that goes to the next tab."""
    return node("r", node("tab"))


def _text(tag: str, words: str) -> Any:
    found = node(tag)
    found.text = words
    found.set(qn("xml:space"), "preserve")
    return found


def field(code: str, shown: str, *, style: str = "") -> list[Any]:
    """A field: what a program works out, and what stands there until it does."""
    return [
        node("r", node("fldChar", fldCharType="begin")),
        node("r", _text("instrText", f" {code} ")),
        node("r", node("fldChar", fldCharType="separate")),
        run(shown, style=style),
        node("r", node("fldChar", fldCharType="end")),
    ]


def bookmarked(name: str, number: int, inner: Iterable[Any]) -> list[Any]:
    """Elements that a reference leads to."""
    return [
        node("bookmarkStart", id=number, name=name), *inner, node("bookmarkEnd", id=number)
    ]  # fmt: skip


def link(name: str, inner: Iterable[Any]) -> Any:
    """Elements that lead to a bookmark."""
    return node("hyperlink", *inner, anchor=name, history=1)


def paragraph(style: str, inner: Iterable[Any] = (), *, look: Sequence[Any] = ()) -> Any:
    """A paragraph in a style, with what differs from it in the order that Word asks."""
    return node("p", node("pPr", node("pStyle", val=style), *look), *inner)


def table(
    style: str,
    widths: Sequence[float],
    rows: Sequence[Any],
    *,
    caption: str = "",
    heads: bool = False,
) -> Any:
    """A table of given columns.

    Parameters
    ----------
    style : str
        Id of a table style.
    widths : sequence of float
        Of its columns [mm].
    rows : sequence
        From :func:`row`.
    caption : str
        What is in it, for who does not see it.
    heads : bool
        Whether its first row is a header.
    """
    about = node(
        "tblPr",
        node("tblStyle", val=style),
        node("tblW", w=round(sum(widths) * TWIPS), type="dxa"),
        node("tblLayout", type="fixed"),
        node("tblLook", val="0420" if heads else "0400", firstRow=int(heads), lastRow=0,
             firstColumn=0, lastColumn=0, noHBand=0, noVBand=1),
    )  # fmt: skip
    if caption:
        about.append(node("tblCaption", val=plain(caption)))
    grid = node("tblGrid", *(node("gridCol", w=round(w * TWIPS)) for w in widths))
    return node("tbl", about, grid, *rows)


def row(cells: Iterable[Any], *, head: bool = False, splits: bool = False) -> Any:
    """A row of cells; a header comes again on every page.

    Parameters
    ----------
    cells : iterable
        From :func:`cell`.
    head : bool
        Whether it is a header.
    splits : bool
        Whether it may go on on the next page.
    """
    about = node("trPr")
    if not splits:
        about.append(node("cantSplit"))
    if head:
        about.append(node("tblHeader"))
    return node("tr", about, *cells)


def cell(
    width: float,
    inner: Iterable[Any],
    *,
    fill: str = "",
    edges: Any = None,
    padding: float | None = None,
) -> Any:
    """A cell of paragraphs, so many millimetres wide, on a colour, with room around its words."""
    about = node("tcPr", node("tcW", w=round(width * TWIPS), type="dxa"))
    if edges is not None:
        about.append(edges)
    if fill:
        about.append(node("shd", val="clear", color="auto", fill=fill))
    if padding is not None:
        room = {"w": round(padding * TWIPS), "type": "dxa"}
        about.append(node("tcMar", *(node(s, **room) for s in ("top", "left", "bottom", "right"))))
    return node("tc", about, *inner)


def edges(tag: str, **sides: tuple[int, str]) -> Any:
    """Lines around a cell or a table: eighths of a point and colour by side."""
    order = [s for s in ("top", "left", "bottom", "right", "insideH", "insideV") if s in sides]
    return node(tag, *(
        node(s, val="single" if sides[s][0] else "nil", sz=sides[s][0], space=0, color=sides[s][1])
        for s in order
    ))  # fmt: skip


_NARROWEST, _WIDEST = 9.0, 44.0  # mm; the latter of a word that has to stay whole
_PADDING = 3.2  # mm, beside the words of a cell
# Width of letters in the font of the report, by its size; of most others 0.556.
_LETTERS = {
    **dict.fromkeys("ijl.,:;'|!", 0.25), **dict.fromkeys("frt()[]-/ ", 0.33),
    **dict.fromkeys("mwMW%@", 0.9), **dict.fromkeys("ABCDEFGHKNOPQRSTUVXYZ", 0.7),
}  # fmt: skip
_BOLD = 1.1  # of a bold letter to a plain one


def column_widths(
    heads: Sequence[str],
    texts: Sequence[Sequence[str]],
    total: float,
    size: float,
    *,
    whole: Sequence[bool],
) -> list[float]:
    """Widths of columns that fill a page: words stay whole where there is room for them.

    Parameters
    ----------
    heads : sequence of str
        Header of each column, in bold.
    texts : sequence of sequence of str
        What stands in each below it.
    total : float
        Of all of them [mm].
    size : float
        Of the letters [pt].
    whole : sequence of bool
        Whether a column holds numbers, which are not broken either.

    Examples
    --------
    >>> widths = column_widths(
    ...     ["Room", "Reason"], [["R1"], ["a long sentence of many words"]], 170, 9,
    ...     whole=[False, False])
    >>> round(sum(widths)), widths[1] > 3 * widths[0]
    (170, True)
    """
    point = size * 25.4 / 72
    least, wanted = [], []
    for head, column, stays in zip(heads, texts, whole, strict=True):
        lines = _most(line for text in column for line in text.split("\n")) * point
        words = _most(word for text in column for word in text.split()) * point
        title = _most(head.split()) * _BOLD * point
        words = lines if stays else words
        least.append(max(min(max(words, title), _WIDEST) + _PADDING, _NARROWEST))
        wanted.append(max(least[-1], 0.0 if stays else lines + _PADDING))
    spare = total - sum(least)
    if spare <= 0:
        return [total * w / sum(least) for w in least]
    more = [w - m for w, m in zip(wanted, least, strict=True)]
    if sum(more) <= spare:
        return [total * w / sum(wanted) for w in wanted]
    return [m + spare * w / sum(more) for m, w in zip(least, more, strict=True)]


def _most(words: Iterable[str]) -> float:
    """Width of the widest, in sizes of the letters."""
    return max((sum(_LETTERS.get(c, 0.556) for c in word) for word in words), default=1.0)
