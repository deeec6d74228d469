"""From columns to slab: amplification of floors in and around their resonance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import BandError, Numeric, finite, known, positive
from groundborne.bands import edges, exact, label
from groundborne.citation import Citation
from groundborne.levels import stamp_change
from groundborne.path import COLUMN, FLOOR_AVERAGE, GROUND, MID_SPAN, End, GivenChange
from groundborne.propagation._edin_floors import (
    GROUND_TO_FLOOR,
    GROUND_TO_FLOOR_BANDS,
    GROUND_TO_FLOOR_RESONANCES,
    RATIO_GAIN,
    RATIOS,
)

ANC_2001 = Citation(
    key="anc2001-floors",
    author="Association of Noise Consultants",
    year="2001",
    title="Measurement and Assessment of Groundborne Noise and Vibration",
    locator="building amplification, as transcribed in public code",
    mark="seen second-hand",
    status="transcribed",
)
FTA_FLOORS = Citation(
    key="fta2006-floors",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="Table 10-1 and section 11.2, resonance of floors, walls and ceilings",
    mark="seen",
    status="transcribed",
)
EDIN_45672_3_RATIO = Citation(
    key="edin45672-3-ratio",
    author="E DIN 45672-3",
    year="2023",
    locator="Tables A.5 and A.6, foundation to floor by frequency ratio",
    mark="seen second-hand",
    status="transcribed",
)
EDIN_45672_3_GROUND_FLOOR = Citation(
    key="edin45672-3-ground-floor",
    author="E DIN 45672-3",
    year="2023",
    locator="Tables A.1 and A.2, ground to floor by floor resonance",
    mark="seen second-hand",
    status="transcribed",
)

_ANC_VIBRATION = {
    5.0: 10, 6.3: 10, 8.0: 10, 10.0: 10, 12.5: 10, 16.0: 10, 20.0: 10, 25.0: 11, 31.5: 11,
    40.0: 11, 50.0: 10, 63.0: 9, 80.0: 9,
}  # fmt: skip
_ANC_NOISE = {
    20.0: 6, 25.0: 7, 31.5: 7, 40.0: 7, 50.0: 6, 63.0: 6, 80.0: 5, 100.0: 5, 125.0: 4, 160.0: 3,
    200.0: 2, 250.0: 1, 315.0: 1,
}  # fmt: skip


def _given(table: dict[float, int], out: End) -> GivenChange:
    gain = xr.DataArray([float(g) for g in table.values()], coords={"frequency": list(table)})
    return GivenChange(gain, quantity_in=COLUMN, quantity_out=out, citations=(ANC_2001,))


@checked
def anc_floor_vibration() -> GivenChange:
    """Mid-span floor vibration over the structure below, 5 to 80 Hz.

    References
    ----------
    Association of Noise Consultants 2001, as transcribed [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> anc_floor_vibration().level_change(third_octaves(63, 63)).item()
    9.0
    """
    return _given(_ANC_VIBRATION, MID_SPAN)


@checked
def anc_floor_for_noise() -> GivenChange:
    """Floor amplification for ground-borne noise, 20 to 315 Hz.

    The source gives it for noise without naming the point of the floor; it lies near a surface
    average and is taken as one (our reading).

    References
    ----------
    Association of Noise Consultants 2001, as transcribed [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> anc_floor_for_noise().level_change(third_octaves(63, 63)).item()
    6.0
    """
    return _given(_ANC_NOISE, FLOOR_AVERAGE)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FixedAmplification:
    """One amplification in all bands, such as the 6 dB of the American manual.

    Parameters
    ----------
    gain : float or DataArray
        Amplification [dB]; 6 dB by the source.

    References
    ----------
    US FTA 2006, Table 10-1 (single value) and section 11.2 (band of the fundamental) [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> FixedAmplification().level_change(third_octaves(16, 16)).item()
    6.0
    """

    gain: Numeric = 6.0

    def __post_init__(self) -> None:
        finite("FixedAmplification", "gain", self.gain)

    @property
    def quantity_in(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    @property
    def quantity_out(self) -> End:
        """Velocity of the floor, surface average."""
        return FLOOR_AVERAGE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the value."""
        return (FTA_FLOORS,)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The gain in every band [dB]."""
        change: xr.DataArray = xr.zeros_like(frequency, dtype=float) + self.gain
        return stamp_change(change, long_name="floor amplification", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FundamentalAmplification:
    """Amplification in the one band that holds the floor's natural frequency.

    Parameters
    ----------
    natural_frequency : float or DataArray
        First natural frequency of the floor [Hz]; an array gives every floor, or every frequency a
        floor may have, its own.
    gain : float or DataArray
        Amplification in that band [dB]; about 6 dB by the source, 0 dB in all other bands. It is
        a mean over floors: a lightly damped slab at mid-span may amplify by 20 dB and more.

    Raises
    ------
    ValueError
        A natural frequency that is not above 0.

    References
    ----------
    US FTA 2006, section 11.2: about 6 dB in the band of the fundamental; timber floors 15-20 Hz,
    reinforced concrete 20-30 Hz [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> floor = FundamentalAmplification(natural_frequency=12.0)
    >>> floor.level_change(third_octaves(10, 16)).values.tolist()
    [0.0, 6.0, 0.0]
    """

    natural_frequency: Numeric
    gain: Numeric = 6.0

    def __post_init__(self) -> None:
        where = "FundamentalAmplification"
        positive(where, "natural_frequency", self.natural_frequency, "Hz")
        finite(where, "gain", self.gain)

    @property
    def quantity_in(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    @property
    def quantity_out(self) -> End:
        """Velocity of the floor, surface average."""
        return FLOOR_AVERAGE

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the value."""
        return (FTA_FLOORS,)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """The gain in the band of the natural frequency [dB]."""
        low, high = edges(frequency)
        inside = (low <= self.natural_frequency) & (high > self.natural_frequency)
        change = xr.where(inside, self.gain, 0.0)
        return stamp_change(change, long_name="floor amplification", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class FloorResonance:
    """Amplification at mid-span by the ratio of frequency to the floor's natural frequency.

    Give one natural frequency, or an array with one entry for every frequency the floor may have:
    each is evaluated by itself. An envelope over them over-states the level by far and is not
    offered.

    Parameters
    ----------
    natural_frequency : float or DataArray
        First natural frequency of the floor [Hz].
    construction : str
        ``concrete`` or ``timber``.
    curve : str
        ``mean``, ``lower`` or ``upper``. Some timber cells of the lower and upper curves are empty
        in the source.

    Raises
    ------
    BandError
        A band whose frequency ratio lies outside the table; nothing is extrapolated.

    Notes
    -----
    dB values are interpolated linearly over the logarithm of the ratio, at exact band centres.

    References
    ----------
    E DIN 45672-3:2023, Tables A.5 and A.6 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> floor = FloorResonance(natural_frequency=12.589254, construction="concrete")
    >>> floor.level_change(third_octaves(12.5, 12.5)).round(2).item()
    17.26
    """

    natural_frequency: Numeric
    construction: str
    curve: str = "mean"

    def __post_init__(self) -> None:
        positive("FloorResonance", "natural_frequency", self.natural_frequency, "Hz")
        known("FloorResonance", "construction", self.construction, RATIO_GAIN)
        known("FloorResonance", "curve", self.curve, RATIO_GAIN[self.construction])

    @property
    def quantity_in(self) -> End:
        """Velocity of the columns at the floor."""
        return COLUMN

    @property
    def quantity_out(self) -> End:
        """Velocity of the floor at mid-span."""
        return MID_SPAN

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the table."""
        return (EDIN_45672_3_RATIO,)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Amplification interpolated at ``f/fn`` [dB]."""
        column = np.array(RATIO_GAIN[self.construction][self.curve])
        there = np.isfinite(column)
        ratios, gain = np.array(RATIOS)[there], column[there]
        ratio = exact(frequency) / self.natural_frequency
        outside = (ratio < ratios[0] * (1 - 1e-9)) | (ratio > ratios[-1] * (1 + 1e-9))
        if bool(outside.any()):
            others = [d for d in outside.dims if d != "frequency"]
            band = frequency.values[np.asarray(outside.any(others).values)][0]
            raise BandError(
                f"FloorResonance: the {label(band)} Hz band lies outside the table, which holds "
                f"frequency ratios {ratios[0]:g} to {ratios[-1]:g} of the floor's natural "
                "frequency; cut the bands, or use a table by band"
            )
        change = ratio.copy(data=np.interp(np.log10(ratio.values), np.log10(ratios), gain))
        return stamp_change(change, long_name="floor resonance", citations=self.citations)

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere: bands outside the table are refused."""
        return xr.ones_like(frequency, dtype=bool)


@checked
def edin_ground_to_floor(natural_frequency: Numeric, construction: str) -> GivenChange:
    """Ground to mid-span of a floor on any storey, 4 to 250 Hz, in one step.

    It holds coupling, building and floor together: use no other element beside it.

    Parameters
    ----------
    natural_frequency : float or DataArray
        Floor resonance as a nominal label, 8 to 80 Hz; one column of the table for each entry.
    construction : str
        ``concrete`` or ``timber``.

    Returns
    -------
    GivenChange
        From the velocity of the ground to that of the floor at mid-span, on the dims of
        `natural_frequency`.

    Raises
    ------
    ValueError
        A resonance that is not a column of the table.

    References
    ----------
    E DIN 45672-3:2023, Tables A.1 and A.2 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> edin_ground_to_floor(12.5, "concrete").level_change(third_octaves(63, 63)).item()
    -3.47
    """
    known("edin_ground_to_floor", "construction", construction, GROUND_TO_FLOOR)
    asked = xr.DataArray(natural_frequency)
    held = asked.isin(GROUND_TO_FLOOR_RESONANCES)
    if not bool(held.all()):
        listed = ", ".join(label(f) for f in GROUND_TO_FLOOR_RESONANCES)
        other = float(asked.values[~held.values].ravel()[0])
        raise ValueError(
            f"edin_ground_to_floor: natural_frequency is {other:g} Hz; the table holds {listed} Hz"
        )
    column = asked.copy(data=np.searchsorted(GROUND_TO_FLOOR_RESONANCES, asked.values))
    table = xr.DataArray(
        np.array(GROUND_TO_FLOOR[construction]),
        dims=("frequency", "resonance"),
        coords={"frequency": list(GROUND_TO_FLOOR_BANDS)},
    )
    return GivenChange(
        table.isel(resonance=column).transpose(..., "frequency"),
        quantity_in=GROUND,
        quantity_out=MID_SPAN,
        citations=(EDIN_45672_3_GROUND_FLOOR,),
    )
