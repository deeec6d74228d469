"""Parts of the day and the trains they hold."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError, not_negative, positive


@checked
@dataclass(frozen=True, kw_only=True)
class Period:
    """A part of the day and the trains it holds.

    Parameters
    ----------
    name : str
        For example ``night``.
    hours : float
        Length [h], above 0 and at most 24.
    trains : mapping of str to float
        Number of trains by type, 0 or more; ``all`` where the types are not told apart.
    """

    name: str
    hours: float
    trains: Mapping[str, float]

    def __post_init__(self) -> None:
        where = f"period {self.name!r}"
        positive(where, "hours", self.hours, "h")
        if self.hours > 24:
            raise StudyError(f"{where}: hours is {self.hours:g}; a period is at most 24 h")
        for kind, count in self.trains.items():
            not_negative(where, f"trains of type {kind!r}", count, "trains")
        if not any(self.trains.values()):
            raise StudyError(f"{where}: it holds no train; give the number of trains by type")

    def weight(self, passbys: xr.DataArray) -> xr.DataArray:
        """How many trains of the period each measured passby stands for, on ``passby``.

        Parameters
        ----------
        passbys : DataArray
            Levels with the coordinate ``train_type``, or none if the types are not told apart.

        Raises
        ------
        StudyError
            A type in the timetable that was not measured, or the reverse.
        """
        if "train_type" in passbys.coords:
            kinds = passbys["train_type"].values.astype(str)
        else:
            self._require_untold()
            kinds = np.full(passbys.sizes["passby"], "all")
        measured, index, count = np.unique(kinds, return_inverse=True, return_counts=True)
        where = f"period {self.name!r}"
        for kind in self.trains:
            if kind not in measured:
                near = difflib.get_close_matches(kind, measured.tolist(), n=1)
                raise StudyError(
                    f"{where}: the timetable has the train type {kind!r}, of which no passby was "
                    f"measured; measured were {', '.join(map(repr, measured.tolist()))}."
                    + (f" Did you mean {near[0]!r}?" if near else "")
                )
        for kind in measured.tolist():
            if kind not in self.trains:
                raise StudyError(
                    f"{where}: the train_type {kind!r} was measured and is not in the "
                    "timetable; give its number, 0 if it does not run"
                )
        each = np.array([self.trains[k] for k in measured.tolist()]) / count
        return xr.DataArray(each[index], coords={"passby": passbys["passby"].values})

    def _require_untold(self) -> None:
        """Refuse types of trains where the passbys do not tell them apart."""
        if set(self.trains) != {"all"}:
            raise StudyError(
                f"period {self.name!r}: it counts trains by type "
                f"({', '.join(map(repr, self.trains))}), and the passbys have no column "
                "'train_type' that says which is which; add that column to their table (in a "
                "script: level.assign_coords(train_type=...) before write_passbys), or give one "
                "number of trains under the name 'all'"
            )
