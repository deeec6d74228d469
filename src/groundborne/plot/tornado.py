"""What makes a rating uncertain, largest first."""

from __future__ import annotations

import re

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.style import grid, literal, new_axes

MOST = 6
"""Sources of error that have a bar of their own; the rest share one."""


@checked(nan=("budget",))
def tornado(
    budget: xr.Dataset,
    *,
    option: str,
    room: str,
    criterion: str,
    ax: Axes | None = None,
) -> Axes:
    """Standard deviation of one rating by each source of error, as bars either way.

    Parameters
    ----------
    budget : Dataset
        From :func:`~groundborne.study.error_budget`.
    option, room, criterion : str
        Labels of the rating.
    ax : Axes, optional
        Where to draw; a new figure by default.

    Returns
    -------
    Axes
        A bar for each source, largest on top, six at most and one for all others; below them, grey
        and hatched, all together to first order and by samples. Beside each bar its standard
        deviation [dB; NR of noise ratings].

    Raises
    ------
    ValueError
        An unknown label, or a room without this criterion.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> at = {"option": ["none"], "room": ["R1"], "criterion": ["LASmax, mean"]}
    >>> rows = xr.DataArray([[[[3.0]]], [[[4.0]]]], dims=("source_of_error", *at),
    ...                     coords={"source_of_error": ["trains", "floor"], **at})
    >>> whole = xr.DataArray([[[5.0]]], dims=tuple(at), coords=at)
    >>> found = xr.Dataset({"budget": rows, "first_order": whole, "sampled": whole})
    >>> ax = tornado(found, option="none", room="R1", criterion="LASmax, mean",
    ...              ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_yticklabels()]
    ['floor', 'trains', 'all, first order', 'all, by samples']
    """
    place = {"option": option, "room": room, "criterion": criterion}
    for dim, label in place.items():
        known("plot.tornado", dim, label, budget[dim].values.tolist(), StudyError)
    here = budget.sel(place)
    if bool(here["budget"].isnull().any()):
        raise StudyError(f"plot.tornado: room {room!r} has no criterion {criterion!r}")
    sizes = here["budget"].values
    order = [int(at) for at in np.argsort(-sizes, kind="stable") if sizes[at] > 0]
    names = [str(here["source_of_error"].values[at]) for at in order]
    values = [float(sizes[at]) for at in order]
    if len(values) > MOST + 1:
        rest = float(np.sqrt(np.sum(np.square(values[MOST:]))))
        names = [*names[:MOST], f"{len(values) - MOST} others"]
        values = [*values[:MOST], rest]
    own = len(values)
    names += ["all, first order", "all, by samples"]
    values += [here["first_order"].item(), here["sampled"].item()]
    ax = new_axes(ax, size=(6.4, 1.5 + 0.36 * len(values)))
    y = np.arange(len(values), dtype=float)
    y[own:] += 0.4
    ax.barh(y[:own], 2 * np.array(values[:own]), left=-np.array(values[:own]), height=0.66,
            color="#0072B2", edgecolor="black", linewidth=0.6)  # fmt: skip
    ax.barh(y[own:], 2 * np.array(values[own:]), left=-np.array(values[own:]), height=0.66,
            color="0.85", edgecolor="black", linewidth=0.6, hatch="////")  # fmt: skip
    for at, value in zip(y.tolist(), values, strict=True):
        ax.annotate(
            f"±{value:.1f}", (value, at), xytext=(4, 0), textcoords="offset points", va="center"
        )
    reach = 1.35 * max(values) or 1.0
    ax.set_xlim(-reach, reach)
    ax.axvline(0.0, color="black", linewidth=1.0)
    ax.axhline(own - 0.3, color="0.6", linewidth=0.6)
    # Addresses of keys are wrapped at their dots, not inside words.
    ax.set_yticks(y, [literal(re.sub(r"\.(?=[a-z])", ". ", name), width=26) for name in names])
    ax.set_ylim(y[-1] + 0.6, -0.6)
    ax.tick_params(axis="y", length=0)
    grid(ax, "x")
    unit = str(here["margin_unit"].item()) if "margin_unit" in here.coords else "dB"
    words = literal(f"{criterion}; room {room}; {option}", width=70)
    ax.set_xlabel(f"Standard deviation of the rating, {literal(unit)}\n{words}")
    return ax
