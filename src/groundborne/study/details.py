"""What a study says of itself beside its numbers: who, when, how it was measured, what is open.

None of it moves a level. It is what a reviewer asks first, and it is held against what the files
already say, so that nothing is told twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from groundborne._arguments import checked
from groundborne._checks import StudyError, known, not_negative
from groundborne.csv_columns import CROSSING_KINDS, CROSSING_STATES, CROSSING_TREATMENTS

Status = Literal["draft", "for comment", "for construction", "as built"]
"""What a document may be used for; common practice."""


@checked
@dataclass(frozen=True, kw_only=True)
class Details:
    """Title block of a study; every entry is empty where it is not said.

    Parameters
    ----------
    client, author, checker : str
        For whom, by whom, and who looked it over.
    date : str
        Of this revision, ISO 8601: ``2026-03-31``.
    revision : str
        Such as ``A`` or ``P2``.
    status : str
        One of :data:`Status`, or empty.
    project_number : str
        Of the author or the client.
    note : str
        What else stands in the block.

    Examples
    --------
    >>> Details(author="A. N. Other").missing
    ('client', 'checker', 'date', 'revision', 'status')
    """

    client: str = ""
    author: str = ""
    checker: str = ""
    date: str = ""
    revision: str = ""
    status: str = ""
    project_number: str = ""
    note: str = ""

    @property
    def missing(self) -> tuple[str, ...]:
        """What a title block needs and nobody said; a project may do without a number and note."""
        needed = ("client", "author", "checker", "date", "revision", "status")
        return tuple(name for name in needed if not getattr(self, name))


@checked
@dataclass(frozen=True, kw_only=True)
class Instrument:
    """An instrument of a measurement.

    Parameters
    ----------
    name : str
        What it is, with its number.
    calibrated : str
        Day of its last calibration, ISO 8601; empty where nobody said.
    """

    name: str
    calibrated: str = ""


@checked
@dataclass(frozen=True, kw_only=True)
class Measurement:
    """One measurement that the study rests on.

    Parameters
    ----------
    site : str
        Where it was.
    date, until : str
        First and last day, ISO 8601; `until` is empty of a single day.
    position : str
        Where on the site.
    quantity : str
        ``velocity`` or ``acceleration``; empty where nobody said.
    instruments : sequence of Instrument
        What it was measured with.
    mounting : str
        How the sensor was coupled to what it measured.
    table : str
        File of the study that came of it; empty where none did.
    events_recorded, events_kept : int, optional
        Trains recorded, and those that the study uses.
    left_out : mapping of str to int
        How many of them are not used, by the reason.

    Raises
    ------
    StudyError
        Numbers that do not add up: recorded are kept and left out together.

    Examples
    --------
    >>> Measurement(site="yard", date="2026-03-31", events_recorded=22, events_kept=20,
    ...             left_out={"two trains at once": 2}).events_left_out
    2
    """

    site: str
    date: str
    until: str = ""
    position: str = ""
    quantity: str = ""
    instruments: Sequence[Instrument] = ()
    mounting: str = ""
    table: str = ""
    events_recorded: int | None = None
    events_kept: int | None = None
    left_out: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "instruments", tuple(self.instruments))
        for name in ("events_recorded", "events_kept"):
            value = getattr(self, name)
            if value is not None and value < 0:
                raise StudyError(f"measurement: {name} is {value}; it must be 0 or more")
        recorded, kept, lost = self.events_recorded, self.events_kept, sum(self.left_out.values())
        if recorded is None or kept is None or recorded == kept + lost:
            return
        if not self.left_out and recorded > kept:
            raise StudyError(
                f"measurement: {recorded} events were recorded and {kept} are kept; say by "
                f'left_out why {recorded - kept} are not, such as {{ "two trains at once" = '
                f"{recorded - kept} }}"
            )
        raise StudyError(
            f"measurement: {recorded} events were recorded, {kept} are kept and {lost} left out; "
            "those kept and left out must add up to those recorded"
        )

    @property
    def events_left_out(self) -> int | None:
        """How many events are not used; None where nobody said."""
        if self.left_out:
            return sum(self.left_out.values())
        both = self.events_recorded is not None and self.events_kept is not None
        return 0 if both else None


RIGID, GAP, UNDECIDED = "rigid", "gap", "not decided"
"""Treatments of a crossing of which more follows."""


@checked
@dataclass(frozen=True, kw_only=True)
class RegisteredCrossing:
    """A row of the register of what crosses the isolation plane.

    Parameters
    ----------
    name : str
        Unique; where the calculation holds the crossing, its name there.
    kind : str
        One of ``csv_columns.CROSSING_KINDS``.
    treatment : str
        One of ``csv_columns.CROSSING_TREATMENTS``.
    status : str
        One of ``csv_columns.CROSSING_STATES``.
    part, floor, grid : str
        Where it crosses: part of the building, floor, and axes or columns in words.
    stiffness : float, optional
        Vertical dynamic stiffness of all of it [N/m], where the calculation does not hold it.
    specification : str
        Of what is between, in words.
    responsible : str
        Who sees to it.
    note : str
        What else there is to say.
    counted : bool
        Whether the calculation holds it beside the mounts.

    Raises
    ------
    StudyError
        Words that are none of those above; a status beyond ``open`` of what is not decided.
    """

    name: str
    kind: str
    treatment: str
    status: str
    part: str = ""
    floor: str = ""
    grid: str = ""
    stiffness: float | None = None
    specification: str = ""
    responsible: str = ""
    note: str = ""
    counted: bool = False

    def __post_init__(self) -> None:
        where = f"crossing {self.name!r}"
        for key, words in (
            ("kind", CROSSING_KINDS),
            ("treatment", list(CROSSING_TREATMENTS)),
            ("status", CROSSING_STATES),
        ):
            known(where, key, getattr(self, key), words, StudyError)
        if self.stiffness is not None:
            not_negative(where, "stiffness", self.stiffness, "N/m")
        if self.treatment == UNDECIDED and self.status != "open":
            raise StudyError(
                f"{where}: its treatment is not decided and its status is {self.status!r}; what is "
                "not decided is open"
            )


@checked
@dataclass(frozen=True, kw_only=True)
class Inspection:
    """How the mounts are kept, in words; every entry is empty where it is not said.

    Parameters
    ----------
    fire_protection : str
        Of the mounts.
    access : str
        To each of them, and with what headroom.
    interval : str
        When they are looked at, and what is measured then.
    replacement : str
        How one is exchanged.
    replacement_load_case : str
        What carries while it is out, and under which loads.

    Examples
    --------
    >>> Inspection(access="crawl space").missing
    ('fire protection', 'interval', 'replacement', 'replacement load case')
    """

    fire_protection: str = ""
    access: str = ""
    interval: str = ""
    replacement: str = ""
    replacement_load_case: str = ""

    @property
    def missing(self) -> tuple[str, ...]:
        """What nobody said, in words: open items."""
        return tuple(
            name.replace("_", " ") for name in self.__dataclass_fields__ if not getattr(self, name)
        )


TRACK_SIDES: Mapping[str, str] = {
    "x-": "beside the building, before its least x; along y",
    "x+": "beside it, beyond its largest x; along y",
    "y-": "before its least y; along x",
    "y+": "beyond its largest y; along x",
    "below along x": "under it, along x",
    "below along y": "under it, along y",
}
"""Where the track may lie, in the plan of the columns."""


@checked
@dataclass(frozen=True, kw_only=True)
class Site:
    """Where the track and the ground lie beside the building, for drawings alone.

    Parameters
    ----------
    track_side : str
        One of :data:`TRACK_SIDES`; empty where nobody said, or where the line of the track in plan
        is known.
    track_offset : float, optional
        From the outermost columns to the centre of the near track [m]; of a track below the
        building from the middle of the columns, along the rising axis.
    rail_level : float, optional
        Of the rails above the foundation, as the heights of floors [m].
    ground_level : float, optional
        Of the ground beside the building, likewise [m].

    Raises
    ------
    StudyError
        An unknown side; a side without an offset, or the other way round; a track beside the
        building that lies under it.
    """

    track_side: str = ""
    track_offset: float | None = None
    rail_level: float | None = None
    ground_level: float | None = None

    def __post_init__(self) -> None:
        if bool(self.track_side) != (self.track_offset is not None):
            raise StudyError(
                "site: track_side and track_offset say together where the track lies; give both, "
                "or none"
            )
        if self.track_side:
            known("site", "track_side", self.track_side, list(TRACK_SIDES), StudyError)
            assert self.track_offset is not None
            if not self.is_below and self.track_offset < 0:
                raise StudyError(
                    f"site: track_offset is {self.track_offset:g} m of a track beside the building;"
                    " it must be 0 or more, or the track lies below"
                )

    @property
    def is_below(self) -> bool:
        """Whether the track lies under the building, as far as it is said here."""
        return self.track_side.startswith("below")
