"""The report: one HTML page, its figures, tables, inputs, and the result itself."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path as FilePath

import xarray as xr

import groundborne
from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.report import words
from groundborne.report.again import input_contents, why_no_rerun
from groundborne.report.facts import Facts
from groundborne.report.figures import pictures
from groundborne.report.folder import ALWAYS, check_folder, write_folder
from groundborne.report.forms import DOCX, DPI, form_contents, form_files
from groundborne.report.handover import Handover
from groundborne.report.html_page import page
from groundborne.report.own_result import require_own, require_own_cases
from groundborne.report.picture import Picture
from groundborne.report.sections.annexes import annex_sections
from groundborne.report.sections.answer import answer_section
from groundborne.report.sections.brief import brief_section
from groundborne.report.sections.care import care_section
from groundborne.report.sections.commissioning import commissioning_section
from groundborne.report.sections.critical import critical_section
from groundborne.report.sections.crossings import crossings_section
from groundborne.report.sections.decides import decides_section
from groundborne.report.sections.front import front_parts
from groundborne.report.sections.handover import handover_section
from groundborne.report.sections.limitations import limitations_section, responsibility_section
from groundborne.report.sections.measurements import measurements_section
from groundborne.report.sections.method import method_section
from groundborne.report.sections.options import options_section
from groundborne.report.sections.resonances import resonances_section
from groundborne.report.sections.results import results_section
from groundborne.report.sections.risks import risks_section
from groundborne.report.sections.schedule import schedule_section
from groundborne.report.tables import csv_bytes, marked
from groundborne.report.traces import sidecar
from groundborne.report.tree import Code, Document
from groundborne.study import Study
from groundborne.study.result import result_bytes

Progress = Callable[[int, int, str], None]
"""Called with the number of finished steps, the number of all steps, and what comes next."""

SUBTITLE = "Ground-borne noise and vibration from trains: prediction, options and assessment"


@checked
def write_report(
    study: Study,
    result: xr.Dataset,
    folder: str | FilePath,
    *,
    mechanics: xr.Dataset | None = None,
    forms: Sequence[str] = (),
    handover: Handover | None = None,
    png: int | None = None,
    progress: Progress | None = None,
) -> FilePath:
    """Write a study and its result as one folder, whole or not at all.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        From ``study.evaluate()`` or ``study.how_sure()``.
    folder : str or Path
        New, or one that is there: an earlier report in it is replaced if it was not changed, other
        files stay where they are.
    mechanics : Dataset, optional
        Cases of the mechanics that the answers rest on, from
        :func:`~groundborne.study.mechanics.sampled_mechanics`: without them a study with uncertain
        keys is reported without what decides its answers.
    forms : sequence of str
        What is written beside the page: ``docx``, the same report as a document that is edited in
        Word or LibreOffice, and ``xlsx``, a workbook with the schedule of the mounts and the
        tables that a person reads. Both need the extra ``report``. A form of the earlier report
        that is not asked for again is taken away with it; one that was edited stays as it is, and
        is then not of this report.
    handover : Handover, optional
        What was measured when the building was handed over, for a section of its own.
    png : int, optional
        Dots to an inch, 50 to 600, at which every figure is written as PNG too.
    progress : callable, optional
        Called as ``progress(done, total, what)``.

    Returns
    -------
    Path
        ``report.html`` in the folder; beside it ``figures/*.svg``, ``tables/*.csv``,
        ``report.docx`` and ``report.xlsx`` where they are asked for,
        ``report.json`` with every number of the page and where it comes from, ``inputs/`` with the
        files of the study, ``result.nc`` and a hidden list of what was written.

    Raises
    ------
    StudyError
        A form is not known, or the package for it is not installed;
        a file that is not of an earlier report is in the way, the disk is full or refuses, or the
        result is of another study, or of this one before it was changed, or has dims that a report
        has no place for, or contradicts itself; cases of the mechanics other than those that its
        answers rest on; the sentence names the remedy.

    CalibrationError
        What was handed over answers criteria by data that calibrated the prediction.

    Notes
    -----
    The document says what a script changed after the files were read, value by value;
    ``tables/evaluated.csv`` holds every value. Of a sampled result
    it shows medians and ranges. The page is one file without scripts or links to others. Text
    from the study is escaped in it, and in the tables a cell that begins like a formula is marked
    as text. :func:`~groundborne.report.rerun` runs the study again from the folder.

    Examples
    --------
    >>> import tempfile
    >>> import groundborne as gb
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> result = study.evaluate(band_levels=False)
    >>> write_report(study, result, FilePath(tempfile.mkdtemp()) / "report").name
    'report.html'
    """
    if png is not None and not 50 <= png <= 600:
        raise StudyError(f"write_report: png is {png}; 50 to 600 dots to an inch are written")
    files = form_files(forms)
    alone = require_own(study, result)
    require_own_cases(study, result, mechanics)
    if handover is not None:
        handover.require_of(result)
    tell = progress or _silent
    check_folder(folder, names=(*ALWAYS, *files))
    facts = Facts(study=study, result=result, mechanics=mechanics, handover=handover)
    contents: dict[str, bytes] = {}
    drawn = pictures(facts)
    total = len(drawn) + 4 + bool(files)
    svg, dots = {}, {}
    for number, picture in enumerate(drawn, start=1):
        tell(number - 1, total, f"figure {number} of {len(drawn)}")
        svg[picture.slug] = contents[f"figures/{picture.slug}.svg"] = picture.svg()
        if png is not None or DOCX in forms:
            dots[picture.slug] = picture.png(png or DPI)
        if png is not None:
            contents[f"figures/{picture.slug}.png"] = dots[picture.slug]
    tell(len(drawn), total, "tables")
    contents |= table_contents(facts)
    contents |= input_contents(study)
    tell(len(drawn) + 1, total, "result")
    contents["result.nc"] = result_bytes(result)
    tell(len(drawn) + 2, total, "document")
    made = document_of(facts, drawn, alone=alone)
    contents["report.html"] = page(made, svg).encode("utf-8")
    digests = {
        name.removeprefix("tables/"): hashlib.sha256(content).hexdigest()
        for name, content in contents.items()
        if name.startswith("tables/")
    }
    contents["report.json"] = sidecar(made, facts, digests, rerun=why_no_rerun(study, result))
    if files:
        tell(len(drawn) + 3, total, " and ".join(files))
        contents |= form_contents(forms, facts, made, dots)
    tell(total - 1, total, "writing")
    target = write_folder(folder, contents)
    tell(total, total, "done")
    return target / "report.html"


def _silent(done: int, total: int, what: str) -> None:
    """No progress."""


def table_contents(facts: Facts) -> dict[str, bytes]:
    """The tables of a report by the names of their files.

    Parameters
    ----------
    facts : Facts
        Study and result.
    """
    frames = {**facts.frames, "evaluated": words.evaluated_table(facts.study)}
    frames = marked(frames, invented=facts.study.invented)
    return {f"tables/{name}.csv": csv_bytes(frame) for name, frame in frames.items()}


def document_of(facts: Facts, drawn: Sequence[Picture], *, alone: bool) -> Document:
    """The report as a tree, in the order of a reader.

    Parameters
    ----------
    facts : Facts
        Study and result.
    drawn : sequence of Picture
        Figures, which say what section they belong to.
    alone : bool
        Whether the result does not say which study it is of.
    """
    shown: Mapping[str, list[Picture]] = {}
    shown = {
        s: [p for p in drawn if p.section == s] for s in dict.fromkeys(p.section for p in drawn)
    }

    def of(section: str) -> list[Picture]:
        return shown.get(section, [])

    study = facts.study
    evaluated = words.evaluated(study)
    body = [
        answer_section(facts),
        brief_section(facts),
        measurements_section(facts, of("passbys")),
        method_section(facts, of("method")),
        results_section(facts),
        critical_section(facts, [*of("plan"), *of("critical")]),
        options_section(facts, of("options")),
        decides_section(facts, of("decides")),
        resonances_section(facts, of("resonances")),
        schedule_section(facts),
        crossings_section(facts),
        care_section(facts),
        risks_section(facts),
        commissioning_section(facts),
        handover_section(facts, of("handover")),
        limitations_section(facts),
        responsibility_section(facts),
    ]
    invented = ", invented for demonstration" if study.invented else ""
    return Document(
        title=study.name,
        subtitle=SUBTITLE,
        front=(*front_parts(facts, evaluated), *(p.figure for p in of("answer"))),
        body=tuple(section for section in body if section is not None),
        annexes=annex_sections(facts, evaluated, shown, alone=alone),
        foot=(
            f"groundborne {groundborne.__version__}. In ", Code(text="tables/"), " every column ",
            Code(text="level_change_db"), (" is positive where it raises the level and negative "
            "where isolation lowers it. "), Code(text="result.nc"), " holds every number.",
        ),
        running=f"{study.name}{invented}",
    )  # fmt: skip
