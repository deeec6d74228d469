"""Options of a study file: mounts under the building, measures in its rooms."""

from __future__ import annotations

from collections.abc import Sequence

from groundborne._checks import Faults, StudyError
from groundborne.isolation import Mount
from groundborne.study.constructions import Slabs, measure_of
from groundborne.study.description import checksum, describe
from groundborne.study.given import Given
from groundborne.study.option import Option, RoomMeasure
from groundborne.study.plane import Plane, tuned_mount


def options_of(
    given: Sequence[Given], faults: Faults, *, plane: Plane | None, slabs: Slabs
) -> tuple[Option, ...]:
    """All options; those on equal mounts share them, so that they are worked out once.

    Parameters
    ----------
    given : sequence of Given
        The tables ``[[options]]``.
    faults : Faults
        Collects what is wrong, option by option and measure by measure.
    plane : Plane or None
        Where the building can be isolated.
    slabs : mapping of str to FlatSlab
        For room measures, as for :func:`~groundborne.study.constructions.measure_of`.
    """
    mounts: dict[str, Mount] = {}
    options = []
    for one in given:
        base, measures = None, []
        with faults.gathered(), one.naming():
            base = _base(one, plane, mounts)
        for measure in one["rooms"] or []:
            with faults.gathered():
                measures.append(measure_of(measure, slabs))
        with faults.gathered(), one.naming():
            built: tuple[RoomMeasure, ...] = tuple(measures)
            options.append(Option(base=base, measures=built, **one.arguments()))
    return tuple(options)


def _base(given: Given, plane: Plane | None, mounts: dict[str, Mount]) -> Mount | None:
    mount = given["base"]
    if mount is None:
        return None
    if plane is None:
        raise StudyError(
            f"{given.where}: it isolates the base, and the study has no table [isolation]"
        )
    arguments = mount.arguments()
    key = checksum(describe(arguments))
    if key not in mounts:
        mounts[key] = tuned_mount(plane, **arguments)
    return mounts[key]
