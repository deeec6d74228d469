"""Annexes: all rooms, spectra, steps, inputs, what was evaluated, sources, keys, glossary."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from groundborne.bands import label
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, THEORY, WALKER_MATHERS
from groundborne.report.facts import Facts
from groundborne.report.isolation_figures import loudest_band
from groundborne.report.legend import WORDS, legend
from groundborne.report.matrix import blocks, criterion_matrix
from groundborne.report.picture import Picture
from groundborne.report.sections.limitations import other_notes
from groundborne.report.traces import TABLES
from groundborne.report.tree import (
    Cell,
    Code,
    Column,
    Listing,
    Part,
    Ref,
    Section,
    Terms,
    say,
    words_listing,
)
from groundborne.report.words import (
    Evaluated,
    Rows,
    floors_rows,
    input_files,
    rooms_rows,
    sources_rows,
)


def annex_sections(
    facts: Facts,
    evaluated: Evaluated | None,
    shown: Mapping[str, Sequence[Picture]],
    *,
    alone: bool,
) -> tuple[Section, ...]:
    """All annexes in order; those that would be empty are left out."""
    found = [
        _rooms(facts, shown.get("floors", ())),
        _figures("annex-spectra", "Spectra under every option", shown.get("spectra", ())),
        _stages(facts, [*shown.get("isolation", ()), *shown.get("stages", ())]),
        other_notes(facts),
        _inputs(facts, evaluated, alone=alone),
        _sources(facts),
        _keys(facts),
        _glossary(facts),
    ]
    return tuple(section for section in found if section is not None)


def _rooms(facts: Facts, figures: Sequence[Picture]) -> Section:
    parts: list[Part] = [
        say(
            "Rating / margin of every room under every option; intervals and probabilities are "
            "in the table of the file. The key of a number is room, criterion and option, such "
            "as ",
            Code(text=str(facts.table["key"].iloc[0])),
            ": the column key of tables/assessment.csv.",
        )
    ]
    for number, criterion in enumerate(facts.criteria, start=1):
        scale = facts.scales[criterion]
        rows = criterion_matrix(facts.table, criterion, scale)
        cut = blocks(facts.options, rows)
        for at, (names, of) in enumerate(cut, start=1):
            some = f" ({at} of {len(cut)})" if len(cut) > 1 else ""
            parts.append(
                Listing(
                    key=f"all-rooms-{number}-{at}",
                    caption=f"C{number} {criterion}{', ' + scale.unit if scale.unit else ''}: "
                    f"rating / margin{some}",
                    columns=(
                        Column(name="Rooms", wide=True),
                        Column(name="Floor"),
                        Column(name="Limit", align="right"),
                        *(Column(name=f"{facts.short(n)} {n}", align="right") for n in names),
                    ),
                    rows=tuple(
                        (
                            Cell(runs=(f"{r.rooms}: {r.name}",)),
                            Cell(runs=(r.floors,)),
                            Cell(runs=(r.limit,)),
                            *(Cell(runs=c.runs, answer=c.answer) for c in r.cells),
                        )
                        for r in of
                    ),
                    table="assessment",
                    invented=facts.study.invented,
                )
            )
    parts += [p.figure for p in figures]
    return Section(key="annex-rooms", title="All rooms", parts=tuple(parts))


def _figures(key: str, title: str, figures: Sequence[Picture]) -> Section | None:
    if not figures:
        return None
    return Section(key=key, title=title, parts=tuple(p.figure for p in figures))


def _stages(facts: Facts, figures: Sequence[Picture]) -> Section | None:
    if not figures:
        return None
    parts: list[Part] = []
    words = str(facts.result.attrs.get("base_isolation", ""))
    if words:
        parts.append(
            say(
                f"Base isolation. {words} Dashed in the figures: {THEORY}, see ",
                Ref(key="method"),
                f". Dotted: about {SINGLE_STAGE_LIMIT:g} dB, the most one stage was found to give "
                f"({WALKER_MATHERS.author} {WALKER_MATHERS.year}). Ground, columns and slabs give "
                "way as well as the mounts, and vibration passes beside them (crossings, and the "
                "way that limits a stage); that is the difference between prediction and theory. "
                "Insertion losses are positive where they lower the level; they are told at "
                f"{label(loudest_band(facts.single))} Hz, the band that carries most of the "
                f"A-weighted level of {facts.first!r}.",
            )
        )
    parts += [p.figure for p in figures]
    return Section(
        key="annex-stages", title="Stage by stage, and base isolation", parts=tuple(parts)
    )


def _listing(key: str, caption: str, rows: Rows) -> Listing:
    header = tuple(h[:1].upper() + h[1:] for h in rows.header)
    return words_listing(key, caption, header, [tuple(r) for r in rows.rows])


def _inputs(facts: Facts, evaluated: Evaluated | None, *, alone: bool) -> Section:
    study = facts.study
    parts: list[Part] = []
    if alone:
        parts.append(
            say(
                "The result does not say which study, and which values of it, it was evaluated "
                "from; what stands here is the study it was passed with."
            )
        )
    parts += [
        _listing("floors", "Floors", floors_rows(study)),
        _listing("rooms", "Rooms", rooms_rows(study)),
        _evaluated(evaluated),
        _files(facts, evaluated),
    ]
    return Section(key="annex-inputs", title="Inputs", parts=tuple(parts))


def _evaluated(of: Evaluated | None) -> Section:
    if of is None:
        said = "The study as it was read from its files; nothing was changed after reading."
        return Section(key="evaluated", title="What was evaluated", parts=(say(said),))
    said = (
        "After the files were read, a script changed the values below. The input files do not hold "
        "them."
        if of.parts
        else "The study was put together in a script; these are its values."
    )
    parts: list[Part] = [
        say(
            f"{said} Of long lists the ends are shown, with the first figures of a SHA-256 of all "
            "values in brackets, so that any change can be seen. Every value is in ",
            Code(text="tables/evaluated.csv"),
            ".",
        ),
        _listing("evaluated-values", "Values that were evaluated", of.rows),
    ]
    if of.left_out:
        parts.append(say(f"{of.left_out} more values are not shown here."))
    return Section(key="evaluated", title="What was evaluated", parts=tuple(parts))


def _files(facts: Facts, evaluated: Evaluated | None) -> Section:
    files = input_files(facts.study)
    if not files:
        return Section(
            key="files", title="Input files", parts=(say("The study was not read from files."),)
        )
    changed = " As read; what was evaluated differs, see above." if evaluated else ""
    parts: list[Part] = [
        say(
            "The files lie beside this page in ",
            Code(text="inputs/"),
            ", as UTF-8 with line feeds "
            "and without byte order mark; the SHA-256 is of that. The study runs again from "
            "there with ",
            Code(text="python -m groundborne rerun FOLDER"),
            f", which compares every table with those of this report.{changed}",
        ),
        Listing(
            key="input-files",
            caption="Input files",
            columns=(
                Column(name="File"),
                Column(name="Lines", align="right"),
                Column(name="SHA-256"),
            ),
            rows=tuple(
                (
                    Cell(runs=(Code(text=f.name),)),
                    Cell(runs=(f"{f.lines}",)),
                    Cell(runs=(Code(text=f.digest),)),
                )
                for f in files
            ),
        ),
    ]
    return Section(key="files", title="Input files", parts=tuple(parts))


def _sources(facts: Facts) -> Section:
    rows = sources_rows(facts.study)
    told = [
        (a, b, WORDS[mark].capitalize(), "yes" if status == "verified" else "no")
        for a, b, mark, status in rows.rows
    ]
    return Section(
        key="annex-sources",
        title="Sources",
        parts=(
            say(legend(rows.rows)),
            words_listing(
                "sources",
                "Sources of formulas, tables and limits",
                (
                    "Source",
                    Column(name="Title and place", wide=True),
                    "How it was known",
                    "Checked by a printed result",
                ),
                [tuple(r) for r in told],
            ),
        ),
    )


def _keys(facts: Facts) -> Section:
    """Where numbers come from, listing by listing."""
    rows = [
        (Code(text=f"{name}.csv"), of.key_words, of.formula, of.sources)
        for name, of in TABLES.items()
        if name in facts.frames
    ]
    return Section(
        key="annex-keys",
        title="Where the numbers come from",
        parts=(
            say(
                "Numbers of results, of options and of resonances stand in a table beside this "
                "page. The key of a number leads to the row there; it shows where the pointer "
                "rests on the number. Bands that govern or lie near resonances, counts of rows, "
                "what is copied from the study, and numbers inside sentences and figures have no "
                "key of their own. ",
                Code(text="report.json"),
                " lists each key with value, unit, table, row, formula, sources, and the input "
                "files and addresses that it follows from.",
            ),
            words_listing(
                "keys",
                "Tables in tables/ that numbers are printed from",
                (
                    "Table",
                    "Key of a row",
                    Column(name="What it is, and how it is worked out", wide=True),
                    "Sources",
                ),
                rows,
            ),
        ),
    )


def _glossary(facts: Facts) -> Section:
    """What always occurs, and the quantities that criteria of the study are in."""
    used = " ".join([*facts.criteria, *facts.equipment_scales])
    also = [(name, text) for name, text in IF_USED if re.search(rf"\b{name.split(',')[0]}\b", used)]
    terms = sorted([*GLOSSARY, *also], key=lambda term: term[0].lower())
    return Section(
        key="annex-glossary",
        title="Glossary of quantities",
        parts=(Terms(items=tuple((name, (text,)) for name, text in terms)),),
    )


GLOSSARY = (
    (
        "A-weighted level, LA",
        (
            "Sound pressure level with the frequency weighting A of IEC 61672-1, "
            "which follows the ear at low levels; dB re 20 µPa."
        ),
    ),
    (
        "Answer",
        (
            "Met, not met, within the uncertainty, or not shown where bands or knowledge are "
            "missing."
        ),
    ),
    ("Band", "One-third octave, named by its nominal centre frequency (ISO 266)."),
    (
        "dB",
        (
            "Decibel: ten times the logarithm of a ratio of powers. Sound pressure re 20 µPa, "
            "velocity re 1 nm/s."
        ),
    ),
    ("Energy mean", "Level of the mean of powers over passbys."),
    ("Governing band", "Band, or octave of a noise rating, that contributes most to a rating."),
    (
        "Insertion loss",
        ("By how much a measure lowers the level at the same place, dB; positive lowers."),
    ),
    ("Interval", "Range that the quantity lies beyond on either side with the probability named."),
    ("Isolation plane", "Level at which mounts part the building from what stands on the ground."),
    (
        "LASmax",
        (
            "Largest A-weighted level with time weighting S (slow, time constant 1 s) during a "
            "passby; IEC 61672-1."
        ),
    ),
    ("Loss factor", "Share of energy lost in a cycle over 2π times the energy stored."),
    (
        "Margin",
        (
            "Limit minus rating, dB or NR; of vibration 20 lg(limit/rating), dB. Positive where "
            "the limit is kept."
        ),
    ),
    ("Mount", "Spring or bearing that carries load at the isolation plane."),
    ("NR, noise rating", "Number of the highest curve that octave levels touch; AS 1469."),
    ("Passby", "A train passing, from the first to the last moment that it stands out."),
    ("Percentile", "The 95th percentile of passbys is exceeded by one in twenty."),
    (
        "Quasi-permanent load",
        ("Permanent load and the share of imposed load that is there most of the time; EN 1990."),
    ),
    ("Rating", "Single number of a criterion, on the statistic that the criterion names."),
    ("VC", "Generic curves of band velocity for sensitive equipment."),
    (
        "VDV",
        (
            "Vibration dose value: fourth root of the time integral of the fourth power of "
            "weighted acceleration, m/s^1.75; BS 6472-1."
        ),
    ),
)
"""Quantities of a report and what they are."""

IF_USED = (
    (
        "LAeq",
        (
            "Level of the energy mean of A-weighted sound pressure over the period named, of the "
            "trains that pass in it; IEC 61672-1."
        ),
    ),
    (
        "LAFmax",
        (
            "Largest A-weighted level with time weighting F (fast, time constant 0.125 s) during "
            "a passby; IEC 61672-1."
        ),
    ),
    (
        "KB_Fmax",
        "Largest KB-weighted velocity with time weighting F during a passby.",
    ),
    ("ISO", "Curves of band velocity, one for each kind of use of a room."),
)
"""Quantities that are told where a criterion is in one of them."""
