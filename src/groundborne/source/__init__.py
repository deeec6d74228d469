"""What the trains do: recordings, their events, and passby spectra."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
