"""Rooms: their size and reverberation."""

from __future__ import annotations

from dataclasses import dataclass

from groundborne._arguments import checked
from groundborne._checks import Numeric, positive


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """A box-shaped room, or many at once on the dimension ``room``.

    Parameters
    ----------
    length, width, height : float or DataArray
        Inner size [m], above 0.
    reverberation_time : float or DataArray
        T [s], above 0; may carry ``frequency`` (nominal bands).
    volume : float or DataArray, optional
        Volume [m³] where it is not length times width times height.

    Raises
    ------
    ValueError
        A size, volume or time that is not above 0.

    Examples
    --------
    >>> room = Room(length=5.0, width=4.0, height=2.5, reverberation_time=0.5)
    >>> room.floor_area, round(room.absorption_area, 1)
    (20.0, 16.1)
    """

    length: Numeric
    width: Numeric
    height: Numeric
    reverberation_time: Numeric
    volume: Numeric | None = None

    def __post_init__(self) -> None:
        for name in ("length", "width", "height"):
            positive("Room", name, getattr(self, name), "m")
        positive("Room", "reverberation_time", self.reverberation_time, "s")
        if self.volume is not None:
            positive("Room", "volume", self.volume, "m³")

    @property
    def floor_area(self) -> Numeric:
        """Length times width [m²]."""
        return self.length * self.width

    @property
    def absorption_area(self) -> Numeric:
        """Equivalent absorption area, ``0.161 V/T`` [m²]."""
        volume = self.floor_area * self.height if self.volume is None else self.volume
        return 0.161 * volume / self.reverberation_time
