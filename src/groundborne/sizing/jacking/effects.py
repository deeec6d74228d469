"""What turned jacks do to a floor, as rows: rise, loads on mounts, bending of the slab."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne.sizing.jacking.floor import BOUNDS, JackedFloor
from groundborne.sizing.jacking.grid import JackGrid
from groundborne.structure import PlateOnSprings

Array = np.ndarray[Any, Any]

_STRIP = 0.25
"""Moments over a mount are means over so much of the distance to the next one, either side."""
_ON_STRIP = 8
"""Gauss points on each side: towards the mount a moment grows as a logarithm."""


class StateError(ValueError):
    """A floor whose state cannot be where a correction begins."""


@dataclass(frozen=True, eq=False)
class Effects:
    """Rows of a floor at several rigidities (states), per metre of each jack.

    Parameters
    ----------
    rise : array
        Of surveyed points, (states, points, jacks).
    rise_at_jacks, load : array
        Of the floor at the jacks [-], and on the mounts [N/m], (states, jacks, jacks).
    moment : array
        Sum and difference of bending and twisting moment along x and y [N m/m per m],
        (states, rows, jacks).
    load_before, moment_before : array
        Where it begins [N], [N m/m], (states, jacks) and (states, rows).
    places : tuple of str
        Where the moments are, in words, one for each row.
    """

    rise: Array
    rise_at_jacks: Array
    load: Array
    moment: Array
    load_before: Array
    moment_before: Array
    places: tuple[str, ...]


def effects(floor: JackedFloor, *, x: Array, y: Array, load: xr.DataArray | None) -> Effects:
    """Rows of a floor at both bounds, and midway between them as a third.

    Parameters
    ----------
    floor : JackedFloor
        Slab, jacks and mounts.
    x, y : array
        Surveyed points [m].
    load : DataArray or None
        On each mount before [N], on ``jack`` and perhaps ``bound``; that on level jacks if None.
    """
    rigidity = floor.rigidity.values
    middle = float(np.sqrt(rigidity[0] * rigidity[1]))
    plates = [*floor.plates.values(), floor.plate(middle)]
    at_x, at_y, mean, places = _moment_places(floor.grid)
    at = xr.Dataset(
        {"x": ("point", np.concatenate([x, at_x])), "y": ("point", np.concatenate([y, at_y]))}
    )
    given = _given(floor, load, len(plates))
    found = [
        _rows(p, floor.pressure, at, x.size, mean, one)
        for p, one in zip(plates, given, strict=True)
    ]
    rise, rise_at_jacks, loads, moment, load_before, moment_before = (
        np.stack(rows) for rows in zip(*found, strict=True)
    )
    return Effects(
        rise=rise,
        rise_at_jacks=rise_at_jacks,
        load=loads,
        moment=moment,
        load_before=load_before,
        moment_before=moment_before,
        places=places,
    )


def _given(floor: JackedFloor, load: xr.DataArray | None, states: int) -> list[Array | None]:
    if load is None:
        return [None] * states
    names = floor.grid.jack.values
    by_bound = [load.sel(bound=b) if "bound" in load.dims else load for b in BOUNDS]
    values = [a.sel(jack=names).values for a in by_bound]
    weight = floor.weight
    for one in values:
        if abs(one.sum() - weight) > 0.2 * weight:
            raise StateError(
                f"the loads on the mounts add up to {one.sum() / 1e3:.4g} kN and the floor weighs "
                f"{weight / 1e3:.4g} kN; more than a fifth apart, so measure the compression of "
                "the mounts again, or mend their stiffness or the weight of the floor"
            )
    return [*values, *[(values[0] + values[1]) / 2] * (states - 2)]


def _rows(
    plate: PlateOnSprings,
    pressure: float,
    at: xr.Dataset,
    count: int,
    mean: Any,
    load: Array | None,
) -> tuple[Array, ...]:
    """Rise, rise at jacks, load, moment, load before, moment before of one rigidity."""
    names = plate.x["jack"].values
    one = xr.DataArray(np.eye(names.size), dims=("raised", "jack"),
                       coords={"raised": names, "jack": names})  # fmt: skip
    per = plate.response(raised=one, holds_down=True, at=at)
    rest = plate.response(pressure=pressure, holds_down=True, at=at)

    def moments(found: xr.Dataset) -> Array:
        along, across, twist = (
            np.moveaxis(np.atleast_2d(found[f"moment_{n}"].values[..., count:]), 0, -1)
            for n in ("x", "y", "xy")
        )
        x, y = mean[0] @ np.hstack([along, twist]), mean[1] @ np.hstack([across, twist])
        half = x.shape[1] // 2
        return np.concatenate(
            [m[:, :half] + sign * m[:, half:] for m in (x, y) for sign in (1.0, -1.0)]
        )

    loads, weight = per.reaction.values.T, rest.reaction.values
    bent, bent_before = moments(per), moments(rest)[:, 0]
    if load is not None:
        # Turns that lead from level jacks to these loads; what is out of balance is left out.
        turned = np.linalg.lstsq(loads, load - weight, rcond=1e-9)[0]
        bent_before, weight = bent_before + bent @ turned, load
    rise = -per.deflection_at.values[:, :count].T
    return rise, -per.deflection.values.T, loads, bent, weight, bent_before


def _moment_places(grid: JackGrid) -> tuple[Array, Array, tuple[Any, Any], tuple[str, ...]]:
    """Points where moments are read, how they are averaged along x and y, and the rows in words."""
    from scipy import sparse

    x, y = grid.x.values, grid.y.values
    first, second = grid.neighbours
    along_x = np.abs(x[first] - x[second]) > np.abs(y[first] - y[second])
    gauss, weight = np.polynomial.legendre.leggauss(_ON_STRIP)
    spots: list[tuple[float, float]] = []
    rows: tuple[list[tuple[int, int, float]], ...] = ([], [])
    words: tuple[list[str], ...] = ([], [])

    def add(row: int, axis: int, px: float, py: float, share: float) -> None:
        spots.append((px, py))
        rows[axis].append((row, len(spots) - 1, share))

    for jack, name in enumerate(grid.names):
        for axis, strips in ((0, ~along_x), (1, along_x)):
            # Moment along one axis over the mount: mean over a strip across it, inside the floor.
            ways = []
            for a, b in ((first, second), (second, first)):
                ways += [
                    _STRIP * np.array([x[other] - x[jack], y[other] - y[jack]])
                    for other in b[strips & (a == jack)].tolist()
                ]
            for way in ways:
                for g, w in zip(gauss, weight, strict=True):
                    px, py = np.array([x[jack], y[jack]]) + way * (g + 1) / 2
                    add(len(words[axis]), axis, px, py, w / 2 / len(ways))
            if ways:
                words[axis].append(f"over mount {name}")
    between = [
        ((x[a] + x[b]) / 2, (y[a] + y[b]) / 2, f"between {grid.names[a]} and {grid.names[b]}")
        for a, b in zip(first.tolist(), second.tolist(), strict=True)
    ]
    inside = [
        (x[c].mean(), y[c].mean(), f"between {grid.names[c[0]]} and {grid.names[c[3]]}")
        for c in grid.cells
    ]
    for px, py, word in between + inside:
        for axis in (0, 1):
            add(len(words[axis]), axis, float(px), float(py), 1.0)
            words[axis].append(word)
    where = np.array(spots)
    mean = tuple(
        sparse.coo_array(
            ([s for *_, s in part], ([r for r, *_ in part], [c for _, c, _ in part])),
            shape=(len(said), len(spots)),
        ).tocsr()
        for part, said in zip(rows, words, strict=True)
    )
    named = tuple(
        f"{w}, along {axis}"
        for said, axis in zip(words, "xy", strict=True)
        for _ in range(2)
        for w in said
    )
    return where[:, 0], where[:, 1], (mean[0], mean[1]), named
