"""One column or track of a recording file: what it measured, in which unit, and how it is scaled.

Units are given, never guessed; a unit that a file states itself is compared with them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from groundborne._arguments import checked
from groundborne._checks import RecordingError, known, positive

STANDARD_GRAVITY = 9.80665
"""Exact by definition [m/s²]."""

UNITS: dict[str, tuple[str, float]] = {
    "m/s²": ("acceleration", 1.0),
    "mm/s²": ("acceleration", 1e-3),
    "µm/s²": ("acceleration", 1e-6),
    "g": ("acceleration", STANDARD_GRAVITY),
    "mg": ("acceleration", STANDARD_GRAVITY * 1e-3),
    "µg": ("acceleration", STANDARD_GRAVITY * 1e-6),
    "m/s": ("velocity", 1.0),
    "mm/s": ("velocity", 1e-3),
    "µm/s": ("velocity", 1e-6),
    "nm/s": ("velocity", 1e-9),
    "in/s": ("velocity", 0.0254),
    "m": ("displacement", 1.0),
    "mm": ("displacement", 1e-3),
    "µm": ("displacement", 1e-6),
    "Pa": ("sound pressure", 1.0),
    "N": ("force", 1.0),
    "kN": ("force", 1e3),
}
"""Accepted units with their quantity and their value in the SI unit of that quantity."""

SI_UNITS = {
    "acceleration": "m/s²",
    "velocity": "m/s",
    "displacement": "m",
    "sound pressure": "Pa",
    "force": "N",
}
"""Unit of the record by quantity."""


def unit_name(text: str) -> str:
    """Canonical spelling of a unit; one that is not known comes back as it was, stripped.

    Parameters
    ----------
    text : str
        As files write it: ``m/s2``, ``m/s^2``, ``[mm/s]``, ``(um/s)``.

    Returns
    -------
    str
        For example ``m/s²``.

    Examples
    --------
    >>> unit_name("[um/s^2]"), unit_name("degrees")
    ('µm/s²', 'degrees')
    """
    plain = text.strip().strip("[]()").strip().replace("\u03bc", "µ").replace(" ", "")
    plain = re.sub(r"(\^|\*\*)?2$|\^\{2\}$", "²", plain)
    plain = re.sub(r"^(.?m)/s/s$", r"\1/s²", plain)
    plain = re.sub(r"^u(?=(m/s²?|g|m)$)", "µ", plain)
    return plain if plain in UNITS else text.strip().strip("[]()").strip()


@checked
@dataclass(frozen=True, kw_only=True)
class Channel:
    """What a column or track of a file holds.

    Parameters
    ----------
    name : str
        Name in the recording, for example ``x``.
    unit : str
        Unit of the file's numbers, or of ``full_scale`` or ``sensitivity``: one of ``UNITS``.
    quantity : str
        ``acceleration``, ``velocity``, ``sound pressure``, ``displacement`` or ``force``; it must
        agree with the unit.
    axis : str
        Direction, for example ``z``.
    position : str
        Where the sensor stood.
    full_scale : float, optional
        For audio files: value [unit] that stands at full scale.
    sensitivity : float, optional
        For files of counts: counts per unit.

    Raises
    ------
    RecordingError
        An unknown unit or quantity, or a unit of another quantity.
    ValueError
        A full scale or sensitivity that is not above 0.

    Examples
    --------
    >>> Channel(name="z", unit="mm/s", quantity="velocity", axis="z").factor
    0.001
    """

    name: str
    unit: str
    quantity: str
    axis: str = ""
    position: str = ""
    full_scale: float | None = None
    sensitivity: float | None = None

    def __post_init__(self) -> None:
        where = f"Channel {self.name!r}"
        for given in ("name", "unit"):
            text: Any = getattr(self, given)
            if not isinstance(text, str) or not text:
                raise RecordingError(f"{where}: {given} is {text!r}; a text is needed")
        known(where, "unit", unit_name(self.unit), UNITS, RecordingError)
        known(where, "quantity", self.quantity, SI_UNITS, RecordingError)
        found = UNITS[unit_name(self.unit)][0]
        if found != self.quantity:
            raise RecordingError(
                f"{where}: the unit {self.unit!r} is one of {found}, the quantity is "
                f"{self.quantity!r}"
            )
        for name in ("full_scale", "sensitivity"):
            value = getattr(self, name)
            if value is not None:
                positive(where, name, value, self.unit)

    @property
    def factor(self) -> float:
        """Value of the unit in the SI unit of the quantity."""
        return UNITS[unit_name(self.unit)][1]

    def require_unit(self, file: str, place: str, stated: str) -> None:
        """Refuse a unit that the file states and that is not this one.

        Parameters
        ----------
        file, place : str
            For the message.
        stated : str
            As the file has it.
        """
        if unit_name(stated) != unit_name(self.unit):
            raise RecordingError(
                f"{file}, {place}: the file says {stated.strip()!r}, the channel {self.name!r} is "
                f"given in {self.unit!r}"
            )


def require_channels(file: str, channels: Iterable[Channel]) -> str:
    """Quantity of channels that share one and have names of their own.

    Raises
    ------
    RecordingError
        No channel, a name given twice, or several quantities.

    Examples
    --------
    >>> require_channels("a.csv", [Channel(name="z", unit="g", quantity="acceleration")])
    'acceleration'
    """
    listed = list(channels)
    if not listed or not all(isinstance(channel, Channel) for channel in listed):
        raise RecordingError(f"{file}: channels holds {listed!r}; Channel objects are needed")
    names = [channel.name for channel in listed]
    for name in names:
        if names.count(name) > 1:
            raise RecordingError(f"{file}: the channel name {name!r} is given twice")
    quantities = sorted({channel.quantity for channel in listed})
    if len(quantities) > 1:
        raise RecordingError(
            f"{file}: the channels hold {' and '.join(quantities)}; read one quantity at a time"
        )
    return quantities[0]
