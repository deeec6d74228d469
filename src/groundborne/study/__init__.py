"""Studies: a building, its trains, criteria and options, evaluated as a whole."""

from groundborne.study.assessment import assess
from groundborne.study.building import Building
from groundborne.study.equipment import equipment_assessment
from groundborne.study.evaluation import evaluate, room_levels, stage_changes
from groundborne.study.files import read_study
from groundborne.study.frame import Frame
from groundborne.study.note import Note, Severity, notes_of
from groundborne.study.note_words import sentence
from groundborne.study.option import Option, RoomMeasure
from groundborne.study.period import Period
from groundborne.study.plane import MobilityPlane, Plane, tuned_mount
from groundborne.study.resonances import Resonance, coincidences, resonances
from groundborne.study.result import read_result, save_result
from groundborne.study.study import Study
from groundborne.study.transfers import read_transfers

__all__ = [
    "Building",
    "Frame",
    "MobilityPlane",
    "Note",
    "Option",
    "Period",
    "Plane",
    "Resonance",
    "RoomMeasure",
    "Severity",
    "Study",
    "assess",
    "coincidences",
    "equipment_assessment",
    "evaluate",
    "notes_of",
    "read_result",
    "read_study",
    "read_transfers",
    "resonances",
    "room_levels",
    "save_result",
    "sentence",
    "stage_changes",
    "tuned_mount",
]


def __dir__() -> list[str]:
    return list(__all__)
