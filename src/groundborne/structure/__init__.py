"""The building and the soil as mobilities."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
