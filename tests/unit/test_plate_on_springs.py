"""Plate on springs: limits, springs that lift off, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from scipy.optimize import minimize

from groundborne.structure import PlateBeam, PlateOnSprings, PlatePart


def springs(
    x, y, stiffness=4e8, rigidity=1e8, dim="column", overhang=0.5, **more
) -> PlateOnSprings:
    names = [f"C{i}" for i in range(len(x))]
    x, y = (xr.DataArray(np.asarray(v, float), dims=dim, coords={dim: names}) for v in (x, y))
    if rigidity is not None:
        more.setdefault(
            "parts",
            [
                PlatePart(
                    x=(float(x.min()) - overhang, float(x.max()) + overhang),
                    y=(float(y.min()) - overhang, float(y.max()) + overhang),
                    rigidity=rigidity,
                )
            ],
        )
    return PlateOnSprings(x=x, y=y, stiffness=stiffness, **more)


def grid(nx, ny, spacing=6.0, **more) -> PlateOnSprings:
    x, y = np.meshgrid(np.arange(nx) * spacing, np.arange(ny) * spacing, indexing="ij")
    return springs(x.ravel(), y.ravel(), **more)


def loads(plate, values) -> xr.DataArray:
    return xr.DataArray(
        np.asarray(values, float), dims=plate.dim, coords={plate.dim: plate.x[plate.dim].values}
    )


def off_balance(plate, found, load) -> float:
    """Largest force, or moment over the size of the plan, left over, over the whole load."""
    rest = found["reaction"] - load
    size = max(np.ptp(plate.x.values), np.ptp(plate.y.values))
    parts = [rest.sum(plate.dim), *((rest * a).sum(plate.dim) / size for a in (plate.x, plate.y))]
    return max(float(abs(p).max()) for p in parts) / float(abs(load).sum())


# -- Limits ----------------------------------------------------------------------------------------


def test_one_spring_carries_what_stands_on_it() -> None:
    plate = springs([2.0], [3.0], rigidity=None)
    assert plate.response(5e5).reaction.values.tolist() == [5e5]
    assert plate.response(5e5).deflection.item() == pytest.approx(5e5 / 4e8)


@pytest.mark.parametrize("rigidity", [None, 1e5, 1e12])
def test_two_springs_are_a_lever(rigidity) -> None:
    plate = springs([0.0, 8.0], [1.0, 1.0], stiffness=1e7, rigidity=rigidity)
    load = xr.DataArray(
        [4e5], dims="load_point", coords={"x": ("load_point", [2.0]), "y": ("load_point", [1.0])}
    )
    assert plate.response(point_load=load).reaction.values == pytest.approx([3e5, 1e5], rel=1e-9)


def test_a_load_beside_the_line_of_all_springs_tips() -> None:
    plate = springs([0.0, 8.0], [1.0, 1.0])
    load = xr.DataArray(
        [4e5], dims="load_point", coords={"x": ("load_point", [2.0]), "y": ("load_point", [1.2])}
    )
    with pytest.raises(ValueError, match="the plate tips"):
        plate.response(point_load=load)


def test_a_very_stiff_plate_is_rigid_and_a_very_soft_one_is_none() -> None:
    draw = np.random.default_rng(4)
    places = draw.uniform(0, 30, (2, 12))
    values = draw.uniform(1e6, 3e6, 12)
    stiff = springs(*places, rigidity=1e15)
    rigid = springs(*places, rigidity=None)
    load = loads(rigid, values)
    held = {"holds_down": True}
    want = rigid.response(load, **held)
    assert stiff.response(load, **held).reaction.values == pytest.approx(
        want.reaction.values, rel=1e-5
    )
    soft = springs(*places, rigidity=1.0).response(load)
    assert soft.reaction.values == pytest.approx(values, rel=1e-6)
    assert soft.deflection.values == pytest.approx(values / 4e8, rel=1e-5)


def test_a_rigid_plate_by_the_formula_of_eccentric_load() -> None:
    """F_i = F k_i/Σk + M_x k_i x_i/Σk x² + ...: what every handbook says of rigid pile caps."""
    plate = grid(4, 3, rigidity=None)
    x, y = plate.x - plate.x.mean(), plate.y - plate.y.mean()
    load = xr.DataArray(
        [6e6],
        dims="load_point",
        coords={"x": ("load_point", [10.0]), "y": ("load_point", [6.6])},
    )
    want = 6e6 * (1 / 12 + 1.0 * x / (x**2).sum() + 0.6 * y / (y**2).sum())
    assert plate.response(point_load=load).reaction.values == pytest.approx(want.values)


def test_a_plane_deflection_bends_nothing() -> None:
    """Patch test: springs let down along a plane change no reaction, on any mesh."""
    plate = springs([0, 7, 3, 11.0], [0, 1, 9, 8.0], element_size=1.7)
    load = loads(plate, [1e6, 2e6, 3e6, 1e6])
    down = -(1e-3 + 2e-4 * plate.x - 3e-4 * plate.y)
    flat = plate.response(load, holds_down=True)
    tilted = plate.response(load, raised=down, holds_down=True)
    assert tilted.reaction.values == pytest.approx(flat.reaction.values, rel=1e-9)
    moved = (tilted.deflection - flat.deflection + down).values
    assert np.abs(moved).max() < 1e-12


def test_a_beam_needs_no_mesh_line() -> None:
    """A beam across a plate of nearly no rigidity: the reactions of a beam of two spans."""
    ends = np.array([[0.3, 0.2], [4.3, 3.2], [8.3, 6.2]])
    plate = springs(
        *ends.T,
        stiffness=np.inf,
        rigidity=1.0,
        beams=[PlateBeam(start=(0.3, 0.2), end=(8.3, 6.2), bending_stiffness=1e7)],
        element_size=0.9,
    )
    middle = xr.DataArray(
        [16.0],
        dims="load_point",
        coords={"x": ("load_point", [2.3]), "y": ("load_point", [1.7])},
    )
    found = plate.response(point_load=middle, holds_down=True).reaction.values
    # load in the middle of one of two equal spans: 13/32, 11/16, -3/32 of it
    assert found == pytest.approx([6.5, 11.0, -1.5], rel=1e-6)


# -- Lost, softened, lifted ------------------------------------------------------------------------


def test_a_lost_spring_as_if_it_had_never_been() -> None:
    plate = grid(4, 3)
    load = loads(plate, np.random.default_rng(1).uniform(1e6, 2e6, 12))
    lost = plate.response(load, factor=plate.lose(["C4"]), holds_down=True).sel(lost="C4")
    keep = [n for n in plate.x.column.values if n != "C4"]
    parts = plate.parts
    fewer = PlateOnSprings(
        x=plate.x.sel(column=keep),
        y=plate.y.sel(column=keep),
        stiffness=4e8,
        parts=parts,
        element_size=3.0,
    )
    where = {"x": ("load_point", [float(plate.x.sel(column="C4"))])}
    where["y"] = ("load_point", [float(plate.y.sel(column="C4"))])
    alone = xr.DataArray([float(load.sel(column="C4"))], dims="load_point", coords=where)
    want = fewer.response(load.sel(column=keep), point_load=alone, holds_down=True)
    assert lost.reaction.sel(column=keep).values == pytest.approx(want.reaction.values, rel=1e-9)
    assert float(lost.reaction.sel(column="C4")) == 0.0
    at = xr.Dataset({"x": ("point", where["x"][1]), "y": ("point", where["y"][1])})
    there = fewer.response(load.sel(column=keep), point_load=alone, holds_down=True, at=at)
    assert float(lost.deflection.sel(column="C4")) == pytest.approx(there.deflection_at.item())


def test_softened_and_stiffened_springs_as_if_bought_so() -> None:
    plate = grid(4, 3)
    draw = np.random.default_rng(2)
    load = loads(plate, draw.uniform(1e6, 2e6, 12))
    factor = loads(plate, draw.uniform(0.2, 3.0, 12))
    changed = plate.response(load, factor=factor, holds_down=True)
    bought = grid(4, 3, stiffness=4e8 * factor).response(load, holds_down=True)
    for name in ("reaction", "deflection"):
        assert changed[name].values == pytest.approx(bought[name].values, rel=1e-9)


def test_cases_broadcast_and_each_is_its_own() -> None:
    plate = grid(3, 3)
    draw = np.random.default_rng(3)
    load = xr.concat(
        [loads(plate, draw.uniform(1e6, 2e6, 9)) for _ in range(2)],
        dim=xr.DataArray(["one", "two"], dims="case"),
    )
    raised = xr.DataArray([0.0, 2e-3], dims="way") * (plate.x == 6.0)
    at = xr.Dataset({"x": ("point", [1.0, 4.0]), "y": ("point", [2.0, 6.0])})
    both = plate.response(load, raised=raised, factor=plate.lose(["C0", "C8"]), at=at)
    assert both.reaction.sizes == {"case": 2, "way": 2, "lost": 2, "column": 9}
    factor = plate.lose(["C8"]).isel(lost=0, drop=True)
    one = plate.response(load.sel(case="two"), raised=raised.isel(way=1), factor=factor, at=at)
    for name in ("reaction", "deflection", "deflection_at", "moment_x", "moment_xy"):
        same = both[name].sel(case="two", lost="C8").isel(way=1)
        assert same.values == pytest.approx(one[name].values, rel=1e-8, abs=1e-9)


def test_what_lifts_off_is_the_least_energy_of_all_pushing_states() -> None:
    """Against a general minimiser of ½ wᵀK w + Σ ½ k max(w,0)² − pᵀw on 12 springs."""
    plate = grid(4, 3, rigidity=3e9)
    values = np.full(12, 1e4)
    values[0] = 2e6
    load = loads(plate, values)
    free = plate.response(load)
    linear = plate.response(load, holds_down=True)
    assert (linear.reaction < 0).any()
    assert (free.reaction >= 0).all()
    assert ((free.gap > 0) == (free.reaction == 0)).all()
    assert (free.hold_down.values == np.maximum(-linear.reaction, 0).values).all()
    assert off_balance(plate, free, load) < 1e-12
    # stiffness of the plate alone at its springs: what is left of the springs' own at k -> infinity
    bending = np.linalg.pinv(plate._plate.springs.bending, rcond=1e-10)

    def energy(w):
        down = np.maximum(w, 0)
        value = w @ bending @ w / 2 + 4e8 * down @ down / 2 - values @ w
        return value, bending @ w + 4e8 * down - values

    # in mm and kN, or the minimiser stops early
    start = linear.deflection.values * 1e3
    best = minimize(
        lambda w: tuple(
            np.array(v) * s for v, s in zip(energy(w * 1e-3), (1.0, 1e-3), strict=True)
        ),
        start,
        jac=True,
        method="BFGS",
        options={"gtol": 1e-6, "maxiter": 5000},
    )
    assert free.deflection.values * 1e3 == pytest.approx(best.x, abs=1e-4)


def test_held_springs_pull_and_their_demand_is_said() -> None:
    plate = grid(4, 3, rigidity=3e9)
    values = np.full(12, 1e4)
    values[0] = 2e6
    load = loads(plate, values)
    linear = plate.response(load, holds_down=True)
    worst = str(linear.reaction.idxmin().values)
    held = plate.response(load, holds_down=plate.x.column == worst)
    assert float(held.reaction.sel(column=worst)) < 0
    assert float(held.reaction.drop_sel(column=worst).min()) >= 0


def test_raising_a_jack_lifts_its_neighbours() -> None:
    table = grid(5, 5, spacing=1.5, stiffness=2e6, rigidity=2e6, dim="jack").influence()
    rise = table["rise"].sel(raised="C12")
    assert 0 < float(rise.sel(jack="C12")) < 1
    assert float(abs(table["reaction"] - table["reaction"].values.T).max()) < 1e-6
    assert np.abs(table["rise"].sum("raised").values - 1).max() < 1e-9


# -- Refused ---------------------------------------------------------------------------------------


def test_refuses() -> None:
    one = PlatePart(x=(0.0, 4.0), y=(0.0, 4.0), rigidity=1e7)
    with pytest.raises(ValueError, match=r"parts 0 and 1 overlap"):
        grid(2, 2, 2.0, parts=[one, one]).response(1.0)
    apart = PlatePart(x=(4.0, 8.0), y=(4.0, 8.0), rigidity=1e7)
    with pytest.raises(ValueError, match="do not all meet along edges"):
        grid(2, 2, 2.0, parts=[one, apart]).response(1.0)
    near = PlatePart(x=(4.0, 8.0), y=(0.001, 4.0), rigidity=1e7)
    with pytest.raises(ValueError, match="less than a thousandth"):
        grid(2, 2, 2.0, parts=[one, near], element_size=2.0).response(1.0)
    with pytest.raises(ValueError, match=r"the column at \(0, 6\) m lies outside"):
        grid(2, 2, 6.0, parts=[one]).response(1.0)
    with pytest.raises(ValueError, match="at the same place"):
        springs([0, 1, 0], [0, 0, 0])
    with pytest.raises(ValueError, match="a lost spring is a factor of 0"):
        springs([0, 1], [0, 0], stiffness=0.0)
    with pytest.raises(ValueError, match="infinite under a rigid plate"):
        springs([0, 1], [0, 0], stiffness=np.inf, rigidity=None)
    with pytest.raises(ValueError, match="cannot tell who carries what"):
        springs(np.linspace(0, 1, 30), np.zeros(30), stiffness=np.inf, element_size=0.5).response(1)
    plate = grid(2, 2)
    with pytest.raises(ValueError, match="names holds Z"):
        plate.lose(["Z"])
    with pytest.raises(ValueError, match="lost C0: no pushing springs"):
        grid(2, 2, rigidity=None).response(loads(plate, [9e6, 1, 1, 1]), factor=plate.lose(["C0"]))
