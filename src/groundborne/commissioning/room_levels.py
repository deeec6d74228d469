"""Levels in rooms and on floors from passbys that were measured in recordings."""

from __future__ import annotations

from collections.abc import Mapping

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known
from groundborne.commissioning.level_files import DURATION
from groundborne.commissioning.measurement_error import (
    BACKGROUND,
    DETECTABLE,
    POSITIONS,
    without_background,
)
from groundborne.commissioning.provenance import labelled
from groundborne.levels import energy_mean
from groundborne.source import MeasuredPassbys
from groundborne.source.passbys.measured import STATISTICS

_KEPT = ("passby", "room", "frequency", "train_type", DURATION, "upper_limit", "background_error")


@checked
def levels_by_room(
    measured: MeasuredPassbys,
    *,
    rooms: Mapping[str, str],
    provenance: str,
    state: str = "",
    statistic: str = "S max",
    detectable: float = DETECTABLE,
    background_error: float = BACKGROUND,
) -> xr.DataArray:
    """Levels of trains by room, from the channels of a recording, without the background.

    Parameters
    ----------
    measured : MeasuredPassbys
        From :func:`~groundborne.source.measure_passbys`: of sound pressure in rooms, or of velocity
        or acceleration on floors.
    rooms : mapping of str to str
        Room of each channel that counts; channels of one room are energy means over positions.
    provenance, state : str
        As for :func:`~groundborne.commissioning.labelled`.
    statistic : str
        One of ``source.passbys.measured.STATISTICS``, the one that the prediction is on.
    detectable : float
        Height above the background, by the same statistic, from which a band counts [dB].
    background_error : float
        Standard deviation of the background during a passby [dB].

    Returns
    -------
    xarray.DataArray
        Levels [dB] on ``room``, ``passby`` and ``frequency`` with ``upper_limit`` and
        ``background_error``, as for :func:`~groundborne.commissioning.compare_levels`, and
        ``duration_s``, the window that goes with the statistic; where any position of a room has an
        upper limit the mean is one. The attribute ``positions`` holds how many channels the room
        with the fewest has.

    Raises
    ------
    ValueError
        No room, an unknown channel or statistic, an empty label.

    Examples
    --------
    >>> import numpy as np
    >>> from groundborne.records import Recording, band_history, events_at
    >>> from groundborne.source import measure_passbys
    >>> from groundborne.waveform import ThirdOctaveBank
    >>> t = np.arange(60 * 512) / 512
    >>> rumble = 2e-2 * np.sin(2 * np.pi * 63 * t) * (abs(t - 30) < 5)
    >>> hum = 1e-4 * np.random.default_rng(1).standard_normal(t.size)
    >>> signal = xr.DataArray((rumble + hum)[None], dims=("channel", "time"),
    ...     coords={"channel": ["mic 1"]}, attrs={"quantity": "sound pressure", "units": "Pa"})
    >>> recording = Recording(signal=signal, sample_rate=512.0)
    >>> square = ThirdOctaveBank(sample_rate=512.0, low=50.0, high=80.0).mean_square(signal)
    >>> events = events_at([(25.0, 35.0)], history=band_history(square))
    >>> found = levels_by_room(measure_passbys(recording, events, low=50.0, high=80.0),
    ...                        rooms={"mic 1": "R1"}, provenance="invented")
    >>> found.sel(room="R1", frequency=63.0).round().item(), found.attrs["quantity"]
    (57.0, 'sound pressure')
    """
    where = "levels_by_room"
    if not rooms:
        raise ValueError(f"{where}: rooms is empty; say in which room each channel was")
    known(where, "statistic", statistic, STATISTICS)
    name, floor, weighting = STATISTICS[statistic]
    channels = [str(c) for c in measured.data["channel"].values]
    for channel in rooms:
        known(where, "channel of rooms", channel, channels)
    level = without_background(
        measured.data[name],
        measured.data["background"],
        compared_with=measured.data[floor],
        detectable=detectable,
        uncertainty=background_error,
    )
    rows = []
    names = list(dict.fromkeys(rooms.values()))
    for room in names:
        here = level.sel(channel=[c for c in channels if rooms.get(c) == room])
        mean = energy_mean(here.reset_coords(drop=True), "channel")
        rows.append(
            mean.assign_coords(
                upper_limit=here["upper_limit"].any("channel"),
                background_error=here["background_error"].max("channel"),
            )
        )
    joined: xr.DataArray = xr.concat(rows, dim=xr.Variable("room", names), join="exact")
    joined = joined.transpose("room", "passby", "frequency")
    if "train_type" in level.coords:
        joined = joined.assign_coords(train_type=level["train_type"])
    joined = joined.assign_coords({DURATION: ("passby", measured.lasts(statistic), {"units": "s"})})
    fewest = min(list(rooms.values()).count(room) for room in names)
    joined.attrs = level.attrs | {"time_weighting": weighting, POSITIONS: fewest}
    joined = joined.drop_vars([c for c in joined.coords if c not in _KEPT])
    return labelled(joined, provenance=provenance, state=state)
