"""Pictures of levels, isolation and margins.

Every function takes its data first and keywords after, draws on ``ax`` or on a new figure, and
returns the ``Axes``. None shows a figure or touches ``rcParams``; a style sheet is offered by
:func:`style_path` for those who want one::

    with matplotlib.style.context(groundborne.plot.style_path()):
        groundborne.plot.spectrum(level)

Series differ by colour (3:1 and more on white), by line and by marker, so that a figure reads in
grey and for the colour-blind. Names from the user are drawn as they stand: nothing in them is taken
for mathematics.
"""

from groundborne.plot.chain import chain
from groundborne.plot.columns import columns
from groundborne.plot.efficient_options import efficient_options
from groundborne.plot.floors import floors
from groundborne.plot.insertion_loss import insertion_loss
from groundborne.plot.margins import margins
from groundborne.plot.mean_spectra import mean_spectra
from groundborne.plot.measured_isolation import plot_measured_isolation
from groundborne.plot.measured_rooms import plot_measured_room
from groundborne.plot.measured_transfer import plot_causes, plot_fitted_transfer
from groundborne.plot.mode_shapes import mode_shapes
from groundborne.plot.needed_loss import needed_loss
from groundborne.plot.passbys import passbys
from groundborne.plot.plan import plan
from groundborne.plot.rated_spectrum import rated_spectrum
from groundborne.plot.resonances import resonances
from groundborne.plot.room_plan import plot_room_plan
from groundborne.plot.section import plot_section
from groundborne.plot.settlement import settlement
from groundborne.plot.spectrogram import spectrogram
from groundborne.plot.spectrum import spectrum
from groundborne.plot.stage_update import plot_stage_update
from groundborne.plot.stages import stages
from groundborne.plot.style import style_path
from groundborne.plot.time_history import time_history
from groundborne.plot.tornado import tornado
from groundborne.plot.vibration_curves import vibration_curves

__all__ = [
    "chain",
    "columns",
    "efficient_options",
    "floors",
    "insertion_loss",
    "margins",
    "mean_spectra",
    "mode_shapes",
    "needed_loss",
    "passbys",
    "plan",
    "plot_causes",
    "plot_fitted_transfer",
    "plot_measured_isolation",
    "plot_measured_room",
    "plot_room_plan",
    "plot_section",
    "plot_stage_update",
    "rated_spectrum",
    "resonances",
    "settlement",
    "spectrogram",
    "spectrum",
    "stages",
    "style_path",
    "time_history",
    "tornado",
    "vibration_curves",
]


def __dir__() -> list[str]:
    return list(__all__)
