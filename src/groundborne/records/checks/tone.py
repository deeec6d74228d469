"""A calibration tone: its level, its frequency, and the sensitivity that would make it right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import RecordingError, positive
from groundborne.citation import Citation
from groundborne.records.recording import Recording

SINE_FIT = Citation(
    key="ieee1057-sine-fit",
    author="IEEE Std 1057",
    year="2017",
    title="Digitizing waveform recorders",
    locator="four-parameter least-squares fit of a sine",
    mark="from memory",
)

_SEARCHED = 0.1
_LEAST_PERIODS = 10.0
_LARGEST_REST_DB = -10.0


@checked
@dataclass(frozen=True, kw_only=True)
class ToneCheck:
    """What a calibration tone says about a channel.

    Parameters
    ----------
    channel : str
        Name.
    rms : float
        Found [SI unit of the recording].
    frequency : float
        Found [Hz].
    difference : float
        Found over expected level [dB].
    sensitivity_ratio : float
        Found over expected rms. The sensitivity used (volts or counts per unit) must be multiplied
        by it to be right, a value at full scale divided by it.
    rest : float
        Everything that is not the tone, over the tone [dB].
    met : bool
        Whether the difference lies within the tolerance.
    text : str
        One sentence.
    """

    channel: str
    rms: float
    frequency: float
    difference: float
    sensitivity_ratio: float
    rest: float
    met: bool
    text: str


@checked
def check_tone(
    recording: Recording, *, channel: str, frequency: float, rms: float, tolerance_db: float
) -> ToneCheck:
    """Compare a recorded calibration tone with what the calibrator gives.

    Parameters
    ----------
    recording : Recording
        The tone alone, steady; cut it with :meth:`Recording.between` first.
    channel : str
        Name.
    frequency : float
        Nominal [Hz]; the tone is looked for within 10 % of it.
    rms : float
        What the calibrator gives [SI unit of the recording], rms, for example 10 m/s².
    tolerance_db : float
        Largest difference that counts as met [dB].

    Returns
    -------
    ToneCheck
        Level, frequency and the ratio by which the sensitivity is wrong.

    Raises
    ------
    RecordingError
        Fewer than ten periods, a rate too low, or no clear tone: the rest lies less than 10 dB
        below it.
    ValueError
        An argument is not above 0.

    References
    ----------
    IEEE Std 1057, least-squares fit of a sine with unknown frequency.

    Examples
    --------
    >>> from groundborne.records.channel import Channel
    >>> from groundborne.records.recording import assemble
    >>> t = np.arange(4000) / 2000
    >>> z = Channel(name="z", unit="m/s²", quantity="acceleration")
    >>> volt = 20 * np.sin(2 * np.pi * 159.2 * t)[None]
    >>> tone = assemble(volt, [z], sample_rate=2000.0, file="tone")
    >>> found = check_tone(tone, channel="z", frequency=159.2, rms=10.0, tolerance_db=0.2)
    >>> found.met, round(found.difference, 2), round(found.sensitivity_ratio, 3)
    (False, 3.01, 1.414)
    """
    where = f"{recording.file or 'check_tone'}, channel {channel!r}"
    positive(where, "frequency", frequency, "Hz")
    positive(where, "rms", rms, recording.signal.attrs["units"])
    positive(where, "tolerance_db", tolerance_db, "dB")
    values = recording.select(channel).signal.values[0].astype(float)
    if not np.isfinite(values).all():
        at = int(np.argmax(~np.isfinite(values)))
        raise RecordingError(
            f"{where}, {at / recording.sample_rate:.6g} s: the value is not finite"
        )
    if (1 + _SEARCHED) * frequency >= recording.sample_rate / 2:
        raise RecordingError(
            f"{where}: a tone of {frequency:g} Hz needs more than "
            f"{2 * (1 + _SEARCHED) * frequency:g} samples a second; there are "
            f"{recording.sample_rate:g}"
        )
    if recording.duration * frequency < _LEAST_PERIODS:
        raise RecordingError(
            f"{where}: {recording.duration:g} s hold fewer than ten periods of {frequency:g} Hz"
        )
    found, amplitude, rest = _sine(values, recording.sample_rate, frequency, where)
    level = amplitude / np.sqrt(2)
    with np.errstate(divide="ignore"):
        rest_db = float(20 * np.log10(rest / level)) if level > 0 else np.inf
    if rest_db > _LARGEST_REST_DB or abs(found / frequency - 1) > _SEARCHED:
        raise RecordingError(
            f"{where}: there is no clear tone near {frequency:g} Hz; cut the recording to the "
            "steady part of the calibration"
        )
    ratio = float(level / rms)
    difference = float(20 * np.log10(ratio))
    met = abs(difference) <= tolerance_db
    units = recording.signal.attrs["units"]
    text = f"{where}: the tone reads {level:.5g} {units} at {found:.5g} Hz, {difference:+.2f} dB"
    text += (
        f" from {rms:g} {units}, within {tolerance_db:g} dB"
        if met
        else f" from {rms:g} {units}: a sensitivity (volts or counts per unit) {ratio:.5g} times "
        f"the one used would be right, or a full scale {1 / ratio:.5g} times"
    )
    return ToneCheck(
        channel=channel,
        rms=float(level),
        frequency=float(found),
        difference=difference,
        sensitivity_ratio=ratio,
        rest=rest_db,
        met=met,
        text=text,
    )


def _sine(
    values: np.ndarray, sample_rate: float, frequency: float, where: str
) -> tuple[float, float, float]:
    """Frequency, amplitude, and rms of what is left, by Gauss-Newton from the largest amplitude."""
    window = np.hanning(values.size)
    power = np.abs(np.fft.rfft((values - values.mean()) * window)) ** 2
    frequencies = np.fft.rfftfreq(values.size, 1 / sample_rate)
    near = np.abs(frequencies - frequency) <= _SEARCHED * frequency + sample_rate / values.size
    found = float(frequencies[near][np.argmax(power[near])])
    scale = float(np.abs(values).max())
    if scale == 0.0:
        raise RecordingError(f"{where}: the channel is silent; there is no tone")
    unit = values / scale
    time = (np.arange(values.size) - values.size / 2) / sample_rate
    turn = 2 * np.pi * found * time
    fit = np.zeros(4)
    columns = np.stack([np.cos(turn), np.sin(turn), np.ones_like(turn)], axis=1)
    fit[:3] = np.linalg.lstsq(columns, unit, rcond=None)[0]
    for _ in range(8):
        turn = 2 * np.pi * found * time
        cosine, sine = np.cos(turn), np.sin(turn)
        slope = 2 * np.pi * time * (fit[1] * cosine - fit[0] * sine)
        columns = np.stack([cosine, sine, np.ones_like(turn), slope], axis=1)
        fit = np.linalg.lstsq(columns, unit, rcond=None)[0]
        # One step may not leave the lobe of the frequency it started from.
        found += float(np.clip(fit[3], -sample_rate / values.size, sample_rate / values.size))
    rest = unit - columns[:, :3] @ fit[:3]
    return found, float(np.hypot(fit[0], fit[1])) * scale, float(np.sqrt(np.mean(rest**2))) * scale
