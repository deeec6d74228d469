"""The report: one HTML document, its figures, tables and the result itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath

import jinja2
import pandas as pd
import xarray as xr

import groundborne
from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.isolation.base import THEORY_WORDS
from groundborne.rating import Scale
from groundborne.rating.scale import ROUNDING, scales_of
from groundborne.report import words
from groundborne.report.assessment import assessment_table
from groundborne.report.equipment import as_rooms, equipment_table
from groundborne.report.figures import Picture, data_uri, pictures
from groundborne.report.folder import check_folder, write_folder
from groundborne.report.how_sure import doubt_rows, probability_rows, spread_rows, sure_words
from groundborne.report.legend import legend
from groundborne.report.marks import mark_sentences
from groundborne.report.matrix import Row, blocks, criterion_matrix, overview
from groundborne.report.notes import notes_by_option, warning_sentences
from groundborne.report.rooms import single_case
from groundborne.report.tables import csv_bytes, result_tables
from groundborne.study import Study
from groundborne.study.belonging import CHECKSUM, require_same
from groundborne.study.equipment import equipment_assessment
from groundborne.study.note_words import sentence
from groundborne.study.notes import standing_cautions
from groundborne.study.result import result_bytes
from groundborne.study.samples import median_case

Progress = Callable[[int, int, str], None]
"""Called with the number of finished steps, the number of all steps, and what comes next."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Figure:
    number: int
    picture: Picture
    uri: str


@checked
def write_report(
    study: Study,
    result: xr.Dataset,
    folder: str | FilePath,
    *,
    progress: Progress | None = None,
) -> FilePath:
    """Write a study and its result as one folder, whole or not at all.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        From ``study.evaluate()``.
    folder : str or Path
        New, or one that is there: an earlier report in it is replaced if it was not changed, other
        files stay where they are.
    progress : callable, optional
        Called as ``progress(done, total, what)``.

    Returns
    -------
    Path
        ``report.html`` in the folder; beside it ``figures/*.png``, ``tables/*.csv``,
        ``result.nc`` and a hidden list of what was written.

    Raises
    ------
    StudyError
        A file that is not of an earlier report is in the way, the disk is full or refuses, or the
        result is of another study, or of this one before it was changed, or has dims that a report
        has no place for; the sentence names the remedy.

    Notes
    -----
    The document says what a script changed after the files were read, value by value, and the
    printed files are then marked; ``tables/evaluated.csv`` holds every value. Of a sampled result
    it shows medians and ranges. The document is one file without scripts or links to others. Text
    from the study is escaped in it, and in the tables a cell that begins like a formula is marked
    as text.

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
    alone = _require_own(study, result)
    tell = progress or _silent
    check_folder(folder)
    contents: dict[str, bytes] = {}
    drawn = pictures(study, single_case(result))
    median = median_case(result)
    total = len(drawn) + 4
    figures = []
    for number, picture in enumerate(drawn, start=1):
        tell(number - 1, total, f"figure {number} of {len(drawn)}")
        png = picture.png()
        contents[f"figures/{picture.slug}.png"] = png
        figures.append(_Figure(number=number, picture=picture, uri=data_uri(png)))
    tell(len(drawn), total, "tables")
    frames = {**result_tables(median), "evaluated": words.evaluated_table(study)}
    for name, frame in frames.items():
        contents[f"tables/{name}.csv"] = csv_bytes(frame)
    tell(len(drawn) + 1, total, "result")
    contents["result.nc"] = result_bytes(result)
    tell(len(drawn) + 2, total, "document")
    contents["report.html"] = _document(study, result, figures, alone=alone).encode("utf-8")
    tell(len(drawn) + 3, total, "writing")
    target = write_folder(folder, contents)
    tell(total, total, "done")
    return target / "report.html"


def _silent(done: int, total: int, what: str) -> None:
    """No progress."""


_DIMS = (
    "part",
    "band_below",
    "option",
    "column",
    "room",
    "stage",
    "passby",
    "criterion",
    "frequency",
    "floor_frequency",
    "equipment",
    "equipment_criterion",
    "segment",
    "state",
    "sample",
)


def _require_own(study: Study, result: xr.Dataset) -> bool:
    """Refuse a result of another study; whether the result does not say which it is of."""
    names = {"option": [o.name for o in study.options], "room": study.rooms}
    for dim, wanted in names.items():
        if dim not in result.dims or result[dim].values.tolist() != wanted:
            raise StudyError(
                f"report: the result does not hold the {dim}s of the study {study.name!r}; pass "
                "what its evaluate() gave"
            )
    if "rating" not in result:
        raise StudyError("report: the result holds no ratings; pass what Study.evaluate() gave")
    for other in result.dims:
        if other not in _DIMS:
            raise StudyError(
                f"report: the result has the dim {other!r}, which a report has no place for; "
                f"select one of it first, for example result.isel({other}=0)"
            )
    require_same("report", "result", study, result, "evaluate this study and pass that result")
    return CHECKSUM not in result.attrs


def _document(study: Study, result: xr.Dataset, figures: Sequence[_Figure], *, alone: bool) -> str:
    # Everything is escaped; there is no place where text of the study is taken as markup.
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("groundborne.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    table, scales = assessment_table(result), scales_of(result)
    groups, summary = overview(table)
    options = [o.name for o in study.options]
    equipment: list[_Matrix] = []
    equipment_marks: list[str] = []
    if study.equipment:
        rated, rows = equipment_assessment(result), as_rooms(equipment_table(result))
        equipment = _matrices(rows, scales_of(rated), options)
        equipment_marks = mark_sentences(rows, rated)
    sources = words.sources_rows(study)
    return environment.get_template("report.html").render(
        study=study,
        version=groundborne.__version__,
        cautions=[sentence(note) for note in standing_cautions(study)],
        unusual=warning_sentences(result),
        evaluated=words.evaluated(study),
        alone=alone,
        rounding=ROUNDING,
        theory_words=THEORY_WORDS,
        groups=groups,
        summary=summary,
        matrices=_matrices(table, scales, options),
        marks=mark_sentences(table, result),
        equipment=equipment,
        equipment_marks=equipment_marks,
        probabilities=probability_rows(result),
        spreads=spread_rows(result),
        doubts=doubt_rows(result),
        sure=sure_words(result),
        notes=notes_by_option(result),
        figures=figures,
        assessments=_assessments_of_rooms(table, scales, figures, options),
        option_words=words.options_in_words(study),
        rooms=words.rooms_rows(study),
        floors=words.floors_rows(study),
        criteria=words.criteria_rows(study),
        periods=words.periods_rows(study),
        path=words.path_rows(study),
        sources=sources,
        legend=legend(sources.rows),
        files=words.input_files(study),
    )


_Matrix = tuple[str, str, list[tuple[list[str], list[Row]]]]


def _matrices(
    table: pd.DataFrame, scales: Mapping[str, Scale], options: list[str]
) -> list[_Matrix]:
    """Criterion, unit and answers of places by options, block by block."""
    return [
        (c, scales[c].unit, blocks(options, criterion_matrix(table, c, scales[c])))
        for c in dict.fromkeys(table["criterion"])
    ]


def _assessments_of_rooms(
    table: pd.DataFrame,
    scales: Mapping[str, Scale],
    figures: Sequence[_Figure],
    options: list[str],
) -> dict[str, list[tuple[list[str], list[tuple[str, Row]]]]]:
    """By figure of spectra: the answers of its room on each of its criteria, block by block."""
    found = {}
    for figure in figures:
        rooms = figure.picture.rooms
        if rooms is not None:
            part = table[table["room"] == rooms.first]
            criteria = list(dict.fromkeys(part["criterion"]))
            rows = [criterion_matrix(part, c, scales[c])[0] for c in criteria]
            found[figure.picture.slug] = [
                (names, list(zip(criteria, cut, strict=True)))
                for names, cut in blocks(options, rows)
            ]
    return found
