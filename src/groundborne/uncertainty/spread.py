"""What one source of error adds to the uncertainty of levels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

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
    measured, measured_in_sound : mapping of str to float
        What measurements take its place, in words, and the standard deviation that is left of it
        after each [dB], 0 where another error holds what is left; the second are of sound alone and
        tell nothing of floors.
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
    measured: Mapping[str, float] = field(default_factory=dict)
    measured_in_sound: Mapping[str, float] = field(default_factory=dict)
    citations: tuple[Citation, ...] = ()
    path: bool = True

    def __post_init__(self) -> None:
        where = f"Spread {self.name!r}"
        not_negative(where, "of_sound", self.of_sound, "dB")
        not_negative(where, "of_floor", self.of_floor, "dB")
        for name, left in (*self.measured.items(), *self.measured_in_sound.items()):
            not_negative(where, f"what {name!r} leaves", left, "dB")
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
        both = (*self.measured.items(), *self.measured_in_sound.items())
        then = "; ".join(f"{name}: then {left:g} dB" for name, left in both) or "none"
        return {
            "name": self.name,
            "sound": _size(self.of(QUANTITIES[0])),
            "floor": _size(self.of(QUANTITIES[1])),
            "together": together,
            "measured": then,
            "sources": "; ".join(dict.fromkeys(c.text for c in self.citations)),
        }

    def after(self, measurement: str) -> Spread:
        """What is left of it after a measurement.

        Parameters
        ----------
        measurement : str
            In words, as :attr:`measured` has it; of another one nothing changes.

        Examples
        --------
        >>> spread = Spread(name="trains", of_sound=4.0, measured={"more trains": 1.5})
        >>> float(spread.after("more trains").of_sound)
        1.5
        """
        in_sound = {**self.measured, **self.measured_in_sound}
        return replace(
            self,
            of_sound=_no_more(self.of_sound, in_sound.get(measurement)),
            of_floor=_no_more(self.of_floor, self.measured.get(measurement)),
        )

    @property
    def empty(self) -> bool:
        """Whether it adds nothing anywhere."""
        return not any(bool(np.any(self.of(q).values > 0)) for q in QUANTITIES)


_WHOLE = 2.0  # dB, from which a spread stands in whole decibels


def _size(size: xr.DataArray) -> str:
    """Least and largest of what adds something [dB], in words."""
    some = size.values[size.values > 0]
    if not some.size:
        return "none"
    low, high = (f"{v:.{0 if v >= _WHOLE else 1}f}" for v in (some.min(), some.max()))
    return f"{low} dB" if low == high else f"{low} to {high} dB"


def _no_more(size: xr.DataArray | float, left: float | None) -> xr.DataArray | float:
    return size if left is None else xr.DataArray(size).clip(min=-left, max=left)
