"""Commissioning results: answers, causes, static checks, what was learnt, and of which data."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from groundborne.bands import label, octave
from groundborne.commissioning.diagnosis import NONE_FOUND, UNEXPLAINED
from groundborne.commissioning.static_checks import STOP
from groundborne.report.facts import Facts
from groundborne.report.handover_tables import CANNOT_TELL, PREFIX, SHOWN
from groundborne.report.picture import Picture
from groundborne.report.printed import down, of_row, signed, up
from groundborne.report.tree import (
    Box,
    Bullets,
    Cell,
    Column,
    Listing,
    Part,
    Run,
    Section,
    say,
    words_listing,
)

_OPEN = 60.0
"""Margins above this [dB] are of bands that may hold no train at all: no end is printed."""
_CAUSES_LISTED = 3


def handover_section(facts: Facts, figures: Sequence[Picture]) -> Section | None:
    """Commissioning results; nothing where none were handed over."""
    if facts.handover is None:
        return None
    parts: list[Part] = []
    for name, make in (
        ("answers", _answers), ("rooms", _rooms), ("isolation", _isolation), ("causes", _causes),
        ("fits", _fits), ("static", _static), ("stages", _stages),
    ):  # fmt: skip
        rows = _records(facts, name)
        if rows:
            parts += make(facts, rows)
    parts += [p.figure for p in figures]
    if used := _records(facts, "data"):
        parts.append(_data(used))
    return Section(key="handover", title="Commissioning results", parts=tuple(parts))


Row = dict[Any, Any]


def _records(facts: Facts, name: str) -> list[Row]:
    frame = facts.frames.get(f"{PREFIX}{name}")
    return [] if frame is None else frame.to_dict("records")


def _answers(facts: Facts, rows: list[Row]) -> list[Part]:
    count = {a: sum(r["answer"] == a for r in rows) for a in dict.fromkeys(SHOWN.values())}
    said = "; ".join(f"{n} {a}" for a, n in count.items())
    table = f"{PREFIX}answers"
    listed = [
        (
            Cell(runs=(f"{r['room']}: {r['criterion']}",)),
            Cell(runs=_margin(r, "measured_margin", table)),
            Cell(runs=(of_row(r, "predicted_margin", signed(down(r["predicted_margin"])),
                              table=table, unit=r["unit"]),)),
            Cell(runs=_worse(r, table)),
            _answer(r["answer"]),
            Cell(runs=(SHOWN[str(r["predicted_answer"])],)),
        )
        for r in rows
    ]  # fmt: skip
    return [
        say(
            f"Criteria that were measured, with {facts.handover_option!r}: {said}. They stand "
            f"beside the prediction of this report ({rows[0]['prediction']}). A criterion cannot "
            "be told where its limit lies within the interval of the measurement, or "
            "where bands that were not measured decide."
        ),
        Listing(
            key="handover-answers",
            caption="Measured against predicted on each criterion's own statistic, with the "
            "interval of the measured margin",
            columns=(
                Column(name="Room and criterion", wide=True),
                Column(name="Measured margin", unit="dB or NR", align="right"),
                Column(name="Predicted, median", unit="dB or NR", align="right"),
                Column(name="Worse than predicted by", unit="dB or NR", align="right"),
                Column(name="Measured"),
                Column(name="Predicted"),
            ),
            rows=tuple(listed),
            table=table,
            invented=facts.study.invented,
        ),
    ]


def _answer(said: str) -> Cell:
    """The answer in words, marked where it is one."""
    return Cell(runs=(said,), answer="" if said == CANNOT_TELL else said)


def _margin(row: Row, name: str, table: str) -> tuple[Run, ...]:
    def end(column: str, whole: int) -> Run:
        return of_row(row, column, signed(whole), table=table, unit=row["unit"])

    high: Run = "open"
    if row[f"{name}_high"] < _OPEN:
        high = end(f"{name}_high", up(row[f"{name}_high"]))
    low = end(f"{name}_low", down(row[f"{name}_low"]))
    return (end(name, down(row[name])), " (", low, " to ", high, ")")


def _worse(row: Row, table: str) -> tuple[Run, ...]:
    off = of_row(row, "measured_worse_by", signed(round(row["measured_worse_by"])), table=table,
                 unit=row["unit"])  # fmt: skip
    if not np.isfinite(row.get("standard_deviation", np.nan)):
        return (off,)
    error = of_row(row, "standard_deviation", f"{up(row['standard_deviation'])}", table=table,
                   unit=row["unit"])  # fmt: skip
    return (off, " ± ", error)


def _rooms(facts: Facts, rows: list[Row]) -> list[Part]:
    table = f"{PREFIX}rooms"
    listed = [
        (
            Cell(runs=(f"{r['room']}: {r['quantity']}",)),
            Cell(runs=(of_row(r, "mean_difference_db", signed(round(r["mean_difference_db"])),
                              table=table, unit="dB"),)),
            Cell(runs=(of_row(r, "largest_difference_db",
                              signed(round(r["largest_difference_db"])), table=table, unit="dB"),
                       f" at {label(r['largest_hz'])} Hz")),
            Cell(runs=(of_row(r, "p_value", _chance(r["p_value"]), table=table, unit="1"),)),
            Cell(runs=(r["prediction"],)),
            Cell(runs=(r["role"],)),
        )
        for r in rows
    ]  # fmt: skip
    return [
        Listing(
            key="handover-rooms",
            caption="Energy means by band, measured less predicted, in the rooms. The chance is "
            "that of so large a departure if the errors are as they were said to be",
            columns=(
                Column(name="Room", wide=True),
                Column(name="Mean of bands", unit="dB", align="right"),
                Column(name="Least likely band", unit="dB", align="right"),
                Column(name="Chance", unit="probability", align="right"),
                Column(name="Prediction"),
                Column(name="The measurement"),
            ),
            rows=tuple(listed),
            table=table,
            invented=facts.study.invented,
        )
    ]


def _chance(value: float) -> str:
    if value < 1e-3:
        return "< 0.001"
    return "> 0.99" if value > 0.99 else f"{value:.2g}"


def _isolation(facts: Facts, rows: list[Row]) -> list[Part]:
    table = f"{PREFIX}isolation"
    shown = [r for r in rows if r["frequency_hz"] == octave(float(r["frequency_hz"]))]
    bands = sorted({r["frequency_hz"] for r in shown})
    places = list(dict.fromkeys((r["place"], r["kind"]) for r in shown))
    at = {(r["place"], r["frequency_hz"]): r for r in shown}

    def cell(place: str, f: float) -> Cell:
        r = at.get((place, f))
        if r is None:
            return Cell(runs=("",))
        bound = "≥ " if r["bound"] else ""
        runs: tuple[Run, ...] = (
            of_row(r, "value_db", f"{bound}{signed(down(r['value_db']))}", table=table, unit="dB"),
        )
        if r["bound"]:
            return Cell(runs=runs)
        ends = [of_row(r, n, signed(f_(r[n])), table=table, unit="dB")
                for n, f_ in (("low_db", down), ("high_db", up))]  # fmt: skip
        return Cell(runs=(*runs, " (", ends[0], " to ", ends[1], ")"))

    if not places:
        return []
    return [
        Listing(
            key="handover-isolation",
            caption="Measured isolation in the bands of octaves, dB, with intervals. An insertion "
            "loss is of one place in two states; a level difference of two sides under the same "
            "trains, and no insertion loss. The intervals hold the scatter of trains and the "
            "calibration of instruments, and not where on either side the sensors stood",
            columns=(
                Column(name="Place", wide=True),
                Column(name="Kind"),
                *(Column(name=f"{label(f)} Hz", align="right") for f in bands),
            ),
            rows=tuple(
                (Cell(runs=(p,)), Cell(runs=(k,)), *(cell(p, f) for f in bands)) for p, k in places
            ),
            table=table,
            invented=facts.study.invented,
        )
    ]


def _causes(facts: Facts, rows: list[Row]) -> list[Part]:
    assert facts.handover is not None
    table = f"{PREFIX}causes"
    first = {r["place"]: r for r in rows if r["rank"] == 1}
    said: list[tuple[Run, ...]] = [
        (
            f"{place}: {found.attrs['sentence']}. Chance of a sound room so far off the design: ",
            of_row(first[place], "p_as_designed", _chance(first[place]["p_as_designed"]),
                   table=table, unit="1"),
            ".",
        )
        for place, found in facts.handover.causes.items()
    ]  # fmt: skip
    parts: list[Part] = [Bullets(items=tuple(said))]
    listed = []
    for r in rows:
        if r["rank"] > _CAUSES_LISTED or r["verdict"] in (NONE_FOUND, UNEXPLAINED):
            continue
        listed.append(
            (
                Cell(runs=(r["place"],)),
                Cell(runs=(r["cause"],)),
                Cell(runs=(r["standing"],)),
                Cell(runs=_strength(r, table)),
                Cell(runs=(of_row(r, "p_value", _chance(r["p_value"]), table=table, unit="1"),)),
            )
        )
    if listed:
        parts.append(
            Listing(
                key="handover-causes",
                caption="Causes ranked by what was measured. The chance is that of as much "
                "evidence for any cause in a sound room",
                columns=(
                    Column(name="Place"),
                    Column(name="Cause", wide=True),
                    Column(name="Standing"),
                    Column(name="Strength, with 90 % interval", wide=True),
                    Column(name="Chance", unit="probability", align="right"),
                ),
                rows=tuple(listed),
                table=table,
                invented=facts.study.invented,
            )
        )
    return parts


def _strength(row: Row, table: str) -> tuple[Run, ...]:
    words = str(row["strength_of"]).split("; ")
    found: list[Run] = []
    for name, of in zip(("strength", "second_strength"), words, strict=False):
        value, low, high = (
            of_row(row, n, f"{row[n]:.2g}", table=table)
            for n in (name, f"{name}_low", f"{name}_high")
        )
        found += ["; " if found else "", value, " (", low, " to ", high, f") {of}"]
    return tuple(f for f in found if f != "")


def _fits(facts: Facts, rows: list[Row]) -> list[Part]:
    table = f"{PREFIX}fits"

    def run(r: Row, name: str) -> Run:
        return of_row(r, name, f"{r[name]:.3g}", table=table, unit=str(r["unit"]))

    def end(r: Row, name: str) -> Run:
        return "open" if r[f"{name}_open"] == "yes" else run(r, name)

    return [
        Listing(
            key="handover-fits",
            caption="Numbers of a model fitted to measured transfers, with intervals; open where "
            "the data do not bound them. The chance is that of so poor a fit of the right model; "
            "where it is small the intervals do not hold",
            columns=(
                Column(name="Place", wide=True), Column(name="Number"), Column(name="Unit"),
                Column(name="Value", align="right"), Column(name="From", align="right"),
                Column(name="To", align="right"),
                Column(name="Chance", unit="probability", align="right"),
            ),
            rows=tuple(
                (Cell(runs=(r["place"],)), Cell(runs=(str(r["parameter"]).replace("_", " "),)),
                 Cell(runs=(str(r["unit"]) or "1",)), Cell(runs=(run(r, "value"),)),
                 Cell(runs=(end(r, "low"),)), Cell(runs=(end(r, "high"),)),
                 Cell(runs=(of_row(r, "p_value", _chance(r["p_value"]), table=table, unit="1"),)))
                for r in rows
            ),
            table=table,
            invented=facts.study.invented,
        )
    ]  # fmt: skip


def _static(facts: Facts, rows: list[Row]) -> list[Part]:
    assert facts.handover is not None
    assert facts.handover.static is not None
    table = f"{PREFIX}static"
    attrs = facts.handover.static.attrs
    parts: list[Part] = [
        Listing(
            key="handover-static",
            caption="Static checks: how many columns or points",
            columns=(
                Column(name="Check", wide=True), Column(name="Met", align="right"),
                Column(name="Cannot tell", align="right"), Column(name="Not met", align="right"),
            ),
            rows=tuple(
                (Cell(runs=(r["check"],)), *(
                    Cell(runs=(of_row(r, n, f"{r[n]}", table=table),))
                    for n in ("met", "within_the_uncertainty", "not_met")
                ))
                for r in rows
            ),
            table=table,
            invented=facts.study.invented,
        )
    ]  # fmt: skip
    sentences = json.loads(attrs["sentences"])
    if sentences:
        parts.append(Bullets(items=tuple((f"{s}.",) for s in sentences)))
    cautions = [(c,) for c in json.loads(attrs["cautions"])]
    parts.append(
        Box(
            kind="caution",
            title="Before anything else is done to the building",
            parts=(say(STOP), Bullets(items=tuple(cautions))) if cautions else (say(STOP),),
        )
    )
    return parts


def _stages(facts: Facts, rows: list[Row]) -> list[Part]:
    assert facts.handover is not None
    table = f"{PREFIX}stages"
    labels = ", ".join(map(repr, facts.handover.calibrated_with))

    def pair(r: Row, name: str) -> Cell:
        return Cell(
            runs=(
                of_row(r, f"{name}_db", signed(round(r[f"{name}_db"])), table=table, unit="dB"),
                " ± ",
                of_row(r, f"{name}_error_db", f"{r[f'{name}_error_db']:.1f}", table=table,
                       unit="dB"),
            )
        )  # fmt: skip

    return [
        say(
            f"The stages of the prediction were updated by {labels}. These data can never "
            "validate what they calibrated (ISO 14837-1)."
        ),
        Listing(
            key="handover-stages",
            caption="What was learnt: error of each stage, measured less predicted, as mean ± "
            "standard deviation, before and after; means over the rooms and bands measured",
            columns=(
                Column(name="Stage", wide=True), Column(name="Quantity"),
                Column(name="Prior", unit="dB", align="right"),
                Column(name="Data", unit="dB", align="right"),
                Column(name="Posterior", unit="dB", align="right"),
            ),
            rows=tuple(
                (
                    Cell(runs=(r["stage"],)), Cell(runs=(r["quantity"],)), pair(r, "prior"),
                    Cell(runs=(of_row(r, "data_db", signed(round(r["data_db"])), table=table,
                                      unit="dB") if np.isfinite(r["data_db"]) else "",)),
                    pair(r, "posterior"),
                )
                for r in rows
            ),
            table=table,
            invented=facts.study.invented,
        ),
    ]  # fmt: skip


def _data(rows: list[Row]) -> Listing:
    return words_listing(
        "handover-data",
        "Measurements and what each was used for",
        ("Measurement", Column(name="Used for", wide=True)),
        [(str(r["measurement"]), str(r["used_for"])) for r in rows],
    )
