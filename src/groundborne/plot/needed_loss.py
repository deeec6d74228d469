"""Insertion loss that a room lacks, band by band."""

from __future__ import annotations

import xarray as xr
from matplotlib.axes import Axes

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.plot.style import band_axis, grid, legend_below, literal, new_axes, series


@checked(infinite=("needed",))
def needed_loss(
    needed: xr.Dataset,
    *,
    option: str,
    room: str,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Losses by band that a room lacks beyond an option, a line for each of its criteria.

    Parameters
    ----------
    needed : Dataset
        From :func:`~groundborne.study.needed_isolation`, with losses by band.
    option, room : str
        Labels.
    ax : Axes, optional
        Where to draw; a new figure by default.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        Lines with a marker for each band, on nominal bands; the legend names the criterion and the
        loss that would do alike in all bands.

    Raises
    ------
    ValueError
        An unknown label, no losses by band, or a room without criteria.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> at = {"option": ["none"], "room": ["R1"], "criterion": ["LASmax, mean"]}
    >>> by_band = xr.DataArray([[[[0.0, 4.0, 9.0]]]], dims=(*at, "frequency"),
    ...                        coords={**at, "frequency": [50.0, 63.0, 80.0]})
    >>> found = xr.Dataset({"needed_by_band": by_band, "needed": by_band.max("frequency"),
    ...                     "at_least": by_band.max("frequency") < 0}).assign_coords(
    ...     applies=(("room", "criterion"), [[True]]))
    >>> ax = needed_loss(found, option="none", room="R1", ax=Figure().subplots())
    >>> ax.get_lines()[0].get_ydata().tolist()
    [0.0, 4.0, 9.0]
    """
    where = "plot.needed_loss"
    for dim, label in (("option", option), ("room", room)):
        known(where, dim, label, needed[dim].values.tolist(), StudyError)
    if "needed_by_band" not in needed:
        raise StudyError(f"{where}: there are no losses by band; ask needed_isolation for them")
    here = needed.sel(option=option, room=room)
    here = here.sel(criterion=here["applies"].values)
    if not here.sizes["criterion"]:
        raise StudyError(f"{where}: room {room!r} has no criterion")
    own = ax is None
    ax = new_axes(ax, size=(7.0, 3.8))
    frequency = here["frequency"].values
    handles, labels = [], []
    for number, name in enumerate(here["criterion"].values.tolist()):
        one = here.sel(criterion=name)
        handles += ax.plot(frequency, one["needed_by_band"].values, **series(number))
        bound = "at least " if bool(one["at_least"]) else ""
        alike = float(one["needed"])
        said = f"{bound}{alike:.1f} dB" if alike > 0 or bound else "nothing"
        labels.append(literal(f"{name}: alike in all bands {said}", width=52))
    band_axis(ax, frequency, name="One-third-octave band, Hz")
    top = max(float(here["needed_by_band"].max()), 1.0)
    ax.set_ylim(-0.04 * top, 1.08 * top)
    grid(ax)
    asked = needed.attrs.get("probability_asked")
    at = "" if asked is None else f", for {100 * asked:.3g} %"
    ax.set_ylabel(f"Insertion loss needed{at}, dB")
    ax.set_title(literal(f"Room {room}, beyond {option}", width=80), fontsize="medium")
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax
