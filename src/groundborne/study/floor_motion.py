"""From the source to the vibration people feel: the velocity at mid-span of the floor of a room."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._checks import StudyError
from groundborne.citation import Citation
from groundborne.isolation import Mount
from groundborne.path import COLUMN, MID_SPAN, End, PathElement, TransmissionPath
from groundborne.study.frame import Frame
from groundborne.study.line_change import following

FELT = Citation(
    key="felt-on-a-treated-floor",
    author="groundborne",
    title="floating floor at mid-span taken to change like its surface mean",
    mark="derived",
    status="transcribed",
)


FLOOR_TREATMENT = "floor_treatment"
"""Name of the step in which measures of an option change the floor at mid-span."""


@dataclass(frozen=True, eq=False)
class Felt:
    """A treatment of the floor where people stand on it.

    Parameters
    ----------
    treatment : PathElement
        From the surface of the bare floor to the treated one; its level change is that of the
        surface mean, taken here for mid-span too.
    """

    treatment: PathElement

    @property
    def quantity_in(self) -> End:
        """Velocity at mid-span of the slab."""
        return MID_SPAN

    @property
    def quantity_out(self) -> End:
        """Velocity at mid-span of the floor that people stand on."""
        return MID_SPAN

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the treatment, and the assumption."""
        return (FELT, *self.treatment.citations)

    def level_change(self, frequency: xr.DataArray) -> xr.DataArray:
        """That of the treatment [dB]."""
        return self.treatment.level_change(frequency)

    def valid(self, frequency: xr.DataArray) -> xr.DataArray:
        """Where the treatment is."""
        return self.treatment.valid(frequency)


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorMotion:
    """Where the motion of floors comes from.

    Parameters
    ----------
    as_built : PathElement
        From the columns at the room's floor to mid-span, without mounts.
    frame : Frame, optional
        Column lines, whose slabs move otherwise on mounts; what of `as_built` was measured stays
        as it is.

    Raises
    ------
    StudyError
        `as_built` does not turn the velocity of the columns into that at mid-span.
    """

    as_built: PathElement
    frame: Frame | None = None

    def __post_init__(self) -> None:
        ends = (self.as_built.quantity_in, self.as_built.quantity_out)
        if ends != (COLUMN, MID_SPAN):
            raise StudyError(
                f"floor motion: the step turns {ends[0]} into {ends[1]}; it must turn {COLUMN} "
                f"into {MID_SPAN}"
            )

    def path(
        self, path: TransmissionPath, *, mount: Mount | None, treatment: PathElement | None
    ) -> TransmissionPath:
        """Path to mid-span from the path of an option to the sound in its rooms.

        Parameters
        ----------
        path : TransmissionPath
            With the measures of the option in it.
        mount : Mount or None
            Its mounts.
        treatment : PathElement or None
            What its measures change at mid-span: see :meth:`Option.felt`.

        Raises
        ------
        StudyError
            The path never gives the velocity of the columns, from which mid-span is reached.
        """
        last = path.giving(COLUMN)
        if last is not None:
            beyond = path.names[path.names.index(last) + 1 :]
            found = path.without(*beyond).insert(after=last, mid_span=self._mid_span(mount))
        elif path.quantity_in == COLUMN:
            found = TransmissionPath(mid_span=self._mid_span(mount))
            found = found if path.weights is None else found.hearing(path.weights)
        else:
            raise StudyError(
                f"floor motion: the path never gives the {COLUMN}, from which mid-span is reached; "
                f"its steps are {', '.join(path.names)}"
            )
        if treatment is None:
            return found
        return found.insert(after="mid_span", floor_treatment=treatment)

    def _mid_span(self, mount: Mount | None) -> PathElement:
        if mount is None or self.frame is None:
            return self.as_built
        moved = self.frame.on_mounts(mount)
        return self.frame.kept.once(
            lambda: following(self.as_built, moved), "mid-span", mount, self.as_built
        )
