"""Mounts and what they gain: under the building and in the room."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
