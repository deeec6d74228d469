"""What each part of a foundation model gains against published statistics; floors stay as they are.

``python tests/statistics/foundations.py`` prints the table. Ground to foundation of the generic
buildings of :mod:`generic_buildings` is held against the means of E DIN 45672-3:2023, Tables A.3
and A.4 [seen second-hand]. Models that gain nothing stand here and not in the library. The place of
the ground point of the statistics is not known; rows with a distance say what it would make.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import generic_buildings as generic
import numpy as np
import xarray as xr

from groundborne.bands import exact
from groundborne.levels import decibel
from groundborne.propagation import FreeFoundation, GroundDistance
from groundborne.structure import (
    ColumnPhases,
    Mobility,
    Raft,
    RectangularFooting,
    SharedFoundation,
    basement_wall_stiffness,
    effective_shear_wave_speed,
)

CONCRETE = 33e9
BASEMENT = {"height": 2.5, "thickness": 0.25}  # invented, usual walls
SHARES = {"raft": (12, 24)}


def whole(row: Any, **soil: Any) -> RectangularFooting:
    """The foundation with its mass."""
    return generic.footing(row, **soil)


def share_of(row: Any) -> float:
    few, many = SHARES.get(row.foundation, (1, 1))
    return 1 / (many if row.storeys >= 12 else few)


@dataclass(frozen=True, kw_only=True)
class Given:
    """A foundation whose soil is a function of its frequencies: impedance of one column's share."""

    soil: Callable[[xr.DataArray], xr.DataArray]
    mass: float
    citations: tuple[()] = ()
    loss_factor_floor: float = 0.05

    def soil_impedance(self, frequency: xr.DataArray) -> xr.DataArray:
        return self.soil(frequency)

    def driving_point_mobility(self, frequency: xr.DataArray) -> xr.DataArray:
        mobility: xr.DataArray = 1 / (self.soil(frequency) + 2j * np.pi * frequency * self.mass)
        return mobility


def rigid(row: Any, **soil: Any) -> Mobility:
    return SharedFoundation(foundation=whole(row, **soil), share=share_of(row))


def without_side_walls(row: Any, *, radiation: float = 1.0, **soil: Any) -> Mobility:
    """The dashpot of the base alone, or a part of it."""
    found, share = whole(row, **soil), share_of(row)
    damping = replace(found, embedment=0.0).radiation_damping * radiation

    def impedance(f: xr.DataArray) -> xr.DataArray:
        stiffness = found.dynamic_factor(f) * found.static_stiffness * (1 + 1j * found.loss_factor)
        total: xr.DataArray = (stiffness / (2j * np.pi * f) + damping) * share
        return total

    return Given(soil=impedance, mass=found.mass * share)


def raft(row: Any, *, walls: bool = False, lines_of_walls: bool = True, **soil: Any) -> Mobility:
    """A raft that bends, with basement walls or without; pads and strips stay rigid."""
    if row.foundation != "raft":
        return rigid(row, **soil)
    added = basement_wall_stiffness(
        **BASEMENT,
        spacing=row.span_x_m,
        raft_thickness=row.foundation_thickness_m,
        youngs_modulus=CONCRETE,
    )
    on_walls = lines_of_walls and row.slab_kind != "flat"
    return Raft(
        soil=replace(whole(row, **soil), mass=0.0),
        area=row.foundation_length_m * row.foundation_width_m,
        span_x=row.span_x_m,
        span_y=row.span_y_m,
        thickness=row.foundation_thickness_m,
        youngs_modulus=CONCRETE,
        density=2450.0,
        poisson=0.2,
        loss_factor=0.05,
        wall_stiffness=added if walls else 0.0,
        under="walls" if on_walls else "columns",
    )


@dataclass(frozen=True, kw_only=True)
class AlikeRaft:
    """A raft under one column, as if the others were at rest."""

    raft: Raft

    @property
    def citations(self) -> Any:
        return self.raft.citations

    @property
    def loss_factor_floor(self) -> float:
        return self.raft.loss_factor_floor

    def driving_point_mobility(self, frequency: xr.DataArray) -> xr.DataArray:
        return self.raft.driving_point_mobility(frequency)

    def velocity_in_wave(self, frequency: xr.DataArray, wavenumber: Any) -> xr.DataArray:
        return self.raft.velocity_in_wave(frequency, wavenumber)


