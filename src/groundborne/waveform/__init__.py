"""Time records: integration, weighting and running means."""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from groundborne.waveform.averaging import Averaging
    from groundborne.waveform.filtering import weighted
    from groundborne.waveform.integration import differentiate, integrate
    from groundborne.waveform.running import RunningMeanSquare, running_mean_square

__all__ = [
    "Averaging",
    "RunningMeanSquare",
    "differentiate",
    "integrate",
    "running_mean_square",
    "weighted",
]

# A prediction starts from band levels and needs no records.
_LATER = {
    "averaging": ("Averaging",),
    "integration": ("differentiate", "integrate"),
    "running": ("RunningMeanSquare", "running_mean_square"),
    "filtering": ("weighted",),
}
_MODULE_OF = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    module = _MODULE_OF.get(name, name if name in _LATER else None)
    if module is None:
        raise AttributeError(f"module 'groundborne.waveform' has no attribute {name!r}")
    found = importlib.import_module(f"groundborne.waveform.{module}")
    return found if name in _LATER else getattr(found, name)
