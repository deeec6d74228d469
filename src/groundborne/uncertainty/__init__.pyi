"""Public names, and where they are defined; the one list of them."""

from groundborne.uncertainty.alternative import (
    Alternative as Alternative,
    require_stages as require_stages,
    shared_out as shared_out,
)
from groundborne.uncertainty.correlation import (
    BANDS_CORRELATED as BANDS_CORRELATED,
    band_correlation as band_correlation,
    correlation_root as correlation_root,
)
from groundborne.uncertainty.dask_client import mapper_of as mapper_of
from groundborne.uncertainty.distribution import (
    DISTRIBUTIONS as DISTRIBUTIONS,
    Distribution as Distribution,
    Uncertain as Uncertain,
)
from groundborne.uncertainty.draws import BLOCK as BLOCK, Draws as Draws
from groundborne.uncertainty.first_order import budget as budget
from groundborne.uncertainty.sobol import sobol_indices as sobol_indices
from groundborne.uncertainty.spread import Spread as Spread
from groundborne.uncertainty.tally import Tally as Tally
