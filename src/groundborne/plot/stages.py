"""From the source to a room, stage by stage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from groundborne import levels, weighting
from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.style import (
    grid,
    legend_below,
    literal,
    new_axes,
    numbers,
    plain_dims,
    series,
)


def stage_levels(result: xr.Dataset, *, room: str) -> xr.DataArray:
    """A-weighted level at the source and after every stage.

    Parameters
    ----------
    result : Dataset
        Result of a study.
    room : str
        Label of the room.

    Returns
    -------
    xarray.DataArray
        Sum over bands of energy mean of passbys, level changes so far and A-weighting [dB], dims
        (option, stage), the stage ``source`` first; of samples the median. A velocity level re the
        source's reference up to the last stage, a sound pressure level re 20 µPa after it.
    """
    known("plot.stages", "room", room, result["room"].values.tolist(), StudyError)
    change = result["level_change"].sel(room=room)
    wanted = ("option", "stage", "frequency")
    plain_dims(change, (*wanted, "sample") if "sample" in change.dims else wanted, "stages")
    source = levels.energy_mean(result["source_level"], "passby")
    start = xr.zeros_like(change.isel(stage=[0])).assign_coords(stage=["source"])
    steps = xr.concat([start, change], dim="stage", join="exact", coords="minimal")
    spectrum = source + steps.cumsum("stage") + weighting.a(change["frequency"])
    total = levels.energy_sum(spectrum.reset_coords(drop=True), "frequency")
    total.attrs = {"long_name": "A-weighted level after each stage", "units": "dB"}
    if "sample" in total.dims:
        total = total.median("sample", keep_attrs=True)
    return total.transpose("option", "stage")


@checked
def stages(
    result: xr.Dataset,
    *,
    room: str,
    option: str | Sequence[str] | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Ladder of A-weighted levels from the source down to a room.

    Parameters
    ----------
    result : Dataset
        Result of a study.
    room : str
        Label of the room.
    option : str or sequence of str, optional
        Which options to draw; all by default. Two, before and after, read best.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        One row for each stage, source on top, with the least and the largest level in figures.

    Raises
    ------
    ValueError
        An unknown room or option, dims that do not fit, or NaN.

    Notes
    -----
    A-weighting on a velocity level has no meaning of its own: it shows how much each stage takes
    from what will be heard.

    Examples
    --------
    >>> import groundborne as gb
    >>> from matplotlib.figure import Figure
    >>> study = gb.read_study("data/tower/study.toml")
    >>> study = study.with_options([gb.Option(name="as built")])
    >>> result = study.evaluate(band_levels=False)
    >>> ax = stages(result, room="N1", ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_yticklabels()][:2]
    ['source', 'after coupling']
    """
    totals = numbers(stage_levels(result, room=room), "stages")
    names = result["option"].values.tolist()
    if option is not None:
        chosen = [option] if isinstance(option, str) else list(option)
        for name in chosen:
            known("plot.stages", "option", name, names, StudyError)
        names = chosen
    totals = totals.sel(option=names)
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.0))
    y = np.arange(totals.sizes["stage"])
    handles = []
    for number, row in enumerate(totals.values):
        handles += ax.plot(row, y, **{**series(number), "markersize": 5.5})
    low, high = totals.min("option").values, totals.max("option").values
    for i in y.tolist():
        _figure(ax, high, i, right=True)
        if high[i] - low[i] > 0.05:
            _figure(ax, low, i, right=False)
    last = totals.sizes["stage"] - 1
    steps = [str(s).replace("_", " ") for s in totals["stage"].values.tolist()]
    rows = ["source"] + [
        literal(f"after {s}" + (", in the room" if n == last else ""), width=18)
        for n, s in enumerate(steps[1:], start=1)
    ]
    ax.set_yticks(y, rows)
    ax.set_ylim(last + 0.5, -0.5)
    span = float(high.max() - low.min()) or 1.0
    ax.set_xlim(low.min() - 0.12 * span, high.max() + 0.12 * span)
    grid(ax)
    reference = result["source_level"].attrs.get("reference", "")
    ax.set_xlabel(
        f"A-weighted level, energy mean of passbys, dB: velocity re {reference},\n"
        "in the room sound pressure re 20 µPa"
        + (f"; median of {result.sizes['sample']} samples" if "sample" in result.dims else "")
    )
    if legend:
        legend_below(ax, handles, [literal(n) for n in names], grow=own)
    return ax


def _figure(ax: Axes, ends: np.ndarray[Any, Any], row: int, *, right: bool) -> None:
    """A level beside its mark, on the outer side, where no line leaves for the rows beside it."""
    sign = 1.0 if right else -1.0
    outwards = [
        0 <= other < ends.size and sign * (ends[other] - ends[row]) > 0
        for other in (row - 1, row + 1)
    ]
    above, below = outwards
    if not (below if right else above):
        lift, va = (-3, "top") if right else (3, "bottom")
    elif not (above if right else below):
        lift, va = (3, "bottom") if right else (-3, "top")
    else:  # between two lines that part
        lift, va = 0, "center"
    ax.annotate(
        f"{ends[row]:.1f}", (ends[row], row), xytext=(sign * (9 if lift == 0 else 6), lift),
        textcoords="offset points", va=va, ha="left" if right else "right",
    )  # fmt: skip
