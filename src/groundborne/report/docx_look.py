"""How a report looks in Word: page, styles, numbers of headings, head and foot of a page."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import docx
from docx.document import Document as Word
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.text import WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.oxml.ns import qn
from docx.shared import Mm, Pt, RGBColor

from groundborne.report.docx_parts import TWIPS, edges, field, node, plain, run
from groundborne.report.tree import Document
from groundborne.study.details import Details

LANGUAGE = "en-GB"
WIDE, TALL = 210.0, 297.0  # mm, A4
EDGE = 20.0  # mm, around the text
TEXT = WIDE - 2 * EDGE
"""Width of the text [mm]."""
TABLE, FINE, VERBATIM = 8.5, 7.5, 7.0  # pt

BODY_NUMBERS, ANNEX_NUMBERS = 51, 52
"""Ids of the numbering of headings."""

_FONT, _MONO = "Arial", "Courier New"
_INK, _SOFT, _LINE = "1B1F23", "4A545E", "C3CAD1"
_HEADINGS = ((15.0, 18, 6), (12.0, 12, 4), (10.5, 10, 3), (10.0, 8, 2))  # pt: size, before, after
_NO_DATE = datetime(1980, 1, 1)


def new_document(of: Document, details: Details, *, invented: bool) -> Word:
    """An empty document in the look of a report.

    Parameters
    ----------
    of : Document
        Its title and running head.
    details : Details
        Title block, of which the properties of the document are made.
    invented : bool
        Whether its data are made up for demonstration.
    """
    word = docx.Document()
    _page(word)
    _defaults(word)
    _styles(word)
    _tables(word)
    _numbers(word)
    _running(word, of.running)
    _settings(word)
    _without_thumbnail(word)
    _properties(word, of, details, invented=invented)
    return word


def _page(word: Word) -> None:
    section = word.sections[0]
    section.page_width, section.page_height = Mm(WIDE), Mm(TALL)
    section.left_margin = section.right_margin = Mm(EDGE)
    section.top_margin, section.bottom_margin = Mm(22), Mm(20)
    section.header_distance = section.footer_distance = Mm(10)
    section.different_first_page_header_footer = True


def _defaults(word: Word) -> None:
    """One font and one language for all; the template's many table styles go."""
    styles: Any = word.styles.element
    for fonts in styles.iter(qn("w:rFonts")):
        fonts.attrib.clear()
        for name in ("ascii", "hAnsi", "cs", "eastAsia"):
            fonts.set(qn(f"w:{name}"), _FONT)
    for language in styles.iter(qn("w:lang")):
        language.set(qn("w:val"), LANGUAGE)
    for style in list(styles.iter(qn("w:style"))):
        name = style.get(qn("w:styleId"))
        if style.get(qn("w:type")) == "table" and name not in ("TableNormal", "TableGrid"):
            styles.remove(style)


def _look(
    style: Any, size: float, *, before: float = 0, after: float = 0, bold: bool | None = None,
    colour: str = _INK, line: float = 1.15, next_stays: bool | None = None,
) -> None:  # fmt: skip
    style.font.size, style.font.bold = Pt(size), bold
    style.font.color.rgb = RGBColor.from_string(colour)
    style.font.italic = False
    form = style.paragraph_format
    form.space_before, form.space_after, form.line_spacing = Pt(before), Pt(after), line
    if next_stays is not None:
        form.keep_with_next = next_stays


