"""What was asked: the building in words, criteria with their statistic, the timetable."""

from __future__ import annotations

from groundborne.report.assessment import listed
from groundborne.report.facts import Facts
from groundborne.report.tree import Column, Listing, Part, Section, cells, say, words_listing
from groundborne.report.words import periods_rows


def brief_section(facts: Facts) -> Section:
    """Brief and criteria."""
    study = facts.study
    parts: list[Part] = []
    if study.description:
        parts.append(say(" ".join(study.description.split())))
    parts.append(
        say(
            "Each criterion holds for every room that names its set. It is rated on its own "
            "statistic over the passbys; where it names a period, the timetable says how many "
            "trains of each type pass in it."
        )
    )
    rooms = study.building.rooms
    of_set: dict[str, list[str]] = {}
    for room, name in zip(study.rooms, rooms["criteria"].values.tolist(), strict=True):
        of_set.setdefault(str(name), []).append(room)
    of_set |= {
        name: [*of_set.get(name, []), one.name]
        for one in study.equipment
        for name in [str(one.criteria)]
    }
    rows = []
    for name, criteria in study.criteria.items():
        for c in criteria:
            code = f"C{facts.criteria.index(c.label) + 1}" if c.label in facts.criteria else "–"
            period = f", {c.period}" if c.period else ""
            rows.append(
                cells(
                    f"{name}: {c.of.name}",
                    code,
                    f"{c.statistic_label}{period}",
                    f"{c.limit:g} {c.unit}".rstrip(),
                    c.time_weighting or "as measured",
                    _some(of_set.get(name, [])),
                    c.citation.text.split(" [")[0] if c.citation else "no source given",
                )
            )
    parts.append(
        Listing(
            key="criteria",
            caption="Criteria with their statistic; the codes stand in keys of numbers",
            columns=(
                Column(name="Set and metric"),
                Column(name="Code"),
                Column(name="Statistic"),
                Column(name="Limit", align="right"),
                Column(name="Levels"),
                Column(name="Rooms"),
                Column(name="Source"),
            ),
            rows=tuple(rows),
        )
    )
    timetable = periods_rows(study)
    if timetable.rows:
        parts.append(
            words_listing(
                "timetable",
                "Timetable: trains of each type in a period",
                ("Period", "Hours", "Trains"),
                list(timetable.rows),
            )
        )
    return Section(key="brief", title="Brief and criteria", parts=tuple(parts))


def _some(names: list[str]) -> str:
    if not names:
        return "none"
    return listed(names) if len(names) < 7 else f"{names[0]} … {names[-1]}, {len(names)} rooms"
