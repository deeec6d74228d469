"""The six mode shapes of a rigid body on its supports, each as a box before and after."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from groundborne._arguments import checked
from groundborne._checks import positive
from groundborne.plot.style import legend_of_figure
from groundborne.structure import RigidBody, damped_modes

Array = np.ndarray[Any, Any]

_BLUE, _GREY = "#0072B2", "0.45"
_WORDS = {
    "x": "sway along x",
    "y": "sway along y",
    "z": "bounce",
    "rx": "rocking about x",
    "ry": "rocking about y",
    "rz": "turning in plan",
}
# Where x, y and z point on paper: a box seen from its lower left corner, from above.
_PAPER = np.array([[0.92, 0.16], [-0.46, 0.34], [0.0, 0.86]])
_LARGEST = 0.16
"""Largest movement drawn, of the diagonal of the box."""


@checked
def mode_shapes(
    body: RigidBody, *, height: float | None = None, figure: Figure | None = None
) -> Figure:
    """The six modes of a body on springs and dampers, each a box before and after.

    Parameters
    ----------
    body : RigidBody
        Without dims for options or samples; its modes are those of
        :func:`groundborne.structure.damped_modes`.
    height : float, optional
        Height of the box drawn above the supports [m]; twice that of the centre of mass where not
        given, or the width of the plan where that lies below the supports.
    figure : Figure, optional
        Empty, where to draw; a new one by default.

    Returns
    -------
    Figure
        Six panels by rising frequency: the rectangle around the supports as a box, dashed at rest
        and solid where the mode is farthest out, with a dot at every support; above each its
        number, what moves most, natural frequency and damping ratio. Movements are not to scale:
        the largest of each mode is drawn alike. Points that lag, as dampers make them, are
        drawn where they are when the movement with the most energy is farthest out.

    Raises
    ------
    ValueError
        A body with dims of its own, supports in one point of the plan, a height that is not above
        0, or a figure that is not empty.

    Examples
    --------
    >>> from groundborne.structure import Supports
    >>> at = {"column": ["SW", "SE", "NE", "NW"]}
    >>> springs = Supports(
    ...     x=xr.DataArray([-5.0, 5.0, 5.0, -5.0], coords=at),
    ...     y=xr.DataArray([-4.0, -4.0, 4.0, 4.0], coords=at), z=0.0, kx=6e7, ky=6e7, kz=9e7)
    >>> body = RigidBody.box(mass=5e5, length_x=12.0, length_y=10.0, length_z=9.0, centre_z=4.5,
    ...                      supports=springs)
    >>> drawn = mode_shapes(body, figure=Figure())
    >>> print(drawn.axes[0].get_title())
    1  sway along y
    2.36 Hz, damping 0.0 %
    """
    where = "plot.mode_shapes"
    modes = damped_modes(body)
    if set(modes["natural_frequency"].dims) != {"mode"}:
        odd = next(d for d in modes["natural_frequency"].dims if d != "mode")
        raise ValueError(f"{where}: the body has the dim {odd!r}; draw one of it at a time")
    if height is not None:
        positive(where, "height", height, "m")
    own = figure is None
    if figure is None:
        # Here, so that drawing on a given figure never loads a window system.
        from matplotlib import pyplot as plt

        figure = plt.figure(figsize=(7.4, 5.6), layout="constrained")
    elif figure.axes:
        raise ValueError(f"{where}: the figure holds axes already; give an empty one")
    place = np.stack([a.values for a in body.supports.position], axis=-1)
    box = _box(body, place, height)
    size = float(np.linalg.norm(np.ptp(box.reshape(-1, 3)[~np.isnan(box).any(1)], axis=0)))
    moved = [_moved(body, modes["shape"].isel(mode=i), [box, place]) for i in range(6)]
    scale = [
        _LARGEST * size / max(np.nanmax(np.linalg.norm(m, axis=-1)) for m in both) for both in moved
    ]
    handles: list[Artist] = []
    axes = figure.subplots(2, 3)
    reach = [box @ _PAPER]
    for ax, both, far, number in zip(axes.flat, moved, scale, range(6), strict=True):
        after, dots = box + far * both[0], place + far * both[1]
        handles = _draw(ax, box, after, dots)
        reach += [after @ _PAPER, dots @ _PAPER]
        one = modes.isel(mode=number)
        ax.set_title(
            f"{number + 1}  {_WORDS[str(one['mostly'].item())]}\n"
            f"{float(one['natural_frequency']):.2f} Hz, "
            f"damping {100 * float(one['damping_ratio']):.1f} %",
            fontsize="medium",
        )
    _view(list(axes.flat), np.concatenate(reach))
    _axes_named(axes.flat[0], size)
    words = ["at rest", "farthest out, not to scale", "supports, farthest out"]
    if own:
        legend_of_figure(figure, handles, words)
    else:
        figure.legend(handles, words, loc="lower center", ncols=3, frameon=False)
    return figure


def _box(body: RigidBody, place: Array, height: float | None) -> Array:
    """Edges of the box in one line, breaks between them as NaN, shape (points, 3)."""
    low, high = place.min(axis=0), place.max(axis=0)
    wide = high[:2] - low[:2]
    if not (wide > 0).all():
        # A row of supports has no width: it is drawn a tenth as wide as it is long.
        if not (wide > 0).any():
            raise ValueError("plot.mode_shapes: all supports stand in one point of the plan")
        half = 0.05 * wide.max() * (wide == 0)
        low, high = low - np.append(half, 0.0), high + np.append(half, 0.0)
    if height is None:
        centre = 2 * (float(np.asarray(body.centre_z)) - low[2])
        height = centre if centre > 0 else float(wide.max())
    x, y = np.array([[low[0], high[0], high[0], low[0]], [low[1], low[1], high[1], high[1]]])
    foot = np.stack([x, y, np.full(4, low[2])], axis=-1)
    top = foot + np.array([0.0, 0.0, height])
    gap = np.full((1, 3), np.nan)
    rings = [np.concatenate([ring, ring[:1], gap]) for ring in (foot, top)]
    posts = [np.stack([a, b, gap[0]]) for a, b in zip(foot, top, strict=True)]
    found: Array = np.concatenate([*rings, *posts])
    return found


def _moved(body: RigidBody, shape: xr.DataArray, points: list[Array]) -> list[Array]:
    """Movement of points in a mode, shapes (points, 3), at the moment it is farthest out."""
    still = shape.real
    found = []
    for at in points:
        x, y, z = (xr.DataArray(at[:, i], dims="point").fillna(0.0) for i in range(3))
        moved = body.movement_at(still, x=x, y=y, z=z)
        found.append(np.stack([moved[n].values for n in "xyz"], axis=-1))
    return found


def _draw(ax: Axes, before: Array, after: Array, dots: Array) -> list[Artist]:
    """Box at rest and moved, and the supports; handles for the legend."""
    (rest,) = ax.plot(*(before @ _PAPER).T, color=_GREY, linestyle="--", linewidth=1.0, zorder=2)
    (out,) = ax.plot(*(after @ _PAPER).T, color=_BLUE, linewidth=1.7, zorder=3)
    (feet,) = ax.plot(
        *(dots @ _PAPER).T, linestyle="", marker="o", markersize=3.2, color="black", zorder=4
    )
    ax.set_aspect("equal")
    ax.set_axis_off()
    return [rest, out, feet]


def _view(axes: list[Axes], points: Array) -> None:
    """One view for all panels, around all that any of them holds."""
    low, high = np.nanmin(points, axis=0), np.nanmax(points, axis=0)
    margin = 0.04 * float((high - low).max())
    for ax in axes:
        ax.set_xlim(low[0] - margin, high[0] + margin)
        ax.set_ylim(low[1] - margin, high[1] + margin)


def _axes_named(ax: Axes, size: float) -> None:
    """Which way x, y and z point, in the lower left corner."""
    length = 0.13 * size
    start = np.array([ax.get_xlim()[0], ax.get_ylim()[0]]) - length * np.minimum(
        _PAPER.min(axis=0), 0.0
    )
    for name, way in zip("xyz", _PAPER, strict=True):
        end = start + length * way
        ax.annotate(
            "",
            tuple(end),
            tuple(start),
            arrowprops={"arrowstyle": "->", "shrinkA": 0, "shrinkB": 0},
        )
        ax.annotate(
            name, tuple(end), xytext=tuple(4 * way), textcoords="offset points",
            ha="center", va="center", fontsize="small",
        )  # fmt: skip
