"""Pictures of levels, isolation and margins.

Every function takes its data first and keywords after, draws on ``ax`` or on a new figure, and
returns the ``Axes``. None shows a figure or touches ``rcParams``; a style sheet is offered by
:func:`style_path` for those who want one::

    with matplotlib.style.context(groundborne.plot.style_path()):
        groundborne.plot.spectrum(level)

Series differ by colour (Okabe and Ito's palette), by line and by marker, so that a figure reads in
grey and for the colour-blind. Names from the user are drawn as they stand: nothing in them is taken
for mathematics.
"""

from groundborne.plot.columns import columns
from groundborne.plot.ladder import stages
from groundborne.plot.losses import insertion_loss
from groundborne.plot.means import mean_spectra
from groundborne.plot.meetings import resonances
from groundborne.plot.mode_shapes import mode_shapes
from groundborne.plot.recordings import time_history
from groundborne.plot.sensitivity import vibration_curves
from groundborne.plot.settlement import settlement
from groundborne.plot.spectra import spectrum
from groundborne.plot.spectrograms import spectrogram
from groundborne.plot.storeys import floors
from groundborne.plot.style import style_path
from groundborne.plot.trains import passbys
from groundborne.plot.verdicts import options

__all__ = [
    "columns",
    "floors",
    "insertion_loss",
    "mean_spectra",
    "mode_shapes",
    "options",
    "passbys",
    "resonances",
    "settlement",
    "spectrogram",
    "spectrum",
    "stages",
    "style_path",
    "time_history",
    "vibration_curves",
]


def __dir__() -> list[str]:
    return list(__all__)
