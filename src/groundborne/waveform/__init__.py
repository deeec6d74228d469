"""Time records: integration, weighting, running means, one-third-octave bank."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
