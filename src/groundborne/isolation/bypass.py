"""What passes beside one stage of isolation: energy by other ways, never a clip.

However soft the springs, vibration also arrives by the air, by services, by the modes of what is
isolated. What is found on site levels off: each further way adds its energy to what the springs
pass, so that the loss of the whole comes close to that of the best way and never reaches it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass, fields, is_dataclass
from functools import reduce
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, within
from groundborne.citation import Citation
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, WALKER_MATHERS
from groundborne.isolation.distributed import InParallel
from groundborne.isolation.mount import Mount, TwoStageMount
from groundborne.levels import decibel, energy, stamp_change
from groundborne.path import End, PathElement

BYPASS = Citation(
    key="bypass-energy-sum",
    author="groundborne",
    title="insertion loss with parallel ways, −10 lg[10^(−IL/10) + Σ 10^(−R/10)]",
    mark="derived",
)
TWO_STAGE_PRACTICE = Citation(
    key="two-stage-limit-practice",
    author="common practice",
    title="about 30 dB at any frequency for two stages",
    mark="common practice",
    status="practice",
)
TWO_STAGE_LIMIT = 30.0
"""Most that two stages are credited with in any band [dB], common practice."""
_MOST = 120.0  # dB; a way that quiet is none


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class EnergyPath:
    """One way by which vibration passes a stage of isolation, apart from its springs.

    Parameters
    ----------
    name : str
        What it is, for tables and notes.
    reduction : float or DataArray
        R [dB], 0 to 120: how far what arrives by it lies below what arrives without isolation; by
        ``frequency`` where it is known by band.
    sources : sequence of Citation
        Of the number.

    Raises
    ------
    ValueError
        A reduction out of bounds, or an empty name.

    Examples
    --------
    >>> EnergyPath(name="cable trays", reduction=30.0).reduction
    30.0
    """

    name: str
    reduction: Numeric
    sources: Sequence[Citation] = ()

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise ValueError("EnergyPath: the name is empty; say by what vibration passes")
        within(f"EnergyPath {self.name!r}", "reduction", self.reduction, 0.0, _MOST, "dB")
        object.__setattr__(self, "sources", tuple(self.sources))


ONE_STAGE_PATH = EnergyPath(
    name="whatever limits one stage", reduction=SINGLE_STAGE_LIMIT, sources=(WALKER_MATHERS,)
)
"""The way that limits one stage, 25 dB at all frequencies: Walker and Mathers 1989 [seen]."""
TWO_STAGE_PATH = EnergyPath(
    name="whatever limits two stages", reduction=TWO_STAGE_LIMIT, sources=(TWO_STAGE_PRACTICE,)
)
"""The way that limits two stages, 30 dB: common practice."""


@checked
def stages_of(mount: Mount) -> int:
    """How many stages of isolation a mount is: two with a mass between them, else one.

    Parameters
    ----------
    mount : Mount
        Wrapped mounts (crossings beside it, in service) count as what they wrap; of two side by
        side the one of fewer stages counts.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> half = LinearMount(stiffness=2e6, loss_factor=0.05)
    >>> stages_of(half), stages_of(TwoStageMount(lower=half, upper=half, intermediate_mass=1e3))
    (1, 2)
    """
    if isinstance(mount, TwoStageMount):
        return 2
    if isinstance(mount, InParallel):  # what passes one stage passes beside the other's two
        return min(stages_of(mount.first), stages_of(mount.second))
    held: Any = mount
    parts = [getattr(held, f.name) for f in fields(held)] if is_dataclass(held) else []
    return max((stages_of(part) for part in parts if isinstance(part, Mount)), default=1)


@checked
def stage_paths(mount: Mount) -> tuple[EnergyPath, ...]:
    """Limiting way of a mount by its stages: :data:`ONE_STAGE_PATH` or :data:`TWO_STAGE_PATH`.

    Parameters
    ----------
    mount : Mount
        As for :func:`stages_of`.

    Returns
    -------
    tuple of EnergyPath
        One, for :class:`Bypassed`.

    Examples
    --------
    >>> from groundborne.isolation import LinearMount
    >>> [p.reduction for p in stage_paths(LinearMount(stiffness=2e6, loss_factor=0.05))]
    [25.0]
    """
    return (TWO_STAGE_PATH,) if stages_of(mount) > 1 else (ONE_STAGE_PATH,)


@checked
def bypassed_loss(loss: Numeric, *, paths: Sequence[EnergyPath]) -> Numeric:
    """Insertion loss of springs with further ways beside them.

    Parameters
    ----------
    loss : float or DataArray
        Of the springs alone [dB], positive lowers the level.
    paths : sequence of EnergyPath
        May be empty.

    Returns
    -------
    float or DataArray
        ``−10 lg[10^(−IL/10) + Σ 10^(−R_i/10)]`` [dB]: below the smallest of them all.

    Notes
    -----
    Energies add: the ways are taken as incoherent. A single tone may fare better or worse.

    References
    ----------
    Derived.

    Examples
    --------
    >>> [round(bypassed_loss(loss, paths=[ONE_STAGE_PATH]), 2) for loss in (10.0, 20.0, 30.0, 40.0)]
    [9.86, 18.81, 23.81, 24.86]
    """
    passed: Numeric = 10.0 ** (-loss / 10)
    for path in paths:
        passed = passed + 10.0 ** (-path.reduction / 10)
    whole: Numeric = -10 * np.log10(passed)
    return whole if isinstance(whole, xr.DataArray) or np.ndim(whole) else float(whole)


@checked
@dataclass(frozen=True, eq=False)
class Bypassed:
    """A step of isolation with further ways beside it: base, floor, ceiling, wall or box alike.

    Parameters
    ----------
    element : PathElement
        The step by its springs alone, without a largest loss of its own.
    paths : sequence of EnergyPath
        At least one; the way that limits one stage unless given.

    Raises
    ------
    ValueError
        No path.

    Notes
    -----
    A reduction by band has to have the bands that are asked for.

    References
    ----------
    Derived; 25 dB for one stage: Walker and Mathers 1989 [seen].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.isolation import SurfaceIsolation
    >>> floor = SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1, largest_loss=60.0)
    >>> Bypassed(floor).level_change(third_octaves(25, 63)).round(1).values.tolist()
    [-14.0, -18.0, -21.1, -23.1, -24.1]
    """

    element: PathElement
    _: KW_ONLY
    paths: Sequence[EnergyPath] = (ONE_STAGE_PATH,)

    def __post_init__(self) -> None:
        if not self.paths:
            raise ValueError("Bypassed: there is no path; take the element itself")
        object.__setattr__(self, "paths", tuple(self.paths))

    @property
    def quantity_in(self) -> End:
        """As the step."""
        return self.element.quantity_in

    @property
    def quantity_out(self) -> End:
        """As the step."""
        return self.element.quantity_out

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the step and of the further ways."""
        own = [c for path in self.paths for c in path.sources]
        return tuple(dict.fromkeys((*self.element.citations, BYPASS, *own)))

    def _arriving(self, frequency: xr.DataArray) -> xr.DataArray:
        """Energy by the further ways over that without isolation [-]."""
        each = (xr.DataArray(10.0 ** (-path.reduction / 10)) for path in self.paths)
        return reduce(lambda one, other: one + other, each, xr.zeros_like(frequency, dtype=float))

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Of springs and further ways together [dB]."""
        passed = energy(self.element.level_change(frequency)) + self._arriving(frequency)
        return stamp_change(
            decibel(passed), long_name="isolation with bypass", citations=self.citations
        )

    def bypass_governs(self, frequency: Frequency) -> xr.DataArray:
        """Where the further ways pass more than the springs do; softer springs gain little there.

        The whole then lies 3 dB or less above the further ways alone.
        """
        springs = energy(self.element.level_change(frequency))
        governs: xr.DataArray = self._arriving(frequency) > springs
        return governs

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """Where the step is."""
        return self.element.valid(frequency)


WITHOUT, WITH = "without bypass", "with bypass"
"""Labels of :func:`with_and_without`, fit for a legend."""


@checked
def with_and_without(
    frequency: Frequency, *, without: PathElement, bypassed: PathElement
) -> xr.DataArray:
    """Insertion loss by springs alone and with all that passes beside them, for one figure.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz].
    without : PathElement
        Mounts alone: no crossings, no further ways.
    bypassed : PathElement
        The same with crossings (:class:`~groundborne.isolation.CrossedMount`) and ways
        (:class:`Bypassed`).

    Returns
    -------
    xarray.DataArray
        Insertion loss [dB], positive lowers the level, on ``bypass`` with the labels
        ``"without bypass"`` and ``"with bypass"``, and the dims of both.

    Raises
    ------
    ValueError
        The two are not steps between the same quantities.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.isolation import IdealIsolation, LinearMount
    >>> mount = LinearMount.tuned(natural_frequency=4.0, mass=1e5, loss_factor=0.1)
    >>> ideal = IdealIsolation(mount, 1e5)
    >>> both = with_and_without(third_octaves(63, 63), without=ideal, bypassed=Bypassed(ideal))
    >>> both.squeeze().round(1).values.tolist(), both["bypass"].values.tolist()
    ([47.8, 25.0], ['without bypass', 'with bypass'])
    """
    ends = [(e.quantity_in, e.quantity_out) for e in (without, bypassed)]
    if ends[0] != ends[1]:
        raise ValueError(
            f"with_and_without: without leads from {ends[0][0]} to {ends[0][1]} and bypassed from "
            f"{ends[1][0]} to {ends[1][1]}; both must be the same step"
        )
    changes = xr.broadcast(*(e.level_change(frequency) for e in (without, bypassed)))
    label = xr.DataArray([WITHOUT, WITH], dims="bypass", name="bypass")
    loss: xr.DataArray = -xr.concat([c.drop_attrs() for c in changes], dim=label, join="exact")
    citations = dict.fromkeys((*without.citations, *bypassed.citations))
    return stamp_change(loss, long_name="insertion loss", citations=citations)
