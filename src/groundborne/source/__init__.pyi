"""Public names, and where they are defined; the one list of them."""

from groundborne.source.group_maximum import maximum_from_group as maximum_from_group
from groundborne.source.invented.site import (
    invented_recording as invented_recording,
)
from groundborne.source.invented.trains import (
    InventedTrain as InventedTrain,
)
from groundborne.source.passbys.background import (
    correct_for_background as correct_for_background,
)
from groundborne.source.passbys.extraction import (
    DetectionRule as DetectionRule,
    extract_passbys as extract_passbys,
)
from groundborne.source.passbys.file import (
    write_passbys as write_passbys,
)
from groundborne.source.passbys.measured import (
    MeasuredPassbys as MeasuredPassbys,
)
from groundborne.source.passbys.measuring import (
    measure_passbys as measure_passbys,
)
from groundborne.source.passbys.spectra import (
    Passbys as Passbys,
    read_passbys as read_passbys,
)
from groundborne.source.statistics import (
    maximum_coverage as maximum_coverage,
    percentile_error as percentile_error,
    prediction_factor as prediction_factor,
    summary as summary,
    tolerance_factor as tolerance_factor,
    trains_to_cover as trains_to_cover,
    trains_to_halve as trains_to_halve,
)
from groundborne.source.timetable import (
    class_fits as class_fits,
    mixed_percentile as mixed_percentile,
    period_equivalent as period_equivalent,
    period_maximum as period_maximum,
    resample as resample,
)
