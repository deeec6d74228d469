"""Studies: a building, its trains, criteria and options, evaluated as a whole."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
