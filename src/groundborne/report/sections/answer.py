"""The page that answers: what is recommended, what governs, what fails and what would decide."""

from __future__ import annotations

from groundborne.bands import label
from groundborne.rating import Answer
from groundborne.report.assessment import governs_words, listed, percent_words, rooms_met
from groundborne.report.budget_table import LATER
from groundborne.report.facts import Facts, Row
from groundborne.report.printed import (
    interval_runs,
    margin_cell,
    margin_run,
    of_row,
    probability_run,
)
from groundborne.report.tree import (
    Box,
    Bullets,
    Cell,
    Column,
    Listing,
    Paragraph,
    Part,
    Ref,
    Run,
    Runs,
    Section,
    Strong,
    say,
)
from groundborne.study import resonances
from groundborne.study.natural_frequencies import NEAR


def answer_section(facts: Facts) -> Section:
    """What a client reads if only one page is read."""
    parts: list[Part] = [_recommendation(facts)]
    parts.append(_options(facts))
    parts.append(say(governs_words(facts.table), small=True))
    if facts.equipment is not None and facts.sure:
        parts.append(
            say(
                "Equipment is counted without errors: its answers have no probability, and none "
                "of the probabilities above holds them.",
                small=True,
            )
        )
    parts.append(say(*_governs(facts)))
    if facts.equipment_urgent:
        parts.append(say(*_equipment_governs(facts, facts.equipment_urgent[0])))
    fails = _fails(facts)
    if fails:
        parts += [
            say(Strong(text=f"What is not shown to be met with {facts.chosen}, and why")),
            fails,
        ]
    decides = _decides(facts)
    if decides is not None:
        parts.append(decides)
    parts.append(
        say(
            "Levels and margins are predictions. The cautions in ",
            Ref(key="responsibility"),
            " hold for every number of this report.",
            small=True,
        )
    )
    return Section(key="answer", title="The answer", parts=tuple(parts), new_page=True)


def _recommendation(facts: Facts) -> Box:
    chosen, asked = facts.choice, percent_words(facts.asked)
    row = facts.frames["options"].set_index("option", drop=False).loc[chosen.option].to_dict()
    also = "" if facts.equipment is None else " and to keep every limit of equipment"
    first: list[Run] = []
    if chosen.meets:
        with_probability = f" with a probability of {asked} or more" if facts.sure else ""
        first = [
            Strong(text=f"Recommended: {chosen.option}."),
            (
                f" It is the first option, in {chosen.order}, with which every criterion is met in "
                f"every room{with_probability}"
            ),
        ]
        first += [": ", probability_run(row, "probability_all", "options")] if facts.sure else []
        if facts.equipment is not None:
            first += [f"; and with which all equipment keeps its limits{_alone(facts)}"]
        first += ["."]
    elif facts.sure:
        first = [
            Strong(
                text="No option is shown to meet every criterion in every room with a probability "
                f"of {asked}{also}."
            ),
            f" The likeliest is {chosen.option}, with a probability of ",
            probability_run(row, "probability_all", "options"),
            (
                f" that everything is met in all rooms at once{_pieces(facts, row)}. This report "
                f"describes that option; it is no recommendation to build it{_before(facts)}."
            ),
        ]
    else:
        first = [
            Strong(text=f"No option is shown to meet every criterion in every room{also}."),
            (
                f" Nearest to it is {chosen.option}, whose worst room does best"
                f"{_pieces(facts, row)}. This report describes that option; it is no "
                "recommendation to build it."
            ),
        ]
    parts: tuple[Paragraph, ...] = (say(*first),)
    if str(row["description"]):
        parts = (*parts, say(f"{chosen.option}: {row['description']}."))
    return Box(kind="finding", title="", parts=parts)


def _before(facts: Facts) -> str:
    """Open answers have to be settled first, where there are any and nothing fails."""
    own = facts.table[facts.table["option"] == facts.chosen]
    failed = own["answer"].eq(Answer.NOT_MET.value).any()
    return "" if failed else " before the open answers below are settled"


