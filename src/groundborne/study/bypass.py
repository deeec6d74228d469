"""What passes beside the mounts of an isolation plane without being drawn.

Two things stand beside every mount that nobody lists: stiffness that crosses the plane, and energy
that arrives by other ways altogether. Both are counted unless a study says why not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, StudyError, not_negative, within
from groundborne.citation import Citation
from groundborne.isolation import (
    CrossedMount,
    Crossing,
    EnergyPath,
    InService,
    Mount,
    stage_paths,
)
from groundborne.isolation.crossings import UNLISTED_SHARE

BYPASSES = ("of the stages", "stated", "none")
"""How study files say by which ways energy arrives beside mounts."""
UNLISTED = "crossings that are not listed"
"""What they are called in notes."""
STATED = "the way that is stated beside the mounts"
"""Name of an energy path that a study states."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Bypass:
    """What is counted beside mounts and listed crossings of an isolation plane.

    Parameters
    ----------
    paths : tuple of EnergyPath, optional
        Ways by which energy arrives apart from the mounts; by default that of the stages of the
        mount, see :func:`~groundborne.isolation.stage_paths`. Empty for none, and then `reason`.
    unlisted_share : float or DataArray
        Stiffness of crossings that nobody listed over that of the mounts [-], 0 to 10; 0 where
        every crossing is listed.
    reason : str
        Where a stated path comes from, or why none is counted.

    Raises
    ------
    ValueError
        A share out of bounds, no path and no reason, or a reduction by band, since levels are asked
        for in other bands too.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> spring = LinearMount(stiffness=4e6, loss_factor=0.02)
    >>> round(Bypass().passed(spring), 5)
    0.00316
    """

    paths: tuple[EnergyPath, ...] | None = None
    unlisted_share: Numeric = UNLISTED_SHARE
    reason: str = ""

    def __post_init__(self) -> None:
        not_negative("Bypass", "unlisted_share", self.unlisted_share, "")
        within("Bypass", "unlisted_share", self.unlisted_share, 0.0, 10.0, "")
        if self.paths == () and not self.reason.strip():
            raise StudyError("Bypass: there is no path beside the mounts; give the reason")
        for path in self.paths or ():
            if "frequency" in getattr(path.reduction, "dims", ()):
                raise StudyError(
                    f"Bypass: the reduction of {path.name!r} is given by band; give one number, "
                    "since levels are asked for in other bands too"
                )

    def of(self, mount: Mount) -> tuple[EnergyPath, ...]:
        """Ways beside a mount."""
        return stage_paths(mount) if self.paths is None else self.paths

    def passed(self, mount: Mount) -> Numeric:
        """Energy that arrives by them over that without isolation [-]; 0 without any."""
        total: Any = sum(10.0 ** (-path.reduction / 10) for path in self.of(mount))
        return total if isinstance(total, xr.DataArray) else float(total)

    def citations(self, mount: Mount) -> tuple[Citation, ...]:
        """Sources of the ways."""
        return tuple(dict.fromkeys(c for path in self.of(mount) for c in path.sources))

    def unlisted(self, mount: Mount, weights: xr.DataArray) -> tuple[Crossing, ...]:
        """Crossings that nobody listed, beside all mounts together; none at a share of 0.

        Parameters
        ----------
        mount : Mount
            At the plane.
        weights : DataArray
            Share of each column in the floor area carried [-], on ``column``; 1 for one line.
        """
        if not np.any(np.asarray(self.unlisted_share) > 0):
            return ()
        springs = mount
        while isinstance(springs, (CrossedMount, InService)):  # what crosses does not age with it
            springs = springs.mount
        # Where some samples have none, the others still do.
        unit = Crossing.unlisted(springs, share=1.0, name=UNLISTED)
        alike = weights.sizes.get("column", 1)
        held = springs.dynamic_stiffness(xr.DataArray([1.0], dims="frequency"))
        count = alike if "column" not in held.dims else 1
        return (replace(unit, stiffness=unit.stiffness * self.unlisted_share * count),)


NO_BYPASS = Bypass(paths=(), unlisted_share=0.0, reason="mounts alone are meant")
"""Mounts alone, as an idealisation."""
