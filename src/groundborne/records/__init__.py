"""Recordings of vibration: read, checked, and the events in them."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