def single(row: Any) -> Mobility:
    found = raft(row)
    return AlikeRaft(raft=found) if isinstance(found, Raft) else found


def cone(row: Any, speed: Callable[[float], float]) -> Mobility:
    """Soil as a truncated cone of layers that carries compression waves (after Wolf 1994).

    Derived: in a layer ``u = w/(z0 + z)`` with ``w″ = −k² w``; the opening of the cone follows from
    the static stiffness on uniform soil, its speed is 2 Vs as used above a Poisson's ratio of 1/3.
    """
    at, area = whole(row), row.foundation_length_m * row.foundation_width_m
    edges = np.concatenate([[0.0], np.geomspace(0.5, 40.0, 24)])
    speeds = [2 * speed(row.embedment_m + z) for z in (edges[1:] + edges[:-1]) / 2]
    speeds.append(2 * speed(row.embedment_m + edges[-1]))
    stiffness = replace(at, shear_wave_speed=speeds[0] / 2).static_stiffness
    first = area * at.density * speeds[0] ** 2 / stiffness
    lossy = 1 + 1j * at.loss_factor

    def impedance(f: xr.DataArray) -> xr.DataArray:
        omega = 2 * np.pi * f
        moduli = [area * at.density * c**2 * lossy / first**2 for c in speeds]
        waves = [omega / (c * np.sqrt(lossy)) for c in speeds]
        end = first + edges[-1]
        found = moduli[-1] * end**2 * (1 / end + 1j * waves[-1])
        for i in range(len(edges) - 2, -1, -1):
            low, high = first + edges[i + 1], first + edges[i]
            slope = (low - found / moduli[i]) / low**2
            turn = np.tan(waves[i] * (low - high))
            slope = (waves[i] * turn + slope) / (1 - slope / waves[i] * turn)
            found = -moduli[i] * (high**2 * slope - high)
        total: xr.DataArray = found / (1j * omega) * share_of(row)
        return total

    return Given(soil=impedance, mass=at.mass * share_of(row))


def stiffening(at_one_metre: float, power: float) -> Callable[[Any], Any]:
    return lambda depth: at_one_metre * np.maximum(depth, 0.3) ** power


def layered(depth: float, above: float, below: float) -> Callable[[Any], Any]:
    return lambda z: np.where(z < depth, above, below)


def at_effective_depth(row: Any, speed: Callable[[Any], Any]) -> Mobility:
    top = np.arange(0.0, 60.0, 0.25)
    layers = {"layer": np.arange(top.size)}
    found = effective_shear_wave_speed(
        top=xr.DataArray(top, dims="layer", coords=layers),
        speed=xr.DataArray(speed(top + 0.125), dims="layer", coords=layers),
        length=row.foundation_length_m,
        width=row.foundation_width_m,
        embedment=row.embedment_m,
    )
    return rigid(row, shear_wave_speed=found.item())


@dataclass(frozen=True, kw_only=True)
class CoupledThroughSoil:
    """Pads of a grid that move each other by waves of the surface, ``e^(−jkr)/r``.

    Statically Boussinesq's displacement at a distance; the decay of a surface wave is slower. The
    sum over the grid with phases is not passive at all frequencies, which the library would refuse.
    """

    row: Any
    reach: int = 2
    citations: tuple[()] = ()
    loss_factor_floor: float = 0.05

    def soil_impedance(self, frequency: xr.DataArray) -> xr.DataArray:
        return whole(self.row).soil_impedance(frequency)

    def driving_point_mobility(self, frequency: xr.DataArray) -> xr.DataArray:
        return whole(self.row).driving_point_mobility(frequency)

    def lattice_mobility(self, frequency: xr.DataArray, phases: ColumnPhases) -> xr.DataArray:
        row, at = self.row, whole(self.row)
        x, y = phases.theta(frequency, span_x=row.span_x_m, span_y=row.span_y_m)
        omega = 2 * np.pi * frequency
        wave = omega / (0.93 * at.shear_wave_speed) * (1 - 0.5j * at.loss_factor)
        total = 1 / at.soil_impedance(frequency) + 0 * x + 0 * y
        around = range(-self.reach, self.reach + 1)
        for i, j in ((i, j) for i in around for j in around if (i, j) != (0, 0)):
            apart = float(np.hypot(i * row.span_x_m, j * row.span_y_m))
            moved = (1 - at.poisson) / (2 * np.pi * at.shear_modulus * apart)
            total = total + 1j * omega * moved * np.exp(-1j * wave * apart) * np.cos(
                i * x
            ) * np.cos(j * y)
        mobility: xr.DataArray = 1 / (1 / total + 1j * omega * at.mass)
        return mobility.transpose("phase_x", "phase_y", ...)


