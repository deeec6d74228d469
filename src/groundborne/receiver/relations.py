"""Fixed-offset relations between velocity and room sound, each with the velocity it wants."""

from __future__ import annotations

from dataclasses import dataclass

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, known
from groundborne.citation import Citation
from groundborne.levels import stamp_change
from groundborne.path import FLOOR_AVERAGE, MID_SPAN, ROOM, SURFACES, End, valid_between

FTA_RERADIATION = Citation(
    key="fta2006-reradiation",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="sections 7.2.1, 10.2 and 11.2: sound level equals velocity level re 1 µin/s per band",
    mark="seen",
    status="transcribed",
)
MINUS_27 = Citation(
    key="uk-minus-27",
    author="British practice",
    title="Lp = Lv − 27 dB re 1 nm/s",
    mark="from memory",
    status="transcribed",
)
KURZWEIL = Citation(
    key="kurzweil1979",
    author="Kurzweil",
    year="1979",
    title="J. Sound Vib. 66(3)",
    locator="Lp = La − 20 lg f + 37, La re 1 µg",
    mark="from memory",
    status="transcribed",
)
PLUS_7 = Citation(
    key="plus-7-re-5e-8",
    author="European project practice",
    title="Lp = Lv + 7 dB re 50 nm/s",
    mark="from memory",
    status="transcribed",
)
HJ_453 = Citation(
    key="hj453-2018",
    author="HJ 453",
    year="2018",
    title="Lp = Lv − 22 dB, mid-span, 16 to 200 Hz",
    mark="from memory",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FixedOffset:
    """Sound pressure level as velocity level plus one number, for furnished domestic rooms.

    Parameters
    ----------
    offset : float or DataArray
        Sound pressure level re 20 µPa minus velocity level re 1 nm/s [dB].
    velocity : End
        The velocity the relation wants.
    low, high : float
        Bands the source covers [Hz].
    citations : tuple of Citation
        Where the number comes from.

    Notes
    -----
    A large hall or a small dead studio has another ratio of radiating to absorbing area and needs
    :class:`~groundborne.receiver.RoomSound`.
    """

    offset: Numeric
    velocity: End
    low: float = 16.0
    high: float = 250.0
    citations: tuple[Citation, ...] = ()

    def __post_init__(self) -> None:
        finite("FixedOffset", "offset", self.offset)

    @property
    def quantity_in(self) -> End:
        """The velocity the relation wants."""
        return self.velocity

    @property
    def quantity_out(self) -> End:
        """Room-average sound pressure."""
        return ROOM

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The offset in every band [dB]."""
        change: xr.DataArray = xr.zeros_like(frequency, dtype=float) + self.offset
        return stamp_change(change, long_name="re-radiation", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True inside the bands of the source."""
        return valid_between(frequency, self.low, self.high)


RELATIONS: dict[str, FixedOffset] = {
    "FTA 2006": FixedOffset(offset=-28.0967, velocity=SURFACES, citations=(FTA_RERADIATION,)),
    "minus 27": FixedOffset(offset=-27.0, velocity=FLOOR_AVERAGE, citations=(MINUS_27,)),
    "Kurzweil 1979": FixedOffset(offset=-26.87, velocity=FLOOR_AVERAGE, citations=(KURZWEIL,)),
    "plus 7 re 50 nm/s": FixedOffset(offset=-26.98, velocity=FLOOR_AVERAGE, citations=(PLUS_7,)),
    "HJ 453-2018": FixedOffset(offset=-22.0, velocity=MID_SPAN, high=200.0, citations=(HJ_453,)),
}
"""The relations of the literature by name. Four of the five are one number within 1.3 dB."""


@checked
def relation(name: str) -> FixedOffset:
    """Look a relation up by name.

    Parameters
    ----------
    name : str
        One of ``RELATIONS``.

    Returns
    -------
    FixedOffset
        With the velocity it wants and the bands it covers.

    Raises
    ------
    ValueError
        An unknown name; the known ones are listed.

    Examples
    --------
    >>> str(relation("HJ 453-2018").quantity_in)
    'velocity of the floor at mid-span'
    """
    return RELATIONS[known("relation", "name", name, RELATIONS)]
