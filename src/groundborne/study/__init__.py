"""Studies: a building, its trains, criteria and options, evaluated as a whole."""

from groundborne.study.building import Building
from groundborne.study.evaluation import evaluate, room_levels, stage_changes
from groundborne.study.files import read_study
from groundborne.study.model import Study
from groundborne.study.option import IsolationPlane, Option, RoomMeasure
from groundborne.study.result import read_result, save_result
from groundborne.study.verdict import Period, rate

__all__ = [
    "Building",
    "IsolationPlane",
    "Option",
    "Period",
    "RoomMeasure",
    "Study",
    "evaluate",
    "rate",
    "read_result",
    "read_study",
    "room_levels",
    "save_result",
    "stage_changes",
]
