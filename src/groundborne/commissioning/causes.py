"""Likely causes of isolation that misses its frequency or its loss, each as a family of curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import LabelError, positive
from groundborne.citation import Citation
from groundborne.commissioning.isolated_models import (
    INSIDE,
    FloorModel,
    MountsModel,
    slab_resonance,
    with_contacts,
)

CAUSES_BY_PRACTICE = Citation(
    key="commissioning-causes",
    author="common practice",
    title="what is looked for where isolation misses: air, load, mortar at the edge, pipes, slab",
    mark="common practice",
    status="practice",
)

PIPE_STIFFNESS = (5e6, 1e8)
"""Range of the dynamic stiffness of a service pipe cast into both slabs [N/m]; common practice."""
SLAB_LOSS = 0.05
"""Loss factor of a slab in a building [-]; common practice."""

_AIR = np.geomspace(0.1, 10.0, 25)
_OVERLOAD = np.geomspace(1.05, 2.5, 25)
_UNDERLOAD = np.geomspace(0.95, 0.3, 25)
_CONTACTS = np.geomspace(1 / 64, 64.0, 37)
_PIPES = np.array([1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0])
_BRIDGES = np.geomspace(0.1, 100.0, 31)
_BYPASS = np.arange(0.0, 30.0, 1.0)
_PARTICIPATION = np.array([0.2, 0.4, 0.8, 1.27, 1.6])

Array = np.ndarray[Any, Any]


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Cause:
    """What a fault does to a measured level change, by how large it is.

    Parameters
    ----------
    name : str
        In words.
    change : DataArray
        Level change with it less that as designed [dB], on ``case`` and ``frequency``, with the
        coordinate ``strength`` on ``case``, and ``second_strength`` of two faults together.
    deflection : DataArray
        Static deflection of the mounts with it over that as designed [-], on ``case``.
    strength_of : str
        What ``strength`` is.
    parameters : int
        How many numbers a strength is made of, 1 or more.
    look_for : str
        What to look at on site.
    parts : tuple of str
        Names of the causes that act together; empty of one by itself.

    Raises
    ------
    LabelError
        Other dims, no strength, or cases that differ.
    ValueError
        No parameter, or a deflection that is not above 0.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import MountsModel, mount_causes
    >>> f = third_octaves(4, 63)
    >>> model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=f)
    >>> [cause.name for cause in mount_causes(model)][:2]
    ['overload', 'underload']
    """

    name: str
    change: xr.DataArray
    deflection: xr.DataArray
    strength_of: str
    parameters: int = 1
    look_for: str = ""
    parts: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        where = f"Cause {self.name!r}"
        if set(self.change.dims) != {"case", "frequency"} or self.deflection.dims != ("case",):
            raise LabelError(
                f"{where}: change is on {self.change.dims} and deflection on "
                f"{self.deflection.dims}; case and frequency, and case, are needed"
            )
        if "strength" not in self.change.coords or self.change["strength"].dims != ("case",):
            raise LabelError(f"{where}: change has no coordinate 'strength' on 'case'")
        if self.change.sizes["case"] != self.deflection.sizes["case"]:
            raise LabelError(f"{where}: change and deflection are of other cases")
        positive(where, "deflection", self.deflection, "")
        positive(where, "parameters", self.parameters, "")


@checked
def floor_causes(
    model: FloorModel,
    *,
    pipe_stiffness: float | tuple[float, float] = PIPE_STIFFNESS,
    slab_frequencies: tuple[float, float] | None = None,
    pairs: bool = True,
) -> tuple[Cause, ...]:
    """Causes for a floating floor.

    Parameters
    ----------
    model : FloorModel
        The floor as designed.
    pipe_stiffness : float or tuple of float
        Dynamic stiffness of a pipe cast into both slabs [N/m], above 0; or the range it lies in,
        which is then one more number to be found.
    slab_frequencies : tuple of float, optional
        Range in which a mode of the slab below may lie that the prediction left out [Hz]; none is
        looked for by default.
    pairs : bool
        Whether any two that can be together are looked for besides, the slab's excepted: a room
        may have two faults, and one cause alone would then be named for both.

    Returns
    -------
    tuple of Cause
        Air stiffer than designed, overload, underload, rigid contact at the edge, cast-in pipe,
        slab resonance, and pairs of them.

    Notes
    -----
    Air and underload raise the frequency alike; the deflection of the mounts tells them apart.
    Contacts at the edge do not give way, pipes inside do, which bends their spectra apart where
    ``ω/k`` is not small against the mobilities of the slabs; below, the two cannot be told from one
    spectrum. Fractions of one contact are contacts that touch in part. Overload leaves the
    stiffness of the mounts as it is; mounts that went solid are contacts. From the first to the
    fifth mode of the floating slab contacts are off by several decibels (``BridgedFloor.valid``):
    leave those bands out, or give their covariance that much more.

    References
    ----------
    Common practice; curves as of :class:`~groundborne.commissioning.FloorModel` [derived].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import FloorModel
    >>> from groundborne.isolation import BridgedFloor
    >>> from groundborne.structure import FloatingFloor
    >>> layer = FloatingFloor(mass_per_area=240.0, stiffness_per_area=9.5e5, loss_factor=0.1)
    >>> floor = BridgedFloor(floor=layer, area=30.0, bending_stiffness=2.6e6, loss_factor=0.03,
    ...                      base_bending_stiffness=4.07e7, base_mass_per_area=600.0)
    >>> found = floor_causes(FloorModel(floor=floor, frequency=third_octaves(5, 250)))
    >>> [cause.name for cause in found][:3]
    ['air stiffer than designed', 'overload', 'underload']
    """
    where = "floor_causes"
    stiffness, counts, unknown = _pipes(where, pipe_stiffness)
    inside = with_contacts(model, place=INSIDE, stiffness=None)
    edge = {"edge_contacts": _CONTACTS}
    air = {"air_stiffness": model.air_stiffness + _AIR * model.mount_stiffness}
    faults = [
        _Fault(
            "air stiffer than designed", _AIR, air, np.ones_like(_AIR),
            "added stiffness of the air over that of the mounts",
            "vents and the clear depth below the floor, debris, water",
        ),
        _Fault(
            "overload", _OVERLOAD, {"mass_ratio": _OVERLOAD}, _OVERLOAD, "mass over that designed",
            "thickness poured, finishes, deflection and travel left of the mounts",
        ),
        _Fault(
            "underload", _UNDERLOAD, {"mass_ratio": _UNDERLOAD}, _UNDERLOAD,
            "mass over that designed",
            "load that is not there yet, mounts that are too stiff, deflection",
        ),
        _Fault(
            "rigid contact at the edge", _CONTACTS, edge, np.ones_like(_CONTACTS),
            "contacts at the edge",
            "mortar in the joint, skirting, thresholds, partitions on the floor",
        ),
        _Fault(
            "cast-in pipe", 1e-6 * counts * stiffness,
            {"contacts": counts, "contact_stiffness": stiffness}, np.ones_like(counts),
            "dynamic stiffness of all pipes [MN/m]",
            "pipes, conduits and drains through the floor, fixings through the layer",
            parameters=1 + unknown,
        ),
    ]  # fmt: skip
    return _causes(where, inside, faults, slab_frequencies, pairs)


def _pipes(where: str, given: float | tuple[float, float]) -> tuple[Array, Array, bool]:
    """Stiffness and number of pipes in every case, and whether the stiffness is to be found."""
    if not isinstance(given, tuple):
        positive(where, "pipe_stiffness", given, "N/m")
        return np.full_like(_CONTACTS, given), _CONTACTS, False
    low, high = given
    if not 0 < low < high:
        raise ValueError(
            f"{where}: pipe_stiffness is {low:g} to {high:g} N/m; one number above 0, or two that "
            "ascend, are needed"
        )
    each = np.geomspace(low, high, max(2, round(np.log(high / low) / np.log(1.4)) + 1))
    stiffness, counts = (a.ravel() for a in np.meshgrid(each, _PIPES, indexing="ij"))
    return stiffness, counts, True


@checked
def mount_causes(
    model: MountsModel,
    *,
    slab_frequencies: tuple[float, float] | None = None,
    pairs: bool = True,
) -> tuple[Cause, ...]:
    """Causes for a building, or a part of one, on mounts.

    Parameters
    ----------
    model : MountsModel
        As designed.
    slab_frequencies, pairs
        As for :func:`floor_causes`.

    Returns
    -------
    tuple of Cause
        Overload, underload, rigid contact beside the mounts, services that bypass them, slab
        resonance, and pairs of them.

    Notes
    -----
    A rigid mass on rigid ground says how a fault changes the level; the curve as designed may be
    that of a whole study.

    References
    ----------
    Common practice; curves as of :class:`~groundborne.commissioning.MountsModel` [derived].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.commissioning import MountsModel
    >>> f = third_octaves(4, 63)
    >>> model = MountsModel(natural_frequency=5.0, loss_factor=0.1, frequency=f)
    >>> [c.name for c in mount_causes(model)][2:4]
    ['rigid contact beside the mounts', 'services past the mounts']
    """
    where = "mount_causes"
    bypass = _BYPASS[model.largest_loss > _BYPASS]
    faults = [
        _Fault(
            "overload", _OVERLOAD, {"mass_ratio": _OVERLOAD}, _OVERLOAD, "mass over that designed",
            "loads as built, deflection and travel left of the mounts",
        ),
        _Fault(
            "underload", _UNDERLOAD, {"mass_ratio": _UNDERLOAD}, _UNDERLOAD,
            "mass over that designed",
            "load that is not there yet, mounts that are too stiff or still locked",
        ),
        _Fault(
            "rigid contact beside the mounts", _BRIDGES, {"bridge": _BRIDGES}, 1 / (1 + _BRIDGES),
            "stiffness of the contact over that of the mounts",
            "debris and formwork at the plane, stops in touch, mounts still locked",
        ),
        _Fault(
            "services past the mounts", bypass, {"bypass": bypass}, np.ones_like(bypass),
            "what passes, below the level without isolation [dB]",
            "pipes, ducts, stairs and lifts across the plane",
        ),
    ]  # fmt: skip
    return _causes(where, model, faults, slab_frequencies, pairs)


@dataclass(frozen=True, eq=False)
class _Fault:
    """What a fault gives a model, and the deflection of the mounts, by its strength."""

    name: str
    strengths: Array
    given: dict[str, Array]
    deflection: Array
    strength_of: str
    look_for: str
    parameters: int = 1


def _causes(
    where: str,
    model: FloorModel | MountsModel,
    faults: Sequence[_Fault],
    slab_frequencies: tuple[float, float] | None,
    pairs: bool,
) -> tuple[Cause, ...]:
    """Each fault by itself, the slab, and faults two by two where they change different things."""
    design = model()
    found = [
        _cause(
            model.frequency, f.name, f.strengths, model(**f.given) - design, f.deflection,
            strength_of=f.strength_of, look_for=f.look_for, parameters=f.parameters,
        )
        for f in faults
    ]  # fmt: skip
    if slab_frequencies is not None:
        found.append(_slab_cause(where, model.frequency, slab_frequencies))
    for one, other in combinations(faults, 2) if pairs else ():
        if one.given.keys() & other.given.keys():
            continue  # no floor is too heavy and too light
        i, j = (a.ravel() for a in np.indices((one.strengths.size, other.strengths.size)))
        both = {n: v[i] for n, v in one.given.items()} | {n: v[j] for n, v in other.given.items()}
        pair = _cause(
            model.frequency, f"{one.name} and {other.name}", one.strengths[i],
            model(**both) - design, one.deflection[i] * other.deflection[j],
            parameters=one.parameters + other.parameters,
            strength_of=f"{one.strength_of}; {other.strength_of}",
            look_for=f"{one.look_for}; {other.look_for}", parts=(one.name, other.name),
            second=other.strengths[j],
        )  # fmt: skip
        found.append(pair)
    return tuple(found)


def _slab_cause(where: str, frequency: xr.DataArray, between: tuple[float, float]) -> Cause:
    low, high = between
    if not 0 < low < high:
        raise ValueError(
            f"{where}: slab_frequencies is {low:g} to {high:g} Hz; two that ascend are needed"
        )
    first = np.geomspace(low, high, max(2, round(12 * np.log2(high / low)) + 1))
    resonance, part = (a.ravel() for a in np.meshgrid(first, _PARTICIPATION, indexing="ij"))
    curves = slab_resonance(
        frequency, resonance=resonance, participation=part, loss_factor=SLAB_LOSS
    )
    return _cause(
        frequency, "slab resonance", resonance, curves, np.ones_like(resonance),
        strength_of="natural frequency of the slab [Hz]", parameters=2,
        look_for="a mode of the slab that the prediction left out, by an impact test",
    )  # fmt: skip


def _cause(
    frequency: xr.DataArray,
    name: str,
    values: Array,
    change: Array,
    deflection: Array,
    second: Array | None = None,
    **words: Any,
) -> Cause:
    coords: dict[str, Any] = {"strength": ("case", values)}
    if second is not None:
        coords["second_strength"] = ("case", second)
    return Cause(
        name=name,
        change=xr.DataArray(
            change, dims=("case", "frequency"),
            coords=coords | {"frequency": frequency["frequency"].values},
        ),
        deflection=xr.DataArray(deflection, dims="case"),
        **words,
    )  # fmt: skip