def _options(facts: Facts) -> Listing:
    counts = rooms_met(facts.table)
    frame = facts.frames["options"].set_index("option", drop=False)
    columns = [Column(name="Option", wide=True)]
    if facts.sure:
        columns.append(Column(name="All met in all rooms", unit="probability", align="right"))
    columns += [
        Column(name="Rooms that meet all", align="right"),
        *([Column(name="Equipment that keeps all", align="right")] * (facts.equipment is not None)),
        Column(
            name="What governs the rooms" if facts.equipment is not None else "What governs",
            wide=True,
        ),
        Column(name="Median margin (interval)" if facts.sure else "Margin", align="right"),
    ]
    rows = []
    for name in facts.options:
        worst, of = facts.worst(name), frame.loc[name].to_dict()
        title = f"{facts.short(name)} {name}"
        cells = [Cell(runs=(Strong(text=title),) if name == facts.chosen else (title,))]
        if facts.sure:
            cells.append(Cell(runs=(probability_run(of, "probability_all", "options"),)))
        cells.append(Cell(runs=(f"{counts.loc[name][Answer.MET]} of {counts.loc[name]['rooms']}",)))
        if facts.equipment is not None:
            cells.append(Cell(runs=(f"{of['equipment_met']} of {of['equipment']}",)))
        cells += [
            Cell(runs=(f"{worst['room']}: {worst['criterion']}",)),
            margin_cell(worst, facts.scales[str(worst["criterion"])]),
        ]
        rows.append(tuple(cells))
    return Listing(
        key="options-at-a-glance",
        caption="Options at a glance; what governs each, with its margin in dB (or NR), positive "
        "where the limit is kept",
        columns=tuple(columns),
        rows=tuple(rows),
        table="options",
        invented=facts.study.invented,
    )


def _governs(facts: Facts) -> Runs:
    row = facts.governing
    scale = facts.scales[str(row["criterion"])]
    ends, middle = interval_runs(row, scale), "median margin" if facts.sure else "margin"
    runs: list[Run] = [
        Strong(text="What governs. "),
        f"With {facts.chosen}, room {row['room']} ({row['name']}) on {row['criterion']}: {middle} ",
        margin_run(row, scale),
        f" {scale.margin_unit}",
    ]
    if ends:
        beyond = percent_words(1 - facts.asked)
        runs += [
            ", from ", *ends,
            f" {scale.margin_unit} with a probability of {beyond} beyond either end",
        ]  # fmt: skip
    if "probability" in row:
        runs += [
            "; the limit is kept with a probability of ",
            probability_run(row, "probability", "assessment"),
        ]
    runs.append(f". The {facts.governing_words(row)} contributes most.")
    return tuple(runs)


def _fails(facts: Facts) -> Bullets | None:
    """By group of rooms what is not met or open, with what governs it and the reason."""
    items: list[Runs] = []
    for row in facts.critical:
        if row["answer"] == Answer.MET.value:
            continue
        scale = facts.scales[str(row["criterion"])]
        own = facts.table[
            (facts.table["option"] == facts.chosen) & (facts.table["group"] == row["group"])
        ]
        open_ = own.loc[own["answer"] != Answer.MET.value, "room"].nunique()
        items.append(
            (
                (
                    f"{row['group']} ({open_} of {own['room'].nunique()} rooms): {row['answer']}; "
                    f"{row['room']} governs on {row['criterion']}, "
                    f"{'median ' if facts.sure else ''}margin "
                ),
                margin_run(row, scale),
                f" {scale.margin_unit}. {_why(facts, row)}",
            )
        )
    items += [(*_equipment_words(facts, r), f". {_reason(r)}") for r in _first_of_pieces(facts)]
    return Bullets(items=tuple(items)) if items else None


def _pieces(facts: Facts, row: Row) -> str:
    """How many pieces of equipment keep their limits, where there are any."""
    if facts.equipment is None:
        return ""
    count = f"{row['equipment_met']} of {row['equipment']}"
    return f"; equipment that keeps all its limits{_alone(facts)}: {count}"


