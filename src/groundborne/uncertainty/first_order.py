"""What each source of error adds to the uncertainty of a level: to first order."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne.uncertainty.correlation import band_correlation
from groundborne.uncertainty.spread import Spread


@checked
def budget(
    spreads: Sequence[Spread], *, share: xr.DataArray, quantity: str = "sound pressure"
) -> xr.DataArray:
    """Standard deviation of a level by each source of error, to first order.

    Parameters
    ----------
    spreads : sequence of Spread
        Independent of each other.
    share : DataArray
        What each band has of the energy that makes the level [-], on ``frequency``; they add up
        to 1.
    quantity : str
        ``sound pressure`` or ``velocity``.

    Returns
    -------
    xarray.DataArray
        ``√(Σ_ij p_i p_j σ_i σ_j R_ij)`` [dB] on ``source_of_error`` and the dims of share and
        spreads without ``frequency``. Variances add up to that of the whole.

    Notes
    -----
    The slope of a sum of bands is the energy share of each; of a maximum of bands it is 1 in the
    largest. Far from small errors the samples differ: see the sampled result beside it.

    References
    ----------
    Law of propagation of uncertainty, JCGM 100:2008, 5.2 [from memory].

    Examples
    --------
    >>> f = [50.0, 63.0]
    >>> share = xr.DataArray([0.5, 0.5], coords={"frequency": f}, dims="frequency")
    >>> together = Spread(name="trains", of_sound=4.0, bands_correlated=float("inf"))
    >>> budget([together], share=share).values.round(3).tolist()
    [4.0]
    """
    if not len(spreads):
        raise ValueError("budget: spreads is empty; at least one is needed")
    rows: list[xr.DataArray] = []
    for spread in spreads:
        correlation = band_correlation(share["frequency"], length=spread.bands_correlated)
        weighted = share * spread.of(quantity)
        other = weighted.rename(frequency="other")
        variance = (weighted * correlation * other).sum(["frequency", "other"])
        rows.append(xr.DataArray(np.sqrt(variance.clip(min=0.0))))
    names = [spread.name for spread in spreads]
    each: list[xr.DataArray] = list(xr.broadcast(*rows))
    found: xr.DataArray = xr.concat(
        each, dim="source_of_error", coords="minimal", compat="override"
    )
    found = found.assign_coords(source_of_error=names)
    found.attrs = {"long_name": "standard deviation by source of error", "units": "dB"}
    return found
