"""Fire, access, inspection and replacement: what the isolation asks of the design team."""

from __future__ import annotations

from groundborne.report.facts import Facts
from groundborne.report.tree import Section, Terms, say


def care_section(facts: Facts) -> Section:
    """What has to be decided by others, and that the prediction holds none of it."""
    mounted = any(o.is_mounted for o in facts.study.options)
    if not mounted:
        return Section(
            key="care",
            title="Fire, access, inspection and replacement",
            parts=(say("No option carries the building on mounts. Layers in rooms stay within reach "
                       "of their rooms; their fire classification is for the fire engineer."),),
        )  # fmt: skip
    return Section(
        key="care",
        title="Fire, access, inspection and replacement",
        parts=(
            say("The prediction says nothing of these. They decide whether mounts can be built, and "
                "are for those named; local codes govern."),
            Terms(
                items=(
                    ("Fire", ("Mounts carry the building in a fire as well. Resistance, protection "
                              "that leaves the gap free, and what happens if mounts are lost: fire "
                              "and structural engineer.",)),
                    ("Access", ("Every mount can be reached, seen and jacked beside; height and way "
                                "for a jack and for a mount in its box: architect and structural "
                                "engineer.",)),
                    ("Inspection", ("Levels, gaps, corrosion, cracks and debris, first after release "
                                    "and then by a plan that the maker and the engineer agree on: "
                                    "owner.",)),
                    ("Replacement", ("One mount at a time, loads passed to its neighbours or to "
                                     "jacks, by a method statement of the structural engineer; "
                                     "spare parts kept or their supply agreed: owner.",)),
                    ("Fail-safe", ("A stop or packing that carries the building if a mount fails, "
                                   "with a gap that stays free in service: structural engineer.",)),
                )
            ),
        ),
    )  # fmt: skip
