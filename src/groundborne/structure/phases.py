"""How the columns of a grid move against each other: in phase, or as waves reach them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, finite, known, positive, within
from groundborne.citation import Citation

BLOCH = Citation(
    key="bloch-phases",
    author="groundborne",
    title="columns of a regular grid with phases from Bloch's theorem, mean square over phases",
    mark="derived",
    status="transcribed",
)
WINDOW = Citation(
    key="phase-window-200",
    author="groundborne",
    title="phases of waves of 200 m/s and faster, a speed fitted in view of the means of E DIN "
    "45672-3:2023, Annex A",
    mark="derived",
    status="assumed",
)
APPARENT_SPEED = 200.0
"""Of the window [m/s] where none is given: fitted, being chosen in view of the means of E DIN
45672-3:2023 Annex A, which therefore cannot validate it."""
KINDS = ("window", "uniform", "in phase", "wave")
"""Sets of phases: see :class:`ColumnPhases`."""
_SEED = 20
DIMS = ("phase_x", "phase_y")
"""Dims of a set of phases, one for each axis of the grid."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class ColumnPhases:
    """Phases with which the columns of a regular grid move.

    Parameters
    ----------
    kind : str
        ``window``: all phases that waves of the apparent speed or faster ones make, alike likely;
        ``uniform``: all phases whatever the frequency, as if columns moved without regard to each
        other; ``in phase``: all columns alike; ``wave``: the one phase of a plane wave.
    apparent_speed : float or DataArray
        Speed [m/s] at which waves pass along the foundation, above 0; slow surface waves some
        hundred, steep waves from a tunnel thousands. Of no effect on ``uniform`` and ``in phase``.
    direction : float or DataArray
        Of the plane wave in plan [°], from the x axis towards the y axis; only of ``wave``.
    points : int
        Phases taken on each axis, 1 to 40; midpoints of equal parts.
    scatter : float
        Standard deviation of the natural frequencies of slabs from level to level, as a share of
        them [-], 0 to 0.5: the mean over phases is then one over these as well. The bays of a
        level stay alike, so that waves are held in levels more than in a building whose bays
        differ too: 0.1 takes the top floor of a building of 24 storeys from 5 to 8 dB off
        published means, low ones nearer to them by half a decibel. Not of ``in phase`` and
        ``wave``, which have one phase.

    Raises
    ------
    ValueError
        An unknown kind, or a number out of bounds.

    Notes
    -----
    Phases from column to column are ``θ = ω a cos φ/c`` for a wave, and for the others midpoints
    ``θ = s π (i + ½)/n`` with ``s = min(1, ω a/(π c))`` in a window and 1 for ``uniform``: nothing
    in the ground has wave numbers beyond ``ω/c``, so that low bands tend to columns in phase and
    high bands to columns without regard to each other. Opposite phases, on either axis, give the
    same impedances; half of each axis stands for all.

    Five points on an axis and eight move no statistic of generic buildings by more than 0.1 dB.
    The default speed of 200 m/s [fitted] is no property of a site but a compromise that keeps a
    rigid body on springs (which ``uniform`` does not know) and the scatter of real buildings (which
    ``in phase`` does not know), chosen in view of published means (E DIN 45672-3:2023, Annex A),
    which do not validate it; vary it from 100 to 400 m/s.

    References
    ----------
    Bloch's theorem for periodic structures [derived]; window: fitted.

    Examples
    --------
    >>> f = xr.DataArray([2.0, 50.0], dims="frequency")
    >>> x, y = ColumnPhases(points=2).theta(f, span_x=8.0, span_y=8.0)
    >>> x.round(2).values.tolist()
    [[0.13, 0.79], [0.38, 2.36]]
    """

    kind: str = "window"
    apparent_speed: Numeric = APPARENT_SPEED
    direction: Numeric = 0.0
    points: int = 5
    scatter: float = 0.0

    def __post_init__(self) -> None:
        where = "ColumnPhases"
        known(where, "kind", self.kind, KINDS)
        positive(where, "apparent_speed", self.apparent_speed, "m/s")
        finite(where, "direction", self.direction)
        if not 1 <= self.points <= 40:
            raise ValueError(f"{where}: points is {self.points}; 1 to 40 on an axis are needed")

        within(where, "scatter", self.scatter, 0.0, 0.5, "")
        if self.scatter > 0 and self.kind in ("in phase", "wave"):
            raise ValueError(
                f"{where}: scatter is {self.scatter:g} and kind {self.kind!r} is one phase, over "
                "which there is no mean; use 'window' or 'uniform'"
            )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Of the phases, and of the window where its speed is the fitted one."""
        if self.in_phase:
            return ()
        usual = self.kind == "window" and bool(np.all(self.apparent_speed == APPARENT_SPEED))
        return (BLOCH, WINDOW) if usual else (BLOCH,)

    @property
    def in_phase(self) -> bool:
        """Whether all columns move alike."""
        return self.kind == "in phase"

    def scattered(self, slabs: Sequence[Any]) -> list[Any]:
        """Slabs of a line, each with moduli that differ from phase to phase.

        It is the load on the line that differs; rooms keep the slab they have. Frequencies are
        log-normal, on a Latin hypercube over phases and storeys (McKay, Beckman and Conover) with
        a fixed seed: the same for a building and its options.
        """
        if self.scatter == 0:
            return list(slabs)
        from scipy.stats import norm, qmc

        count = self.points**2
        drawn = qmc.LatinHypercube(len(slabs), rng=_SEED).random(count)
        factors = np.exp(2 * self.scatter * norm.ppf(drawn))
        return [
            replace(
                slab,
                youngs_modulus=slab.youngs_modulus
                * xr.DataArray(factors[:, i].reshape(self.points, self.points), dims=DIMS),
            )
            if hasattr(slab, "lattice_impedance") and hasattr(slab, "youngs_modulus")
            else slab
            for i, slab in enumerate(slabs)
        ]

    def theta(
        self, frequency: Frequency, *, span_x: Numeric, span_y: Numeric
    ) -> tuple[xr.DataArray, xr.DataArray]:
        """Phases from column to column [rad].

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels.
        span_x, span_y : float or DataArray
            Column grid [m].

        Returns
        -------
        tuple of DataArray
            Along x and along y; dims ``phase_x`` and ``phase_y`` before those of the frequency
            where there are several.
        """
        found = []
        for axis, span in enumerate((span_x, span_y)):
            full = 2 * np.pi * frequency * span / self.apparent_speed
            if self.kind == "wave":
                turned = np.deg2rad(self.direction)
                # Phases repeat with 2π, and the closed sums hold for −π to π.
                phase = full * (np.cos(turned) if axis == 0 else np.sin(turned))
                found.append((phase + np.pi) % (2 * np.pi) - np.pi)
                continue
            if self.in_phase:
                found.append(xr.zeros_like(full))
                continue
            middle = xr.DataArray((np.arange(self.points) + 0.5) / self.points, dims=DIMS[axis])
            reach = np.minimum(full, np.pi) if self.kind == "window" else xr.full_like(full, np.pi)
            found.append(middle * reach)
        return found[0], found[1]


IN_PHASE = ColumnPhases(kind="in phase")
"""All columns of a grid alike."""
