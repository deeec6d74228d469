"""From the free ground into the foundation: published losses by foundation type."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known
from groundborne.citation import Citation
from groundborne.path import FOUNDATION, GROUND, GivenChange, Unchanged

NELSON_1987 = Citation(
    key="nelson1987-coupling",
    author="Nelson (ed.)",
    year="1987",
    title="Transportation Noise Reference Book",
    locator="coupling loss by foundation type; below 16 Hz extrapolated by the transcriber",
    mark="seen second-hand",
    status="transcribed",
)
EDIN_45672_3_FOUNDATION = Citation(
    key="edin45672-3-foundation",
    author="E DIN 45672-3",
    year="2023",
    locator="Tables A.3 and A.4, ground to foundation",
    mark="seen second-hand",
    status="transcribed",
)
FTA_NO_COUPLING = Citation(
    key="fta2006-no-coupling",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="section 11.2 and Table 10-1: no loss for slabs on grade, basement slabs, and on rock",
    mark="seen",
    status="transcribed",
)

_NELSON_BANDS = (
    5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0,
    50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0,
)  # fmt: skip
_NELSON_LOSS = {
    "large masonry on piles":
        (6, 6, 6, 6, 7, 7, 7, 8, 9, 10, 11, 12, 13, 13, 14, 14, 15, 15, 15),
    "large masonry on spread footings":
        (11, 11, 11, 11, 12, 13, 14, 14, 15, 15, 15, 15, 14, 14, 14, 14, 13, 12, 11),
    "2-4 storey masonry on spread footings":
        (5, 6, 6, 7, 9, 11, 11, 12, 13, 13, 13, 13, 13, 12, 12, 11, 10, 9, 8),
    "1-2 storey commercial":
        (4, 5, 5, 6, 7, 8, 8, 9, 9, 9, 9, 9, 9, 8, 8, 8, 7, 6, 5),
    "single house":
        (3, 3, 4, 4, 5, 5, 6, 6, 6, 6, 6, 6, 6, 5, 5, 5, 4, 4, 4),
}  # fmt: skip

_EDIN_BANDS = (
    4.0, 5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0,
)  # fmt: skip
_EDIN_GAIN = {
    "basement": {
        "lower": (-9.1, -8.2, -8.3, -8.7, -8.2, -8.3, -9.5, -12.5, -14.7, -15.6, -14.5, -13.1,
                  -12.4, -11.6),
        "mean": (-4.0, -3.5, -3.6, -4.2, -4.2, -3.8, -4.6, -6.0, -8.2, -9.3, -7.4, -5.1, -4.4,
                 -4.2),
        "upper": (1.0, 1.5, 1.1, 0.3, 0.1, 0.4, 0.3, -0.4, -2.1, -2.7, -0.1, 3.0, 3.4, 3.1),
    },
    "ground level": {
        "lower": (-8.3, -7.0, -7.5, -6.4, -4.6, -4.3, -6.3, -7.0, -9.1, -10.7, -11.3, -10.0,
                  -11.2, -9.8),
        "mean": (-3.2, -3.0, -3.9, -3.0, -2.2, -1.9, -3.1, -4.2, -5.8, -6.4, -5.7, -4.9, -5.3,
                 -4.7),
        "upper": (1.7, 1.1, 0.0, 0.3, -0.5, 0.4, -0.4, -1.4, -1.8, -2.5, -0.7, 0.3, 0.4, 0.8),
    },
}  # fmt: skip

FOUNDATIONS = tuple(_NELSON_LOSS)
"""Foundation types of the handbook table."""


@checked
def published_coupling(foundation: str) -> GivenChange:
    """Coupling loss of a foundation type, 5 to 315 Hz.

    Parameters
    ----------
    foundation : str
        One of ``FOUNDATIONS``.

    Returns
    -------
    GivenChange
        From the velocity of the ground to that of the foundation; the loss is negative.

    Raises
    ------
    ValueError
        An unknown foundation type.

    Notes
    -----
    Bands below 16 Hz were extrapolated by the transcriber. American tables give 10-15 dB for large
    buildings where German means (:func:`edin_foundation`) give 4-9 dB; the two do not share a
    reference point or building stock, so treat the choice as an input with its spread.

    References
    ----------
    Nelson (ed.) 1987 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> published_coupling("single house").level_change(third_octaves(63, 63)).item()
    -6.0
    """
    name = known("published_coupling", "foundation", foundation, _NELSON_LOSS)
    loss = xr.DataArray(
        list(map(float, _NELSON_LOSS[name])), coords={"frequency": list(_NELSON_BANDS)}
    )
    return GivenChange(-loss, quantity_in=GROUND, quantity_out=FOUNDATION, citations=(NELSON_1987,))


@checked
def edin_foundation(place: str, *, curve: str = "mean") -> GivenChange:
    """Ground to foundation by the German draft standard, 4 to 80 Hz.

    Parameters
    ----------
    place : str
        ``basement`` or ``ground level``.
    curve : str
        ``mean``, or the ``lower`` or ``upper`` deviation.

    Returns
    -------
    GivenChange
        From the velocity of the ground to that of the foundation.

    Raises
    ------
    ValueError
        An unknown place or curve.

    References
    ----------
    E DIN 45672-3:2023, Tables A.3 and A.4 [seen second-hand].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> edin_foundation("basement").level_change(third_octaves(63, 63)).item()
    -4.4
    """
    known("edin_foundation", "place", place, _EDIN_GAIN)
    known("edin_foundation", "curve", curve, _EDIN_GAIN[place])
    gain = xr.DataArray(list(_EDIN_GAIN[place][curve]), coords={"frequency": list(_EDIN_BANDS)})
    return GivenChange(
        gain, quantity_in=GROUND, quantity_out=FOUNDATION, citations=(EDIN_45672_3_FOUNDATION,)
    )


@checked
def no_coupling_loss() -> Unchanged:
    """Return the step without loss, for slabs on grade, basement slabs and buildings on rock.

    References
    ----------
    US FTA 2006, section 11.2 and Table 10-1 [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> no_coupling_loss().level_change(third_octaves(63, 63)).item()
    0.0
    """
    return Unchanged(GROUND, FOUNDATION, citations=(FTA_NO_COUPLING,))
