"""Up the building: level change from the foundation to the columns at a floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, PathError, finite, not_negative, within
from groundborne.citation import Citation
from groundborne.levels import stamp_change
from groundborne.path import COLUMN, FOUNDATION, FREE_FOUNDATION, End, PathElement, Unchanged

FTA_STOREYS = Citation(
    key="fta2006-storeys",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="Table 10-1, floor-to-floor attenuation",
    mark="seen",
    status="transcribed",
)
EDIN_EVERY_STOREY = Citation(
    key="edin45672-3-every-storey",
    author="E DIN 45672-3",
    year="2023",
    locator="ground-to-floor tables hold for every storey: no loss up the building",
    mark="seen second-hand",
    status="transcribed",
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class StoreyAttenuation:
    """A fixed loss for every storey above the foundation, the same in all bands.

    A fixed loss is a choice, not a law: levels have been found alike from the first floor up, and
    greatest at a quarter to a third of the height.

    Parameters
    ----------
    per_storey : float or DataArray
        Loss per storey [dB], 0 or more.
    storeys : float or DataArray
        Number of storeys above the foundation or ground [-], 0 or more.
    citations : tuple of Citation
        Where the loss comes from.

    Raises
    ------
    ValueError
        A negative loss or number.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> StoreyAttenuation(per_storey=1.5, storeys=4).level_change(third_octaves(63, 63)).item()
    -6.0
    """

    per_storey: Numeric
    storeys: Numeric
    citations: tuple[Citation, ...] = ()

    def __post_init__(self) -> None:
        not_negative("StoreyAttenuation", "per_storey", self.per_storey, "dB")
        not_negative("StoreyAttenuation", "storeys", self.storeys, "")

    @property
    def quantity_in(self) -> End:
        """Velocity of the foundation."""
        return FOUNDATION

    @property
    def quantity_out(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """``-per_storey · storeys`` [dB]."""
        change = xr.zeros_like(frequency, dtype=float) - self.per_storey * self.storeys
        return stamp_change(change, long_name="storeys", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere: the range is the user's."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FtaStoreyAttenuation:
    """2 dB per floor up to the fifth above grade, then 1 dB per floor up to the tenth.

    Parameters
    ----------
    storeys : float or DataArray
        Floors above grade [-], 0 to 10; the source says nothing of higher ones, and they are
        refused.

    Raises
    ------
    ValueError
        A floor below grade or above the tenth.

    References
    ----------
    US FTA 2006, Table 10-1 [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> FtaStoreyAttenuation(storeys=7).level_change(third_octaves(63, 63)).item()
    -12.0
    """

    storeys: Numeric

    def __post_init__(self) -> None:
        finite("FtaStoreyAttenuation", "storeys", self.storeys)
        within("FtaStoreyAttenuation", "storeys", self.storeys, 0, 10, "floors above grade")

    @property
    def quantity_in(self) -> End:
        """Velocity of the foundation."""
        return FOUNDATION

    @property
    def quantity_out(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the rule."""
        return (FTA_STOREYS,)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """``-2`` dB for each of the first five floors and ``-1`` for each of the next five."""
        lower = np.minimum(self.storeys, 5.0)
        upper = np.maximum(self.storeys - 5.0, 0.0)
        change = xr.zeros_like(frequency, dtype=float) - 2.0 * lower - upper
        return stamp_change(change, long_name="storeys", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere: other floors are refused on construction."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, eq=False)
class StoreyStep:
    """From the columns at one floor to the columns at another, by the same rule for both.

    Parameters
    ----------
    here, there : PathElement
        Level change from the foundation to the first and to the second floor.

    Raises
    ------
    PathError
        One of them does not turn the velocity of the foundation, loaded or free, into that of the
        columns, or they start differently.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> step = StoreyStep(FtaStoreyAttenuation(storeys=1), FtaStoreyAttenuation(storeys=2))
    >>> step.level_change(third_octaves(63, 63)).item()
    -2.0
    """

    here: PathElement
    there: PathElement

    def __post_init__(self) -> None:
        for element in (self.here, self.there):
            starts = element.quantity_in in (FOUNDATION, FREE_FOUNDATION)
            if not starts or element.quantity_out != COLUMN:
                raise PathError(
                    f"StoreyStep: {type(element).__name__} turns {element.quantity_in} into "
                    f"{element.quantity_out}; it must turn {FOUNDATION} into {COLUMN}"
                )
        if self.here.quantity_in != self.there.quantity_in:
            raise PathError(
                f"StoreyStep: one starts from the {self.here.quantity_in}, the other from the "
                f"{self.there.quantity_in}; both must start from the same"
            )

    @property
    def quantity_in(self) -> End:
        """Velocity of the columns at the first floor."""
        return COLUMN

    @property
    def quantity_out(self) -> End:
        """Velocity of the columns at the second floor."""
        return COLUMN

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of both."""
        return tuple(dict.fromkeys((*self.here.citations, *self.there.citations)))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Second less first [dB]."""
        change = self.there.level_change(frequency) - self.here.level_change(frequency)
        return stamp_change(change, long_name="storeys", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True where both are."""
        return self.here.valid(frequency) & self.there.valid(frequency)


@checked
def no_storey_attenuation() -> Unchanged:
    """Return the step without loss: every storey alike.

    References
    ----------
    E DIN 45672-3:2023, whose tables hold for every storey [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> no_storey_attenuation().level_change(third_octaves(63, 63)).item()
    0.0
    """
    return Unchanged(FOUNDATION, COLUMN, citations=(EDIN_EVERY_STOREY,))
