"""What one source of error adds to the uncertainty of levels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, not_negative, within
from groundborne.citation import Citation
from groundborne.uncertainty.correlation import BANDS_CORRELATED

PLACES = ("", "part_of_room", "floor_of_room", "room")
"""Of what an error is a property: the building, its parts, its floors, its rooms."""

QUANTITIES = ("sound pressure", "velocity")


@checked(infinite=("bands_correlated",))
@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """Errors of one kind, normal in decibels, with their standard deviation by band.

    Parameters
    ----------
    name : str
        In words, as budgets and figures show it.
    of_sound, of_floor : DataArray or float
        Standard deviation [dB] of the level in the room, and of the floor at mid-span; on any of
        ``option``, ``room`` and ``frequency``, 0 where it adds nothing.
    place : str
        One of ``PLACES``: where the error is drawn anew. All options share it.
    shared : float
        Share of its variance that all places have in common, 0 to 1.
    bands_correlated : float
        As for :func:`~groundborne.uncertainty.band_correlation`.
    measurement : str
        What measurement takes its place, in words; empty where none does.
    measured_to : float
        Standard deviation that is left of it after that [dB].
    citations : tuple of Citation
        Where it is from.
    path : bool
        Whether it is of the path from the source on, and not of the trains.

    Raises
    ------
    ValueError
        A negative standard deviation, a share beyond 0 to 1, an unknown place.

    Examples
    --------
    >>> source = Spread(name="trains", of_sound=1.5, of_floor=1.5)
    >>> source.place, source.shared
    ('', 1.0)
    """

    name: str
    of_sound: xr.DataArray | float = 0.0
    of_floor: xr.DataArray | float = 0.0
    place: str = ""
    shared: float = 1.0
    bands_correlated: float = BANDS_CORRELATED
    measurement: str = ""
    measured_to: float = 0.0
    citations: tuple[Citation, ...] = ()
    path: bool = True

    def __post_init__(self) -> None:
        where = f"Spread {self.name!r}"
        not_negative(where, "of_sound", self.of_sound, "dB")
        not_negative(where, "of_floor", self.of_floor, "dB")
        not_negative(where, "measured_to", self.measured_to, "dB")
        within(where, "shared", self.shared, 0.0, 1.0, "")
        known(where, "place", self.place, PLACES)
        if not self.bands_correlated > 0:
            raise ValueError(f"{where}: bands_correlated is {self.bands_correlated:g}; above 0 is")

    def of(self, quantity: str) -> xr.DataArray:
        """Standard deviation of a quantity [dB].

        Parameters
        ----------
        quantity : str
            ``sound pressure`` or ``velocity``.
        """
        known(f"Spread {self.name!r}", "quantity", quantity, QUANTITIES)
        found = self.of_sound if quantity == QUANTITIES[0] else self.of_floor
        return xr.DataArray(found)

    def in_words(self) -> dict[str, str]:
        """What it is, for a table: name, sizes, what errs together, what would replace it, sources.

        Examples
        --------
        >>> Spread(name="trains", of_sound=1.5).in_words()["sound"]
        '1.5 dB'
        """
        together = {
            "": "all rooms",
            "part_of_room": "rooms of a part of the building",
            "floor_of_room": "rooms on a floor",
            "room": "each room by itself",
        }[self.place]
        if self.place and 0 < self.shared < 1:
            together += f"; {100 * self.shared:.0f} % of the variance with all rooms"
        then = f"{self.measurement}: then {self.measured_to:g} dB" if self.measurement else "none"
        return {
            "name": self.name,
            "sound": _size(self.of(QUANTITIES[0])),
            "floor": _size(self.of(QUANTITIES[1])),
            "together": together,
            "measured": then,
            "sources": "; ".join(dict.fromkeys(c.text for c in self.citations)),
        }

    @property
    def empty(self) -> bool:
        """Whether it adds nothing anywhere."""
        return not any(bool(np.any(self.of(q).values > 0)) for q in QUANTITIES)


def _size(size: xr.DataArray) -> str:
    """Least and largest of what adds something [dB], in words."""
    some = size.values[size.values > 0]
    if not some.size:
        return "none"
    low, high = (f"{v:.1f}" for v in (some.min(), some.max()))
    return f"{low} dB" if low == high else f"{low} to {high} dB"
