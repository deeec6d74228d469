"""Columns in plan, each with a number: load, deflection, natural frequency."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.colors import Normalize
from matplotlib.lines import Line2D

from groundborne._arguments import checked
from groundborne._checks import finite, known
from groundborne.plot.style import (
    figure_of,
    grid,
    legend_below,
    literal,
    new_axes,
    numbers,
    plain_dims,
)
from groundborne.sizing import Schedule
from groundborne.structure.supports import named_columns, on_columns

# Even in lightness and the same to the colour-blind; reversed, so that more is darker on paper.
_COLOURS = "cividis_r"
_SHOWN = {
    "N": ("kN", 1e-3),
    "m": ("mm", 1e3),
    "N/m": ("kN/mm", 1e-6),
    "kg": ("kg", 1.0),
    "Hz": ("Hz", 1.0),
    "1": ("", 1.0),
}
_LABELS = {
    "load": "Quasi-permanent load",
    "deflection": "Deflection under quasi-permanent load",
    "natural_frequency": "Natural frequency on a rigid base",
    "number": "Parts in the pack",
}


@checked(own_labels=("x", "y"))  # a plan of more columns than are drawn
def columns(
    values: xr.DataArray | Schedule,
    *,
    x: xr.DataArray,
    y: xr.DataArray,
    quantity: str | None = None,
    label: str | None = None,
    limits: tuple[float, float] | None = None,
    failing: xr.DataArray | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Plan of the columns: a number at each, and markers that grow and darken with it.

    Parameters
    ----------
    values : DataArray or Schedule
        One number for each named ``column`` in SI units, which ``attrs["units"]`` tells; or a
        schedule, of which `quantity` is drawn. A scalar coordinate ``lost``, as selecting a lost
        column leaves it, marks that column as lost: it has no number of its own.
    x, y : DataArray
        Position [m] on ``column``; those of columns that are not drawn are passed over.
    quantity : str, optional
        With a schedule: which number, ``load`` for one.
    label : str, optional
        What the numbers are, without the unit; by default the schedule's or the array's own name.
    limits : (float, float), optional
        Ends of the colours in the units of the values; by default the least and the most. Numbers
        beyond are written as they are, in the colour of that end, which the colour bar then tells
        by its arrow.
    failing : DataArray, optional
        True on ``column`` where a column cannot be met; with a schedule its own by default.
    ax : Axes, optional
        Where to draw; a new figure by default. The colour bar takes a part of it.
    legend : bool
        Whether to add a legend; it is drawn where columns cannot be met.

    Returns
    -------
    Axes
        Loads in kN, lengths in mm, stiffness in kN/mm; on both axes metres to one scale. Columns
        that cannot be met are crosses, their names framed, and the legend counts and names them.

    Raises
    ------
    ValueError
        Columns without names or place, values without units or with NaN, dims beside ``column``,
        an unknown quantity, or limits that do not ascend.

    Notes
    -----
    Text shrinks with the space between the closest columns, down to 4.5 pt, so that 60 columns on a
    regular grid read at the width of a page. Columns closer than a thirtieth of the plan need
    larger axes.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> corners = {"column": ["A1", "B1", "A2", "B2"]}
    >>> x = xr.DataArray([0.0, 6.0, 0.0, 6.0], dims="column", coords=corners)
    >>> y = xr.DataArray([0.0, 0.0, 6.0, 6.0], dims="column", coords=corners)
    >>> load = x.copy(data=[2.1e6, 3.4e6, 1.9e6, 3.0e6]).assign_attrs(units="N")
    >>> ax = columns(load, x=x, y=y, label="Load", ax=Figure().subplots())
    >>> [t.get_text() for t in ax.texts if t.get_text().isdecimal()]
    ['2100', '3400', '1900', '3000']
    """
    where = "plot.columns"
    data, title, failing = _drawn(values, quantity, label, failing)
    numbers(plain_dims(data, ("column",), "columns"), "columns")
    finite(where, "values", data)
    place = np.stack([_at(n, v, data.column) for n, v in (("x", x), ("y", y))], axis=-1)
    bad = _failing(failing, data.column)
    gone = _gone(values, data.column)
    if "units" not in data.attrs:
        raise ValueError(
            f"{where}: the values do not tell their units; set attrs['units'], 'N' for one"
        )
    unit, scale = _SHOWN.get(str(data.attrs["units"]), (str(data.attrs["units"]), 1.0))
    shown = data.values.astype(float) * scale
    norm, extend = _colours(shown if gone.all() else shown[~gone], limits, scale)

    own = ax is None
    ax = new_axes(ax, size=_size(place))
    ax.set_aspect("equal", adjustable="box")
    points = _view(ax, place)
    extent = max(points * _apart(place), 9.0) if len(place) > 1 else 40.0
    share = np.clip((shown - norm.vmin) / (norm.vmax - norm.vmin), 0.0, 1.0)
    area = (np.clip(extent * 0.38, 4.0, 15.0) ** 2) * (0.35 + 0.65 * share)
    drawn = _markers(ax, place, shown, area, (bad & ~gone, gone), norm)
    size = float(np.clip(extent / 5, 5.0, 7.0))
    _texts(ax, data.column.values, _written(shown, gone), place, area, bad & ~gone, size)
    bar = figure_of(ax).colorbar(drawn, ax=ax, extend=extend, shrink=0.85, pad=0.02, aspect=28)
    bar.set_label(f"{literal(title, width=40)}, {literal(unit)}" if unit else literal(title))
    ax.set_xlabel("x, m")
    ax.set_ylabel("y, m")
    grid(ax)
    bad = bad & ~gone
    if legend and bad.any():
        _legend(ax, data.column.values, bad, grow=own)
    return ax


