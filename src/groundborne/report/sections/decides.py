"""What decides: errors by their source, and which measurement would tell most."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from groundborne.report.facts import Facts, Row
from groundborne.report.how_sure import doubt_rows, spread_rows
from groundborne.report.picture import Picture
from groundborne.report.printed import of_row, probability_run
from groundborne.report.tree import (
    Cell,
    Column,
    Listing,
    Part,
    Run,
    Section,
    say,
    words_listing,
)
from groundborne.study.change_words import keys_in_words

MOST_ROOMS = 5
"""Rooms of a budget that stand side by side on a page without shrinking it."""
ONE_DECIMAL = 2.0
"""Spreads below this stand with one decimal [dB]."""


def decides_section(facts: Facts, figures: Sequence[Picture]) -> Section | None:
    """Budget and worth of measurements for the critical rooms; nothing without probabilities."""
    if not facts.sure:
        return None
    parts: list[Part] = []
    if "error_budget" in facts.frames:
        parts += _budgets(facts)
        worth = _worth(facts)
        if worth is not None:
            parts.append(worth)
    else:
        parts.append(say(f"The budget of errors is not shown: {facts.why_no_budget}."))
    parts += [p.figure for p in figures]
    rows = spread_rows(facts.median)
    if rows is not None:
        parts.append(
            say(
                "The standard deviations below are those of published statistics and of common "
                "practice; a measurement in this building takes the place of one of them."
            )
        )
        parts.append(
            words_listing(
                "spreads", "Sources of error with their standard deviations",
                tuple(h[:1].upper() + h[1:] for h in rows.header), [tuple(r) for r in rows.rows],
            )
        )  # fmt: skip
    doubts = doubt_rows(facts.median)
    if doubts is not None:
        parts.append(
            words_listing(
                "doubts",
                "What the study itself calls uncertain: values with their distribution, "
                "models with weights",
                tuple(h[:1].upper() + h[1:] for h in doubts.header),
                [tuple(r) for r in doubts.rows],
            )
        )
    return Section(key="decides", title="What decides", parts=tuple(parts))


def _budgets(facts: Facts) -> Iterator[Listing]:
    """Sources of error by critical rooms, as many side by side as a page takes."""
    frame = facts.frames["error_budget"]
    sources = list(dict.fromkeys(frame["source_of_error"]))
    critical = facts.critical
    count = max(1, -(-len(critical) // MOST_ROOMS))
    size = max(1, -(-len(critical) // count))
    for number in range(count):
        here = critical[number * size : (number + 1) * size]
        each = []
        for row in here:
            own = frame[frame["rating_key"] == row["key"]].to_dict("records")
            each.append({str(r["source_of_error"]): _deviation(r) for r in own})
        some = f" ({number + 1} of {count})" if count > 1 else ""
        yield Listing(
            key="budget" if number == 0 else f"budget-{number + 1}",
            caption="Standard deviation of the rating by each source of error, "
            f"{facts.chosen}, dB (or NR), to first order and by samples{some}",
            columns=(
                Column(name="Source of error", wide=True),
                *(Column(name=f"{r['room']}: {r['criterion']}", align="right") for r in here),
            ),
            rows=tuple(
                (
                    Cell(runs=(_sentence(keys_in_words(source)),)),
                    *(Cell(runs=(values[source],)) for values in each),
                )
                for source in sources
            ),
            table="error_budget",
            invented=facts.study.invented,
        )


def _deviation(row: Mapping[Any, Any]) -> Run:
    value = row["standard_deviation"]
    text = f"{value:.0f}" if value >= ONE_DECIMAL or value < 0.05 else f"{value:.1f}"
    return of_row(row, "standard_deviation", text, table="error_budget", unit=str(row["unit"]))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _once(found: Sequence[Row | None]) -> list[Row]:
    """What can be made now and what tells most, or the one that is both."""
    return list({str(of["measurement"]): of for of in found if of is not None}.values())


def _worth(facts: Facts) -> Listing | None:
    """What the best measurement would do for each critical room whose answer is open."""
    rows = []
    best = [(r, facts.best_measurement_now(r), facts.best_measurement(r)) for r in facts.critical]
    each = [(r, of) for r, *found in best for of in _once(found)]
    for row, of in each:
        unit = facts.scales[str(row["criterion"])].margin_unit
        rows.append(
            (
                Cell(runs=(f"{row['room']}: {row['criterion']}",)),
                Cell(runs=(str(of["measurement"]),)),
                Cell(runs=(str(of["can_be_made"]),)),
                Cell(
                    runs=(
                        of_row(of, "reduction", f"{of['reduction']:.0f}",
                               table="measurements_worth", unit=unit),
                    )
                ),
                Cell(runs=(probability_run(of, "probability_met", "measurements_worth"),)),
                Cell(runs=(probability_run(of, "probability_not_met", "measurements_worth"),)),
            )
        )  # fmt: skip
    if not rows:
        return None
    return Listing(
        key="worth",
        caption="The measurement that would tell most where the answer is open, "
        f"{facts.chosen}; where it has to wait for the building, with the one that can be made "
        "now, if any",
        columns=(
            Column(name="Room and criterion", wide=True), Column(name="Measurement"),
            Column(name="Can be made"),
            Column(name="Interval narrower by", unit="dB or NR", align="right"),
            Column(name="Then met", unit="probability", align="right"),
            Column(name="Then not met", unit="probability", align="right"),
        ),
        rows=tuple(rows),
        table="measurements_worth",
        invented=facts.study.invented,
    )  # fmt: skip
