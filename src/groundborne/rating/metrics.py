"""The metrics of this library, one table; a metric of your own needs no place in it."""

from __future__ import annotations

from functools import partial

import numpy as np
import xarray as xr

from groundborne import weighting
from groundborne.rating.band_rules import NoiseRatingOctaves, WeightedBands
from groundborne.rating.bands_of_curves import (
    approximations_of_bands,
    band_weights,
    missing_of_curve,
)
from groundborne.rating.limit_curve import metric_on_curve
from groundborne.rating.metric import LEQ, Metric, amplitude
from groundborne.rating.noise import A_RANGE
from groundborne.rating.noise_rating_curves import AS_1469, nr_curve
from groundborne.rating.rectangular_event import constant_over_duration
from groundborne.rating.scale import Scale
from groundborne.rating.sound_exposure import EXPOSURE
from groundborne.rating.statistics import STATISTICS
from groundborne.rating.sufficiency import FELT, HEARD
from groundborne.rating.vibration import BS_6472_DOSE, ESTIMATED_DOSE
from groundborne.rating.vibration_curves import (
    CLASSES,
    PLATEAUS,
    VC_CURVES,
    over_class,
    range_of_class,
)
from groundborne.usual_ranges import PRACTICE, Quantity
from groundborne.weighting import CURVES, DIN_45669_1, IEC_61672_1, ISO_8041_1, KB_BANDS

QUIETEST = 10.0
"""A-weighted level below which nothing is measured in a building [dB re 20 µPa]: instruments and
the quietest rooms have more of their own; common practice."""

PERIOD_DOSE = "fourth-power sum"
"""The only statistic of a dose: over all trains of a period."""

CURVE_FAMILY = "VC"
"""What study files call a metric that is one of the curves ``CLASSES``, which is then named."""

LOWEST_FELT = 1.0
"""First band that ratings of vibration work out below a spectrum [Hz]."""

_DOSE_CURVE = "Wb"  # vertical vibration of floors, BS 6472-1:2008
_KB_RANGE = "1-80 Hz"  # working range of KB_F on floors, DIN 45669-1:2010
_KB_CURVE = KB_BANDS[_KB_RANGE]

_ANY = ("S max", "F max", LEQ)
_BS_6472_TABLE = "BS 6472-1:2008 [seen second-hand], Table 1"


def _usual(
    unit: str, least: float, low: float, high: float, most: float, mark: str = PRACTICE
) -> Quantity:
    slips = "velocity" if most == np.inf else None
    return Quantity(unit=unit, usual=(low, high), possible=(least, most), mark=mark, slips=slips)


# -- Sound in rooms --------------------------------------------------------------------------------

_A_WEIGHTED = WeightedBands(gain=weighting.a, span=A_RANGE, needed=HEARD)
_A_LEVEL = Scale(unit="dB re 20 µPa", least=QUIETEST)


def _maximum(name: str, of: str, usual_limit: Quantity) -> Metric:
    return Metric(
        name=name,
        quantity="sound pressure",
        rule=_A_WEIGHTED,
        scale=_A_LEVEL,
        statistics=STATISTICS,
        time_weightings=(of,),
        citations=(IEC_61672_1,),
        usual_limit=usual_limit,
    )


def _over_period(level: xr.DataArray, hours: float) -> xr.DataArray:
    mean: xr.DataArray = level - 10 * np.log10(3600.0 * hours)
    return mean


def _from_maxima(made: str, frequency: xr.DataArray) -> str:
    del frequency
    return constant_over_duration(made)


_LAEQ = Metric(
    name="LAeq",
    quantity="sound pressure",
    rule=_A_WEIGHTED,
    scale=_A_LEVEL,
    statistics=("energy mean",),
    time_weightings=_ANY,
    of_passby=LEQ,
    adds=1.0,
    value=_over_period,
    approximation=_from_maxima,
    citations=(IEC_61672_1, EXPOSURE),
    usual_limit=_usual("dB", -20, 10, 65, 140),
)

