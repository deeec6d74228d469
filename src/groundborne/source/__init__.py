"""What the trains do: passbys from recordings, their statistics, timetables."""

from groundborne._later import stub

__getattr__, __dir__, __all__ = stub(
    __name__, moved=("groundborne.records", "groundborne.waveform")
)
