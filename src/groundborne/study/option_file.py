"""Options of a study file: mounts under the building, measures in its rooms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from groundborne._checks import StudyError
from groundborne.isolation import Mount
from groundborne.study.constructions import Slabs, read_measure
from groundborne.study.option import Option
from groundborne.study.plane import Plane, tuned_mount
from groundborne.study.section import Section, above_zero, zero_or_more


def read_options(
    sections: Sequence[Section], *, plane: Plane | None, slabs: Slabs, rooms: Sequence[str]
) -> tuple[Option, ...]:
    """Read all options; those on equal mounts share them, so that they are worked out once.

    Parameters
    ----------
    sections : sequence of Section
        The tables ``[[options]]``.
    plane : Plane or None
        Where the building can be isolated.
    slabs : mapping of str to FlatSlab
        For room measures, as for :func:`~groundborne.study.constructions.read_measure`.
    rooms : sequence of str
        Rooms of the study.

    Raises
    ------
    StudyError
        A key is missing, unknown or out of bounds, or there is no plane to isolate.
    """
    mounts: dict[tuple[tuple[str, float], ...], Mount] = {}
    options = []
    for section in sections:
        with section.naming():
            base = _base(section, plane, mounts)
            measures = section.sections("rooms", optional=True)
            options.append(
                Option(
                    name=section.text("name"),
                    description=section.text("description", ""),
                    base=base,
                    measures=tuple(read_measure(s, slabs, rooms=rooms) for s in measures),
                )
            )
            section.known(["base", "rooms"])
            section.done()
    return tuple(options)


def _base(
    section: Section, plane: Plane | None, mounts: dict[tuple[tuple[str, float], ...], Mount]
) -> Mount | None:
    if not section.has("base"):
        return None
    if plane is None:
        raise StudyError(
            f"{section.where}: it isolates the base, and the study has no table [isolation]"
        )
    mount = section.section("base")
    travel = math.inf
    if mount.has("travel_to_solid_m"):
        travel = mount.number("travel_to_solid_m", above_zero("m"))
    given: dict[str, Any] = {
        "natural_frequency": mount.number("natural_frequency_hz", above_zero("Hz")),
        "loss_factor": mount.number("loss_factor", above_zero("")),
        "dynamic_to_static": mount.number("dynamic_to_static", above_zero(""), 1.0),
        "travel_to_solid": travel,
        "own_mass_per_load": 1e-6 * mount.number("own_mass_kg_per_mn", zero_or_more("kg/MN"), 0.0),
    }
    mount.known(["travel_to_solid_m"])
    mount.done()
    key = tuple(given.items())
    if key not in mounts:
        mounts[key] = tuned_mount(plane, **given)
    return mounts[key]
