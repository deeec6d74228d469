"""What must hold of every plate on springs, whatever its plan, rigidity and losses."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings, strategies as st

from groundborne.structure import PlateBeam, PlateOnSprings, PlatePart, TippingError

ROUNDING = 1e-10


@st.composite
def plates(draw):
    """L-shaped plans, far from the origin or not, with a beam or none, springs anywhere on them."""
    seed = draw(st.integers(0, 2**32 - 1))
    count = draw(st.integers(4, 12))
    decades = draw(st.floats(5, 11))
    away = draw(st.sampled_from([0.0, 4e5]))
    rng = np.random.default_rng(seed)
    wide, deep = rng.uniform(8, 30, 2)
    cut = rng.uniform(0.3, 0.7, 2)
    parts = [
        PlatePart(
            x=(away, away + cut[0] * wide),
            y=(0.0, deep),
            rigidity=10**decades,
            poisson=float(rng.uniform(0, 0.4)),
        ),
        PlatePart(
            x=(away + cut[0] * wide, away + wide),
            y=(0.0, cut[1] * deep),
            rigidity=3 * 10**decades,
            rigidity_y=10**decades,
        ),
    ]
    beam = PlateBeam(
        start=(away + 0.1 * wide, 0.1 * deep),
        end=(away + 0.9 * wide, 0.2 * deep),
        bending_stiffness=10**decades,
        torsion_stiffness=10 ** (decades - 1),
    )
    x, y = rng.uniform(0, 1, (2, 6 * count))
    on = (x < cut[0]) | (y < cut[1])
    x, y = away + x[on][:count] * wide, y[on][:count] * deep
    names = {"column": [f"C{i}" for i in range(x.size)]}
    x, y, k = (
        xr.DataArray(v, dims="column", coords=names)
        for v in (x, y, 10 ** rng.uniform(7, 9, x.size))
    )
    beams = [beam] if draw(st.booleans()) else []
    plate = PlateOnSprings(
        x=x, y=y, stiffness=k, parts=parts, beams=beams, element_size=float(wide / 5)
    )
    load = xr.DataArray(10 ** rng.uniform(5, 7, x.size), dims="column", coords=names)
    return plate, load, rng


def left_over(plate, found, load, pressure=0.0) -> float:
    """Largest force or moment that is not balanced, over the force and the size of the plan."""
    x, y = plate.x - plate.x.mean(), plate.y - plate.y.mean()
    size = float(max(abs(x).max(), abs(y).max(), 1.0))
    rest = found["reaction"] - load
    sums = [rest.sum("column"), (rest * x).sum("column") / size, (rest * y).sum("column") / size]
    for part in plate.parts:
        middle = [np.mean(part.x) - plate.x.mean(), np.mean(part.y) - plate.y.mean()]
        for i, arm in enumerate([1.0, *(float(m) / size for m in middle)]):
            sums[i] = sums[i] - pressure * part.area * arm
    total = float(abs(load).sum()) + pressure * sum(p.area for p in plate.parts)
    return max(float(abs(s).max()) for s in sums) / total


@settings(max_examples=40, deadline=None)
@given(plates())
def test_force_and_moments_balance_in_every_case(case) -> None:
    plate, load, rng = case
    raised = xr.DataArray(
        rng.normal(0, 1e-3, (3, load.size)), dims=("way", "column"), coords={"column": load.column}
    )
    for factor in (1.0, plate.lose(), xr.full_like(load, 0.3)):
        held = plate.response(load, pressure=3e3, raised=raised, factor=factor, holds_down=True)
        # what raising alone sets up may dwarf the loads
        forced = float(abs(held.reaction).max()) * 1e-13 / float(load.sum())
        assert left_over(plate, held, load, 3e3) < ROUNDING + forced
        try:
            free = plate.response(load, pressure=3e3, raised=raised, factor=factor)
        except TippingError:
            continue
        assert left_over(plate, free, load, 3e3) < ROUNDING + forced
        assert float(free.reaction.min()) >= 0.0
        assert float(free.gap.min()) >= 0.0
        assert float((free.gap * free.reaction).max()) == 0.0


@settings(max_examples=25, deadline=None)
@given(plates())
def test_every_spring_obeys_its_own_law(case) -> None:
    """Reaction is stiffness times compression, and nothing where the plate has lifted off."""
    plate, load, rng = case
    raised = xr.DataArray(
        rng.normal(0, 1e-3, load.size), dims="column", coords={"column": load.column}
    )
    try:
        found = plate.response(load, raised=raised)
    except TippingError:
        return
    squeezed = found.deflection + raised
    off = found.reaction - plate.stiffness * squeezed.clip(min=0.0)
    assert float(abs(off).max()) < 1e-9 * float(found.reaction.max() + plate.stiffness.max() * 1e-3)
    assert float(abs(found.gap - (-squeezed).clip(min=0.0)).max()) < 1e-12


@settings(max_examples=25, deadline=None)
@given(plates())
def test_maxwell_and_betti(case) -> None:
    """What a load here moves there is what the same load there moves here."""
    plate, load, _ = case
    names = load["column"].values
    one = xr.DataArray(
        np.eye(names.size), dims=("on", "column"), coords={"on": names, "column": names}
    )
    moved = plate.response(one, holds_down=True).deflection.values
    assert moved == pytest.approx(moved.T, rel=1e-7, abs=1e-9 * np.abs(moved).max())
    assert (np.linalg.eigvalsh(moved) > 0).all()


@settings(max_examples=15, deadline=None)
@given(plates())
def test_points_read_what_springs_feel(case) -> None:
    plate, load, _ = case
    at = xr.Dataset({"x": ("point", plate.x.values), "y": ("point", plate.y.values)})
    found = plate.response(load, pressure=2e3, holds_down=True, at=at)
    scale = float(abs(found.deflection).max())
    assert found.deflection_at.values == pytest.approx(
        found.deflection.values, rel=1e-6, abs=1e-7 * scale
    )
