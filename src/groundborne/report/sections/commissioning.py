"""How it is proven on site, before, during and after construction."""

from __future__ import annotations

from groundborne.commissioning.measured_answers import PROBABILITY
from groundborne.report.assessment import listed
from groundborne.report.facts import Facts
from groundborne.report.tree import Bullets, Ref, Runs, Section, say


def commissioning_section(facts: Facts) -> Section:
    """Commissioning plan: when, what and against what."""
    statistics = "; ".join(facts.criteria)
    items: list[Runs] = []
    now = [of for r in facts.critical if (of := facts.best_measurement_now(r)) is not None]
    if now:
        names = listed(dict.fromkeys(str(of["measurement"]) for of in now))
        items.append((f"Before design is fixed: {names}; see ", Ref(key="worth"), "."))
    if facts.mounted:
        items += [
            (
                (
                    "On the foundation, before anything stands on the mounts: passbys at the "
                    "heads of the columns, in place of the step from ground to foundation."
                ),
            ),
            (
                (
                    "Before release: inspection of every mount, gap and crossing against "
                    "schedule and register, signed by contractor and engineer."
                ),
            ),
            (
                (
                    "After release: levels of the building against the schedule; passbys below "
                    "and above the mounts at the same time, for the insertion loss of the "
                    "building as built."
                ),
            ),
        ]
    items.append(
        (
            (
                f"At completion: passbys in rooms {_rooms(facts)}, furnished as agreed, each "
                f"criterion on its own statistic ({statistics}), with as many passbys of each "
                "type as the statistic asks, background recorded between them."
            ),
        )
    )
    if facts.equipment is not None:
        pieces = dict.fromkeys(f"{r['equipment']} in room {r['room']}"
                               for r in facts.equipment.to_dict("records"))  # fmt: skip
        measured = "; ".join(dict.fromkeys(facts.equipment["criterion"]))
        items.append(
            (
                (
                    "With the equipment in place: passbys at its feet along each axis that has a "
                    f"limit ({', '.join(pieces)}), on its own criteria ({measured})."
                ),
            )
        )
    items.append(
        (
            (
                f"A room is accepted where what was measured meets each criterion with at least "
                f"{100 * _asked(facts):.3g} % probability, by the uncertainty of the measurement "
                "(instruments, positions, number of trains). Where it can be told neither so nor "
                "otherwise, more positions and trains are measured. A criterion that is not met is "
                "traced step by step along the chain of "
            ),
            Ref(key="method"),
            ", since each step was predicted by itself.",
        )
    )
    return Section(
        key="commissioning",
        title="Commissioning plan",
        parts=(
            say(
                "What is measured replaces what was assumed; each stage takes a source of error "
                "out of the next prediction."
            ),
            Bullets(items=tuple(items), numbered=True),
        ),
    )


def _asked(facts: Facts) -> float:
    """Probability that measured answers ask for."""
    if facts.handover is not None and facts.handover.answers:
        return float(facts.handover.answers[0].attrs["probability_asked"])
    return facts.asked if facts.sure else PROBABILITY


def _rooms(facts: Facts) -> str:
    return ", ".join(dict.fromkeys(str(r["room"]) for r in facts.critical))
