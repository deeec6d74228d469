"""Public names, and where they are defined; the one list of them."""

from groundborne.waveform.averaging import Averaging as Averaging
from groundborne.waveform.filtering import weighted as weighted
from groundborne.waveform.integration import differentiate as differentiate
from groundborne.waveform.integration import integrate as integrate
from groundborne.waveform.running import (
    RunningMeanSquare as RunningMeanSquare,
)
from groundborne.waveform.running import (
    running_mean_square as running_mean_square,
)
