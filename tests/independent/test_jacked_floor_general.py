"""Jacking the demonstration floor, surveyed and corrected again, on a plate of another library.

The floor that answers is meshed by triangles with Argyris functions (scikit-fem, Gustafsson and
McBain 2020) on another mesh, with its springs in the sparse matrix. It is softer around the dip
than elsewhere, its mounts and its weight are not those that the schedule is made with, and its
levels and compressions are read with errors. Nothing of the schedule's own matrices is used there.
The schedule of version 0.1 for the same survey is kept as it was, to be tried on the same floor.
"""

from __future__ import annotations

from pathlib import Path as FilePath

import numpy as np
import pytest
import xarray as xr
from scipy.sparse import diags
from scipy.sparse.linalg import splu
from skfem import (
    Basis,
    BilinearForm,
    ElementTriArgyris,
    InteriorFacetBasis,
    LinearForm,
    MeshTri,
)
from skfem.helpers import dd, ddot, trace

from groundborne import sizing
from groundborne.sizing.jacking.effects import effects
from groundborne.sizing.jacking.floor import JackedFloor, JackLimits

DATA = FilePath(__file__).parents[2] / "data" / "jacking"
THICKNESS, MODULUS, POISSON, AREA_MASS = 0.12, 30e9, 0.2, 290.0
WHOLE = MODULUS * THICKNESS**3 / (12 * (1 - POISSON**2))
PITCH = 3e-3
RULES = sizing.LiftRules(kind="rubber")
LEAST, MOST = 0.4, 1.6  # of the share of each mount
OLD_TURNS = {
    "A1": 1.0, "A2": 0.5, "H2": 3.5, "J2": 1.5, "G3": 0.25, "J3": 0.25, "A4": 1.0, "G4": 5.0,
    "H4": 3.25, "J4": 1.5, "A5": 0.75, "G5": 1.5, "H5": 2.25, "J5": 0.75, "A6": 1.0, "G6": 0.25,
    "A7": 1.0, "A8": 0.75,
}  # fmt: skip


class OtherFloor:
    """A plate that answers turned jacks with deflections of points and loads on mounts."""

    def __init__(self, jacks, stiffness, points, rigidity, pressure) -> None:
        mesh = MeshTri.init_tensor(np.linspace(0, 15, 18), np.linspace(0, 9.8, 12))
        basis = Basis(mesh, ElementTriArgyris())

        @BilinearForm
        def energy(u, v, w):
            bent = POISSON * trace(dd(u)) * trace(dd(v)) + (1 - POISSON) * ddot(dd(u), dd(v))
            return rigidity(*w.x) * bent

        @LinearForm
        def weight(v, w):
            return pressure * v

        inside = np.clip(jacks, 1e-9, np.array([[15.0], [9.8]]) - 1e-9)
        at = basis.probes(inside)
        springs = diags(stiffness)
        solve = splu((energy.assemble(basis) + at.T @ springs @ at).tocsc()).solve
        read = basis.probes(np.clip(points, 1e-9, np.array([[15.0], [9.8]]) - 1e-9))
        down = solve(weight.assemble(basis))
        # A raised spring pushes the plate up by its stiffness times the way.
        up = solve((at.T @ springs).toarray())
        self.rise, self.load_before = read @ up, stiffness * (at @ down)
        self.load = stiffness[:, None] * (np.eye(stiffness.size) - at @ up)


@pytest.fixture(scope="module")
def case():
    grid = sizing.read_jacks(DATA / "jacks.csv")
    share = grid.x["load"].reset_coords(drop=True)
    survey = sizing.read_survey(DATA / "survey.csv", grid=grid)
    first = sizing.judge_survey(survey=survey, target=0.05)
    floor = JackedFloor(
        grid=grid, thickness=THICKNESS, youngs_modulus=MODULUS, mount_stiffness=share / 5e-3,
        density=AREA_MASS / THICKNESS,
    )  # fmt: skip
    limits = JackLimits(least_load=LEAST * share, most_load=MOST * share, sagging=5e3, hogging=5e3)
    return grid, share, first, floor, limits


def other_floor(case, rigidity, spread=0.0, heavier=1.0):
    grid, share, first, _, _ = case
    draw = np.random.default_rng(5)
    stiffness = share.values / 5e-3 * (1 + spread * draw.uniform(-1, 1, share.size))
    return OtherFloor(
        np.stack([grid.x.values, grid.y.values]), stiffness,
        np.stack([first["x"].values, first["y"].values]),
        rigidity, AREA_MASS * 9.80665 * heavier,
    ), stiffness  # fmt: skip