def coupled(row: Any) -> Mobility:
    return rigid(row) if row.foundation == "raft" else CoupledThroughSoil(row=row)


def free(row: Any, found: Mobility, **averaging: Any) -> xr.DataArray:
    """Ground to free foundation [dB]; rafts average over their plan, pads and strips do not."""
    plan: dict[str, float] = {}
    if averaging.pop("plan", True) and row.foundation == "raft":
        plan = {"length": row.foundation_length_m, "width": row.foundation_width_m}
    if isinstance(found, AlikeRaft):
        found = found.raft
    return FreeFoundation(foundation=found, **plan, **averaging).level_change(generic.BANDS)


def own_mass(row: Any, found: Mobility) -> xr.DataArray:
    return free(row, found, plan=False, apparent_speed=1e5)


def below_ground(row: Any, found: Mobility) -> xr.DataArray | float:
    """Half the energy in a Rayleigh wave of the uniform soil, at the depth of a basement."""
    if row.compared_at != "b":
        return 0.0
    at = whole(row)
    slow = 0.935  # Rayleigh over shear speed at a Poisson's ratio of 0.35 [from memory]
    wave = 2 * np.pi * exact(generic.BANDS) / (slow * at.shear_wave_speed) * at.embedment
    squeeze = (1 - 2 * at.poisson) / (2 - 2 * at.poisson)
    p, s = np.sqrt(1 - squeeze * slow**2), np.sqrt(1 - slow**2)
    depth = (2 / (1 + s**2) * np.exp(-s * wave) - np.exp(-p * wave)) / (2 / (1 + s**2) - 1)
    return decibel(0.5 + 0.5 * depth**2)


def behind_the_facade(row: Any, found: Mobility) -> xr.DataArray:
    """Mean over three rows of columns, ground measured at the facade 20 m from the track."""
    rows = xr.DataArray(20.0 + (np.arange(3) + 0.5) * row.span_y_m, dims="row")
    step = GroundDistance(
        distance=rows,
        reference_distance=20.0,
        exponent=0.3,
        damping_ratio=0.02,
        wave_speed=250.0,
        facade_distance=20.0,
        share_along=0.5 if row.foundation == "raft" else 1.0,
    )
    return decibel((10 ** (step.level_change(generic.BANDS) / 10)).mean("row"))


def nothing(row: Any, found: Mobility) -> float:
    return 0.0


Ground = Callable[[Any, Mobility], Any]


def added(*parts: Ground) -> Ground:
    return lambda row, found: sum(part(row, found) for part in parts)


def averaged(**given: Any) -> Ground:
    return lambda row, found: free(row, found, **given)


