"""How sure a number is: spreads of levels, samples of them, what they add up to, what decides."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(__name__)
