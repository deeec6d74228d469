from groundborne import (
    bands as bands,
    commissioning as commissioning,
    isolation as isolation,
    levels as levels,
    loads as loads,
    plot as plot,
    propagation as propagation,
    rating as rating,
    receiver as receiver,
    records as records,
    report as report,
    sizing as sizing,
    source as source,
    structure as structure,
    study as study,
    waveform as waveform,
    weighting as weighting,
)
from groundborne.citation import Citation as Citation, ValidityWarning as ValidityWarning
from groundborne.path import PathElement as PathElement, TransmissionPath as TransmissionPath
from groundborne.rating import Criterion as Criterion
from groundborne.receiver import Room as Room
from groundborne.sampling import sample as sample
from groundborne.study import (
    Option as Option,
    Study as Study,
    evaluate as evaluate,
    read_result as read_result,
    read_study as read_study,
    save_result as save_result,
)
from groundborne.twoport import TwoPort as TwoPort
from groundborne.usual_ranges import UnusualValueWarning as UnusualValueWarning

__version__: str
