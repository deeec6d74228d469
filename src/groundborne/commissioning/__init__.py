"""Commissioning: measured against predicted, faults found, the next prediction better."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
