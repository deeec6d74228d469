"""The general assessment of the American transit manual: base curves, adjustments, noise.

It gives one overall level, the maximum rms velocity with 1 s averaging in dB re 1 µin/s (VdB), and
no spectrum. It serves to screen, and to check a detailed prediction for its order of magnitude.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, Numeric, finite, known, within
from groundborne.bands import third_octaves
from groundborne.citation import Citation
from groundborne.levels import convert, require, stamp
from groundborne.path import FOUNDATION, GROUND, GivenChange

FTA_BASE_CURVES = Citation(
    key="fta2006-base-curves",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="section 10.1, values the text gives at the ends of the base curves",
    mark="seen",
    status="verified",
)
FTA_POLYNOMIALS = Citation(
    key="fta2018-polynomials",
    author="US Federal Transit Administration",
    year="2018",
    title="Transit Noise and Vibration Impact Assessment Manual",
    locator="polynomials of the base curves in lg of the distance in feet",
    mark="from memory",
)
FTA_ADJUSTMENTS = Citation(
    key="fta2006-adjustments",
    author="US Federal Transit Administration",
    year="2006",
    title="Transit Noise and Vibration Impact Assessment",
    locator="Table 10-1, adjustment factors of the general assessment",
    mark="seen",
    status="transcribed",
)

FOOT = 0.3048
"""[m]."""
MILE_PER_HOUR = 0.44704
"""[m/s]."""


@checked
@dataclass(frozen=True, kw_only=True)
class BaseCurve:
    """One ground-surface base curve: upper range of what well-maintained systems cause.

    Parameters
    ----------
    coefficients : tuple of float
        c0 to c3 of ``c0 + c1 x + c2 x² + c3 x³``, x = lg(distance in feet) [dB re 1 µin/s].
    reference_speed : float
        Speed it stands for [km/h].
    farthest : float
        Largest distance [m]; the smallest is 10 feet for all.

    Examples
    --------
    >>> round(BASE_CURVES["rapid transit or light rail"].reference_speed, 1)
    80.5
    """

    coefficients: tuple[float, float, float, float]
    reference_speed: float
    farthest: float


NEAREST = 10 * FOOT
"""Smallest distance of the base curves [m]."""
BASE_CURVES = {
    "locomotive-hauled": BaseCurve(
        coefficients=(92.28, 14.81, -14.17, 1.65),
        reference_speed=50 * MILE_PER_HOUR * 3.6,
        farthest=300 * FOOT,
    ),
    "rapid transit or light rail": BaseCurve(
        coefficients=(85.88, -1.06, -2.32, -0.87),
        reference_speed=50 * MILE_PER_HOUR * 3.6,
        farthest=300 * FOOT,
    ),
    "rubber-tyred": BaseCurve(
        coefficients=(66.08, 34.28, -30.25, 5.40),
        reference_speed=30 * MILE_PER_HOUR * 3.6,
        farthest=200 * FOOT,
    ),
}
"""Base curves by vehicle; that of rapid transit serves at grade and for bored tunnels in soil."""


@checked
def fta_base_curve(*, vehicle: str, distance: Numeric) -> xr.DataArray:
    """Overall velocity level of the ground beside a track, before adjustments.

    Parameters
    ----------
    vehicle : str
        One of ``BASE_CURVES``.
    distance : float or DataArray
        From the track centre line [m], 3.05 (10 feet) to 91.4 (300 feet); 61 for rubber tyres.

    Returns
    -------
    xarray.DataArray
        Maximum rms velocity level with 1 s averaging [dB re 1 µin/s], at the curve's reference
        speed; single trains were rarely found 1 to 2 dB above. ``levels.convert`` brings it to
        1 nm/s.

    Raises
    ------
    ValueError
        An unknown vehicle, or a distance outside the curve.

    Notes
    -----
    The polynomials are recalled; they meet what the text of 2006 prints within 0.3 dB, for rubber
    tyres within 0.6 dB.

    References
    ----------
    US FTA 2018, polynomials [from memory]; US FTA 2006, section 10.1 [seen].

    Examples
    --------
    >>> fta_base_curve(vehicle="rapid transit or light rail", distance=30.48).round(1).item()
    67.5
    """
    where = "fta_base_curve"
    curve = BASE_CURVES[known(where, "vehicle", vehicle, BASE_CURVES)]
    # A hair of slack: 300 feet are 91.44 m, and not exactly so as a float.
    within(where, "distance", distance, NEAREST * (1 - 1e-9), curve.farthest * (1 + 1e-9), "m")
    x: Any = np.log10(xr.DataArray(distance) / FOOT)
    level: xr.DataArray = sum(c * x**power for power, c in enumerate(curve.coefficients))
    return stamp(
        level,
        quantity="velocity",
        reference="1 µin/s",
        long_name="velocity level of the ground, base curve",
        location="ground",
        time_weighting="S max",
        citations=[FTA_BASE_CURVES, FTA_POLYNOMIALS],
    )


@checked
@dataclass(frozen=True, kw_only=True)
class Adjustment:
    """One entry of the adjustment table.

    Parameters
    ----------
    group : str
        Entries of one group do not add up.
    change : float
        [dB], positive raises the level.
    remark : str
        What the table says beside it.

    Examples
    --------
    >>> ADJUSTMENTS["ballast mats"].change
    -10.0
    """

    group: str
    change: float
    remark: str = ""


def _group(group: str, **entries: tuple[float, str]) -> dict[str, Adjustment]:
    return {
        name.replace("_", " "): Adjustment(group=group, change=change, remark=remark)
        for name, (change, remark) in entries.items()
    }


WHEELS_AND_TRACK = ("vehicle", "track condition")
"""Groups in which the largest counts, over both: worn wheels on a worn track count once."""
ADJUSTMENTS: dict[str, Adjustment] = {
    **_group(
        "vehicle",
        stiff_primary_suspension=(8.0, "vertical resonance above 15 Hz"),
        resilient_wheels=(0.0, "act only above about 80 Hz"),
        worn_wheels_or_flats=(10.0, ""),
    ),
    **_group(
        "track condition",
        worn_or_corrugated_track=(10.0, ""),
        special_trackwork=(10.0, ""),
        jointed_track_or_uneven_road=(5.0, ""),
    ),
    **_group(
        "track treatment",
        floating_slab=(-15.0, "depends strongly on frequency"),
        ballast_mats=(-10.0, "depends strongly on frequency"),
        high_resilience_fasteners=(-5.0, "act above 40 Hz"),
        resiliently_supported_ties=(-10.0, ""),
    ),
    **_group(
        "track configuration",
        elevated_structure=(-10.0, "against ballast at grade"),
        open_cut=(0.0, "against ballast at grade"),
        station=(-5.0, "against a bored tunnel in soil"),
        cut_and_cover=(-3.0, "against a bored tunnel in soil"),
        tunnel_in_rock=(-15.0, "against a bored tunnel in soil"),
    ),
    **_group("soil", efficient_propagation=(10.0, "")),
    **_group(
        "rock layer",
        rock_at_50_ft=(2.0, "distance in rock 15 m"),
        rock_at_100_ft=(4.0, "distance in rock 30 m"),
        rock_at_150_ft=(6.0, "distance in rock 46 m"),
        rock_at_200_ft=(9.0, "distance in rock 61 m"),
    ),
    **_group(
        "coupling",
        timber_frame_house=(-5.0, ""),
        masonry_of_1_to_2_storeys=(-7.0, ""),
        masonry_of_3_to_4_storeys=(-10.0, ""),
        large_masonry_on_piles=(-10.0, ""),
        large_masonry_on_spread_footings=(-13.0, ""),
        foundation_in_rock=(0.0, "usual coupling from 3 m of soil between foundation and rock"),
    ),
    **_group("resonance", resonance_of_floors_walls_and_ceilings=(6.0, "less near junctions")),
}
"""Adjustments by name. Speed and storeys are :class:`SpeedChange` and
:class:`FtaStoreyAttenuation`; they and these add up."""


@checked
def fta_adjustment(*, names: Sequence[str]) -> float:
    """Sum of adjustments: groups add up, within a group the largest counts.

    Parameters
    ----------
    names : sequence of str
        Of ``ADJUSTMENTS``. Vehicle and track condition: the largest over both groups counts; track
        treatment: the largest reduction. Of track configuration, rock layer and coupling one
        entry can hold.

    Returns
    -------
    float
        [dB], to be added to the base curve.

    Raises
    ------
    ValueError
        An unknown name, one given twice, or two of a group of which one can hold.

    References
    ----------
    US FTA 2006, Table 10-1 [seen].

    Examples
    --------
    >>> given = ("worn wheels or flats", "jointed track or uneven road", "cut and cover")
    >>> fta_adjustment(names=given)
    7.0
    """
    where = "fta_adjustment"
    groups: dict[str, list[str]] = {}
    for name in names:
        group = ADJUSTMENTS[known(where, "names", name, ADJUSTMENTS)].group
        shared = WHEELS_AND_TRACK[0] if group in WHEELS_AND_TRACK else group
        if name in groups.setdefault(shared, []):
            raise ValueError(f"{where}: {name!r} is given twice; once is enough")
        groups[shared].append(name)
    total = 0.0
    for group, given in groups.items():
        changes = [ADJUSTMENTS[name].change for name in given]
        if len(given) > 1 and group not in (WHEELS_AND_TRACK[0], "track treatment"):
            raise ValueError(
                f"{where}: {' and '.join(map(repr, given))} are both of the group {group!r}; only "
                "one of them can hold"
            )
        total += min(changes) if group == "track treatment" else max(changes)
    return total


COUPLINGS = tuple(name for name, entry in ADJUSTMENTS.items() if entry.group == "coupling")
"""Buildings of the coupling group."""


@checked
def fta_coupling(building: str) -> GivenChange:
    """Coupling of the ground into a building, one value for all bands from 5 to 315 Hz.

    The table is meant for overall levels; in bands it is a rough stand-in for
    :func:`~groundborne.propagation.published_coupling`.

    Parameters
    ----------
    building : str
        One of ``COUPLINGS``.

    Returns
    -------
    GivenChange
        From the velocity of the ground to that of the foundation; a loss is negative.

    Raises
    ------
    ValueError
        An unknown building.

    References
    ----------
    US FTA 2006, Table 10-1 [seen].

    Examples
    --------
    >>> fta_coupling("large masonry on piles").level_change(third_octaves(63, 63)).item()
    -10.0
    """
    name = known("fta_coupling", "building", building, COUPLINGS)
    frequency = third_octaves(5, 315)["frequency"]
    change = xr.DataArray(
        np.full(frequency.size, ADJUSTMENTS[name].change),
        coords={"frequency": frequency.values},
    )
    return GivenChange(
        change, quantity_in=GROUND, quantity_out=FOUNDATION, citations=(FTA_ADJUSTMENTS,)
    )


NOISE_STEPS = {"below 30 Hz": -50.0, "30 to 60 Hz": -35.0, "above 60 Hz": -20.0}
"""A-weighted sound level less overall velocity level [dB], by where the spectrum peaks."""


@checked
def fta_noise_level(level: xr.DataArray, *, peak: str) -> xr.DataArray:
    """A-weighted sound level in a room from the overall velocity level of its surfaces.

    Parameters
    ----------
    level : DataArray
        Labelled velocity level, mean over the room's surfaces [dB, any reference].
    peak : str
        Where the spectrum of the ground peaks, one of ``NOISE_STEPS``; ``30 to 60 Hz`` is usual
        for underground lines, ``above 60 Hz`` for tunnels in rock or stiff clay.

    Returns
    -------
    xarray.DataArray
        [dB re 20 µPa], A-weighted.

    Raises
    ------
    LevelError
        Not a labelled velocity level, or one of bands: the rule holds for overall levels.
    ValueError
        An unknown peak, or a level that is not finite.

    References
    ----------
    US FTA 2006, Table 10-1 [seen].

    Examples
    --------
    >>> ground = fta_base_curve(vehicle="rapid transit or light rail", distance=30.48)
    >>> fta_noise_level(ground, peak="30 to 60 Hz").round(1).item()
    32.5
    """
    where = "fta_noise_level"
    require(level, where=where, quantity="velocity")
    if "frequency" in level.dims:
        raise LevelError(
            f"{where}: the level holds bands; the rule holds for overall levels. Bands go to "
            "receiver.relation('FTA 2006')"
        )
    finite(where, "level", level)
    step = NOISE_STEPS[known(where, "peak", peak, NOISE_STEPS)]
    return stamp(
        convert(level, reference="1 µin/s") + step,
        quantity="sound pressure",
        reference="20 µPa",
        long_name="A-weighted sound pressure level, general assessment",
        location="room",
        time_weighting=level.attrs.get("time_weighting", ""),
        citations=[FTA_ADJUSTMENTS],
        frequency_weighting="A",
    )
