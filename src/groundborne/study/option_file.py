"""Options of a study file: mounts under the building, measures in its rooms."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from groundborne._checks import Faults, StudyError, known
from groundborne.isolation import Mount
from groundborne.receiver import Equipment
from groundborne.study.constructions import Slabs, measure_of
from groundborne.study.description import Difference, checksum, describe
from groundborne.study.equipment_file import option_mounts
from groundborne.study.given import Given
from groundborne.study.option import Option, RoomMeasure
from groundborne.study.part import Part
from groundborne.study.plane import Plane, tuned_mount
from groundborne.study.service import factors_of, in_service


@dataclass(frozen=True, eq=False)
class Standing:
    """The building as an option finds it.

    Parameters
    ----------
    parts : mapping of str to Part
        By name, with what the option changes.
    changed : tuple of Part
        Those that are not as built.
    changes : tuple of Difference
        By what.
    """

    parts: Mapping[str, Part]
    changed: tuple[Part, ...] = ()
    changes: tuple[Difference, ...] = field(default=())

    @property
    def planes(self) -> dict[str, Plane]:
        """Where it can be isolated, by part."""
        return {name: p.plane for name, p in self.parts.items() if p.plane is not None}


def options_of(
    given: Sequence[Given],
    faults: Faults,
    *,
    buildings: Sequence[Standing],
    slabs_of: Callable[[Standing, Sequence[str]], Slabs],
    equipment: Mapping[str, Equipment],
) -> tuple[Option, ...]:
    """All options; those on equal mounts share them, so that they are worked out once.

    Parameters
    ----------
    given : sequence of Given
        The tables ``[[options]]``.
    faults : Faults
        Collects what is wrong, option by option and measure by measure.
    buildings : sequence of Standing
        The building as each option finds it.
    slabs_of : callable
        Slabs of rooms in it, as for :func:`~groundborne.study.constructions.measure_of`.
    equipment : mapping of str to Equipment
        Of the study, by name.
    """
    mounts: dict[tuple[int, str], Mount] = {}
    options = []
    for one, building in zip(given, buildings, strict=True):
        planes = building.planes
        base, bases, measures = None, {}, []
        ratios = {n: one["horizontal_ratio"] for n, one in (one["bases"] or {}).items()}
        with faults.gathered(), one.naming():
            base = _base(one, planes, mounts)
        for name, mount in (one["bases"] or {}).items():
            with faults.gathered(), mount.naming():
                known(mount.where, "part", name, building.parts, StudyError)
                if name not in planes:
                    raise StudyError(
                        f"{mount.where}: part {name!r} has no isolation plane; give it "
                        f"[parts.{name}.isolation], or the mounts to a part that has one: "
                        f"{', '.join(map(repr, planes)) or '(none)'}"
                    )
                bases[name] = _mount(mount, planes[name], mounts)
        for measure in one["rooms"] or []:
            with faults.gathered(), measure.naming():
                measures.append(measure_of(measure, slabs_of(building, measure["rooms"])))
        mounted = option_mounts(one, equipment, faults)
        ratios = {n: ratios[n] for n in bases if ratios[n] is not None}
        with faults.gathered(), one.naming():
            built: tuple[RoomMeasure, ...] = tuple(measures)
            options.append(
                Option(
                    base=base,
                    bases=bases,
                    measures=built,
                    parts=building.changed,
                    changes=building.changes,
                    equipment=mounted,
                    horizontal_ratio=None if base is None else one["base"]["horizontal_ratio"],
                    horizontal_ratios=ratios,
                    **one.arguments(),
                )
            )
    return tuple(options)


def _base(
    given: Given, planes: Mapping[str, Plane], mounts: dict[tuple[int, str], Mount]
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
    (plane,) = planes.values()
    return _mount(mount, plane, mounts)


def _mount(given: Given, plane: Plane, mounts: dict[tuple[int, str], Mount]) -> Mount:
    arguments, factors = given.arguments(), factors_of(given["service"])
    key = id(plane), checksum(describe({"mount": arguments, "service": factors}))
    if key not in mounts:
        mounts[key] = in_service(tuned_mount(plane, **arguments), factors)
    return mounts[key]
