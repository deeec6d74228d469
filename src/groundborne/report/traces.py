"""Where every number of a report comes from: its table, row, formula, sources and inputs."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import groundborne
from groundborne.report.again import input_paths
from groundborne.report.chains import VIBRATION, Chains
from groundborne.report.facts import Facts
from groundborne.report.origins import Place
from groundborne.report.reach import FORMULAS, Reach, formula_of, reach_of, traced_row
from groundborne.report.row_inputs import RowInputs
from groundborne.report.tree import Document, Number
from groundborne.report.words import input_files
from groundborne.study.belonging import CHECKSUM, SEED_OF_CASES
from groundborne.study.samples import ERRORS

FORMAT = "groundborne numbers 1"
"""First value of the sidecar."""


@dataclass(frozen=True, kw_only=True)
class Traced:
    """What the numbers of a table are.

    Parameters
    ----------
    key_words : str
        What the key of a row is made of.
    formula : str
        What the numbers are, and how they are worked out.
    sources : str
        Of the formula.
    """

    key_words: str
    formula: str
    sources: str


TABLES: dict[str, Traced] = {
    "assessment": Traced(
        key_words="room, criterion, option",
        formula="Rating of the levels in the room, which are source plus level changes, on the "
        "statistic of the criterion; margin = limit − rating, of vibration 20 lg(limit/rating); "
        "medians, which are printed, interval and probability by samples of errors in decibels; "
        "the columns rating and margin are those without errors.",
        sources="IEC 61672-1, AS 1469, BS 6472-1 or the curve that the criterion names; steps as "
        "in "
        "the annex of sources",
    ),
    "equipment": Traced(
        key_words="equipment, axis, criterion, option",
        formula="As the assessment of rooms, of the floor under the equipment.",
        sources="The curve of the criterion",
    ),
    "options": Traced(
        key_words="option",
        formula="Probability that all rooms meet all criteria, by counting samples; deflection of "
        "the mounts under the quasi-permanent column load; natural frequency on a rigid base.",
        sources="EN 1990 for loads; mounts as described in the study",
    ),
    "resonances": Traced(
        key_words="option, running number",
        formula="Natural frequencies of soil, columns, mounts, floors and layers; coincident "
        "within a third of an octave on a common floor. Cost at most: rating less that without the "
        "bands within a third of an octave of both, every train rated by itself in both.",
        sources="As in the annex of sources",
    ),
    "error_budget": Traced(
        key_words="key of the rating, source of error",
        formula="Root sum of squares over bands of slope of the rating times standard deviation.",
        sources="Law of propagation of uncertainty, JCGM 100:2008",
    ),
    "measurements_worth": Traced(
        key_words="key of the rating, measurement",
        formula="The same with the standard deviation that a measurement leaves; probabilities of "
        "what it would find by a normal variable about the median.",
        sources="Preposterior analysis of a normal variable",
    ),
    "commissioning_answers": Traced(
        key_words="number of the measurement, room, criterion",
        formula="Rating of the measured levels on the statistic of the criterion; interval and "
        "probability by samples of the errors of the measurement; predicted less measured margin.",
        sources="As the assessment; ISO 16283-1 for background",
    ),
    "commissioning_rooms": Traced(
        key_words="number of the measurement, room",
        formula="Energy means over passbys by band, measured less predicted, over the root sum of "
        "squares of both standard deviations; chi-square of all bands.",
        sources="Law of propagation of uncertainty, JCGM 100:2008; ISO 14837-1, clause 10",
    ),
    "commissioning_isolation": Traced(
        key_words="number of the place, band",
        formula="Mean over passbys of the difference of levels, with its interval by Student's t.",
        sources="Welch 1947",
    ),
    "commissioning_causes": Traced(
        key_words="number of the place, rank of the cause",
        formula="Fall of BIC against the design, at the strength that fits best; threshold by "
        "simulation of sound rooms.",
        sources="Kass and Raftery 1995",
    ),
    "commissioning_fits": Traced(
        key_words="number of the place, number of the parameter",
        formula="Least squares of whitened residuals; interval by profile likelihood.",
        sources="Venzon and Moolgavkar 1988",
    ),
    "commissioning_static": Traced(
        key_words="number of the check",
        formula="Readings against the schedule and limits, by the probability that they lie "
        "within.",
        sources="Common practice",
    ),
    "commissioning_stages": Traced(
        key_words="number of the update, number of the stage",
        formula="Gaussian update of the errors of stages in decibels; means over rooms and bands.",
        sources="Bishop 2006, section 2.3.3",
    ),
    "rated_spectra": Traced(
        key_words="room, criterion, option, band",
        formula="Band levels of the trains that make the rating, with the interval of each band.",
        sources="As the assessment",
    ),
}
"""Tables that a report prints numbers from."""


def sidecar(document: Document, facts: Facts, digests: Mapping[str, str], *, rerun: str) -> bytes:
    """Every number of a document with where it comes from, as JSON.

    By its key: value, table, row and column; ``inputs``, each of them an address among ``places``
    with file and lines in the folder; ``steps`` that it went through, each among ``steps`` with
    what works it out, its formula and sources; ``formula``, one of ``formulas``: that of its
    table, or of its column.

    Parameters
    ----------
    document : Document
        As it is printed.
    facts : Facts
        What it was written from.
    digests : mapping of str to str
        SHA-256 of every table, by the name of its file.
    rerun : str
        Why the study cannot run again from its files; empty where it can.
    """
    attrs = facts.result.attrs
    settings = {
        "samples": int(attrs[ERRORS]) if ERRORS in attrs else 0,
        "seed": int(attrs.get("seed", 0)),
        "probability": float(attrs.get("probability_asked", 0.0)),
        "cases_of_mechanics": int(attrs.get("cases_of_mechanics", 1)),
        "seed_of_mechanics": int(attrs.get(SEED_OF_CASES, 1)),
        "band_levels": "band_level" in facts.result,
        "budget": "error_budget" in facts.frames,
    }
    numbers = document.numbers
    rows = {
        name: frame.set_index("key", drop=False).to_dict("index")
        for name, frame in facts.frames.items()
        if "key" in frame and any(n.table == name for n in numbers.values())
    }
    of_row, chains = RowInputs(facts.study), Chains(facts.study)
    inputs: dict[_Kind, list[Place]] = {}
    steps: dict[_Kind, list[str]] = {}
    for n in numbers.values():
        at = _kind(n)
        if at in inputs:
            continue
        row, reach = traced_row(n.table, n.column, rows[n.table][n.row]), at[2]
        inputs[at] = of_row.of(row, reach)
        steps[at] = _steps(facts, chains, row, of_row.parts(row), reach)
    paths = input_paths(facts.study)
    lines = {name: {key: at for at, key in enumerate(of, start=2)} for name, of in rows.items()}
    found = {
        "format": FORMAT,
        "version": groundborne.__version__,
        "study": facts.study.name,
        "invented": facts.study.invented,
        CHECKSUM: str(attrs.get(CHECKSUM, "")),
        "settings": settings,
        "changes": [{"key": d.key, "read": d.read, "now": d.now} for d in facts.study.changes],
        "changed_after_reading": json.loads(str(attrs.get("changed_after_reading", "[]"))),
        "cannot_rerun": rerun,
        "inputs": {f.name: f.digest for f in input_files(facts.study)},
        "tables": dict(digests),
        "places": {
            place.address: {
                "file": paths[place.file], "key": place.key, "lines": [place.first, place.last],
            }
            for each in inputs.values() for place in each
        },
        "steps": chains.steps,
        "formulas": {
            name: _traced_table(name)
            for name in TABLES
            if name in rows
        }
        | {
            f"{table}:{name}": {**_traced_table(table), "formula": formula}
            for (table, name), formula in FORMULAS.items()
            if table in rows
        },
        "numbers": {
            key: _traced(
                n, rows[n.table][n.row], lines[n.table][n.row], inputs[_kind(n)],
                steps[_kind(n)],
            )
            for key, n in numbers.items()
        },
    }  # fmt: skip
    text = json.dumps(found, ensure_ascii=False, indent=1, allow_nan=False)
    return (text + "\n").encode("utf-8")


_Kind = tuple[str, str, Reach, bool]


def _kind(number: Number) -> _Kind:
    """What numbers share inputs and steps."""
    table, column = number.table, number.column
    own = traced_row(table, column, {"cost_room": "", "cost_criterion": ""})
    return table, number.row, reach_of(table, column), "room" in own


def _steps(
    facts: Facts, chains: Chains, row: Mapping[Any, Any], parts: list[str], reach: Reach
) -> list[str]:
    """Steps that a number went through: of sound or of vibration, as its criterion is."""
    option = str(row.get("option", ""))
    if reach is Reach.FRAME:
        every = chains.of(option, parts)
        return [s for s in every if chains.steps[s]["step"] not in _BEYOND_FRAME]
    if reach is not Reach.LEVELS:
        return []
    if "equipment" in row:
        return chains.of(option, parts, VIBRATION)
    label = str(row.get("criterion", ""))
    quantities = {str(c): str(q) for c, q in zip(
        facts.median["criterion"].values, facts.median["quantity"].values, strict=True
    )}  # fmt: skip
    return chains.of(option, parts, quantities.get(label, ""))


_BEYOND_FRAME = ("surfaces", "radiation")
"""Steps behind the floors, which no resonance of the frame is worked out by."""


def _traced_table(name: str) -> dict[str, str]:
    of = TABLES[name]
    return {"key": of.key_words, "formula": of.formula, "sources": of.sources}


def _traced(
    number: Number, row: Mapping[Any, Any], line: int, inputs: list[Place], steps: list[str]
) -> dict[str, Any]:
    return {
        "value": float(number.value),
        "unit": number.unit,
        "printed": number.text,
        "statistic": str(row.get("statistic", "")),
        "table": f"tables/{number.table}.csv",
        "row": number.row,
        "line": line,
        "column": number.column,
        "formula": formula_of(number.table, number.column),
        "inputs": [place.address for place in inputs] + _measured(row),
        "steps": steps,
    }


def _measured(row: Mapping[Any, Any]) -> list[str]:
    """Where a row has a measurement from that is no file of the study."""
    return [f"measurement: {row['provenance']}"] if "provenance" in row else []
