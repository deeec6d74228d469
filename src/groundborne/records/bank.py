"""The filter bank of a recording, refused with its file and channels where it is too slow."""

from __future__ import annotations

from groundborne._checks import RecordingError
from groundborne.records.recording import Recording
from groundborne.waveform.filterbank.bank import ThirdOctaveBank


def bank_of(recording: Recording, *, low: float, high: float) -> ThirdOctaveBank:
    """Bank for the rate of a recording.

    Parameters
    ----------
    recording : Recording
        Gives rate, file and channels.
    low, high : float
        Nominal labels of the lowest and highest band [Hz].

    Raises
    ------
    RecordingError
        The rate is too low for the bands; the sentence names file and channels.

    Examples
    --------
    >>> import xarray as xr
    >>> signal = xr.DataArray([[0.0] * 512], dims=("channel", "time"), coords={"channel": ["z"]},
    ...                       attrs={"quantity": "velocity", "units": "m/s"})
    >>> recording = Recording(signal=signal, sample_rate=512.0, file="hall.wav")
    >>> bank_of(recording, low=5.0, high=160.0).sample_rate
    512.0
    """
    try:
        return ThirdOctaveBank(sample_rate=recording.sample_rate, low=low, high=high)
    except RecordingError as error:
        channels = ", ".join(recording.channels)
        raise RecordingError(
            f"{recording.file or 'recording'}, channels {channels}: {error}"
        ) from None
