"""The figure of the README: drawn from the demonstration study, with its record inside."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import Any

import matplotlib.style
from figure_record import record
from matplotlib.figure import Figure
from PIL import Image

import groundborne as gb
from groundborne import plot

CRITERION = "LASmax, 95th percentile"
_STUDY = Path(__file__).parents[2] / "data" / "music_school" / "study.toml"


def _figure() -> Figure:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = gb.read_study(_STUDY).evaluate(band_levels=False)
    with matplotlib.style.context(plot.style_path()):
        figure = Figure(figsize=(7.0, 1.4 + 0.5 * result.sizes["option"]), layout="constrained")
        ax = plot.margins(result, criterion=CRITERION, ax=figure.add_subplot())
        plot.style.make_room(ax)
    return figure


def record_now() -> Any:
    """What the figure is made of now."""
    return record(_figure())


def record_of(file: Path) -> Any:
    """What a drawn figure was made of."""
    with Image.open(file) as image:
        return json.loads(image.info["Description"])


def draw(file: Path) -> None:
    """Draw the figure, unless it is drawn already."""
    figure = _figure()
    made_of = json.dumps(record(figure), ensure_ascii=True)
    with matplotlib.style.context(plot.style_path()):
        figure.savefig(file, dpi=120, metadata={"Description": made_of, "Software": None})