def _styles(word: Word) -> None:
    styles: Any = word.styles

    def own(name: str, base: str = "Normal") -> Any:
        style = styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        style.base_style, style.quick_style = styles[base], True
        return style

    _look(styles["Normal"], 10, after=6)
    styles["Normal"].paragraph_format.widow_control = True
    for style, points, gap, colour in (("Title", 22, 2, _INK), ("Subtitle", 12, 10, _SOFT)):
        _look(styles[style], points, after=gap, bold=style == "Title", colour=colour)
        for name in ("w:pBdr", "w:rPr/w:spacing"):
            for odd in styles[style].element.xpath(f".//{name}"):
                odd.getparent().remove(odd)
    for level, (size, before, after) in enumerate(_HEADINGS, start=1):
        style = styles[f"Heading {level}"]
        _look(style, size, before=before, after=after, bold=True, next_stays=True)
        numbering = style.element.get_or_add_pPr().get_or_add_numPr()
        numbering.extend([node("ilvl", val=level - 1), node("numId", val=BODY_NUMBERS)])
    _look(styles["Caption"], 9, before=4, after=3, bold=False)
    _look(styles["TOC Heading"], 13, before=12, after=4, bold=True, next_stays=True)
    none = styles["TOC Heading"].element.get_or_add_pPr().get_or_add_numPr()
    none.extend([node("numId", val=0)])  # it looks like a heading, and has no number
    contents = styles.add_style("toc 1", WD_STYLE_TYPE.PARAGRAPH, builtin=True)
    contents.base_style = styles["Normal"]
    _look(contents, 10, after=1.5)
    contents.paragraph_format.tab_stops.add_tab_stop(Mm(18))
    contents.paragraph_format.tab_stops.add_tab_stop(
        Mm(TEXT), WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.DOTS
    )
    for name in ("List Bullet", "List Number"):
        _look(styles[name], 10, after=3)
    _look(own("Small"), 9, after=6, colour=_SOFT)
    _look(own("Figure"), 10, before=6, next_stays=True, line=1.0)
    _look(own("Table Text"), TABLE, line=1.08)
    _look(own("Table Fine"), FINE, line=1.05)
    _look(own("Table Head", "Table Text"), TABLE, bold=True, next_stays=True, line=1.0)
    _look(own("Table Fine Head", "Table Head"), FINE, bold=True, next_stays=True, line=1.0)
    _look(own("After Table"), 4, after=4, line=1.0)
    _look(own("Box Title"), 10, before=2, after=3, bold=True, next_stays=True)
    _look(own("Verbatim"), VERBATIM, line=1.0)
    styles["Verbatim"].font.name = _MONO
    code = styles.add_style("Code", WD_STYLE_TYPE.CHARACTER)
    code.font.name, code.font.size = _MONO, Pt(8.5)
    soft = styles.add_style("Soft", WD_STYLE_TYPE.CHARACTER)
    soft.font.size, soft.font.color.rgb = Pt(8), RGBColor.from_string(_SOFT)
    for name in ("Header", "Footer"):
        _look(styles[name], 8, colour=_SOFT)


def _tables(word: Word) -> None:
    """Styles of tables: lines between rows, and a list of names."""
    thin, firm = (4, _LINE), (8, _INK)
    for name, sides in (
        ("ReportTable", {"top": firm, "bottom": thin, "insideH": thin}),
        ("ReportTerms", {"bottom": thin, "insideH": thin}),
        ("ReportBare", {}),
    ):
        padding = node("tblCellMar", *(
            node(side, w=round(width * TWIPS), type="dxa")
            for side, width in (("top", 0.5), ("left", 1.2), ("bottom", 0.5), ("right", 1.2))
        ))  # fmt: skip
        style = node(
            "style",
            node("name", val=name.replace("Report", "Report ")),
            node("basedOn", val="TableNormal"),
            node("uiPriority", val=99),
            node("tblPr", edges("tblBorders", **sides), padding),
            type="table", customStyle=1, styleId=name,
        )  # fmt: skip
        if name == "ReportTable":
            style.append(
                node("tblStylePr", node("tcPr", edges("tcBorders", bottom=firm)), type="firstRow")
            )
        styles: Any = word.styles.element
        styles.append(style)


