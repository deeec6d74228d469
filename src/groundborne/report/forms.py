"""Other forms of a report than the page: a document to edit and a workbook, on request."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path as FilePath

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.report.facts import Facts
from groundborne.report.folder import listed_files
from groundborne.report.tree import Document

# Form: file in the folder of the report, module that writes it, package that holds the module.
_FORMS = {
    "docx": ("report.docx", "docx", "python-docx"),
    "xlsx": ("report.xlsx", "xlsxwriter", "xlsxwriter"),
}
DOCX, XLSX = _FORMS

DPI = 200
"""Dots to an inch at which a document holds its figures, where no other number is asked."""


@checked
def form_files(forms: Sequence[str]) -> list[str]:
    """Files that forms of a report are written to, once it is sure that they can be.

    Parameters
    ----------
    forms : sequence of str
        ``docx`` or ``xlsx``, or both.

    Returns
    -------
    list of str
        Names in the folder of the report.

    Raises
    ------
    StudyError
        Another form, or one whose package is not installed.

    Examples
    --------
    >>> form_files(["xlsx"])
    ['report.xlsx']
    >>> form_files(["pdf"])
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: report: form is 'pdf'; known are 'docx', 'xlsx'.
    """
    files = []
    for form in dict.fromkeys(forms):
        known("report", "form", form, _FORMS, StudyError)
        file, module, package = _FORMS[form]
        if not _installed(module):
            raise StudyError(
                f"report: {file} needs the package {package!r}, which is not installed: install "
                "groundborne[report]"
            )
        files.append(file)
    return files


def earlier_forms(folder: str | FilePath, forms: Sequence[str]) -> dict[str, bool]:
    """Forms of an earlier report in a folder that are not asked for now.

    Parameters
    ----------
    folder : str or Path
        Where a report is to be written.
    forms : sequence of str
        What is asked for.

    Returns
    -------
    dict of str to bool
        By file whether it is as it was written, so that the next report takes it away; a file that
        was edited stays.

    Examples
    --------
    >>> earlier_forms("nowhere", ["docx"])
    {}
    """
    place, found = FilePath(folder), {}
    listed = listed_files(place)
    for form, (file, _, _) in _FORMS.items():
        if form not in forms and (place / file).is_file():
            digest = hashlib.sha256((place / file).read_bytes()).hexdigest()
            found[file] = listed.get(file) == digest
    return found


def _installed(module: str) -> bool:
    try:
        return find_spec(module) is not None
    except ValueError:  # of one that is blocked
        return False


def form_contents(
    forms: Sequence[str], facts: Facts, document: Document, images: Mapping[str, bytes]
) -> dict[str, bytes]:
    """The forms of a report by the names of their files.

    Parameters
    ----------
    forms : sequence of str
        As of :func:`form_files`.
    facts : Facts
        What the report is written from.
    document : Document
        The report as a tree.
    images : mapping of str to bytes
        PNG of its figures by key, of which a document has need.
    """
    # Here, because the packages for them are optional.
    found = {}
    if DOCX in forms:
        from groundborne.report.docx_file import docx_bytes

        found[_FORMS[DOCX][0]] = docx_bytes(
            document, images, details=facts.study.details, invented=facts.study.invented
        )
    if XLSX in forms:
        from groundborne.report.workbook import workbook_bytes

        found[_FORMS[XLSX][0]] = workbook_bytes(facts)
    return found
