"""Fire, access, inspection and replacement: what the isolation asks of the design team."""

from __future__ import annotations

from typing import Any

from groundborne.report.facts import Facts
from groundborne.report.tree import Part, Section, Terms, say

_ENTRIES = (
    ("fire_protection", "Fire protection"),
    ("access", "Access"),
    ("interval", "Inspection"),
    ("replacement", "Replacement"),
    ("replacement_load_case", "Loads while a mount is out"),
)
"""What a study may say of the care of its mounts, and as it is printed."""


def _stated(facts: Facts) -> Terms | None:
    """What the study says; None where it says nothing."""
    of: Any = getattr(facts.study, "inspection", None)
    if of is None or not any(getattr(of, name) for name, _ in _ENTRIES):
        return None
    rows = [(words, (str(getattr(of, n)) or "open: not stated",)) for n, words in _ENTRIES]
    return Terms(items=tuple(rows))


_ASKED: tuple[tuple[str, str], ...] = (
    (
        "Fire",
        (
            "Mounts carry the building in a fire as well. Resistance, protection that leaves the "
            "gap free, and what happens if mounts are lost: fire and structural engineer."
        ),
    ),
    (
        "Access",
        (
            "Every mount can be reached, seen and jacked beside; height and way for a jack and "
            "for a mount in its box: architect and structural engineer."
        ),
    ),
    (
        "Inspection",
        (
            "Levels, gaps, corrosion, cracks and debris, first after release and then by a plan "
            "that the maker and the engineer agree on: owner."
        ),
    ),
    (
        "Replacement",
        (
            "One mount at a time, loads passed to its neighbours or to jacks, by a method "
            "statement of the structural engineer; spare parts kept or their supply agreed: "
            "owner."
        ),
    ),
    (
        "Fail-safe",
        (
            "A stop or packing that carries the building if a mount fails, with a gap that stays "
            "free in service: structural engineer."
        ),
    ),
)
"""What mounts ask of the design team, and of whom; common practice."""


def care_section(facts: Facts) -> Section:
    """What has to be decided by others, and what the study says of it."""
    title = "Fire, access, inspection and replacement"
    if not facts.mounted:
        others = any(o.is_mounted for o in facts.study.options)
        carries = f"{facts.chosen} does not carry" if others else "No option carries"
        words = (
            f"{carries} the building on mounts. Layers in rooms stay within reach of their "
            "rooms; their fire classification is for the fire engineer."
        )
        return Section(key="care", title=title, parts=(say(words),))
    parts: list[Part] = []
    stated = _stated(facts)
    if stated is not None:
        parts += [say("The study states:"), stated]
    parts += [
        say(
            "The prediction says nothing of these. They decide whether mounts can be built, and "
            "are for those named; local codes govern."
        ),
        Terms(items=tuple((name, (text,)) for name, text in _ASKED)),
    ]
    return Section(key="care", title=title, parts=tuple(parts))
