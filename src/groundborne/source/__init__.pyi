"""Public names, and where they are defined; the one list of them."""

from groundborne.source.background import correct_for_background as correct_for_background
from groundborne.source.channel import Channel as Channel
from groundborne.source.detection import (
    band_history as band_history,
)
from groundborne.source.detection import (
    events_at as events_at,
)
from groundborne.source.detection import (
    find_events as find_events,
)
from groundborne.source.events import Events as Events
from groundborne.source.events import judge_events as judge_events
from groundborne.source.extraction import (
    DetectionRule as DetectionRule,
)
from groundborne.source.extraction import (
    extract_passbys as extract_passbys,
)
from groundborne.source.filter_limits import (
    BREAKPOINTS as BREAKPOINTS,
)
from groundborne.source.filter_limits import (
    CLASS_LIMITS as CLASS_LIMITS,
)
from groundborne.source.filter_limits import (
    EFFECTIVE_BANDWIDTH as EFFECTIVE_BANDWIDTH,
)
from groundborne.source.filter_limits import (
    LEVEL_LINEARITY as LEVEL_LINEARITY,
)
from groundborne.source.filter_limits import (
    SUMMATION as SUMMATION,
)
from groundborne.source.filter_limits import (
    breakpoint_ratios as breakpoint_ratios,
)
from groundborne.source.filter_limits import (
    class_limits as class_limits,
)
from groundborne.source.filterbank import ThirdOctaveBank as ThirdOctaveBank
from groundborne.source.invented_site import invented_recording as invented_recording
from groundborne.source.invented_trains import InventedTrain as InventedTrain
from groundborne.source.measured import MeasuredPassbys as MeasuredPassbys
from groundborne.source.miniseed import read_miniseed as read_miniseed
from groundborne.source.noise_models import (
    new_high_noise_model as new_high_noise_model,
)
from groundborne.source.noise_models import (
    new_low_noise_model as new_low_noise_model,
)
from groundborne.source.passby import measure_passbys as measure_passbys
from groundborne.source.passby_file import write_passbys as write_passbys
from groundborne.source.passbys import Passbys as Passbys
from groundborne.source.passbys import read_passbys as read_passbys
from groundborne.source.recording import (
    Recording as Recording,
)
from groundborne.source.recording import (
    RecordingWarning as RecordingWarning,
)
from groundborne.source.recording_checks import (
    clipping as clipping,
)
from groundborne.source.recording_checks import (
    noise_model_departure as noise_model_departure,
)
from groundborne.source.recording_checks import (
    require_rate as require_rate,
)
from groundborne.source.statistics import (
    maximum_coverage as maximum_coverage,
)
from groundborne.source.statistics import (
    maximum_from_group as maximum_from_group,
)
from groundborne.source.statistics import (
    percentile_error as percentile_error,
)
from groundborne.source.statistics import (
    prediction_factor as prediction_factor,
)
from groundborne.source.statistics import (
    summary as summary,
)
from groundborne.source.statistics import (
    tolerance_factor as tolerance_factor,
)
from groundborne.source.statistics import (
    trains_to_cover as trains_to_cover,
)
from groundborne.source.statistics import (
    trains_to_halve as trains_to_halve,
)
from groundborne.source.text_recording import read_text_recording as read_text_recording
from groundborne.source.timetable import (
    class_fits as class_fits,
)
from groundborne.source.timetable import (
    mixed_percentile as mixed_percentile,
)
from groundborne.source.timetable import (
    period_equivalent as period_equivalent,
)
from groundborne.source.timetable import (
    period_maximum as period_maximum,
)
from groundborne.source.timetable import (
    resample as resample,
)
from groundborne.source.tone_check import ToneCheck as ToneCheck
from groundborne.source.tone_check import check_tone as check_tone
from groundborne.source.uff import read_uff as read_uff
from groundborne.source.wav import read_wav as read_wav
from groundborne.source.wav import stream_wav as stream_wav
