"""Recordings in universal files (set 58, text or binary), read with pyuff of the extra ``io``."""

from __future__ import annotations

import contextlib
import io
import warnings
from collections.abc import Mapping
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import RecordingError
from groundborne.files import require_plain
from groundborne.records.channel import Channel, unit_name
from groundborne.records.checks.faults import inspected
from groundborne.records.readers.clock import snapped
from groundborne.records.recording import Recording, assemble

_TIME_RESPONSE = 1
_DATA_TYPES = {
    8: "displacement",
    11: "velocity",
    12: "acceleration",
    13: "force",
    15: "sound pressure",
}
_INCREMENT_SHARE = 2e-6
"""An increment kept in single precision is off by less than this share."""


@checked
def read_uff(
    path: str | FilePath,
    *,
    channels: Mapping[int, Channel],
    start: np.datetime64 | None = None,
) -> Recording:
    """Read time records from a universal file.

    Parameters
    ----------
    path : str or Path
        File with sets 58 or 58b.
    channels : mapping of int to Channel
        By place among the sets of the file, from 0; what is not named is left out. The unit is that
        of the numbers in the file, and must agree with what the set says of itself.
    start : numpy.datetime64, optional
        First sample in UTC.

    Returns
    -------
    Recording
        SI units. The rate is a whole number of hertz where the increment leaves that open, which is
        noted.

    Raises
    ------
    ImportError
        The package pyuff is not installed.
    RecordingError
        The file is missing or damaged, a set is not an evenly spaced time record or of another
        quantity or unit, or rates or lengths differ.

    Warns
    -----
    RecordingWarning
        Clipping, standstills, or a doubtful sensitivity.

    Examples
    --------
    >>> z = Channel(name="z", unit="m/s²", quantity="acceleration")
    >>> read_uff("none.uff", channels={0: z})
    Traceback (most recent call last):
    ...
    groundborne._checks.RecordingError: none.uff: there is no such file
    """
    file = require_plain(path, error=RecordingError, wanted="a universal file")
    if not channels:
        raise RecordingError(f"{file.name}: channels is empty; name at least one set")
    sets = _sets(file, list(channels))
    rows, rates = [], []
    for (place, channel), read in zip(channels.items(), sets, strict=True):
        where = f"{file.name}, set {place}"
        _require_labels(where, channel, read)
        values = np.asarray(read.get("data", ()))
        if values.ndim != 1 or values.dtype.kind not in "iuf" or values.size < 2:
            raise RecordingError(f"{where}: the data are not a run of real numbers")
        increment = float(read.get("abscissa_inc", 0.0) or 0.0)
        if int(read.get("abscissa_spacing", 0)) != 1 or not 1e-9 < increment < 1e9:
            raise RecordingError(
                f"{where}: the samples are not evenly spaced (increment {increment:g} s)"
            )
        rows.append(values.astype(float) * channel.factor)
        rates.append(1 / increment)
    if len({row.size for row in rows}) > 1 or max(rates) > min(rates) * (1 + _INCREMENT_SHARE):
        listed = ", ".join(
            f"{row.size} at {sample_rate:.7g} Hz"
            for row, sample_rate in zip(rows, rates, strict=True)
        )
        raise RecordingError(f"{file.name}: the sets differ in length or rate: {listed}")
    sample_rate = snapped(rates[0], _INCREMENT_SHARE)
    notes: tuple[str, ...] = ()
    if sample_rate != rates[0]:
        notes = (
            f"{file.name}: the increment gives {rates[0]:.9g} Hz; taken as {sample_rate:g} Hz",
        )
    recording = assemble(
        np.stack(rows),
        list(channels.values()),
        sample_rate=sample_rate,
        file=file.name,
        start=start,
        notes=notes,
    )
    return inspected(recording)


def _sets(file: FilePath, places: list[Any]) -> list[dict[str, Any]]:
    try:
        import pyuff
    except ImportError:
        raise ImportError("universal files need pyuff: pip install groundborne[io]") from None
    try:
        # The package prints and warns about damaged files where an error is wanted.
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            opened = pyuff.UFF(str(file))
            types = [int(kind) for kind in np.atleast_1d(opened.get_set_types())]
            for place in places:
                if not 0 <= place < len(types):
                    raise RecordingError(
                        f"{file.name}: set {place!r} is asked for; there are {len(types)}"
                    )
                if types[place] != 58:
                    raise RecordingError(
                        f"{file.name}, set {place}: of type {types[place]}; 58 is needed"
                    )
            return [opened.read_sets(place) for place in places]
    except RecordingError:
        raise
    except Exception as error:  # damaged files raise whatever the package stumbles over
        why = " ".join(str(error).split())[:200] or type(error).__name__
        raise RecordingError(f"{file.name}: cannot be read as a universal file ({why})") from None


def _require_labels(where: str, channel: Channel, read: dict[str, Any]) -> None:
    if channel.full_scale is not None or channel.sensitivity is not None:
        raise RecordingError(f"{where}: the file holds units; drop full_scale and sensitivity")
    if int(read.get("func_type", 0)) != _TIME_RESPONSE:
        raise RecordingError(
            f"{where}: function type {read.get('func_type')}; a time record has type 1"
        )
    stated = _DATA_TYPES.get(int(read.get("ordinate_spec_data_type", 0)))
    if stated is not None and stated != channel.quantity:
        raise RecordingError(
            f"{where}: the file says {stated}, the channel {channel.name!r} is given as "
            f"{channel.quantity}"
        )
    label = str(read.get("ordinate_axis_units_lab", "") or "").strip()
    if label and label.upper() != "NONE" and unit_name(label) != unit_name(channel.unit):
        channel.require_unit(where, "ordinate", label)
