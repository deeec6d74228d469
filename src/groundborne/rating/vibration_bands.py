"""Vibration ratings from predicted one-third-octave velocity levels of a passby.

A band level holds no time signal, so each rating here is an approximation; each says which in its
docstring and in the attribute ``approximation``, and refuses statistics that do not carry it. Where
bands that are missing may govern, the attribute ``lower_bound`` says so; it is empty elsewhere.

*Rectangular event*: a passby is steady for `duration`. Then a maximum with time constant τ lies
``10 lg(1 − e^(−T/τ))`` below its Leq. *Bands peak together*: band-wise maxima are added by energy,
so the sum is an upper bound. *Band centre*: a weighting is taken at the exact centre of a band.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, RatingError, is_lazy, known, not_negative, positive
from groundborne.bands import require_labels
from groundborne.citation import Citation, citation_texts, warn_validity
from groundborne.levels import convert, energy_sum, require
from groundborne.rating.bands_of_curves import (
    DOSE_FACTORS,
    _require_acceleration,
    _said,
    approximations_of_bands,
    band_weights,
    missing_of_curve,
)
from groundborne.rating.ns8176 import NS_8176, VELOCITY_FACTOR
from groundborne.rating.rectangular_event import TIME_CONSTANTS, time_weighting_change
from groundborne.rating.sufficiency import judge_ends
from groundborne.rating.vibration import (
    BS_6472_DOSE,
)
from groundborne.weighting import CURVES, DIN_45669_1, KB_BANDS


@checked
def weighted_rms_of_bands(
    level: xr.DataArray, *, curve: str, duration: Numeric | None = None
) -> xr.DataArray:
    """Weighted rms acceleration over a passby, a_w, from velocity band levels.

    Approximations: band centre; for maxima the rectangular event of `duration`, and bands that
    peak together. A passby that rises and falls has a smaller rms than its maximum says.

    Parameters
    ----------
    level : DataArray
        Velocity level [dB] with dim ``frequency`` and ``time_weighting`` ``S max``, ``F max`` or
        ``leq`` (over the passby); any other dims.
    curve : str
        ``Wb``, ``Wc``, ``Wd``, ``We``, ``Wk`` or ``Wm``.
    duration : float or DataArray, optional
        Of one passby [s]; needed for maxima, which become the Leq over it.

    Returns
    -------
    xarray.DataArray
        a_w [m/s²] without ``frequency``.

    Raises
    ------
    LevelError
        Not a labelled velocity level.
    RatingError
        The statistic does not carry an rms over the passby, or no duration for a maximum.

    Warns
    -----
    ValidityWarning
        Bands of the range of the curve are missing and may govern: a lower bound.

    References
    ----------
    ISO 8041-1:2017; IEC 61672-1:2013, eq. 7.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.levels import stamp
    >>> f = third_octaves(0.5, 80)["frequency"]
    >>> level = stamp(xr.where(f == 16, 80.0, -100.0), quantity="velocity", reference="1 nm/s",
    ...               long_name="level", time_weighting="leq")
    >>> weighted_rms_of_bands(level, curve="Wd").round(6).item()  # 10 µm/s in the 16 Hz band
    0.000126
    """
    where = "weighted_rms_of_bands"
    _require_acceleration(curve, where)
    value, notes, why = _weighted(level, curve=curve, wanted="leq", duration=duration, where=where)
    return _stamped(value, notes, why, name="weighted rms acceleration", units="m/s²", curve=curve)


@checked
def vdv_of_bands(
    level: xr.DataArray,
    *,
    curve: str,
    duration: Numeric,
    count: Numeric = 1.0,
    signal: str = "estimated",
) -> xr.DataArray:
    """Dose value of passbys from velocity band levels, ``factor · a_w · (N T)^0.25``.

    Approximations: those of ``weighted_rms_of_bands``, and a fixed relation of dose and rms: 1.4
    (the usual estimate, right for a crest factor of about 6 at most), 1.316 (steady Gaussian noise)
    or 1.107 (steady sine). A passby that is not steady has a larger dose for its rms.

    Parameters
    ----------
    level : DataArray
        Velocity level [dB], as for ``weighted_rms_of_bands``.
    curve : str
        A W curve.
    duration : float or DataArray
        Of one passby [s].
    count : float or DataArray
        Passbys in the period [-].
    signal : str
        ``estimated`` (eVDV), ``gaussian`` or ``sine``.

    Returns
    -------
    xarray.DataArray
        Dose [m/s^1.75] without ``frequency``.

    Raises
    ------
    LevelError, RatingError
        As for ``weighted_rms_of_bands``.
    ValueError
        An unknown signal or a negative number.

    Warns
    -----
    ValidityWarning
        Bands are missing and may govern: a lower bound.

    References
    ----------
    BS 6472-1:2008 (eVDV) [seen second-hand]; moments of a sine and of Gaussian noise.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.levels import stamp
    >>> f = third_octaves(0.5, 80)["frequency"]
    >>> level = stamp(xr.where(f == 16, 120.0, -100.0), quantity="velocity", reference="1 nm/s",
    ...               long_name="level", time_weighting="leq")
    >>> vdv_of_bands(level, curve="Wd", duration=16.0, signal="sine").round(4).item()
    0.0279
    """
    where = "vdv_of_bands"
    _require_acceleration(curve, where)
    known(where, "signal", signal, DOSE_FACTORS)
    positive(where, "duration", duration, "s")
    not_negative(where, "count", count, "passbys")
    value, notes, why = _weighted(level, curve=curve, wanted="leq", duration=duration, where=where)
    factor = DOSE_FACTORS[signal]
    notes = [*notes, f"dose = {factor:.4g} a_w T^0.25 ({signal})"]
    return _stamped(
        factor * value * (duration * count) ** 0.25,
        notes,
        why,
        name="vibration dose value, from band levels",
        units="m/s^1.75",
        curve=curve,
        citations=(BS_6472_DOSE,),
    )


@checked
def kb_of_bands(
    level: xr.DataArray,
    *,
    band: str = "1-80 Hz",
    duration: Numeric | None = None,
    fluctuation: Numeric = 0.0,
) -> xr.DataArray:
    """Largest KB_F of a passby, KB_Fmax, from velocity band maxima.

    Approximations: band centre; bands that peak together; from S maxima the rectangular event,
    whose F maximum is the larger by ``10 lg((1 − e^(−8T))/(1 − e^(−T)))``: 0.2 dB for 3 s, 2 dB
    for 1 s. S maxima do not hold the fluctuation of a noise-like passby: of 6 s of random noise,
    4 to 80 Hz, KB_Fmax lay another 1.5 to 2.7 dB above (twelve simulated records). Allow for it
    by `fluctuation`, or start from F maxima.

    Parameters
    ----------
    level : DataArray
        Velocity level [dB] with dim ``frequency``, ``S max`` or ``F max``.
    band : str
        Working range ``1-80 Hz`` or ``4-315 Hz``.
    duration : float or DataArray, optional
        Of one passby [s]; needed for ``S max``.
    fluctuation : float or DataArray
        Allowance added to S maxima for what F sees and S does not [dB]; none by default. Not for
        ``F max``, which holds it.

    Returns
    -------
    xarray.DataArray
        KB_Fmax [-] without ``frequency``.

    Raises
    ------
    LevelError
        Not a labelled velocity level.
    RatingError
        Another statistic: a Leq holds no maximum. An allowance on F maxima.
    ValueError
        A negative allowance.

    Warns
    -----
    ValidityWarning
        Bands are missing and may govern: a lower bound.

    References
    ----------
    DIN 45669-1:2010; IEC 61672-1:2013, eq. 7.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.levels import stamp
    >>> f = third_octaves(1, 80)["frequency"]
    >>> level = stamp(xr.where(f == 25, 120.0, -100.0), quantity="velocity", reference="1 nm/s",
    ...               long_name="level", time_weighting="F max")
    >>> kb_of_bands(level).round(3).item()  # 1 mm/s rms in the 25 Hz band
    0.974
    """
    where = "kb_of_bands"
    known(where, "band", band, KB_BANDS)
    _require_maximum(level, where)
    not_negative(where, "fluctuation", fluctuation, "dB")
    slow = level.attrs["time_weighting"] == "S max"
    if not slow and bool(np.any(np.asarray(fluctuation) > 0)):
        raise RatingError(f"{where}: F maxima hold the fluctuation; leave the allowance out")
    curve = KB_BANDS[band]
    value, notes, why = _weighted(
        level, curve=curve, wanted="F max", duration=duration, where=where
    )
    if slow:
        notes = [*notes, f"fluctuation of a noise-like passby allowed for by {_said(fluctuation)}"]
    return _stamped(
        1e3 * value * 10 ** (fluctuation / 20),
        notes,
        why,
        name="KB_Fmax, from band levels",
        units="1",
        curve=curve,
        citations=(DIN_45669_1,),
    )


@checked
def weighted_velocity_of_bands(
    level: xr.DataArray, *, duration: Numeric | None = None
) -> xr.DataArray:
    """Largest weighted velocity of a passby, v_w,max (Wm, S), from velocity band maxima.

    Approximations: band centre; bands that peak together; from F maxima the rectangular event.

    Parameters
    ----------
    level : DataArray
        Velocity level [dB] with dim ``frequency``, ``S max`` or ``F max``.
    duration : float or DataArray, optional
        Of one passby [s]; needed for ``F max``.

    Returns
    -------
    xarray.DataArray
        v_w,max [m/s] without ``frequency``.

    Raises
    ------
    LevelError
        Not a labelled velocity level.
    RatingError
        Another statistic: a Leq holds no maximum.

    Warns
    -----
    ValidityWarning
        Bands are missing and may govern: a lower bound.

    References
    ----------
    NS 8176:2017 [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.levels import stamp
    >>> f = third_octaves(1, 80)["frequency"]
    >>> level = stamp(xr.where(f == 25, 120.0, -100.0), quantity="velocity", reference="1 nm/s",
    ...               long_name="level", time_weighting="S max")
    >>> round(1e3 * weighted_velocity_of_bands(level).item(), 3)
    0.973
    """
    where = "weighted_velocity_of_bands"
    _require_maximum(level, where)
    value, notes, why = _weighted(level, curve="Wm", wanted="S max", duration=duration, where=where)
    return _stamped(
        VELOCITY_FACTOR * value, notes, why, name="v_w,max, from band levels", units="m/s",
        curve="Wm", citations=(NS_8176,),
    )  # fmt: skip


def _require_maximum(level: xr.DataArray, where: str) -> None:
    has = getattr(level, "attrs", {}).get("time_weighting")
    if has not in TIME_CONSTANTS:
        raise RatingError(
            f"{where}: the level is {has or 'unlabelled'!r}; a maximum needs 'S max' or 'F max'"
        )


def _weighted(
    level: xr.DataArray, *, curve: str, wanted: str, duration: Numeric | None, where: str
) -> tuple[xr.DataArray, list[str], str]:
    """Rms of the weighted quantity on the statistic wanted, approximations, why a lower bound."""
    require(level, where=where, quantity="velocity")
    has = level.attrs.get("time_weighting", "")
    if has not in ("leq", *TIME_CONSTANTS):
        raise RatingError(
            f"{where}: the level is {has or 'unlabelled'!r}; it carries no {wanted!r} of a passby. "
            "'S max', 'F max' or 'leq' is needed"
        )
    labels = require_labels(level["frequency"], where)
    weighted = convert(level, reference="1 nm/s") + band_weights(curve, level["frequency"])
    total = energy_sum(weighted, "frequency")
    if not is_lazy(total) and bool(np.isnan(total.values).any()):
        raise RatingError(f"{where}: the level is not a number somewhere")
    if has != wanted:
        if duration is None:
            raise RatingError(
                f"{where}: the level is {has!r} and {wanted!r} is needed; give the duration of a "
                "passby to bridge them"
            )
        total = total + time_weighting_change(duration=duration, made=has, wanted=wanted)
    below, above = missing_of_curve(curve, float(labels[0]), float(labels[-1]))
    notes = approximations_of_bands(has, wanted, (below, above))
    why = judge_ends(weighted, below=below, above=above).why
    if why:
        warn_validity(f"{where}: the rating is a lower bound: {why}")
    return 1e-9 * 10 ** (total / 20), notes, why


def _stamped(
    value: xr.DataArray,
    notes: list[str],
    why: str,
    *,
    name: str,
    units: str,
    curve: str,
    citations: tuple[Citation, ...] = (),
) -> xr.DataArray:
    found = value.copy(deep=False)
    found.attrs = {
        "long_name": name,
        "units": units,
        "frequency_weighting": curve,
        "approximation": "; ".join(notes),
        "citations": citation_texts([CURVES[curve].citation, *citations]),
        "lower_bound": why,
    }
    return found
