from groundborne.study.assessment import assess as assess
from groundborne.study.building import Building as Building
from groundborne.study.deciding import (
    deciding_sources as deciding_sources,
    error_budget as error_budget,
)
from groundborne.study.efficient import efficient_set as efficient_set
from groundborne.study.equipment import equipment_assessment as equipment_assessment
from groundborne.study.evaluation import (
    evaluate as evaluate,
    room_levels as room_levels,
    stage_changes as stage_changes,
)
from groundborne.study.files import read_study as read_study
from groundborne.study.frame import Frame as Frame
from groundborne.study.least_effort import (
    least_option as least_option,
    stiffest_mount as stiffest_mount,
)
from groundborne.study.measuring import best_measurements as best_measurements
from groundborne.study.mechanics import sampled_mechanics as sampled_mechanics
from groundborne.study.natural_frequencies import (
    Resonance as Resonance,
    coincidences as coincidences,
    resonances as resonances,
)
from groundborne.study.needed import needed_isolation as needed_isolation
from groundborne.study.note import Note as Note, Severity as Severity, notes_of as notes_of
from groundborne.study.note_words import sentence as sentence
from groundborne.study.option import Option as Option, RoomMeasure as RoomMeasure
from groundborne.study.period import Period as Period
from groundborne.study.plane import (
    MobilityPlane as MobilityPlane,
    Plane as Plane,
    tuned_mount as tuned_mount,
)
from groundborne.study.result import read_result as read_result, save_result as save_result
from groundborne.study.spreads import study_spreads as study_spreads
from groundborne.study.study import Study as Study
from groundborne.study.sureness import how_sure as how_sure
from groundborne.study.transfers import read_transfers as read_transfers
