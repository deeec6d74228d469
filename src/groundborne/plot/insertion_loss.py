"""Isolation: what is predicted with and without bypass, beside single-degree-of-freedom theory."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from groundborne import bands
from groundborne._arguments import checked
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, THEORY
from groundborne.isolation.bypass import WITH, WITHOUT
from groundborne.plot.style import (
    band_axis,
    grid,
    legend_below,
    legend_of_figure,
    literal,
    new_axes,
    numbers,
    plain_dims,
    series,
)
from groundborne.study.samples import median_case, samples_words


@checked
def insertion_loss(
    data: xr.Dataset | xr.DataArray,
    *,
    ideal: xr.DataArray | None = None,
    hue: str | None = None,
    ax: Axes | None = None,
    legend: bool = True,
) -> Axes:
    """Insertion loss with and without bypass, beside single-degree-of-freedom theory.

    Parameters
    ----------
    data : Dataset or DataArray
        Result of a study, of which every option with base isolation is drawn, options on the same
        mounts as one, with the spread over floors and columns where there is one, and thin by the
        mounts alone, without bypass; or the predicted
        insertion loss [dB, positive lowers the level] with dim ``frequency``, and `hue` if that is
        given. With a dim ``bypass``, as :func:`~groundborne.isolation.with_and_without` makes it,
        what is without bypass is drawn thin: of mounts, floors, ceilings and boxes alike.
    ideal : DataArray, optional
        With a DataArray: single-degree-of-freedom theory [dB], dims as there.
    hue : str, optional
        With a DataArray: dim of which each entry becomes one line.
    ax : Axes, optional
        Where to draw, everything on one; by default a new figure, with a panel for each set of
        mounts of a result.
    legend : bool
        Whether to add a legend.

    Returns
    -------
    Axes
        Of several panels the first; the others are those of its figure.

    Raises
    ------
    ValueError
        A result without isolated options, dims that do not fit, or NaN.

    References
    ----------
    Walker and Mathers 1989: one stage was not found to give more than about 25 dB.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> loss = xr.DataArray([5.0, 9.0], coords={"frequency": [50.0, 63.0]})
    >>> ax = insertion_loss(loss, ideal=loss + 20.0, ax=Figure().subplots())
    >>> [t.get_text() for t in ax.get_legend().get_texts()]
    ['predicted', 'single-degree-of-freedom theory', '≈ 25 dB, one stage (Walker and Mathers 1989)']
    """
    spread: tuple[xr.DataArray, xr.DataArray] | None = None
    alone: xr.DataArray | None = None
    if isinstance(data, xr.Dataset):
        data = median_case(data)
        if ax is None and len(groups := base_groups(data)) > 1:
            return _panels(data, groups, legend=legend)
        predicted, theory, names = _from_result(data)
        spread = _spread(data, predicted)
        alone = _alone(data, predicted)
    else:
        if "bypass" in data.dims and hue != "bypass":
            data, thin = _by_bypass(data)
            alone, _, _ = _from_arrays(thin, None, hue)
        predicted, theory, names = _from_arrays(data, ideal, hue)
    x = predicted["frequency"].values
    bands.require_labels(x, "plot.insertion_loss")
    own = ax is None
    ax = new_axes(ax, size=(7.0, 4.2))
    handles: list[Artist] = []
    labels = []
    many = len(names) > 1
    for number, name in enumerate(names):
        look = series(number + 1 if many else 0)
        (line,) = ax.plot(
            x, predicted.values[number], **{**look, "linestyle": "-"}, linewidth=1.6, markersize=4.5
        )
        if name:
            handles.append(line)
            labels.append(name)
        if spread is not None:
            least, most = (s.values[number] for s in spread)
            ax.fill_between(x, least, most, color=look["color"], alpha=0.18, linewidth=0, zorder=0)
        if alone is not None:
            ax.plot(x, alone.values[number], color=look["color"], linewidth=0.7)
        if theory is not None:
            ax.plot(
                x, theory.values[number], color=look["color"], linestyle="--", linewidth=1.0,
                marker=look["marker"], markersize=3.0, markerfacecolor="white",
            )  # fmt: skip
    handles.append(Line2D([], [], color="black", linewidth=1.6))
    labels.append("predicted" if alone is None else f"predicted, {WITH}")
    if alone is not None:
        handles.append(Line2D([], [], color="black", linewidth=0.7))
        labels.append(f"predicted, {WITHOUT}")
    if spread is not None:
        handles.append(Patch(color="black", alpha=0.18, linewidth=0))
        labels.append("predicted, least to most of floors and columns")
    if theory is not None:
        handles.append(Line2D([], [], color="black", linewidth=1.0, linestyle="--"))
        labels.append(THEORY)
    handles.append(ax.axhline(SINGLE_STAGE_LIMIT, color="0.35", linestyle=":", linewidth=1.6))
    labels.append(f"≈ {SINGLE_STAGE_LIMIT:g} dB, one stage (Walker and Mathers 1989)")
    ax.axhline(0.0, color="black", linewidth=0.8)
    grid(ax)
    band_axis(ax, x, name="One-third-octave band, Hz")
    words = samples_words(data) if isinstance(data, xr.Dataset) else ""
    if words:
        ax.set_xlabel(f"{ax.get_xlabel()}\n{words.split(',')[0]}")
    ax.set_ylabel("Insertion loss, dB (positive lowers the level)")
    if legend:
        legend_below(ax, handles, labels, grow=own)
    return ax


def _panels(result: xr.Dataset, groups: list[list[str]], *, legend: bool) -> Axes:
    """One panel for each set of mounts on the same axes, at most three beside each other."""
    from matplotlib import pyplot as plt

    columns = min(3, len(groups))
    rows = math.ceil(len(groups) / columns)
    figure, axes = plt.subplots(
        rows, columns, figsize=(9.0 if columns > 2 else 7.5, 3.2 * rows), squeeze=False,
        layout="constrained", sharex=True, sharey=True,
    )  # fmt: skip
    keys: dict[str, Artist] = {}
    panels = axes.ravel().tolist()
    for panel, names in zip(panels, groups, strict=False):
        insertion_loss(result.sel(option=names), ax=panel)
        own = panel.get_legend()
        name, *texts = (text.get_text() for text in own.get_texts())
        for text, handle in zip(texts, own.legend_handles[1:], strict=True):
            keys.setdefault(" ".join(text.split()), handle)
        own.remove()
        panel.set_title(textwrap.fill(" ".join(name.split()), 84 // columns))
        panel.set_xlabel(textwrap.fill(panel.get_xlabel(), 84 // columns))
        panel.set_ylabel(panel.get_ylabel().replace(" (", "\n("))
    for panel in panels[len(groups) :]:
        panel.remove()
    for number, panel in enumerate(panels[: len(groups)]):
        if number % columns:
            panel.set_ylabel("")
        if number + columns < len(groups):
            panel.set_xlabel("")
    if legend:
        legend_of_figure(figure, list(keys.values()), list(keys))
    first: Axes = panels[0]
    return first


def _by_bypass(data: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
    """Losses with bypass and without."""
    labels = [str(name) for name in data["bypass"].values]
    if sorted(labels) != [WITH, WITHOUT]:
        raise ValueError(
            f"plot.insertion_loss: bypass holds {', '.join(map(repr, labels))}; {WITHOUT!r} and "
            f"{WITH!r} are needed, see isolation.with_and_without"
        )
    return data.sel(bypass=WITH, drop=True), data.sel(bypass=WITHOUT, drop=True)


def _from_result(
    result: xr.Dataset,
) -> tuple[xr.DataArray, xr.DataArray | None, list[str]]:
    predicted = plain_dims(-result["base_change"], ("option", "frequency"), "insertion_loss")
    theory = plain_dims(-result["ideal_change"], ("option", "frequency"), "insertion_loss")
    predicted, theory = (numbers(a, "insertion_loss") for a in (predicted, theory))
    groups = base_groups(result)
    if not groups:
        raise ValueError("plot.insertion_loss: no option of the result isolates the base")
    first = [names[0] for names in groups]
    labels = [literal("; ".join(names), width=40, lines=2) for names in groups]
    predicted, theory = (a.transpose("option", "frequency") for a in (predicted, theory))
    return predicted.sel(option=first), theory.sel(option=first), labels


def _alone(result: xr.Dataset, predicted: xr.DataArray) -> xr.DataArray | None:
    """By the mounts alone, where that differs."""
    if "base_change_without_bypass" not in result:
        return None
    alone = -result["base_change_without_bypass"].sel(option=predicted["option"].values)
    if not bool((abs(alone - predicted) > 0.05).any()):
        return None
    return numbers(alone.transpose("option", "frequency"), "insertion_loss")


def _spread(
    result: xr.Dataset, predicted: xr.DataArray
) -> tuple[xr.DataArray, xr.DataArray] | None:
    """Least and most that any floor and column gains, where the result tells them apart."""
    names = ("base_change_high", "base_change_low")
    if any(n not in result for n in names):
        return None
    least, most = (-result[n].sel(option=predicted["option"].values) for n in names)
    if not bool((most - least > 0.05).any()):
        return None
    least, most = (a.transpose("option", "frequency") for a in (least, most))
    return numbers(least, "insertion_loss"), numbers(most, "insertion_loss")


def base_groups(result: xr.Dataset) -> list[list[str]]:
    """Options that isolate the base, those on equal mounts together."""
    pair = (result[n].transpose("option", "frequency") for n in ("base_change", "ideal_change"))
    both = np.stack([a.values for a in pair], axis=-1)
    found: list[tuple[int, list[str]]] = []
    for i, name in enumerate(result["option"].values.tolist()):
        if not np.any(both[i]):
            continue
        for first, names in found:
            if np.array_equal(both[first], both[i]):
                names.append(str(name))
                break
        else:
            found.append((i, [str(name)]))
    return [names for _, names in found]


def _from_arrays(
    predicted: xr.DataArray, theory: xr.DataArray | None, hue: str | None
) -> tuple[xr.DataArray, xr.DataArray | None, list[str]]:
    dims = ("frequency",) if hue is None else (hue, "frequency")
    row = "row" if hue is None else hue

    def rows(array: xr.DataArray) -> xr.DataArray:
        checked = numbers(plain_dims(array, dims, "insertion_loss"), "insertion_loss")
        spread = checked.expand_dims(row) if hue is None else checked
        return spread.transpose(row, "frequency")

    names = [""] if hue is None else [literal(n) for n in predicted[hue].values.tolist()]
    if theory is not None:
        theory = rows(theory)
    return rows(predicted), theory, names