def _drawn(
    values: xr.DataArray | Schedule,
    quantity: str | None,
    label: str | None,
    failing: xr.DataArray | None,
) -> tuple[xr.DataArray, str, xr.DataArray | None]:
    """The numbers, what they are, and which columns fail."""
    where = "plot.columns"
    if isinstance(values, Schedule):
        found = values.data
        names = [str(n) for n, v in found.items() if v.dims == ("column",) and v.dtype.kind in "if"]
        name = known(where, "quantity", quantity, names)
        own = _LABELS.get(name, name.replace("_", " ").capitalize())
        return found[name], label or own, ~found["met"] if failing is None else failing
    if quantity is not None:
        raise ValueError(f"{where}: quantity belongs to a schedule; name an array by label")
    values = named_columns(where, "values", values)
    named = values.attrs.get("long_name", values.name)
    return values, label or str(named or "Value"), failing


def _gone(values: xr.DataArray | Schedule, column: xr.DataArray) -> np.ndarray[Any, Any]:
    """The lost column that the numbers are of."""
    lost = None if isinstance(values, Schedule) else values.coords.get("lost")
    if lost is None or lost.ndim:
        return np.zeros(column.size, dtype=bool)
    found: np.ndarray[Any, Any] = column.values.astype(str) == str(lost.item())
    return found


def _written(shown: np.ndarray[Any, Any], gone: np.ndarray[Any, Any]) -> list[str]:
    """Number at each column, without a minus before a zero; a lost one has none."""
    digits = _digits(shown)
    return [
        "lost" if lost else f"{round(value, digits) + 0.0:.{digits}f}"
        for value, lost in zip(shown.tolist(), gone.tolist(), strict=True)
    ]


def _at(name: str, value: xr.DataArray, column: xr.DataArray) -> np.ndarray[Any, Any]:
    """Places of the columns that are drawn, a plan of more of them allowed."""
    where = "plot.columns"
    place = named_columns(where, name, value)
    keep = np.isin(place["column"].values, column.values)
    place = on_columns(where, name, place.isel(column=keep) if keep.any() else place, column)
    finite(where, name, plain_dims(place, ("column",), "columns"))
    return place.values.astype(float)


def _failing(failing: xr.DataArray | None, column: xr.DataArray) -> np.ndarray[Any, Any]:
    if failing is None:
        return np.zeros(column.size, dtype=bool)
    if failing.dtype != bool:
        raise ValueError("plot.columns: failing must hold true and false on dim 'column'")
    marked = on_columns("plot.columns", "failing", failing.astype(float), column)
    marks: np.ndarray[Any, Any] = plain_dims(marked, ("column",), "columns").values > 0
    return marks


def _colours(
    shown: np.ndarray[Any, Any], limits: tuple[float, float] | None, scale: float
) -> tuple[Any, str]:
    low, high = float(shown.min()), float(shown.max())
    if limits is not None:
        for end in limits:
            finite("plot.columns", "limits", end)
        if not limits[0] < limits[1]:
            raise ValueError(
                f"plot.columns: limits are {limits[0]:g} and {limits[1]:g}; they must ascend"
            )
        ends = limits[0] * scale, limits[1] * scale
        below, above = low < ends[0] - 1e-9 * abs(low), high > ends[1] + 1e-9 * abs(high)
        extend = {(0, 0): "neither", (1, 0): "min", (0, 1): "max", (1, 1): "both"}[below, above]
        return Normalize(*ends), extend
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        # One number for all columns has no range of its own.
        half = 0.05 * abs(low) or 1.0
        return Normalize(low - half, high + half), "neither"
    return Normalize(low, high), "neither"


def _size(place: np.ndarray[Any, Any]) -> tuple[float, float]:
    """Figure [in] of a page's width at most, as high as the plan asks."""
    wide, tall = (np.ptp(place, axis=0) + 2 * _margin(place)).tolist()
    inches = min(5.5 / wide, 6.5 / tall)
    return max(inches * wide + 1.5, 4.0), max(inches * tall + 0.7, 2.4)


