"""Loads of columns, at the isolation plane and floor by floor, and their share that moves.

Sizing combines them into cases; a study takes from them what mounts carry and what its column lines
weigh.
"""

from groundborne.loads.column_loads import ColumnLoads
from groundborne.loads.psi import PSI, Psi, psi_factors
from groundborne.loads.reader import read_loads

__all__ = ["PSI", "ColumnLoads", "Psi", "psi_factors", "read_loads"]


def __dir__() -> list[str]:
    return list(__all__)
