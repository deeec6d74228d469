"""Notes: what a reviewer is to know of a result, as objects; sentences are made at the edge.

A note says of what kind it is, whom it concerns, how much weight it has and with which numbers.
:data:`KINDS` lists the kinds; :func:`groundborne.study.sentence` words them.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError, known

ATTRIBUTE = "notes"
"""Attribute of a result that holds its notes."""


class Severity(StrEnum):
    """Weight of a note, the heaviest first."""

    WARNING = "warning"
    """Something put in, or what comes of it, is likely not what was meant."""
    CAUTION = "caution"
    """Numbers hold within limits that the note names."""
    INFORMATION = "information"
    """How numbers came about."""


_WARNING, _CAUTION, _INFORMATION = Severity

KINDS: dict[str, Severity] = {
    # What was put in, and what came out
    "unusual input": _WARNING,
    "unusual result": _WARNING,
    "other loads": _WARNING,  # packs that were chosen for other loads than the study has
    "outside validity": _CAUTION,  # a step is used outside the range of its source
    # The source
    "at the loudest moment": _CAUTION,
    "bands peak apart": _CAUTION,
    "few passbys": _CAUTION,
    "not detectable": _CAUTION,  # trains in some bands
    "near background": _CAUTION,
    "source on foundation": _INFORMATION,
    # Foundations of column lines
    "foundation taken as rigid": _CAUTION,  # though one column moves only what is near it
    "foundation follows the ground": _CAUTION,  # as it is, whatever its size and mass
    # Column lines
    "columns in phase": _CAUTION,  # where identical slabs block together
    "joists by column lines": _CAUTION,  # levels of light floors, beside tables of such floors
    "no rigid body": _CAUTION,  # on mounts, of columns without regard to each other
    # Horizontal motion of storeys
    "horizontal left out": _INFORMATION,
    "horizontal counted": _INFORMATION,  # and what it adds without isolation
    "frame in bending": _CAUTION,  # without walls and cores
    "horizontal as built": _CAUTION,  # whatever the mounts of an option do to it
    "horizontal on mounts": _CAUTION,
    # Mounts under the building
    "below the plane": _CAUTION,  # rooms that gain nothing
    "masses differ": _CAUTION,
    "frequency of mounts": _INFORMATION,
    "crossings": _CAUTION,  # of the isolation plane, and what they cost
    "bypass": _CAUTION,  # energy that arrives beside the mounts, and what it costs
    "no bypass": _CAUTION,  # by statement of the study
    "crossings not counted": _CAUTION,  # held on both sides, or of a stiffness, by the register
    "crossings not registered": _CAUTION,  # though the calculation holds them
    "inspection open": _INFORMATION,  # what nobody says of the upkeep of mounts
    "stiffness as tested": _CAUTION,  # of rubber: nothing says how it is in service
    "mounts in service": _CAUTION,  # stiffer than as tested, and what age costs
    "loss of coils": _CAUTION,  # more than coils have
    "measured as built": _CAUTION,  # transfers, and computed what mounts change
    "mounts without mass": _CAUTION,
    "base beyond one stage": _CAUTION,
    "rigid mass above": _CAUTION,
    "rods above": _CAUTION,  # semi-infinite columns
    "margins beyond one stage": _CAUTION,
    "met beyond one stage": _CAUTION,  # by that alone, and so not shown
    "coincident resonances": _CAUTION,
    "steps do not follow": _CAUTION,  # what an option changes in the lines
    "changed building": _INFORMATION,  # by an option, with the masses that come of it
    # Measures in rooms
    "largest loss decides": _CAUTION,
    "surfaces left": _INFORMATION,  # that radiate as before
    "depth unknown": _CAUTION,
    "whole floor": _INFORMATION,  # treated, and no table on it
    "base and rooms apart": _CAUTION,
    "depth": _INFORMATION,
    "construction": _CAUTION,
    # Equipment
    "rigid equipment": _CAUTION,
    "vertical only": _INFORMATION,  # no horizontal level was given
    "horizontal as stated": _CAUTION,  # whatever an option does to the floor
    "without background": _INFORMATION,  # an rms over a period
    "mounts of equipment amplify": _CAUTION,
    "equipment loads its floor": _CAUTION,  # whose first resonance moves
    "equipment on a treated floor": _CAUTION,
    # Ratings
    "lower bound": _CAUTION,
    "below what can be measured": _INFORMATION,
    "approximation": _INFORMATION,
    "livelier floors": _CAUTION,  # with an option than without
    "several floor frequencies": _INFORMATION,
    "sampled": _INFORMATION,
    "outside a source": _CAUTION,  # bands of an option
    # What stands above every study
    "structural engineer": _CAUTION,
    "rooms by structural engineer": _CAUTION,
    "other options on mounts": _CAUTION,
    "scatter": _CAUTION,
}
"""Kinds of notes and their weight."""

STANDING = ("structural engineer", "rooms by structural engineer", "scatter")
"""Kinds that stand above every study, whatever it comes to."""


@checked
@dataclass(frozen=True, kw_only=True)
class Note:
    """What a reviewer is to know.

    Parameters
    ----------
    kind : str
        One of ``KINDS``.
    option : str, optional
        That it is about; none if it is of the study.
    rooms : tuple of str
        That it is about; empty if it is of all.
    part : str
        Of the building that it is about; empty if it is of all of it.
    consequence_db : float, optional
        By how much it matters [dB], where that can be worked out.
    values : mapping
        What its sentence needs: numbers, words, lists and mappings of them.

    Raises
    ------
    ValueError
        An unknown kind, or values that are no such thing.

    Examples
    --------
    >>> note = Note(kind="mounts without mass", option="rubber 9 Hz")
    >>> note.severity.value
    'caution'
    """

    kind: str
    option: str | None = None
    rooms: tuple[str, ...] = ()
    part: str = ""
    consequence_db: float | None = None
    values: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        known("Note", "kind", self.kind, KINDS)
        try:  # as it is read back, so that a note that was stored equals the one that was made
            plain = json.loads(json.dumps(dict(self.values), allow_nan=False))
        except (TypeError, ValueError) as error:
            raise ValueError(f"Note {self.kind!r}: its values cannot be stored: {error}") from None
        object.__setattr__(self, "values", plain)

    @property
    def severity(self) -> Severity:
        """Weight, by its kind."""
        return KINDS[self.kind]


def stored(notes: Iterable[Note]) -> str:
    """Notes as one text for an attribute: a JSON list of objects."""
    rows = [{**asdict(note), "severity": note.severity.value} for note in notes]
    return json.dumps(rows, ensure_ascii=False, allow_nan=False)


@checked
def notes_of(result: xr.Dataset) -> tuple[Note, ...]:
    """Notes of a result, evaluated or read from a file.

    Parameters
    ----------
    result : Dataset
        Result of a study; none are in one that holds no notes.

    Raises
    ------
    StudyError
        Its attribute ``notes`` is not what was written: it is damaged, or from version 0.1.

    Examples
    --------
    >>> import groundborne as gb
    >>> study = gb.read_study("data/tower/study.toml")
    >>> result = study.with_options([gb.Option(name="as built")]).evaluate(band_levels=False)
    >>> [n.kind for n in notes_of(result) if n.severity == "caution"][-1]
    'scatter'
    """
    text = str(result.attrs.get(ATTRIBUTE, "[]"))
    try:
        rows = json.loads(text)
        return tuple(
            Note(
                kind=row["kind"],
                option=row["option"],
                rooms=tuple(row["rooms"]),
                part=row["part"],
                consequence_db=row["consequence_db"],
                values=row["values"],
            )
            for row in rows
        )
    except (ValueError, TypeError, KeyError) as error:
        raise StudyError(
            f"notes_of: the attribute {ATTRIBUTE!r} of the result is {text[:60]!r}, which is not "
            f"what was written ({error}); evaluate its study anew"
        ) from None


def by_weight(notes: Iterable[Note]) -> list[Note]:
    """Notes by severity, those of the study before those of options, else in their order."""
    order = list(Severity)
    return sorted(notes, key=lambda n: (order.index(n.severity), n.option is not None))
