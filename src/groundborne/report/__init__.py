"""A study as a document: assessment, pictures, inputs and sources in one folder."""

from groundborne.report.again import Rerun, rerun
from groundborne.report.assessment import assessment_table, assessment_text
from groundborne.report.correction import write_correction
from groundborne.report.document import write_report
from groundborne.report.equipment import equipment_table
from groundborne.report.folder import check_folder
from groundborne.report.handover import Handover
from groundborne.report.handover_tables import handover_frames
from groundborne.report.notes import warnings_text
from groundborne.report.release import write_method_statement
from groundborne.report.schedule import write_schedule

__all__ = [
    "Handover",
    "Rerun",
    "assessment_table",
    "assessment_text",
    "check_folder",
    "equipment_table",
    "handover_frames",
    "rerun",
    "warnings_text",
    "write_correction",
    "write_method_statement",
    "write_report",
    "write_schedule",
]


def __dir__() -> list[str]:
    return list(__all__)
