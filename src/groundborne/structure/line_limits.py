"""Bands in which a column line is known to fail against published means of buildings."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne.structure.column_line import ColumnLine
from groundborne.structure.ladder import distinct
from groundborne.structure.slab import LOADS, FlatSlab

BLOCKED = (1.0, 1.6)
"""Bands over the first resonance of equal slabs in which columns in phase hold each other still;
found on generic buildings against E DIN 45672-3:2023 Annex A."""

STOREYS_IN_PHASE = 3
"""Slabs in a line from which on blocked ones add up; common practice."""

STOREYS_ENDLESS = 8
"""Slabs up to which endless plates are fair: each storey loses energy for good. Found on the same
buildings: of 24 storeys no band at the top was inside the published limits."""

_NO_RIGID_BODY = 2.0
"""Frequencies over that of mounts up to which a building on them moves as one body."""


@checked
def known_failures(frequency: Frequency, *, line: ColumnLine) -> xr.DataArray:
    """Bands in which an idealisation that was asked for is known to be wrong by many decibels.

    Parameters
    ----------
    frequency : DataArray
        Nominal bands [Hz].
    line : ColumnLine
        As built or on mounts.

    Returns
    -------
    DataArray of bool
        On ``frequency``: true where the line fails. With columns in phase, three flat slabs or
        more fail from 1.0 to 1.6 times their first resonances; ``uniform`` phases know no rigid
        body, and fail on mounts up to twice their frequency; more than eight slabs that load their
        columns as endless plates fail everywhere. The window of
        :class:`~groundborne.structure.ColumnPhases` has no such band, which does not make it right:
        it strays from published means by 5 dB rms.

    References
    ----------
    E DIN 45672-3:2023 Annex A [seen second-hand], means of buildings, against generic buildings
    (``tests/statistics``).

    Examples
    --------
    >>> from groundborne.structure import RigidMass, SpringFoundation, Storey
    >>> slab = FlatSlab(span_x=6.5, span_y=5.85, thickness=0.22, youngs_modulus=30e9,
    ...                 density=2400.0, poisson=0.2, loss_factor=0.06, superimposed_mass=150.0)
    >>> storeys = tuple(Storey(floor=n, height=3.0, area=0.16, youngs_modulus=33e9, density=2450.0,
    ...                        loss_factor=0.02, slab=slab) for n in (1, 2, 3))
    >>> line = ColumnLine(storeys=storeys, foundation=SpringFoundation(stiffness=1e9, damping=6e6))
    >>> bands = xr.DataArray([10.0, 12.5, 16.0, 20.0, 25.0], dims="frequency",
    ...                      coords={"frequency": [10.0, 12.5, 16.0, 20.0, 25.0]})
    >>> known_failures(bands, line=line).values.tolist()
    [False, True, True, True, False]
    """
    labels = frequency["frequency"]
    failing: xr.DataArray = xr.zeros_like(labels, dtype=bool).reset_coords(drop=True)
    flat = [slab for slab in line.slabs if isinstance(slab, FlatSlab)]
    if sum(slab.load != LOADS[0] for slab in flat) > STOREYS_ENDLESS:
        return ~failing
    panels = [slab for slab in flat if slab.load == LOADS[0]]
    if line.phases.in_phase and len(panels) >= STOREYS_IN_PHASE:
        for slab in distinct(panels)[0]:
            first = np.asarray(slab.first_resonance)
            low, high = BLOCKED[0] * first.min(), BLOCKED[1] * first.max()
            failing = failing | ((labels >= low / _HALF_BAND) & (labels <= high * _HALF_BAND))
    if line.phases.kind == "uniform" and line.isolation is not None:
        highest = float(np.max(np.asarray(line.rigid_body_frequency())))
        failing = failing | (labels <= _NO_RIGID_BODY * highest * _HALF_BAND)
    return failing


_HALF_BAND = 10**0.05
"""From the centre of a one-third octave to its edge [-]."""