def soft_in_the_dip(x, y):
    return WHOLE * np.where(np.hypot(x - 10, y - 4) < 2.5, 0.35, 0.8)


@pytest.mark.parametrize(("bound", "factor"), [("uncracked", 1.0), ("cracked", 0.25)])
def test_influence_of_every_jack(case, bound, factor) -> None:
    _, _, first, floor, _ = case
    other, stiffness = other_floor(case, lambda x, _: WHOLE * factor + 0 * x)
    found = floor.influence(x=first["x"], y=first["y"]).sel(bound=bound)
    # Both meshes leave as much at the points where mounts push.
    assert found["rise_at"].values == pytest.approx(other.rise.T, abs=5e-3)
    assert found["load"].values.T / stiffness[:, None] == pytest.approx(
        other.load / stiffness[:, None], abs=1e-2
    )
    assert floor.load().sel(bound=bound).values == pytest.approx(other.load_before, rel=1e-2)
    own = np.diag(found["rise"].values).reshape(8, 11)
    if bound == "uncracked":
        # An interior jack lifts the floor above it by a tenth of its own rise, a corner by a fifth.
        assert own[3, 4] == pytest.approx(0.10, abs=0.01)
        assert own[0, 5] == pytest.approx(0.155, abs=0.02)
        assert own[0, 0] == pytest.approx(0.205, abs=0.01)


def surveyed(case, height):
    first = case[2]
    data = xr.Dataset({"x": first["x"], "y": first["y"], "height": ("point", height)})
    return sizing.judge_survey(survey=sizing.Survey(data=data, quantity="level"), target=0.0)


def truth(first):
    """The floor before, without the reading that nobody believes."""
    return (first["deviation"] - first["residual"].where(first["blunder"], 0.0)).values


def test_the_schedule_of_version_0_1_misses_its_aim_and_unloads_mounts(case) -> None:
    grid, share, first, _, _ = case
    other, _ = other_floor(case, lambda x, _: WHOLE + 0 * x)
    move = np.array([OLD_TURNS.get(n, 0.0) for n in grid.names]) * PITCH
    believed = ~first["blunder"].values
    after = truth(first) + other.rise @ move
    assert int((np.abs(after[believed]) > 5e-3).sum()) == 10
    load = (other.load_before + other.load @ move) / share.values
    assert load.min() == pytest.approx(0.3, abs=0.05)
    assert load.max() == pytest.approx(3.3, abs=0.1)


@pytest.mark.parametrize("seed", [1, 2])
def test_survey_and_correction_come_to_rest(case, seed) -> None:
    """Passes as scheduled, levels and compressions read with errors, and all of it again.

    The schedule is given the limits of the mounts less the 5 % by which their stiffness differs;
    the mounts then keep their own limits on the other floor, after every single jack.
    """
    grid, share, first, floor, limits = case
    spread = 0.05
    other, stiffness = other_floor(case, soft_in_the_dip, spread=spread, heavier=1.02)
    narrower = JackLimits(
        least_load=LEAST * (1 + spread) * share, most_load=MOST / (1 + spread) * share,
        sagging=limits.sagging, hogging=limits.hogging,
    )  # fmt: skip
    draw = np.random.default_rng(seed)
    begin, moved = truth(first), np.zeros(grid.x.size)
    judged, passes, turns, used = first, 0, [], []
    for _ in range(4):
        compressed = (other.load_before + other.load @ moved) / stiffness
        read = compressed + draw.normal(0, 0.05e-3, moved.size)
        load = xr.DataArray(read * share.values / 5e-3, dims="jack", coords={"jack": grid.names})
        plan = sizing.correction_schedule(
            judged=judged, floor=floor, limits=narrower, pitch=PITCH, rules=RULES, load=load
        )
        assert plan.attrs["unmet"] == ()
        if plan.attrs["total_turns"] == 0:
            break
        for one in plan["lift_pass"].values:
            now = plan.sel(lift_pass=one)
            rank = now["rank"].values
            for jack in np.argsort(rank)[(rank == 0).sum() :]:
                moved[jack] += float(now["pass_turns"][jack]) * PITCH
                used.append((other.load_before + other.load @ moved) / share.values)
        passes += plan.attrs["passes"]
        turns.append(plan.attrs["total_turns"])
        height = begin + other.rise @ moved
        judged = surveyed(case, height + draw.normal(0, 0.5e-3, height.size))
    else:
        pytest.fail("it does not come to rest")
    # All points within the aim of 5 mm but for the error of the levels; the limit is 10 mm.
    assert np.abs(height).max() <= 5.5e-3
    assert np.min(used) >= LEAST
    assert np.max(used) <= MOST
    assert 80 < turns[0] < 110
    assert sum(turns[1:]) <= 6
    assert passes <= 12


