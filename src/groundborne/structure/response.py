"""Evaluation of a column line by dimension name: its arrays without repeats, and the kernels."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, is_lazy
from groundborne.structure import ladder
from groundborne.structure.element import Mobility
from groundborne.structure.phases import DIMS, ColumnPhases
from groundborne.structure.slab import Slab
from groundborne.structure.storey import IsolationPlane, Storey


@dataclass(frozen=True)
class Terms:
    """Everything of one line at given frequencies, without repeats."""

    dims: tuple[Hashable, ...]
    """Dims of the frequencies; kept last, where the arrays are read fastest."""
    plan: ladder.Plan
    foundation: xr.DataArray
    rods: list[ladder.Rod]
    slabs: list[xr.DataArray]
    mount: ladder.Mount | None


COLUMN = "column"
"""Dim along which lines are often alike: each that differs is worked out once."""

Kernel = Callable[
    [ladder.Plan, list[ladder.Rod], list[Any], ladder.Mount | None, ladder.Array], ladder.Array
]


def terms_of(
    frequency: xr.DataArray,
    *,
    storeys: tuple[Storey, ...],
    base_slab: Slab | Mobility | None,
    foundation: Mobility,
    isolation: IsolationPlane | None,
    plane: tuple[int, bool] | None,
    phases: ColumnPhases,
) -> Terms:
    """Evaluate each different segment and slab once at the frequencies [Hz].

    What knows how columns move against each other has the dims of the phases first.
    """
    names = ("height", "area", "youngs_modulus", "density", "loss_factor")
    segments, rod_index = ladder.distinct([tuple(getattr(s, n) for n in names) for s in storeys])
    above = [s.slab for s in storeys]
    given = above if base_slab is None else [base_slab, *above]
    slabs, slab_index = ladder.distinct(phases.scattered(given))
    base: tuple[int | None, ...] = (None,) if base_slab is None else ()
    mount = None
    if isolation is not None:
        port = isolation.mount.two_port(frequency)
        mount = ladder.Mount(port.a, port.b, port.c, port.d)
    return Terms(
        dims=tuple(frequency.dims),
        plan=ladder.Plan(rods=rod_index, slabs=(*base, *slab_index), plane=plane),
        foundation=foundation_mobility(foundation, frequency, phases),
        rods=[ladder.rod(frequency, **dict(zip(names, s, strict=True))) for s in segments],
        slabs=[_impedance(s, frequency, phases) for s in slabs],
        mount=mount,
    )


def mean_square(squared: xr.DataArray, weight: Numeric = 1.0) -> xr.DataArray:
    """Mean of ``weight · squared`` over the single frequencies of a band."""

    def kernel(values: ladder.Array, *weights: ladder.Array) -> ladder.Array:
        mean: ladder.Array = values.mean(-1)
        if weights:
            mean = np.einsum("...i,...i->...", values, *weights) / values.shape[-1]
        return mean

    weights = [weight] if isinstance(weight, xr.DataArray) else []
    mean: xr.DataArray = xr.apply_ufunc(
        kernel,
        squared,
        *weights,
        input_core_dims=[["single_frequency"]] * (1 + len(weights)),
        join="exact",
        keep_attrs=False,
        dask="parallelized",
        dask_gufunc_kwargs={"meta": np.empty(0)},
    )
    return mean if weights else mean * weight


def foundation_mobility(
    foundation: Any, frequency: xr.DataArray, phases: ColumnPhases
) -> xr.DataArray:
    """Mobility under a column: with the phases of its neighbours, where they share what bends."""
    if hasattr(foundation, "lattice_mobility"):
        mobility: xr.DataArray = foundation.lattice_mobility(frequency, phases)
    else:
        mobility = foundation.driving_point_mobility(frequency)
    return mobility


def _impedance(slab: Any, frequency: xr.DataArray, phases: ColumnPhases) -> xr.DataArray:
    if hasattr(slab, "lattice_impedance"):
        lattice: xr.DataArray = slab.lattice_impedance(frequency, phases)
        return lattice
    if isinstance(slab, Slab):
        return slab.impedance(frequency)
    mobility: xr.DataArray = slab.driving_point_mobility(frequency)
    return 1 / mobility


def input_mobility(terms: Terms) -> xr.DataArray:
    """Mobility seen from the foundation [m/(N s)]."""
    return apply(
        terms,
        lambda plan, rods, slabs, mount, _: 1 / ladder.down(plan, rods, slabs, mount).impedance,
    )


def plane_mobilities(terms: Terms) -> tuple[xr.DataArray, xr.DataArray]:
    """Mobilities below and above the mounts [m/(N s)]."""

    def below(plan: Any, rods: Any, slabs: Any, _: Any, foundation: Any) -> ladder.Array:
        return 1 / ladder.looking_down(plan, rods, slabs, foundation)

    def above(plan: Any, rods: Any, slabs: Any, mount: Any, _: Any) -> ladder.Array:
        carried = ladder.down(plan, rods, slabs, mount).above
        assert carried is not None
        return 1 / carried

    return apply(terms, below), apply(terms, above)


def squares(terms: Terms, *, floors: int) -> xr.DataArray:
    """Mean over phases of ``|v/v_free|²`` at the topmost `floors` nodes [-]."""

    def kernel(plan: Any, rods: Any, slabs: Any, mount: Any, foundation: Any) -> ladder.Array:
        found = ladder.down(plan, rods, slabs, mount)
        nodes = ladder.up(plan, found, foundation)[0][-floors:]
        squared: ladder.Array = nodes.real**2 + nodes.imag**2
        return squared

    return apply(terms, kernel, floors=floors, dtype=float, over_phases=True)


def velocities(terms: Terms, *, floors: int) -> xr.DataArray:
    """Velocity at the topmost `floors` nodes over the free velocity [-]."""

    def kernel(plan: Any, rods: Any, slabs: Any, mount: Any, foundation: Any) -> ladder.Array:
        found = ladder.down(plan, rods, slabs, mount)
        return ladder.up(plan, found, foundation)[0][-floors:]

    return apply(terms, kernel, floors=floors)


def power(terms: Terms) -> xr.DataArray:
    """Power through the plane over the square of the free velocity [N s/m]."""

    def kernel(plan: Any, rods: Any, slabs: Any, mount: Any, foundation: Any) -> ladder.Array:
        found = ladder.down(plan, rods, slabs, mount)
        velocity = ladder.up(plan, found, foundation)[1]
        assert found.above is not None
        assert velocity is not None
        real: ladder.Array = found.above.real * (velocity.real**2 + velocity.imag**2)
        return real

    return apply(terms, kernel, dtype=float, over_phases=True)


def apply(
    terms: Terms,
    kernel: Kernel,
    *,
    floors: int = 0,
    dtype: type = complex,
    over_phases: bool = False,
) -> xr.DataArray:
    """Run a kernel of :mod:`groundborne.structure.ladder` by dimension name.

    With `over_phases` its results are averaged over the phases of the columns, one phase after the
    other, so that many take no more memory than one.
    """
    n_rods, n_slabs = len(terms.rods), len(terms.slabs)
    flat = [terms.foundation, *terms.slabs, *(part for r in terms.rods for part in r)]
    flat += list(terms.mount or ())
    whole = flat
    first, alike = _alike(flat)
    if first is not None:
        flat = [a.isel({COLUMN: first}) if COLUMN in a.dims else a for a in flat]
    own = [over_phases and DIMS[0] in a.dims for a in flat]

    def one(arrays: list[ladder.Array]) -> ladder.Array:
        slabs = arrays[1 : 1 + n_slabs]
        parts = arrays[1 + n_slabs :]
        rods = [ladder.Rod(*parts[3 * i : 3 * i + 3]) for i in range(n_rods)]
        mount = None if terms.mount is None else ladder.Mount(*parts[3 * n_rods :])
        result = kernel(terms.plan, rods, slabs, mount, arrays[0])
        shape = np.broadcast_shapes(*(a.shape for a in arrays))
        if floors:
            whole = np.broadcast_to(result, (floors, *shape))
            return np.moveaxis(whole, 0, len(shape) - len(terms.dims))
        return np.broadcast_to(result, shape)

    def run(*given: ladder.Array) -> ladder.Array:
        # Phases first, so that each is an array in order.
        depth = len(terms.dims) + 2
        arrays = [
            np.ascontiguousarray(np.moveaxis(a, (-depth, 1 - depth), (0, 1)) if phased else a)
            for a, phased in zip(given, own, strict=True)
        ]
        points = next((a.shape[:2] for a, has in zip(arrays, own, strict=True) if has), (1, 1))
        total: Any = 0.0
        for at in np.ndindex(*points):
            found = one([a[at] if has else a for a, has in zip(arrays, own, strict=True)])
            total = found if points == (1, 1) else total + found
        mean: ladder.Array = total if points == (1, 1) else total / (points[0] * points[1])
        return mean

    core = (["floor"] if floors else []) + list(terms.dims)
    found: xr.DataArray = xr.apply_ufunc(
        run,
        *flat,
        input_core_dims=[[*(DIMS if phased else ()), *terms.dims] for phased in own],
        output_core_dims=[core],
        join="exact",
        keep_attrs=False,
        dask="parallelized",
        dask_gufunc_kwargs={
            "meta": np.empty(0, dtype),
            "output_sizes": {"floor": floors} if floors else {},
        },
    )
    if first is not None:
        found = found.isel({COLUMN: alike})
        labels = next((a[COLUMN] for a in whole if COLUMN in a.coords), None)
        found = found.drop_vars(COLUMN, errors="ignore")
        found = found if labels is None else found.assign_coords({COLUMN: labels})
    return found.transpose("floor", ...) if floors else found


def _alike(flat: Sequence[xr.DataArray]) -> tuple[Any, Any]:
    """Columns of which each is another line, and which of them each column is like; or neither."""
    by_column = [a for a in flat if COLUMN in a.dims]
    if not by_column or any(is_lazy(a) for a in by_column):
        return None, None
    each = [a.transpose(COLUMN, ...).values for a in by_column]
    seen: dict[tuple[bytes, ...], int] = {}
    alike = [
        seen.setdefault(tuple(np.ascontiguousarray(a[at]).tobytes() for a in each), len(seen))
        for at in range(by_column[0].sizes[COLUMN])
    ]
    if len(seen) == len(alike):
        return None, None
    first = np.unique(alike, return_index=True)[1]
    return first, np.asarray(alike)
