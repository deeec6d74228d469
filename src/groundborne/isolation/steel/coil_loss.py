"""What coils of steel lose by themselves."""

from __future__ import annotations

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, within
from groundborne.citation import Citation

BARE_COIL_DAMPING = Citation(
    key="steel-coil-damping",
    author="common practice",
    title="loss factor of bare coils 0.002 to 0.02; 0.01 taken here",
    mark="common practice",
    status="practice",
)


MOST_COIL_LOSS = 0.02
"""Largest loss factor of coils without a damper [-], common practice."""


@checked
def coil_loss_statement(*, loss_factor: Numeric) -> str:
    """What to say of a loss factor that coils without a damper do not have; empty where they do.

    Parameters
    ----------
    loss_factor : float or DataArray
        Of steel springs [-], 0 to 1.

    Returns
    -------
    str
        A sentence where it is above 0.02: it would hide the resonance and the surge of the coils,
        whose peaks are 20 to 30 dB high.

    Raises
    ------
    ValueError
        A loss factor out of bounds.

    References
    ----------
    Common practice.

    Examples
    --------
    >>> coil_loss_statement(loss_factor=0.01)
    ''
    >>> coil_loss_statement(loss_factor=0.1)[:51]
    'loss factor 0.1 is more than coils have by themselv'
    """
    within("coil_loss_statement", "loss_factor", loss_factor, 0.0, 1.0, "")
    most = float(np.max(np.asarray(loss_factor)))
    if most <= MOST_COIL_LOSS:
        return ""
    return (
        f"loss factor {most:g} is more than coils have by themselves, 0.002 to {MOST_COIL_LOSS:g} "
        "(common practice): give the damper beside them or the pad below them, or 0.01 without"
    )