AT = np.array([0.0, 1.5, 3.0])
NINE_X, NINE_Y = np.repeat(AT, 3), np.tile(AT, 3)
NINE = [f"{c}{n}" for c in "ABC" for n in (1, 2, 3)]


@pytest.fixture(scope="module")
def strips():
    """A square plate on nine jacks, and the lines of its mesh over each jack, across each axis.

    0.375 m either side, inside the jacks, seen from both sides.
    """
    cuts = np.linspace(-0.5, 3.5, 33)
    mesh = MeshTri.init_tensor(cuts, cuts)
    found = {}
    for jack, axis in np.ndindex(9, 2):
        place, lines = np.array([NINE_X[jack], NINE_Y[jack]]), []
        for end in (place[1 - axis] - 0.375, place[1 - axis] + 0.375):
            if not 0 <= end <= 3:
                continue
            low, high = sorted((place[1 - axis], end))
            at = mesh.p[:, mesh.facets].mean(axis=1)
            on = (np.abs(mesh.p[axis, mesh.facets] - place[axis]) < 1e-9).all(axis=0)
            facets = np.flatnonzero(on & (at[1 - axis] > low) & (at[1 - axis] < high))
            lines += [
                InteriorFacetBasis(mesh, ElementTriArgyris(), facets=facets, side=side)
                for side in (0, 1)
            ]
        found[jack, axis] = lines
    return Basis(mesh, ElementTriArgyris()), found


@pytest.mark.parametrize("bound", ["uncracked", "cracked"])
def test_moments_over_mounts_against_another_plate(strips, bound) -> None:
    """At rest and with jacks turned, means over the same strips; on a coarse mesh a tenth lacks.

    Argyris functions on triangles, integrated along the lines of their mesh.
    """
    x, y = NINE_X, NINE_Y
    names = {"jack": NINE}
    grid = sizing.JackGrid(x=xr.DataArray(x, dims="jack", coords=names),
                           y=xr.DataArray(y, dims="jack", coords=names), overhang=0.5)  # fmt: skip
    floor = JackedFloor(grid=grid, thickness=0.06, youngs_modulus=30e9, mount_stiffness=3e5)
    rigidity, stiffness, pressure = float(floor.rigidity.sel(bound=bound)), 3e5, floor.pressure
    basis, lines = strips

    @BilinearForm
    def energy(u, v, w):
        return rigidity * (0.2 * trace(dd(u)) * trace(dd(v)) + 0.8 * ddot(dd(u), dd(v)))

    @LinearForm
    def weight(v, w):
        return pressure * v

    probe = basis.probes(np.stack([x, y]))
    matrix = energy.assemble(basis) + stiffness * (probe.T @ probe)
    raised = np.array([0.0, 1.0, 0.0, 0.0, 2.0, 0.0, -1.0, 0.0, 0.0]) * 1e-3
    solve = splu(matrix.tocsc()).solve
    down = [solve(weight.assemble(basis) - stiffness * (probe.T @ up)) for up in (0 * x, raised)]

    def over(state, jack, axis):
        """Mean moments, bending and twisting, over a mount."""
        ways = []
        for line in lines[jack, axis]:
            hess = line.interpolate(state).hess
            mean = (hess * line.dx).sum(axis=(2, 3)) / line.dx.sum()
            bent = mean[axis, axis] + 0.2 * mean[1 - axis, 1 - axis]
            ways.append(-rigidity * np.array([bent, 0.8 * mean[0, 1]]))
        return np.mean(ways, axis=0)

    does = effects(floor, x=x, y=y, load=None)
    number = ["uncracked", "cracked"].index(bound)
    for state, up in zip(down, (0 * x, raised), strict=True):
        found = does.moment_before[number] + does.moment[number] @ up
        most = np.abs(found).max()
        for jack, name in enumerate(NINE):
            for axis in (0, 1):
                bend, twist = over(state, jack, axis)
                words = f"over mount {name}, along {'xy'[axis]}"
                mine = [found[k] for k, said in enumerate(does.places) if said == words]
                other = [bend + twist, bend - twist]
                assert np.abs(np.array(mine) - other).max() < 0.01 * most, words