_NR = Metric(
    name="NR",
    quantity="sound pressure",
    rule=NoiseRatingOctaves(),
    # Curves are printed from NR 0 upwards.
    scale=Scale(unit="", margin_unit="NR", least=0.0),
    statistics=STATISTICS,
    time_weightings=_ANY,
    octave_curve=nr_curve,
    citations=(AS_1469,),
    usual_limit=_usual("", -20, 10, 60, 130),
)

# -- Vibration of floors ---------------------------------------------------------------------------


def _weighted_bands(curve: str) -> WeightedBands:
    return WeightedBands(
        gain=partial(band_weights, curve),
        span=(CURVES[curve].low, CURVES[curve].high),
        needed=FELT,
        computed_from=LOWEST_FELT,
    )


def _of_dose(made: str, frequency: xr.DataArray) -> str:
    said = _of_bands(made, frequency, curve=_DOSE_CURVE, wanted=LEQ)
    return "; ".join([*said, f"dose = {ESTIMATED_DOSE:.4g} a_w T^0.25 (estimated)"])


def _of_kb(made: str, frequency: xr.DataArray) -> str:
    said = _of_bands(made, frequency, curve=_KB_CURVE, wanted="F max")
    slow = made == "S max"
    return "; ".join([*said, *["fluctuation of a noise-like passby allowed for by 0 dB"] * slow])


def _of_bands(made: str, frequency: xr.DataArray, *, curve: str, wanted: str) -> list[str]:
    first, last = (float(f) for f in frequency.values[[0, -1]])
    return approximations_of_bands(made, wanted, missing_of_curve(curve, first, last))


_VDV = Metric(
    name="VDV",
    quantity="velocity",
    rule=_weighted_bands(_DOSE_CURVE),
    scale=Scale(unit="m/s^1.75", decimals=3, ratio=True),
    statistics=(PERIOD_DOSE,),
    time_weightings=_ANY,
    of_passby=LEQ,
    adds=2.0,  # a dose adds squares of mean squares
    value=partial(amplitude, factor=1e-9 * ESTIMATED_DOSE),
    approximation=_of_dose,
    citations=(BS_6472_DOSE, ISO_8041_1),
    usual_limit=_usual(
        "m/s^1.75", 1e-4, 0.05, 1.6, 100, f"{_BS_6472_TABLE}, and half its least"
    ),
    usual_value=_usual(
        "m/s^1.75", 0, 0, 1, np.inf,
        f"{_BS_6472_TABLE}: 0.8 by night and 1.6 by day end where adverse comment is probable",
    ),
)  # fmt: skip

_KB_FMAX = Metric(
    name="KB_Fmax",
    quantity="velocity",
    rule=_weighted_bands(_KB_CURVE),
    scale=Scale(unit="", decimals=2, ratio=True),
    statistics=STATISTICS,
    time_weightings=("S max", "F max"),
    of_passby="F max",
    value=partial(amplitude, factor=1e-6),  # KB is the weighted velocity in mm/s
    approximation=_of_kb,
    citations=(DIN_45669_1,),
    usual_limit=_usual("", 1e-4, 0.05, 6, 100),
    usual_value=_usual("", 0, 0, 2, np.inf),
)


def _curve(name: str) -> Metric:
    """One of the published curves, told by its value from 8 Hz upwards."""
    return metric_on_curve(
        name,
        gain=partial(over_class, name),
        span=range_of_class(name),
        told_by=PLATEAUS[name],
        citations=(VC_CURVES,),
    )


METRICS: dict[str, Metric] = {
    m.name: m
    for m in (
        _maximum("LASmax", "S max", _usual("dB", -20, 15, 70, 140)),
        _maximum("LAFmax", "F max", _usual("dB", -20, 15, 75, 140)),
        _LAEQ,
        _NR,
        _VDV,
        _KB_FMAX,
        *map(_curve, CLASSES),
    )
}
"""Metrics by name, of sound in rooms and of vibration of their floors; their least values are
common practice."""
