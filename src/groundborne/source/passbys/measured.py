"""Passbys as measured, and the way from there to a source spectrum with its upper limits marked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, RecordingError, known
from groundborne.bands import edges
from groundborne.levels import stamp
from groundborne.path import GROUND, End
from groundborne.records.events import Events
from groundborne.source.passbys.background import DETECTABLE, NEGLIGIBLE, correct_for_background
from groundborne.source.passbys.file import upper_limit_notes, write_passbys
from groundborne.source.passbys.spectra import Passbys
from groundborne.waveform.averaging import TIME_CONSTANTS

STATISTICS: dict[str, tuple[str, str, str]] = {
    "S max": ("s_max", "background_s_max", "S max"),
    "F max": ("f_max", "background_f_max", "F max"),
    "at maximum": ("at_maximum", "background_s_max", "S max"),
    "leq T1": ("leq_t1", "background", "leq"),
    "leq T2": ("leq_t2", "background", "leq"),
    "leq T3": ("leq_t3", "background", "leq"),
}
"""Variable, background by the same statistic, and time weighting of each statistic."""


_LASTS = {"leq T1": "t1", "leq T3": "t3"}
"""Window whose length goes with a statistic; T2 with all others."""
_MAXIMA = {"S max": "S", "F max": "F"}


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuredPassbys:
    """Passbys of one recording, as measured.

    Parameters
    ----------
    data : Dataset
        Dims (passby, channel, frequency), velocity levels [dB re 1 nm/s], or in rooms sound
        pressure levels [dB re 20 µPa]: ``s_max``, ``f_max``,
        ``at_maximum`` (S-weighted, when the A-weighted sum is largest), ``leq_t1``, ``leq_t2``,
        ``leq_t3``, ``exposure`` (over T3, re 1 s), ``background`` (energy mean), with
        ``background_before``, ``background_after`` and the largest S and F values in those
        stretches, ``background_s_max``, ``background_f_max``. Dims (passby, channel): ``peak``
        [m/s], ``crest_factor``. On ``passby``: ``t1``, ``t2``, ``t3``, ``start``, ``end`` [s] and
        what is known of each train. Nothing here is corrected for the background.
    events : Events
        All events, with those left out and why.
    file : str
        Where the recording came from.
    notes : tuple of str
        How it was measured.
    """

    data: xr.Dataset
    events: Events
    file: str = ""
    notes: tuple[str, ...] = ()

    def lasts(self, statistic: str) -> np.ndarray[Any, Any]:
        """Length of the window of every passby that goes with a statistic [s]: T2 with maxima.

        Parameters
        ----------
        statistic : str
            One of ``STATISTICS``.
        """
        known("lasts", "statistic", statistic, STATISTICS)
        found: np.ndarray[Any, Any] = self.data[_LASTS.get(statistic, "t2")].values
        return found

    def corrected(self, statistic: str = "S max") -> xr.DataArray:
        """Level of the trains alone, with the coordinate ``upper_limit`` where there is none.

        Parameters
        ----------
        statistic : str
            One of ``STATISTICS``.

        Returns
        -------
        xarray.DataArray
            Level as measured in. Where ``upper_limit`` is true the train is not detectable
            and the level is the one measured.

        Notes
        -----
        A maximum must stand 3 dB above that of the background, and in the lowest bands by twice
        the scatter of one reading of steady noise, ``4.34/√(2 B τ)`` dB: there a chance reading
        would else pass for a train.
        """
        known("corrected", "statistic", statistic, STATISTICS)
        name, floor, weighting = STATISTICS[statistic]
        level, limit = correct_for_background(
            self.data[name],
            self.data["background"],
            compared_with=self.data[floor],
            detectable=_detectable(self.data["frequency"], weighting),
        )
        level = level.assign_attrs(time_weighting=weighting)
        return level.assign_coords(upper_limit=limit)

    def to_passbys(
        self,
        *,
        upper_limits: str,
        statistic: str = "S max",
        channel: str | None = None,
        location: End = GROUND,
    ) -> Passbys:
        """Passbys for a study, corrected for the background.

        Parameters
        ----------
        upper_limits : str
            ``keep``: bands that are not detectable stay as upper limits, marked by the coordinate
            ``upper_limit`` and in the notes; ``refuse``: they are an error.
        statistic : str
            One of ``STATISTICS``.
        channel : str, optional
            Which channel; needed if there are several.
        location : End
            Where it was measured: ``path.GROUND`` or ``path.FOUNDATION``.

        Returns
        -------
        Passbys
            Velocity level [dB re 1 nm/s]; the background by the same statistic, one segment each.

        Raises
        ------
        RecordingError
            Bands that are not detectable, if they are to be refused.
        ValueError
            An unknown statistic, channel or choice.
        """
        where = "to_passbys"
        if self.data["s_max"].attrs["quantity"] != "velocity":
            raise RecordingError(
                f"{where}: {self.file or 'the recording'} is of sound; passbys of a study are of "
                "velocity. See commissioning.levels_by_room"
            )
        known(where, "upper_limits", upper_limits, ("keep", "refuse"))
        channels = [str(c) for c in self.data["channel"].values]
        if channel is None and len(channels) > 1:
            raise ValueError(f"{where}: name one of the channels {', '.join(channels)}")
        at = 0 if channel is None else channels.index(known(where, "channel", channel, channels))
        level = self.corrected(statistic).isel(channel=at)
        floor = self.data[STATISTICS[statistic][1]].isel(channel=at)
        limit = level["upper_limit"].values
        if upper_limits == "refuse" and limit.any():
            raise RecordingError(
                f"{where}: {self.file or 'the recording'}, channel {channels[at]}: "
                f"{limit.sum()} of {limit.size} band levels are upper limits; first "
                f"{upper_limit_notes(level)[0]}. Take fewer bands, or keep these, marked"
            )
        stays = {
            "train_type",
            "track",
            "speed_kmh",
            "duration_s",
            "upper_limit",
            "passby",
            "frequency",
        }
        level = level.assign_coords(duration_s=("passby", self.lasts(statistic), {"units": "s"}))
        level = level.drop_vars([c for c in level.coords if c not in stays])

        def marked(array: xr.DataArray) -> xr.DataArray:
            return stamp(
                array,
                quantity="velocity",
                reference="1 nm/s",
                long_name="velocity level",
                location=location.location,
                time_weighting=STATISTICS[statistic][2],
                source=self.file,
                statistic=statistic,
            )

        floor = floor.drop_vars([c for c in floor.coords if c not in ("passby", "frequency")])
        floor = floor.rename(passby="segment")
        floor = floor.assign_coords(segment=[f"{n} background" for n in level["passby"].values])
        notes = (*self.notes, f"statistic: {statistic}, channel {channels[at]}")
        notes += (*upper_limit_notes(level), *self.events.log())
        return Passbys(marked(level), marked(floor), self.file, notes)

    def write_passbys(
        self, path: str | FilePath, *, overwrite: bool = False, **choices: Any
    ) -> FilePath:
        """Write them as a CSV file for a study.

        Parameters
        ----------
        path : str or Path
            File to write.
        overwrite : bool
            Whether an existing file may be replaced.
        **choices
            As in `to_passbys`.

        Returns
        -------
        Path
            The file, with a column ``kind``.
        """
        return write_passbys(self.to_passbys(**choices), path, overwrite=overwrite)


def _detectable(frequency: xr.DataArray, weighting: str) -> Numeric:
    """Least height above the background per band [dB]."""
    if weighting not in _MAXIMA:
        return DETECTABLE
    low, high = edges(frequency)
    scatter = 10 / np.log(10) / ((high - low) * 2 * TIME_CONSTANTS[_MAXIMA[weighting]]) ** 0.5
    bounded: xr.DataArray = (2 * scatter).clip(DETECTABLE, NEGLIGIBLE)
    return bounded.drop_attrs(deep=False)
