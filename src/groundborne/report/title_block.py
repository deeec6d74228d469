"""The title block of a study as lines: for schedules, workbooks and properties of files."""

from __future__ import annotations

from groundborne.study import Study

INVENTED = "invented for demonstration"

FIELDS = (
    ("client", "Client"),
    ("project_number", "Project number"),
    ("author", "Author"),
    ("checker", "Checked by"),
    ("date", "Date"),
    ("revision", "Revision"),
    ("status", "Status"),
    ("note", "Note"),
)
"""Of the title block: names of what a study states, and as they are printed."""


def block_lines(study: Study) -> list[tuple[str, str]]:
    """Kind of line and text: what is invented first, then the project and what else is said."""
    found = [("data", f"{INVENTED}; no real place, building, people or measurement")]
    found = found if study.invented else []
    found.append(("project", study.name))
    for name, words in FIELDS:
        value = getattr(study.details, name)
        kind = "document revision" if name == "revision" else words.lower()
        found += [(kind, str(value))] if value else []
    return found


def title_lines(study: Study, what: str) -> tuple[str, str]:
    """Two lines for the top of a sheet: project and what it holds, and who, when, which state."""
    of = study.details
    said = [
        *[w for w in (of.project_number, of.client, of.author) if w],
        *([f"checked by {of.checker}"] if of.checker else []),
        *([of.date] if of.date else []),
        *([f"revision {of.revision}"] if of.revision else []),
        *([of.status] if of.status else []),
    ]
    invented = f" ({INVENTED})" if study.invented else ""
    block = "; ".join(said) or "no title block stated in the study"
    return f"{study.name}: {what}{invented}", block


def properties(study: Study) -> dict[str, str]:
    """Of a workbook."""
    of = study.details
    return {
        "title": study.name[:255],
        "author": of.author[:255],
        "category": of.project_number[:255],
        "status": of.status,
        "comments": f"{INVENTED.capitalize()}." if study.invented else "",
    }
