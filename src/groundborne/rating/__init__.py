"""Ratings of room noise and of vibration, and the criteria they are held against."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
