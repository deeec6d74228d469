"""A body in one plane: closed forms, the six-movement body it is a slice of, and refusals."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne.structure import PlanarBody, RigidBody, Supports
from groundborne.structure.element import GRAVITY

TWO = {"column": ["left", "right"]}
PAIR = xr.DataArray([-4.0, 6.0], coords=TWO)
GIVEN = {
    "mass": 2e5, "inertia": 4e6, "centre_x": 0.5, "centre_z": 3.0, "x": PAIR, "z": 0.0,
    "kx": 2e7, "kz": xr.DataArray([5e7, 4e7], coords=TWO),
}  # fmt: skip


def body(**changes) -> PlanarBody:
    return PlanarBody(**GIVEN | changes)


def test_bounce_and_pitch_with_eccentric_centre() -> None:
    """[[Σk, Σk x], [Σk x, Σk x²]] with diag(m, J): formula worked out by hand."""
    found = body(guided=True, kx=0.0, gravity_softening=False).modes()
    k, arm = np.array([5e7, 4e7]), np.array([-4.5, 5.5])
    matrix = np.array([[k.sum(), -(k * arm).sum()], [-(k * arm).sum(), (k * arm**2).sum()]])
    squared = np.linalg.eigvals(np.diag([1 / 2e5, 1 / 4e6]) @ matrix)
    assert found["natural_frequency"].values == pytest.approx(
        np.sort(np.sqrt(squared.real)) / (2 * np.pi)
    )
    assert found["participation"].sum("dof").values == pytest.approx(1.0)


def test_sway_and_rocking() -> None:
    """(kX − ω² m)(kθ + kX h² − ω² J) = (kX h)², two alike springs and a centred body."""
    centred = body(x=xr.DataArray([-5.0, 5.0], coords=TWO), centre_x=0.0, kz=4e7,
                   gravity_softening=False)  # fmt: skip
    f = centred.modes()["natural_frequency"].values
    kx, turn, h, m, j = 4e7, 2 * 4e7 * 25.0, 3.0, 2e5, 4e6
    both = np.roots([m * j, -(kx * j + m * (turn + kx * h**2)), kx * turn])
    expected = np.sort(np.r_[np.sqrt(both), np.sqrt(8e7 / m)]) / (2 * np.pi)
    assert f == pytest.approx(expected)


@settings(max_examples=25)
@given(
    width=st.floats(2.0, 20.0),
    height=st.floats(0.0, 6.0),
    ratio=st.floats(0.2, 1.0),
    offset=st.floats(-0.4, 0.4),
    soften=st.booleans(),
)
def test_it_is_a_slice_of_the_body_with_six_movements(width, height, ratio, offset, soften) -> None:
    """Two alike rows of springs at y = ±3 m: what moves in the plane moves alike."""
    x = np.array([-width / 2, width / 2])
    names = {"column": ["a", "b", "c", "d"]}
    four = Supports(
        x=xr.DataArray(np.r_[x, x], coords=names),
        y=xr.DataArray([-3.0, -3.0, 3.0, 3.0], coords=names),
        z=0.0, kx=ratio * 5e7, ky=5e7, kz=5e7,
    )  # fmt: skip
    common = {"mass": 4e5, "centre_x": offset, "centre_z": height, "gravity_softening": soften}
    whole = RigidBody(inertia_x=8e6, inertia_y=8e6, inertia_z=8e6, supports=four, **common)
    plane = PlanarBody(
        inertia=8e6, x=xr.DataArray(x, coords=TWO), z=0.0, kx=ratio * 1e8, kz=1e8, **common
    )
    six = whole.modes()["natural_frequency"].values
    for f in plane.modes()["natural_frequency"].values:
        assert np.abs(six - f).min() < 1e-6 * f
    pushed = plane.response(plane.load(fx=1e4, z=height + 4.0) + plane.weight)
    same = whole.response(whole.load(fx=1e4, z=height + 4.0) + whole.weight)
    assert pushed["deflection"].values == pytest.approx(same["deflection"].values[:2], abs=1e-12)
    assert float(pushed["tilt"]) == pytest.approx(float(same["tilt_x"]), abs=1e-12)
    assert pushed["reaction"].values / 2 == pytest.approx(same["reaction"].values[:2], rel=1e-9)


def test_reactions_balance_the_load() -> None:
    resting = body()
    found = resting.response(resting.weight + resting.load(fx=3e4, fz=-1e5, x=5.0, z=8.0))
    assert float(found["reaction"].sum()) == pytest.approx(2e5 * GRAVITY + 1e5)
    assert float(found["reaction_x"].sum()) == pytest.approx(-3e4)
    free = body(gravity_softening=False)
    load = free.load(fx=3e4, fz=-1e5, x=5.0, z=8.0)
    found = free.response(load)
    moment = -(found["reaction"] * (PAIR - 0.5)).sum() - 3.0 * found["reaction_x"].sum()
    assert float(moment) == pytest.approx(-float(load.sel(dof="ry")))


def test_options_are_carried() -> None:
    soft = xr.DataArray([1.0, 0.25], coords={"option": ["stiff", "soft"]})
    found = body(kz=GIVEN["kz"] * soft, kx=2e7 * soft, gravity_softening=False).modes()
    ratio = found["natural_frequency"].sel(option="soft") / found["natural_frequency"].sel(
        option="stiff"
    )
    assert ratio.values == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"kx": 0.0}, r"free \(mostly x\)"),
        (
            {"kz": xr.DataArray([5e7, 0.0], coords=TWO), "kx": 0.0, "guided": True},
            "leave a movement",
        ),
        ({"x": PAIR * 0.0 + 0.5, "kx": 0.0, "guided": True}, r"free \(mostly ry\)"),
        ({"centre_z": 2000.0}, r"topples.*weight so high above the springs .* lower the centre"),
        ({"mass": 0.0}, "mass is 0"),
        ({"inertia": float("nan")}, "inertia is nan"),
        ({"kz": -1.0}, "kz is -1"),
        ({"x": 3.0}, "a DataArray is needed"),
        (
            {"kz": xr.DataArray([5e7, 4e7], coords={"column": ["left", "wrong"]})},
            "labels of 'column' differ",
        ),
    ],
)
def test_bodies_that_are_not_held_are_refused(changes, said) -> None:
    with pytest.raises(ValueError, match=said):
        body(**changes)


def test_loads_of_other_bodies_are_refused() -> None:
    with pytest.raises(ValueError, match="load must hold x, z, ry"):
        body().response(body(guided=True).weight)
    with pytest.raises(ValueError, match="a DataArray is needed"):
        body().response(3.0)
    with pytest.raises(ValueError, match="load is nan"):
        body().response(body().weight * float("nan"))