PHASES = ColumnPhases()
BEFORE = "rigid share, base dashpot only (before)"
KEPT = "raft with basement walls averages (kept)"
MODELS: dict[str, tuple[Callable[[Any], Mobility], Ground]] = {
    BEFORE: (without_side_walls, nothing),
    "  0.8 of it (about Lysmer's analogue)": (
        lambda row: without_side_walls(row, radiation=0.8),
        nothing,
    ),
    "  a fifth of the base dashpot": (lambda r: without_side_walls(r, radiation=0.2), nothing),
    "side walls (kept; below all have them)": (rigid, nothing),
    "  soil 150 m/s": (lambda row: rigid(row, shear_wave_speed=150.0), nothing),
    "  soil 300 m/s": (lambda row: rigid(row, shear_wave_speed=300.0), nothing),
    "  soil loss factor 0.12": (lambda row: rigid(row, loss_factor=0.12), nothing),
    "  Poisson's ratio 0.45": (lambda row: rigid(row, poisson=0.45), nothing),
    "  140 z^0.25 m/s at effective depth": (
        lambda row: at_effective_depth(row, stiffening(140.0, 0.25)),
        nothing,
    ),
    "  100 z^0.5 m/s at effective depth": (
        lambda row: at_effective_depth(row, stiffening(100.0, 0.5)),
        nothing,
    ),
    "cone, uniform soil (no side walls)": (
        lambda row: cone(row, stiffening(whole(row).shear_wave_speed, 0.0)),
        nothing,
    ),
    "  cone, 140 z^0.25 m/s": (lambda row: cone(row, stiffening(140.0, 0.25)), nothing),
    "  cone, 140 z^0.5 m/s": (lambda row: cone(row, stiffening(140.0, 0.5)), nothing),
    "  cone, 4 m of 150 on 350 m/s": (lambda row: cone(row, layered(4.0, 150.0, 350.0)), nothing),
    "  cone, 6 m of 150 on 400 m/s": (lambda row: cone(row, layered(6.0, 150.0, 400.0)), nothing),
    "pads coupled through the soil": (coupled, nothing),
    "mass of the foundation (kept)": (rigid, own_mass),
    "  and raft bends, columns alone": (single, own_mass),
    "  and raft bends, with phases (kept)": (raft, own_mass),
    "  and walls taken as columns": (lambda row: raft(row, lines_of_walls=False), own_mass),
    "  and basement walls stiffen it": (lambda row: raft(row, walls=True), own_mass),
    "rigid averaging, 300 m/s, q 0": (rigid, averaged(apparent_speed=300.0, coherent_share=0.0)),
    "rigid averaging, 200-2000 m/s, q 0": (rigid, averaged(coherent_share=0.0)),
    "rigid averaging, q 0.7 (fitted)": (rigid, averaged()),
    "raft averages by bending": (raft, averaged()),
    KEPT: (lambda row: raft(row, walls=True), averaged()),
    "  and of 300 m/s": (lambda row: raft(row, walls=True), averaged(apparent_speed=300.0)),
    "  and of 300 m/s, q 0": (
        lambda row: raft(row, walls=True),
        averaged(apparent_speed=300.0, coherent_share=0.0),
    ),
    "  the same, all waves at 300 m/s": (
        lambda row: raft(row, walls=True),
        averaged(apparent_speed=300.0),
    ),
    "  and half the Rayleigh wave at depth": (
        lambda row: raft(row, walls=True),
        added(averaged(), below_ground),
    ),
    "  and ground measured at the facade": (
        lambda row: raft(row, walls=True),
        added(averaged(), behind_the_facade),
    ),
    "rigid, q 0.7, ground at the facade": (rigid, added(averaged(), behind_the_facade)),
}


def residuals(name: str) -> tuple[generic.Comparison, generic.Comparison, np.ndarray[Any, Any]]:
    """Foundations and floors of all buildings, and the foundations by building and band."""
    model, ground = MODELS[name]
    found = []
    for _, row in generic.buildings().iterrows():
        line = generic.line(row, phases=PHASES, foundation=model)
        found.append(generic.compared(row, line, ground(row, line.foundation)))
    pooled = generic.pooled(found)
    return pooled["foundation"], pooled["floors"], np.array([f["foundation"].off for f in found])


def main() -> None:
    rafts = np.array([row.foundation == "raft" for _, row in generic.buildings().iterrows()])
    print(
        f"{'model less mean of statistics [dB]':43s} bias   rms inside  max | 5-20 25-31.5 40-80"
        " | rms rafts pads | floors rms"
    )
    for name in MODELS:
        all_of, floors, off = residuals(name)
        parts = [off[:, :7], off[:, 7:9], off[:, 9:]]
        low, middle, high = (float(part.mean()) for part in parts)
        kinds = [float(np.sqrt((off[which] ** 2).mean())) for which in (rafts, ~rafts)]
        print(
            f"{name:43s} {all_of.bias:4.1f} {all_of.rms:5.2f} {100 * all_of.share_inside:4.0f} % "
            f"{all_of.largest:4.1f} | {low:4.1f} {middle:7.1f} {high:5.1f} | "
            f"{kinds[0]:9.2f} {kinds[1]:4.2f} | {floors.rms:6.2f}"
        )
    print("mean over buildings by band [dB]:", *(f"{f:g}" for f in generic.BANDS.values))
    for name in (BEFORE, KEPT):
        print(f"{name:43s}", *(f"{v:4.1f}" for v in residuals(name)[2].mean(0)))


if __name__ == "__main__":
    main()
