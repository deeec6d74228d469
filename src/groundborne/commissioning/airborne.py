"""Whether sound in a room is radiated by its floor, or came through the air."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LevelError, RecordingError, known, not_negative, positive, within
from groundborne.bands import edges
from groundborne.citation import Citation, citation_texts
from groundborne.commissioning.provenance import require_one_time
from groundborne.levels import decibel, energy, require
from groundborne.records import Recording

SIMULTANEOUS = Citation(
    key="iso-ts14837-31-simultaneous",
    author="ISO/TS 14837-31",
    year="2017",
    title="Guideline on field measurements for the evaluation of human exposure in buildings",
    locator="scope: noise and vibration measured together to tell ground-borne from airborne noise",
    mark="seen",
    status="transcribed",
)
COHERENCE = Citation(
    key="coherence-significance",
    author="Carter; Bendat and Piersol",
    title="estimate of coherence without any: exceeds 1 − (1 − c)^(1/(n − 1)) by chance of 1 − c",
    mark="from memory",
    status="transcribed",
)

GROUND_BORNE, AIRBORNE, UNDECIDED = "ground-borne", "airborne", "cannot tell"
RADIATION_ERROR = 4.0
"""Standard deviation of a predicted step from floor velocity to sound in a band [dB]; common
practice."""
_HALF = 10 * np.log10(2)
_OVERLAP = 0.5


@checked
def sound_origin(
    *,
    sound: xr.DataArray,
    vibration: xr.DataArray,
    radiation: xr.DataArray,
    radiation_error: float | xr.DataArray = RADIATION_ERROR,
    coherence: xr.Dataset | None = None,
    probability: float = 0.9,
) -> xr.Dataset:
    """Airborne or ground-borne, band by band, from sound and vibration of the same passbys.

    Parameters
    ----------
    sound, vibration : DataArray
        Levels of the same passbys at the same time [dB], under one label or none: sound pressure in
        the room, and velocity of the floor that `radiation` starts from; with ``passby`` and
        ``frequency``, and ``room`` where there are several.
    radiation : DataArray
        Predicted sound pressure level re 20 µPa less velocity level re 1 nm/s [dB], on
        ``frequency``: of the room's surfaces, or of a fixed relation.
    radiation_error : float or DataArray
        Its standard deviation [dB].
    coherence : Dataset, optional
        Of floor and sound, from :func:`floor_coherence`; it is evidence beside the levels.
    probability : float
        From which a verdict is given, above 0.5 and below 1.

    Returns
    -------
    xarray.Dataset
        On ``frequency`` (and ``room``): ``level_difference``, sound less vibration [dB], mean of
        the passbys; ``excess`` over what the floor radiates [dB] with its ``standard_deviation``;
        ``airborne_probability``, that more than half of the sound does not come from the floor;
        ``origin``: ``ground-borne``, ``airborne`` or ``cannot tell``; ``reason``, in words.

    Raises
    ------
    LevelError
        Levels that are not sound pressure and velocity, of other passbys or bands, or passbys with
        names on one side only.
    CalibrationError
        Labels of two measurements.
    ValueError
        One passby only, a negative error, a probability out of range, a coherence of other bands.

    Notes
    -----
    Half of the sound is from elsewhere where it stands 3 dB above what the floor radiates. With the
    excess e and its standard deviation s the probability of that is ``Φ((e − 3)/s)``. A floor that
    the sound itself shakes looks ground-borne. Coherence shows that floor and sound go together,
    and not which drives the other; several surfaces that move by themselves lower it as much as
    airborne sound. So it may take a verdict back and never makes one: a band that looks airborne
    by its level while most of the sound is coherent with the floor, or ground-borne with next to
    none, is one that cannot be told.

    References
    ----------
    ISO/TS 14837-31:2017, scope [seen]; radiated share [derived].

    Examples
    --------
    >>> from groundborne.levels import stamp
    >>> f = {"frequency": [63.0, 125.0]}
    >>> v, p = (xr.DataArray([x, x], dims=("passby", "frequency"), coords=f)
    ...         for x in ([70.0, 60.0], [43.0, 50.0]))
    >>> v = stamp(v, quantity="velocity", reference="1 nm/s", long_name="level")
    >>> p = stamp(p, quantity="sound pressure", reference="20 µPa", long_name="level")
    >>> found = sound_origin(sound=p, vibration=v, radiation=xr.full_like(v[0], -27.0).drop_attrs())
    >>> found["excess"].values.tolist(), found["origin"].values.tolist()
    ([0.0, 17.0], ['cannot tell', 'airborne'])
    """
    where = "sound_origin"
    if not 0.5 < probability < 1:
        raise ValueError(f"{where}: probability is {probability:g}; above 0.5 and below 1 is")
    not_negative(where, "radiation_error", radiation_error, "dB")
    require(sound, where=where, quantity="sound pressure")
    require(vibration, where=where, quantity="velocity")
    if vibration.attrs["reference"] != "1 nm/s" or sound.attrs["reference"] != "20 µPa":
        raise LevelError(f"{where}: levels re 20 µPa and re 1 nm/s are needed; see levels.convert")
    if set(sound.dims) != set(vibration.dims) or not {"passby", "frequency"} <= set(sound.dims):
        raise LevelError(
            f"{where}: sound is on {sound.dims}, vibration on {vibration.dims}; both on passby and "
            "frequency, and alike"
        )
    if sound.attrs.get("time_weighting") != vibration.attrs.get("time_weighting"):
        raise LevelError(
            f"{where}: sound has the time_weighting {sound.attrs.get('time_weighting')!r}, "
            f"vibration {vibration.attrs.get('time_weighting')!r}; one kind is needed"
        )
    require_one_time(where, sound=sound, vibration=vibration)
    count = sound.sizes["passby"]
    if count < 2:
        raise ValueError(f"{where}: one passby tells no scatter; two at least are needed")
    pairs = sound.reset_coords(drop=True).drop_attrs() - vibration.reset_coords(drop=True)
    pairs = pairs.drop_attrs(deep=False)
    difference = pairs.mean("passby", skipna=False)
    scatter = pairs.var("passby", ddof=1, skipna=False) / count
    excess = difference - radiation.reset_coords(drop=True).drop_attrs(deep=False)
    deviation = xr.DataArray(np.sqrt(scatter + radiation_error**2))
    chance = _above_half(excess, deviation)
    share = None
    if coherence is not None:
        share = coherence["coherence"]
        if share["frequency"].values.tolist() != sound["frequency"].values.tolist():
            raise ValueError(f"{where}: coherence has other bands than sound and vibration")
    origin, reason = _verdicts(chance, excess, share, coherence, probability)
    found = xr.Dataset(
        {
            "level_difference": difference.assign_attrs(units="dB"),
            "excess": excess.assign_attrs(units="dB"),
            "standard_deviation": deviation.assign_attrs(units="dB"),
            "airborne_probability": chance.assign_attrs(units="1"),
            "origin": origin,
            "reason": reason,
        }
    )
    found.attrs = {
        "probability_asked": probability,
        "citations": citation_texts((SIMULTANEOUS, COHERENCE)),
    }
    return found


def _above_half(excess: xr.DataArray, deviation: xr.DataArray) -> xr.DataArray:
    from scipy.special import ndtr

    safe = xr.where(deviation > 0, deviation, 1e-9)
    ratio = (excess - _HALF) / safe
    return xr.DataArray(ratio).copy(data=ndtr(ratio.values))


def _verdicts(
    chance: xr.DataArray,
    excess: xr.DataArray,
    share: xr.DataArray | None,
    coherence: xr.Dataset | None,
    probability: float,
) -> tuple[xr.DataArray, xr.DataArray]:
    """Origin and reason of every band."""
    said, why = [], []
    together = np.broadcast_to(np.nan, chance.shape)
    chancy = 0.0
    if share is not None and coherence is not None:
        together = np.broadcast_to(
            share.broadcast_like(chance).transpose(*chance.dims).values, chance.shape
        )
        chancy = float(coherence.attrs["by_chance"])
    for p, e, c in zip(chance.values.ravel(), excess.values.ravel(), together.ravel(), strict=True):
        origin = (
            AIRBORNE if p >= probability else GROUND_BORNE if p <= 1 - probability else UNDECIDED
        )
        text = f"{e:+.1f} dB against what the floor radiates"
        if np.isfinite(c):
            text += f", coherence {c:.2f}"
            if origin == AIRBORNE and c > 0.5:
                origin, text = UNDECIDED, text + ": louder than the floor alone and yet coherent"
            elif origin == GROUND_BORNE and c <= chancy:
                origin, text = UNDECIDED, text + ": no more than by chance"
        said.append(origin)
        why.append(text)
    return tuple(  # type: ignore[return-value]
        chance.copy(data=np.array(words).reshape(chance.shape)).drop_attrs()
        for words in (said, why)
    )


@checked
def floor_coherence(
    *,
    vibration: Recording,
    sound: Recording,
    frequency: xr.DataArray,
    resolution: float = 2.0,
    confidence: float = 0.95,
) -> xr.Dataset:
    """Coherence of a floor and the sound above it, by band.

    Parameters
    ----------
    vibration, sound : Recording
        One channel each, on one clock, of the same passby.
    frequency : DataArray
        Nominal bands [Hz].
    resolution : float
        Of the spectra [Hz], above 0.
    confidence : float
        Of the bound that no coherence exceeds by chance, 0.5 to 0.999.

    Returns
    -------
    xarray.Dataset
        ``coherence`` on ``frequency`` [-]: share of the sound's energy in the band that goes with
        the floor; ``averages`` among the attributes, and ``by_chance``, the bound for one line.

    Raises
    ------
    RecordingError
        Recordings of several channels, of another quantity, or of different rates or lengths.
    ValueError
        Too short for eight averages, or bands that hold no line or reach beyond half the rate.

    Notes
    -----
    Welch's method, windows of Hann that overlap by half; ``Σ γ² S_pp/Σ S_pp`` over the lines of a
    band. Overlapping windows count as 0.82 of separate ones (from memory). Estimates of few
    averages lie too high: the bound says by how much for a line.

    References
    ----------
    Carter; Bendat and Piersol [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> rng = np.random.default_rng(1)
    >>> floor = rng.standard_normal(60_000)
    >>> def record(values, quantity, unit):
    ...     return Recording(sample_rate=1000.0, signal=xr.DataArray(values[None],
    ...         dims=("channel", "time"), coords={"channel": [quantity]},
    ...         attrs={"quantity": quantity, "units": unit}))
    >>> heard = record(floor + rng.standard_normal(60_000), "sound pressure", "Pa")
    >>> found = floor_coherence(vibration=record(floor, "velocity", "m/s"), sound=heard,
    ...                         frequency=third_octaves(63, 80))
    >>> found["coherence"].round(1).values.tolist()
    [0.5, 0.5]
    """
    where = "floor_coherence"
    from scipy import signal

    positive(where, "resolution", resolution, "Hz")
    within(where, "confidence", confidence, 0.5, 0.999, "")
    for name, recording, allowed in (
        ("vibration", vibration, ("velocity", "acceleration")),
        ("sound", sound, ("sound pressure",)),
    ):
        if len(recording.channels) != 1:
            raise RecordingError(
                f"{where}: {name} has {len(recording.channels)} channels; select one"
            )
        known(where, f"quantity of {name}", recording.quantity, allowed, RecordingError)
    if vibration.sample_rate != sound.sample_rate or vibration.samples != sound.samples:
        raise RecordingError(
            f"{where}: vibration has {vibration.samples} samples at {vibration.sample_rate:g} Hz, "
            f"sound {sound.samples} at {sound.sample_rate:g} Hz; both must be on one clock"
        )
    rate = vibration.sample_rate
    length = round(rate / resolution)
    step = max(1, int(length * (1 - _OVERLAP)))
    count = (vibration.samples - length) // step + 1
    averages = 0.82 * count
    if averages < 8:
        raise ValueError(
            f"{where}: {vibration.duration:g} s hold {max(count, 0)} windows at {resolution:g} Hz; "
            "ten at least are needed; take a coarser resolution or a longer record"
        )
    v, p = (np.asarray(r.signal.values[0], float) for r in (vibration, sound))
    kind: dict[str, Any] = {"fs": rate, "nperseg": length, "noverlap": length - step}
    lines, gamma = signal.coherence(v, p, **kind)
    _, power = signal.welch(p, **kind)
    low, high = (np.asarray(e.values) for e in edges(frequency))
    found = []
    for at, (one, other) in enumerate(zip(low, high, strict=True)):
        inside = (lines >= one) & (lines < other)
        if not inside.any() or other > rate / 2:
            raise ValueError(
                f"{where}: the band {frequency.values[at]:g} Hz holds no line of "
                f"{resolution:g} Hz, or reaches beyond half the sample rate"
            )
        found.append(float((gamma * power)[inside].sum() / power[inside].sum()))
    by_chance = 1 - (1 - confidence) ** (1 / (averages - 1))
    return xr.Dataset(
        {"coherence": ("frequency", found, {"units": "1"})},
        coords={"frequency": frequency["frequency"].values},
        attrs={
            "averages": averages, "by_chance": by_chance, "confidence": confidence,
            "citations": COHERENCE.text,
        },
    )  # fmt: skip


@checked
def radiated_part(
    *, sound: xr.DataArray, vibration: xr.DataArray, radiation: xr.DataArray
) -> float:
    """Sound that the floor radiates over the sound there is, all bands together [dB].

    Parameters
    ----------
    sound, vibration : DataArray
        Levels on ``frequency`` [dB re 20 µPa, re 1 nm/s], weighted as they are to be summed.
    radiation : DataArray
        Predicted difference of the two [dB], on ``frequency``.

    Returns
    -------
    float
        ``10 lg Σ 10^((L_v + R)/10) − 10 lg Σ 10^(L_p/10)``; below −3 dB more than half comes from
        elsewhere, by the prediction.

    Examples
    --------
    >>> f = {"frequency": [63.0, 125.0]}
    >>> p, v, r = (xr.DataArray(x, dims="frequency", coords=f)
    ...            for x in ([43.0, 50.0], [70.0, 60.0], [-27.0, -27.0]))
    >>> round(radiated_part(sound=p, vibration=v, radiation=r), 1)
    -7.4
    """
    mine, whole = (decibel(energy(a).sum("frequency")) for a in (vibration + radiation, sound))
    return float(mine - whole)
