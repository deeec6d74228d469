"""What the trains do: recordings, their events, and passby spectra."""

import importlib
from typing import TYPE_CHECKING, Any

from groundborne.source.passbys import Passbys, read_passbys

if TYPE_CHECKING:
    from groundborne.source.background import (
        correct_for_background,
    )
    from groundborne.source.channel import (
        Channel,
    )
    from groundborne.source.detection import (
        band_history,
        events_at,
        find_events,
    )
    from groundborne.source.events import (
        Events,
        judge_events,
    )
    from groundborne.source.extraction import (
        DetectionRule,
        extract_passbys,
    )
    from groundborne.source.filterbank import (
        ThirdOctaveBank,
    )
    from groundborne.source.invented_site import (
        invented_recording,
    )
    from groundborne.source.invented_trains import (
        InventedTrain,
    )
    from groundborne.source.measured import (
        MeasuredPassbys,
    )
    from groundborne.source.miniseed import (
        read_miniseed,
    )
    from groundborne.source.noise_models import (
        new_high_noise_model,
        new_low_noise_model,
    )
    from groundborne.source.passby import (
        measure_passbys,
    )
    from groundborne.source.passby_file import (
        write_passbys,
    )
    from groundborne.source.recording import (
        Recording,
        RecordingWarning,
    )
    from groundborne.source.recording_checks import (
        clipping,
        noise_model_departure,
        require_rate,
    )
    from groundborne.source.statistics import (
        maximum_coverage,
        maximum_from_group,
        percentile_error,
        prediction_factor,
        summary,
        tolerance_factor,
        trains_to_cover,
        trains_to_halve,
    )
    from groundborne.source.text_recording import (
        read_text_recording,
    )
    from groundborne.source.timetable import (
        class_fits,
        mixed_percentile,
        period_equivalent,
        period_maximum,
        resample,
    )
    from groundborne.source.tone_check import (
        ToneCheck,
        check_tone,
    )
    from groundborne.source.uff import (
        read_uff,
    )
    from groundborne.source.wav import (
        read_wav,
        stream_wav,
    )

__all__ = [
    "Channel",
    "DetectionRule",
    "Events",
    "InventedTrain",
    "MeasuredPassbys",
    "Passbys",
    "Recording",
    "RecordingWarning",
    "ThirdOctaveBank",
    "ToneCheck",
    "band_history",
    "check_tone",
    "class_fits",
    "clipping",
    "correct_for_background",
    "events_at",
    "extract_passbys",
    "find_events",
    "invented_recording",
    "judge_events",
    "maximum_coverage",
    "maximum_from_group",
    "measure_passbys",
    "mixed_percentile",
    "new_high_noise_model",
    "new_low_noise_model",
    "noise_model_departure",
    "percentile_error",
    "period_equivalent",
    "period_maximum",
    "prediction_factor",
    "read_miniseed",
    "read_passbys",
    "read_text_recording",
    "read_uff",
    "read_wav",
    "require_rate",
    "resample",
    "stream_wav",
    "summary",
    "tolerance_factor",
    "trains_to_cover",
    "trains_to_halve",
    "write_passbys",
]

# A study starts from passby spectra and needs none of them.
_LATER = {
    "background": ("correct_for_background",),
    "channel": ("Channel",),
    "detection": (
        "band_history",
        "events_at",
        "find_events",
    ),
    "events": (
        "Events",
        "judge_events",
    ),
    "extraction": (
        "DetectionRule",
        "extract_passbys",
    ),
    "filterbank": ("ThirdOctaveBank",),
    "invented_site": ("invented_recording",),
    "invented_trains": ("InventedTrain",),
    "measured": ("MeasuredPassbys",),
    "miniseed": ("read_miniseed",),
    "noise_models": (
        "new_high_noise_model",
        "new_low_noise_model",
    ),
    "passby": ("measure_passbys",),
    "passby_file": ("write_passbys",),
    "recording": (
        "Recording",
        "RecordingWarning",
    ),
    "recording_checks": (
        "clipping",
        "noise_model_departure",
        "require_rate",
    ),
    "statistics": (
        "maximum_coverage",
        "maximum_from_group",
        "percentile_error",
        "prediction_factor",
        "summary",
        "tolerance_factor",
        "trains_to_cover",
        "trains_to_halve",
    ),
    "text_recording": ("read_text_recording",),
    "timetable": (
        "class_fits",
        "mixed_percentile",
        "period_equivalent",
        "period_maximum",
        "resample",
    ),
    "tone_check": (
        "ToneCheck",
        "check_tone",
    ),
    "uff": ("read_uff",),
    "wav": ("read_wav", "stream_wav"),
}
_MODULE_OF = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    module = _MODULE_OF.get(name, name if name in _LATER else None)
    if module is None:
        raise AttributeError(f"module 'groundborne.source' has no attribute {name!r}")
    found = importlib.import_module(f"groundborne.source.{module}")
    return found if name in _LATER else getattr(found, name)
