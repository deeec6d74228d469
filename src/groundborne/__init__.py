"""Ground-borne noise and vibration in buildings near railways.

From measured train passbys to the noise in every room, before and after isolation. A notebook
starts with the names below; everything else is in the subpackages ``bands``, ``levels``,
``loads``, ``weighting``, ``waveform``, ``records``, ``source``, ``propagation``, ``structure``,
``isolation``, ``receiver``, ``rating``, ``sizing``, ``study``, ``commissioning``, ``plot`` and
``report``.
"""

from groundborne._later import stub

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = stub(__name__)