def _margin(place: np.ndarray[Any, Any]) -> float:
    """Room for half a marker and its text around the outermost columns [m]."""
    span = float(np.ptp(place, axis=0).max())
    return max(0.6 * _apart(place), 0.04 * span) if span > 0 else 1.0


def _apart(place: np.ndarray[Any, Any]) -> float:
    """Distance of the closest columns along the axis that keeps their texts apart [m]."""
    between = np.abs(place[:, None] - place[None]).max(axis=-1)
    other = between[between > 0]
    return float(other.min()) if other.size else 0.0


def _view(ax: Axes, place: np.ndarray[Any, Any]) -> float:
    """Set the view around the columns; points of paper for each metre of plan."""
    margin = _margin(place)
    low, high = place.min(axis=0) - margin, place.max(axis=0) + margin
    ax.set_xlim(low[0], high[0])
    ax.set_ylim(low[1], high[1])
    box, figure = ax.get_position(original=True), figure_of(ax)
    inches = np.array([box.width * figure.get_figwidth(), box.height * figure.get_figheight()])
    # The colour bar takes about a tenth of the width.
    per_metre = np.min(inches * [0.9, 1.0] / (high - low))
    return float(per_metre) * 72


def _markers(
    ax: Axes,
    place: np.ndarray[Any, Any],
    shown: np.ndarray[Any, Any],
    area: np.ndarray[Any, Any],
    marked: tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]],
    norm: Any,
) -> PathCollection:
    """Circles, crosses for columns that cannot be met, and a ring for a lost one."""
    bad, gone = marked
    look: dict[str, Any] = {"cmap": _COLOURS, "norm": norm, "edgecolors": "black", "zorder": 3}
    made = [
        ax.scatter(place[here, 0], place[here, 1], s=factor * area[here], c=shown[here],
                   marker=marker, linewidths=line, **look)
        for here, marker, factor, line in ((~bad & ~gone, "o", 1.0, 0.6), (bad, "X", 1.5, 1.0))
        if here.any()
    ]  # fmt: skip
    if gone.any():
        ring = ax.scatter(place[gone, 0], place[gone, 1], s=area[gone], facecolors="none",
                          edgecolors="black", linestyles="dashed", zorder=3)  # fmt: skip
        made.append(ring)
    return made[0]


def _texts(
    ax: Axes,
    names: np.ndarray[Any, Any],
    written: list[str],
    place: np.ndarray[Any, Any],
    area: np.ndarray[Any, Any],
    bad: np.ndarray[Any, Any],
    size: float,
) -> None:
    """Name above and number below each marker."""
    radius = np.sqrt(area * np.where(bad, 1.5, 1.0)) / 2 + 1.0
    frame = {"facecolor": "white", "edgecolor": "black", "linewidth": 0.6, "pad": 0.8}
    for name, value, at, away, fails in zip(
        names.tolist(), written, place.tolist(), radius.tolist(), bad.tolist(), strict=True
    ):
        ax.annotate(
            value, at, xytext=(0, -away), textcoords="offset points",
            ha="center", va="top", fontsize=size, zorder=4,
        )  # fmt: skip
        ax.annotate(
            literal(name, width=12, lines=1), at, xytext=(0, away + fails),
            textcoords="offset points", ha="center", va="bottom", fontsize=0.9 * size, zorder=4,
            color="black" if fails else "0.35", bbox=frame if fails else None,
        )  # fmt: skip


def _digits(shown: np.ndarray[Any, Any]) -> int:
    """Decimals that tell the columns apart, within four significant figures."""
    most, spread = float(np.abs(shown).max()), float(np.ptp(shown))
    if most == 0 or bool(np.all(shown == np.round(shown)) and most < 1e5):
        return 0
    size = int(np.floor(np.log10(most)))
    apart = 1 - int(np.floor(np.log10(spread))) if spread > 1e-9 * most else 0
    return max(0, min(3 - size, max(2 - size, apart)))


def _legend(
    ax: Axes, names: np.ndarray[Any, Any], bad: np.ndarray[Any, Any], *, grow: bool
) -> None:
    point: dict[str, Any] = {"linestyle": "", "color": "black", "markerfacecolor": "0.75"}
    listed = ", ".join(map(str, names[bad].tolist()))
    handles = [
        Line2D([], [], marker="X", markersize=8, **point),
        Line2D([], [], marker="o", markersize=6.5, **point),
    ]
    words = [
        literal(f"cannot be met, {bad.sum()} of {bad.size}: {listed}", width=72, lines=4),
        "can be met",
    ]
    keep = slice(None) if not bad.all() else slice(1)
    legend_below(ax, handles[keep], words[keep], grow=grow)
