"""Public names, and where they are defined; the one list of them."""

from groundborne.records.channel import (
    Channel as Channel,
)
from groundborne.records.checks.faults import (
    clipping as clipping,
    noise_model_departure as noise_model_departure,
    require_rate as require_rate,
)
from groundborne.records.checks.noise_models import (
    new_high_noise_model as new_high_noise_model,
    new_low_noise_model as new_low_noise_model,
)
from groundborne.records.checks.tone import (
    ToneCheck as ToneCheck,
    check_tone as check_tone,
)
from groundborne.records.detection import events_at as events_at, find_events as find_events
from groundborne.records.events import (
    Events as Events,
    judge_events as judge_events,
)
from groundborne.records.history import band_history as band_history
from groundborne.records.readers.miniseed import (
    read_miniseed as read_miniseed,
)
from groundborne.records.readers.text import (
    read_text_recording as read_text_recording,
)
from groundborne.records.readers.uff import (
    read_uff as read_uff,
)
from groundborne.records.readers.wav import (
    read_wav as read_wav,
    stream_wav as stream_wav,
)
from groundborne.records.recording import (
    Recording as Recording,
    RecordingWarning as RecordingWarning,
)
