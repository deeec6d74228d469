"""Samples of an uncertain parameter on the dimension ``sample``."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import xarray as xr

from groundborne._arguments import checked


class Distribution(Protocol):
    """A frozen scipy.stats distribution, or anything that draws like one."""

    def rvs(self, size: int, random_state: np.random.Generator) -> Any:
        """Draw `size` values."""
        ...


@checked
def sample(distribution: Distribution, *, size: int, seed: int) -> xr.DataArray:
    """Draw a parameter on the dimension ``sample``; any element then carries it through.

    Parameters
    ----------
    distribution : frozen scipy.stats distribution
        In the unit of the parameter.
    size : int
        Number of samples, at least 1. Parameters of one study need the same size.
    seed : int
        Seed of the random generator, so that the result can be repeated. Give each independent
        parameter its own.

    Returns
    -------
    xarray.DataArray
        Values on ``sample``.

    Raises
    ------
    ValueError
        A size below 1, or a distribution that draws something not finite.

    Examples
    --------
    >>> from scipy import stats
    >>> speed = sample(stats.norm(220.0, 15.0), size=1000, seed=1)
    >>> speed.dims, bool(abs(speed.mean() - 220.0) < 3.0)
    (('sample',), True)
    """
    if size < 1:
        raise ValueError(f"sample: size is {size}; at least 1 is needed")
    if seed < 0:
        raise ValueError(f"sample: seed is {seed}; it must be 0 or more")
    values = np.asarray(
        distribution.rvs(size=size, random_state=np.random.default_rng(seed)), float
    )
    if values.shape != (size,) or not np.isfinite(values).all():
        raise ValueError("sample: the distribution must draw one finite number per sample")
    return xr.DataArray(values, dims="sample")