def _numbers(word: Word) -> None:
    """Numbers of headings: 1, 1.1 in the body and Annex A, A.1 behind it."""
    numbering: Any = word.part.numbering_part.element
    for name, form, first in (
        (BODY_NUMBERS, "decimal", "%1"), (ANNEX_NUMBERS, "upperLetter", "Annex %1")
    ):  # fmt: skip
        levels = []
        for level in range(len(_HEADINGS)):
            text = first if level == 0 else ".".join(f"%{n + 1}" for n in range(level + 1))
            wide = 12 if level == 0 and form == "decimal" else 25 if level == 0 else 15
            linked = [node("pStyle", val=f"Heading{level + 1}")] if form == "decimal" else []
            levels.append(
                node(
                    "lvl",
                    node("start", val=1),
                    node("numFmt", val=form if level == 0 else "decimal"),
                    *linked,
                    node("suff", val="tab"),
                    node("lvlText", val=text),
                    node("lvlJc", val="left"),
                    node("pPr", node("tabs", node("tab", val="num", pos=round(wide * TWIPS))),
                         node("ind", left=round(wide * TWIPS), hanging=round(wide * TWIPS))),
                    ilvl=level,
                )
            )  # fmt: skip
        abstract = node(
            "abstractNum", node("multiLevelType", val="multilevel"), *levels, abstractNumId=name
        )
        numbering.find(qn("w:num")).addprevious(abstract)
        numbering.append(node("num", node("abstractNumId", val=name), numId=name))


def list_numbers(word: Word) -> int:
    """Id of numbers that begin anew at 1, for one numbered list."""
    numbering: Any = word.part.numbering_part.element
    style: Any = word.styles["List Number"].element
    own = style.find(f".//{qn('w:numId')}").get(qn("w:val"))
    base = next(n for n in numbering.iter(qn("w:num")) if n.get(qn("w:numId")) == own)
    abstract = base.find(qn("w:abstractNumId")).get(qn("w:val"))
    number = max(int(n.get(qn("w:numId"))) for n in numbering.iter(qn("w:num"))) + 1
    again = node("lvlOverride", node("startOverride", val=1), ilvl=0)
    numbering.append(node("num", node("abstractNumId", val=abstract), again, numId=number))
    return number


def _running(word: Word, words: str) -> None:
    """Head and foot of every page, the head but for the first."""
    section = word.sections[0]
    head: Any = section.header.paragraphs[0]._p
    head.append(run(plain(words)[:110]))
    for footer in (section.footer, section.first_page_footer):
        foot: Any = footer.paragraphs[0]
        foot.paragraph_format.alignment = WD_TAB_ALIGNMENT.RIGHT
        foot.style = word.styles["Footer"]
        for one in (run("Page "), *field("PAGE", "1"), run(" of "), *field("NUMPAGES", "1")):
            foot._p.append(one)


def _without_thumbnail(word: Word) -> None:
    """The template's picture of itself goes."""
    relations = word.part.package.rels
    for name in [n for n, r in relations.items() if r.reltype.endswith("/thumbnail")]:
        del relations[name]


def _settings(word: Word) -> None:
    """Fields are worked out when the document is opened; the layout is that of a current Word."""
    settings: Any = word.settings.element
    compat = settings.find(qn("w:compat"))
    compat.addprevious(node("updateFields", val="true"))
    for setting in compat.iter(qn("w:compatSetting")):
        if setting.get(qn("w:name")) == "compatibilityMode":
            setting.set(qn("w:val"), "15")
    for language in settings.iter(qn("w:themeFontLang")):
        language.set(qn("w:val"), LANGUAGE)


def _properties(word: Word, of: Document, details: Details, *, invented: bool) -> None:
    core = word.core_properties
    core.title, core.subject = plain(of.title)[:255], plain(of.subtitle)[:255]
    core.author, core.last_modified_by = plain(details.author)[:255], plain(details.author)[:255]
    core.keywords, core.category = "", plain(details.project_number)[:255]
    core.content_status, core.version = details.status, plain(details.revision)[:255]
    core.comments = "Invented for demonstration." if invented else ""
    core.language = LANGUAGE
    core.created = core.modified = date_of(details)
    core.revision = 1


def date_of(details: Details) -> datetime:
    """Day of the title block; a fixed one where it says none, so that bytes are the same."""
    try:
        return datetime.fromisoformat(details.date[:10])
    except ValueError:
        return _NO_DATE
