"""A figure of a report: drawn in the library's own style, as vectors or as dots."""

from __future__ import annotations

import io
import re
import unicodedata
import warnings
from collections.abc import Callable
from dataclasses import dataclass

import matplotlib.style
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from groundborne import plot
from groundborne.plot.style import make_room
from groundborne.report.rooms import RoomSet
from groundborne.report.tree import Figure

INVENTED = "Invented for demonstration"
_DPI = 100
_PAD = 0.04  # in, around what is drawn
_FIXED = {
    # The same figure has the same bytes wherever it is drawn.
    "svg.hashsalt": "groundborne",
    "svg.fonttype": "path",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """One figure of a report.

    Parameters
    ----------
    section : str
        Which section shows it.
    slug : str
        File name without ending, which tells what is drawn.
    caption : str
        What is drawn, with statistic, reference and provenance.
    alt : str
        What is found in it, for who does not see it.
    size : tuple of float
        Width and height before what is blank around it is cut off [in].
    draw : callable
        Draws on a figure.
    rooms : RoomSet, optional
        Rooms that the picture is of.
    half : bool
        Whether it is as wide as half a page.
    invented : bool
        Whether its data are made up for demonstration, which is then written on it.
    """

    section: str
    slug: str
    caption: str
    alt: str
    size: tuple[float, float]
    draw: Callable[[Canvas], None]
    rooms: RoomSet | None = None
    half: bool = False
    invented: bool = False

    def svg(self) -> bytes:
        """As vectors, the same wherever it is drawn."""
        return self._saved("svg", _DPI)

    def png(self, dpi: int = 300) -> bytes:
        """As dots, so many to an inch."""
        return self._saved("png", dpi)

    @property
    def figure(self) -> Figure:
        """Its place in a document."""
        return Figure(
            key=self.slug, caption=self.caption, alt=self.alt, picture=self, half=self.half
        )

    def _saved(self, form: str, dpi: int) -> bytes:
        with (
            warnings.catch_warnings(),
            matplotlib.style.context([plot.style_path(), _FIXED]),
        ):
            # A name in a script the font lacks is drawn as boxes; the text of the report has it.
            warnings.filterwarnings("ignore", message=".*[Gg]lyph.*", category=UserWarning)
            canvas = Canvas(figsize=self.size, layout="constrained")
            self.draw(canvas)
            if self.invented:
                _stamp(canvas)
            stream = io.BytesIO()
            about = {"Date": None} if form == "svg" else None
            canvas.savefig(
                stream, format=form, dpi=dpi, bbox_inches="tight", pad_inches=_PAD, metadata=about
            )
        return stream.getvalue()


def _stamp(canvas: Canvas) -> None:
    """Say that the data are made up, above what is drawn."""
    canvas.draw_without_rendering()  # legends and constrained layout move what is drawn
    canvas.set_layout_engine("none")
    box = canvas.get_tightbbox()
    wide, tall = canvas.get_size_inches()
    canvas.text(
        box.x1 / wide, (box.y1 + 0.04) / tall, INVENTED, fontsize=8, color="0.3", va="bottom",
        ha="right",
    )  # fmt: skip


def file_name(*words: str) -> str:
    """Words as the name of a file: letters, digits and hyphens, and not endless.

    Examples
    --------
    >>> file_name("spectrum", "R0.1", "LASmax, 95th percentile")
    'spectrum-R0.1-LASmax-95th-percentile'
    """
    plain = unicodedata.normalize("NFKD", " ".join(words)).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9.]+", "-", plain).strip("-.")[:70].strip("-.") or "figure"


def single(draw: Callable[[Axes], Axes]) -> Callable[[Canvas], None]:
    """Draw on one axes and give the legend room."""

    def on(canvas: Canvas) -> None:
        make_room(draw(canvas.add_subplot()))

    return on
