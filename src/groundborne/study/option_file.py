"""Options of a study file: mounts under the building, measures in its rooms."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from groundborne._checks import Faults, StudyError, known
from groundborne.isolation import Mount
from groundborne.study.constructions import Slabs, measure_of
from groundborne.study.description import checksum, describe
from groundborne.study.given import Given
from groundborne.study.option import Option, RoomMeasure
from groundborne.study.plane import Plane, tuned_mount


def options_of(
    given: Sequence[Given],
    faults: Faults,
    *,
    planes: Mapping[str, Plane],
    slabs_of: Callable[[Sequence[str]], Slabs],
) -> tuple[Option, ...]:
    """All options; those on equal mounts share them, so that they are worked out once.

    Parameters
    ----------
    given : sequence of Given
        The tables ``[[options]]``.
    faults : Faults
        Collects what is wrong, option by option and measure by measure.
    planes : mapping of str to Plane
        Where the building can be isolated, by part.
    slabs_of : callable
        Slabs of rooms, as for :func:`~groundborne.study.constructions.measure_of`.
    """
    mounts: dict[tuple[str, str], Mount] = {}
    options = []
    for one in given:
        base, bases, measures = None, {}, []
        with faults.gathered(), one.naming():
            base = _base(one, planes, mounts)
        for name, mount in (one["bases"] or {}).items():
            with faults.gathered(), mount.naming():
                known(mount.where, "part with an isolation plane", name, planes, StudyError)
                bases[name] = _mount(mount, name, planes[name], mounts)
        for measure in one["rooms"] or []:
            with faults.gathered(), measure.naming():
                measures.append(measure_of(measure, slabs_of(measure["rooms"])))
        with faults.gathered(), one.naming():
            built: tuple[RoomMeasure, ...] = tuple(measures)
            options.append(Option(base=base, bases=bases, measures=built, **one.arguments()))
    return tuple(options)


def _base(
    given: Given, planes: Mapping[str, Plane], mounts: dict[tuple[str, str], Mount]
) -> Mount | None:
    mount = given["base"]
    if mount is None:
        return None
    if not planes:
        raise StudyError(
            f"{given.where}: it isolates the base, and the study has no table [isolation]"
        )
    if len(planes) > 1:
        raise StudyError(
            f"{given.where}: the parts {', '.join(map(repr, planes))} can be isolated; say "
            "which by bases"
        )
    ((name, plane),) = planes.items()
    return _mount(mount, name, plane, mounts)


def _mount(given: Given, part: str, plane: Plane, mounts: dict[tuple[str, str], Mount]) -> Mount:
    arguments = given.arguments()
    key = part, checksum(describe(arguments))
    if key not in mounts:
        mounts[key] = tuned_mount(plane, **arguments)
    return mounts[key]
