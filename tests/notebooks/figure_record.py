"""What a figure is made of, as data: run inside the kernel, stored beside each picture.

Pixels differ between machines and fonts; the curves, texts and axes must not.
"""

from __future__ import annotations

MIME = "application/vnd.groundborne.figure+json"
_MOST = 24
"""Points of a curve that are kept; all enter its mean and its root mean square."""


def record(figure):
    """Axes, texts, legends and data of a figure.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        As it is shown.

    Returns
    -------
    dict
        Of lists, texts and numbers of six figures.
    """
    return {
        "axes": [_axes(ax) for ax in figure.axes],
        "legends": [_legend(legend) for legend in figure.legends],
        "texts": [t.get_text() for t in figure.texts if t.get_text()],
    }


def _axes(ax):
    from matplotlib.ticker import FixedFormatter

    fixed = [a for a in (ax.xaxis, ax.yaxis) if isinstance(a.get_major_formatter(), FixedFormatter)]
    return {
        "title": ax.get_title(),
        "labels": [ax.get_xlabel(), ax.get_ylabel()],
        "scales": [ax.get_xscale(), ax.get_yscale()],
        "ticks": [[t.get_text() for t in axis.get_ticklabels()] for axis in fixed],
        "texts": [t.get_text() for t in ax.texts],
        "legend": _legend(ax.get_legend()),
        "lines": [
            {
                "label": _own_label(line),
                "x": _numbers(line.get_xdata()),
                "y": _numbers(line.get_ydata()),
            }
            for line in ax.get_lines()
        ],
        "areas": [_collection(c) for c in ax.collections],
        "patches": [
            _points(p.get_path().transformed(p.get_patch_transform()).vertices) for p in ax.patches
        ],
        "images": [_numbers(image.get_array()) for image in ax.images],
    }


def _own_label(artist):
    label = str(artist.get_label())
    return "" if label.startswith("_") else label


def _legend(legend):
    return [] if legend is None else [t.get_text() for t in legend.get_texts()]


def _collection(collection):
    import numpy as np

    found = {"offsets": _points(np.ma.filled(collection.get_offsets(), np.nan))}
    vertices = [p.vertices for p in collection.get_paths()]
    if vertices and type(collection).__name__ not in ("PathCollection", "QuadMesh"):
        found["paths"] = _points(np.concatenate(vertices))
    if collection.get_array() is not None:
        found["values"] = _numbers(collection.get_array())
    return found


def _points(xy):
    return {"x": _numbers(xy[:, 0]), "y": _numbers(xy[:, 1])}


def _numbers(values):
    """How many, mean and root mean square, and some of them evenly spaced."""
    import numpy as np

    flat = np.ma.filled(np.ma.asarray(values), np.nan).ravel().astype(float)
    finite = flat[np.isfinite(flat)]
    index = np.unique(np.linspace(0, flat.size - 1, min(_MOST, flat.size)).round().astype(int))
    return {
        "count": [int(flat.size), int(finite.size)],
        "mean": _short(finite.mean() if finite.size else np.nan),
        "rms": _short(np.sqrt((finite**2).mean()) if finite.size else np.nan),
        "range": _short(np.ptp(finite) if finite.size else np.nan),
        "some": [_short(v) for v in flat[index]],
    }


def _short(value):
    import math

    return float(f"{value:.6g}") if math.isfinite(value) else None


def install():
    """Let every figure that the kernel shows carry its record."""
    from IPython import get_ipython
    from IPython.core.formatters import JSONFormatter

    class FigureRecord(JSONFormatter):
        format_type = MIME

        def __call__(self, obj):
            # By its type and not by registering for it: the inline backend clears what is
            # registered for figures when it starts.
            return record(obj) if type(obj).__module__ == "matplotlib.figure" else None

    formatters = get_ipython().display_formatter
    formatters.formatters[MIME] = FigureRecord(parent=formatters)


if __name__ == "kernel":
    install()