def _alone(facts: Facts) -> str:
    """That answers of equipment have no probability, where those of rooms have."""
    return " (a prediction without errors, which has no probability)" if facts.sure else ""


def _first_of_pieces(facts: Facts) -> list[Row]:
    """Of each piece of equipment that is not shown to keep all limits the row that governs it."""
    open_ = [r for r in facts.equipment_urgent if r["answer"] != Answer.MET.value]
    return list({str(r["equipment"]): r for r in reversed(open_)}.values())[::-1]


def _equipment_words(facts: Facts, row: Row) -> Runs:
    """Answer and margin of a piece of equipment along one axis."""
    scale = facts.equipment_scales[str(row["criterion"])]
    without = ", without errors" if facts.sure else ""
    return (
        (
            f"{row['equipment']} along {row['axis']} in room {row['room']} on "
            f"{row['criterion']}: {row['answer']}{without}, margin "
        ),
        margin_run(row, scale, "equipment"),
        f" {scale.margin_unit}",
    )


def _equipment_governs(facts: Facts, row: Row) -> Runs:
    return (
        Strong(text="Equipment. "), "What governs is ", *_equipment_words(facts, row), ".",
    )  # fmt: skip


def _reason(row: Row) -> str:
    if row["reason"]:
        return f"Reason: {row['reason']}."
    return f"The {label(float(row['governing_band_hz']))} Hz band governs."


def _why(facts: Facts, row: Row) -> str:
    """Why a criterion is not shown to be met: the stated reason, or what amplifies the band."""
    if row["reason"]:
        return f"Reason: {row['reason']}."
    band = facts.governing_band(row)
    option = next(o for o in facts.study.options if o.name == row["option"])
    part = str(facts.single["part_of_room"].sel(room=row["room"]).item())
    floor = str(row["floor"])
    near = [
        r.name
        for r in resonances(facts.study, option, part=part)
        if max(r.frequency, band) < NEAR * min(r.frequency, band)
        and (not r.floors or floor in r.floors)
    ]
    where = f"The {facts.governing_words(row)} governs"
    if near:
        return f"{where}; within a third of an octave of it: {listed(dict.fromkeys(near))}."
    if row["answer"] == Answer.WITHIN.value:
        return f"{where}; the interval of the margin decides neither way."
    return f"{where}."


def _decides(facts: Facts) -> Paragraph | None:
    """The measurement that would do most for the row that governs, now and later."""
    row, best = facts.governing, facts.best_measurement(facts.governing)
    if best is None:
        return None
    now = facts.best_measurement_now(row)
    runs: list[Run] = [Strong(text="What would decide. ")]
    if now is not None:
        runs += [
            (
                f"Of the measurements that can be made now, {now['measurement']} would narrow the "
                f"interval of the margin in {row['room']} most: by "
            ),
            *_narrower(facts, row, now),
        ]  # fmt: skip
    else:
        runs.append(
            "No measurement that can be made before the building stands would narrow the interval "
            f"of the margin in {row['room']}. "
        )
    if best["can_be_made"] == LATER:
        runs += [
            f"Once the building stands far enough, {best['measurement']} would narrow it by ",
            *_narrower(facts, row, best),
        ]
    return say(*runs, "See ", Ref(key="decides"), ".")


def _narrower(facts: Facts, row: Row, of: Row) -> Runs:
    """What a measurement would do to an interval and an answer."""
    return (
        of_row(of, "reduction", f"{of['reduction']:.0f}", table="measurements_worth", unit="dB"),
        (
            f" {facts.scales[str(row['criterion'])].margin_unit}. The answer would then be met "
            "with a probability of "
        ),
        probability_run(of, "probability_met", "measurements_worth"),
        " and not met with one of ",
        probability_run(of, "probability_not_met", "measurements_worth"),
        ". ",
    )  # fmt: skip
