"""Public names, and where they are defined; the one list of them."""

from groundborne.waveform.averaging import (
    Averaging as Averaging,
)
from groundborne.waveform.filterbank.bank import (
    ThirdOctaveBank as ThirdOctaveBank,
)
from groundborne.waveform.filterbank.limits import (
    BREAKPOINTS as BREAKPOINTS,
    CLASS_LIMITS as CLASS_LIMITS,
    EFFECTIVE_BANDWIDTH as EFFECTIVE_BANDWIDTH,
    LEVEL_LINEARITY as LEVEL_LINEARITY,
    SUMMATION as SUMMATION,
    breakpoint_ratios as breakpoint_ratios,
    class_limits as class_limits,
)
from groundborne.waveform.filtering import (
    weighted as weighted,
)
from groundborne.waveform.integration import (
    differentiate as differentiate,
    integrate as integrate,
)
from groundborne.waveform.running import (
    RunningMeanSquare as RunningMeanSquare,
    running_mean_square as running_mean_square,
)
