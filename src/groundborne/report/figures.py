"""Which pictures a report shows, with captions that say what is drawn and where it comes from."""

from __future__ import annotations

import base64
import io
import textwrap
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import matplotlib.style
import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from groundborne import plot, weighting
from groundborne.bands import label
from groundborne.isolation.base import SINGLE_STAGE_LIMIT, THEORY
from groundborne.isolation.bypass import WITHOUT
from groundborne.plot.floors import option_panels
from groundborne.plot.insertion_loss import base_groups
from groundborne.plot.style import legend_of_figure, make_room
from groundborne.report.assessment import listed
from groundborne.report.rooms import RoomSet, best_option, governing_room, room_sets
from groundborne.study import Resonance, Study, resonances
from groundborne.study.part import Part
from groundborne.study.samples import median_case, samples_words

_DPI = 150
_MANY = 10  # room sets beyond which only the governing one of each group is drawn


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """One figure of a report.

    Parameters
    ----------
    section : str
        Where it belongs in the document.
    slug : str
        File name without ending.
    caption : str
        What is drawn, with statistic, reference and provenance.
    size : tuple of float
        Width and height without the legend [in].
    draw : callable
        Draws on a figure.
    rooms : RoomSet, optional
        Rooms that the picture is of.
    """

    section: str
    slug: str
    caption: str
    size: tuple[float, float]
    draw: Callable[[Figure], None]
    rooms: RoomSet | None = None

    def png(self) -> bytes:
        """The picture, drawn in the library's own style; no global setting is changed."""
        with warnings.catch_warnings(), matplotlib.style.context(plot.style_path()):
            # A name in a script the font lacks is drawn as boxes; the text of the report has it.
            warnings.filterwarnings("ignore", message=".*[Gg]lyph.*", category=UserWarning)
            figure = Figure(figsize=self.size, layout="constrained")
            self.draw(figure)
            stream = io.BytesIO()
            figure.savefig(stream, format="png", dpi=_DPI)
        return stream.getvalue()


def data_uri(png: bytes) -> str:
    """Picture as text for an HTML page that needs no other file."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def pictures(study: Study, result: xr.Dataset) -> list[Picture]:
    """All pictures of a report, in order.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        Its result, one case for each option and room.
    """
    median = median_case(result)
    found = [
        *_options(median),
        *_spectra(study, median),
        *_stages(result, median),
        *_floors(median),
        *_isolation(study, median),
        *_passbys(study, median),
    ]
    words = samples_words(median)
    also = f" Shown: {words}." if words else ""
    return [replace(p, caption=p.caption + also) if p.section != "passbys" else p for p in found]


def _single(draw: Callable[[Axes], Axes]) -> Callable[[Figure], None]:
    """Draw on one axes and give the legend room."""

    def on(figure: Figure) -> None:
        make_room(draw(figure.add_subplot()))

    return on


def _source_words(result: xr.Dataset) -> str:
    source = result["source_level"]
    weighting = source.attrs.get("time_weighting", "")
    file = source.attrs.get("source", "")
    of = f" from {file}" if file else ""
    return f"{source.sizes['passby']} measured passbys{of}, {weighting} of each band".rstrip(" ,")


def _options(result: xr.Dataset) -> Iterator[Picture]:
    groups = len(np.unique(result["room_group"].values))
    height = 1.0 + max(0.36, 0.08 * groups) * result.sizes["option"]
    for number, criterion in enumerate(result["criterion"].values.tolist(), start=1):

        def draw(ax: Axes, criterion: str = criterion) -> Axes:
            return plot.margins(result, criterion=criterion, ax=ax)

        yield Picture(
            section="options",
            slug=f"options_{number}",
            caption=f"Margin of every room on the criterion {criterion!r}, by option; the line in "
            "each lane spans the rooms of a group. In the grey field the criterion is not met. "
            f"Predicted from {_source_words(result)}; limits from the study file.",
            size=(7.0, height),
            draw=_single(draw),
        )


def _octave_limit(study: Study, room: str) -> tuple[xr.DataArray, str] | None:
    """The strictest limit of a room that is a curve of octave levels, and where it is defined."""
    curved = [c for c in study.room_criteria[room] if c.of.octave_curve is not None]
    if not curved:
        return None
    of = curved[0].of
    limit = min(c.limit for c in curved if c.of == of)
    assert of.octave_curve is not None
    curve = of.octave_curve(limit).rename(f"{of.name} {limit:g}")
    return curve, listed(f"{c.author}:{c.year} [{c.mark}]" for c in of.citations)


def _spectra(study: Study, result: xr.Dataset) -> Iterator[Picture]:
    sets = room_sets(result)
    few = len(sets) > _MANY
    if few:
        sets = _worst_of_groups(result, sets)
    for number, rooms in enumerate(sets, start=1):
        limit = _octave_limit(study, rooms.first)
        words = (
            "One-third-octave sound pressure level, energy mean of all passbys alike, dB re 20 µPa"
        )
        if limit is not None:
            curve, source = limit
            words += (
                f"; right, the same summed to octaves against {curve.name} ({source}), which is "
                "defined on octaves"
            )
        chosen = f" The room with the least margin of the group {rooms.group!r}." if few else ""
        yield Picture(
            section="spectra",
            slug=f"spectra_{number}",
            caption=f"{rooms.words}, before (first option) and after. {words}.{chosen} Predicted "
            f"from {_source_words(result)}.",
            size=(7.2, 3.0 if limit is None else 2.35),
            draw=_spectrum_panels(result, rooms.first, None if limit is None else limit[0]),
            rooms=rooms,
        )


def _worst_of_groups(result: xr.Dataset, sets: list[RoomSet]) -> list[RoomSet]:
    chosen: dict[str, RoomSet] = {}
    for rooms in sets:
        if rooms.group not in chosen:
            worst = governing_room(result, group=rooms.group)
            chosen[rooms.group] = next(s for s in sets if worst in s.rooms)
    by_margin = sorted(chosen.values(), key=lambda s: s.margin)
    return by_margin[:_MANY]


def _spectrum_panels(
    result: xr.Dataset, room: str, limit: xr.DataArray | None
) -> Callable[[Figure], None]:
    level = result["mean_level"].sel(room=room)

    def on(figure: Figure) -> None:
        if limit is None:
            make_room(plot.spectrum(level, hue="option", ax=figure.add_subplot()))
            return
        left, right = figure.subplots(1, 2, width_ratios=(1.75, 1.0), sharey=True)
        plot.spectrum(level, hue="option", ax=left, legend=False)
        plot.spectrum(level, hue="option", limit=limit, ax=right, legend=False)
        left.set_ylabel(str(left.get_ylabel()).replace("One-third-octave", "Band"))
        right.set_ylabel("")
        handles, labels = right.get_legend_handles_labels()
        legend_of_figure(figure, handles, labels)

    return on


def _stages(result: xr.Dataset, median: xr.Dataset) -> Iterator[Picture]:
    best = best_option(median)
    room = governing_room(median, option=best)
    first = str(result["option"].values[0])
    shown = list(dict.fromkeys([first, best]))
    name = str(result["room_name"].sel(room=room).item())
    also = f"{first!r} and " if len(shown) > 1 else ""
    yield Picture(
        section="stages",
        slug="stages",
        caption=f"Room {room} ({name}) from source to room: {also}{best!r}, the option whose worst "
        "room does best, and this is that room. Sum over bands with A-weighting of the energy mean "
        "of passbys: velocity re 1 nm/s on the way, sound pressure re 20 µPa in the room. "
        "A-weighted velocity has no meaning of its own; it shows what each stage takes from what "
        f"is heard. Predicted from {_source_words(result)}.",
        size=(7.0, 3.6),
        draw=_single(lambda ax: plot.stages(result, room=room, option=shown, ax=ax)),
    )


def _floors(result: xr.Dataset) -> Iterator[Picture]:
    for number, criterion in enumerate(result["criterion"].values.tolist(), start=1):
        here = result["applies"].sel(criterion=criterion).values.astype(bool)
        heights = np.unique(result["room_height"].values[here])
        if heights.size < 2:
            continue

        yield Picture(
            section="floors",
            slug=f"floors_{number}",
            caption=f"{criterion}, by floor. Lines join the room with the least margin on each "
            "floor; small dots are the other rooms. "
            f"Predicted from {_source_words(result)}.",
            size=(7.0, 3.6 if heights.size < 8 else 3.8),
            draw=_floor_panels(result, criterion),
        )


def _floor_panels(result: xr.Dataset, criterion: str) -> Callable[[Figure], None]:
    """Few options in each panel, on the same axes; one legend for all."""
    panels = option_panels(result["option"].values.tolist())

    def on(figure: Figure) -> None:
        if len(panels) == 1:
            make_room(plot.floors(result, criterion=criterion, ax=figure.add_subplot()))
            return
        axes = figure.subplots(1, len(panels), sharex=True, sharey=True)
        keys: dict[str, Artist] = {}
        for ax, options in zip(axes, panels, strict=True):
            plot.floors(result, criterion=criterion, option=options, ax=ax)
            legend = ax.get_legend()
            texts = (" ".join(text.get_text().split()) for text in legend.get_texts())
            for text, handle in zip(texts, legend.legend_handles, strict=True):
                keys.setdefault(text, handle)
            legend.remove()
            ax.set_xlabel(textwrap.fill(ax.get_xlabel(), 72 // len(panels)))
            ax.label_outer()
        legend_of_figure(figure, list(keys.values()), list(keys))

    return on


def _isolation(study: Study, result: xr.Dataset) -> Iterator[Picture]:
    for part in study.parts:
        if part.plane is not None:
            by_part = "part" in result["base_change"].dims
            yield from _of_part(study, result.sel(part=part.name) if by_part else result, part)


def _of_part(study: Study, result: xr.Dataset, part: Part) -> Iterator[Picture]:
    of, suffix = (f" of {part.in_words}", f"_{part.name}") if part.name else ("", "")
    loudest = _loudest_band(result)
    first = str(result["option"].values[0])
    for number, names in enumerate(base_groups(result), start=1):
        kept = [n for n in _BASE if n in result]
        cut = result[kept].sel(option=names)

        def draw(ax: Axes, cut: xr.Dataset = cut) -> Axes:
            return plot.insertion_loss(cut, ax=ax)

        at = cut.sel(option=names[0], frequency=loudest)
        power, beside = "", ""
        if "base_change_without_bypass" in at:
            beside = f" ({_db(-at['base_change_without_bypass'])} {WITHOUT})"
        if "power_change" in at:
            power = f", {_db(-at['power_change'])} in power through the mounts"
        yield Picture(
            section="isolation",
            slug=f"base_isolation_{number}{suffix}",
            caption=f"Base isolation of {part.in_words + ', ' if part.name else ''}"
            f"{listed(map(repr, names))}. "
            f"{result.attrs.get('base_isolation', '')} Dashed: {THEORY} (see Method)"
            f"{_exceeded(cut.sel(option=names[0]))}. Dotted: about {SINGLE_STAGE_LIMIT:g} dB, "
            "the most one stage was found to give (Walker and Mathers 1989 [seen]). dB, positive "
            f"lowers the level. At {label(loudest)} Hz, the band that carries most of the "
            f"A-weighted level of {first!r}: {THEORY} {_db(-at['ideal_change'])}, predicted "
            f"{_db(-at['base_change'])}{beside}{power}. Ground, columns and slabs give way as "
            "well as the mounts, and vibration passes beside them (crossings, and the way that "
            "limits a stage); that is the difference.",
            size=(7.0, 3.3),
            draw=_single(draw),
        )
        option = next(o for o in study.options if o.name == names[0])
        found = resonances(study, option, part=part.name)

        def draw_found(ax: Axes, found: Sequence[Resonance] = found) -> Axes:
            return plot.resonances(found, ax=ax)

        yield Picture(
            section="isolation",
            slug=f"resonances_{number}{suffix}",
            caption=f"Resonances{of} with the mounts of {names[0]!r}. Filled marks are coincident "
            "resonances, within a third of an octave on a common floor: each amplifies what the "
            "other passes. Peaks of the source spectrum: peaks of the energy mean of passbys, as "
            "the timetable of the criteria weights them, within 10 dB of its largest band.",
            size=(7.0, 1.3 + 0.27 * len(found)),
            draw=_single(draw_found),
        )


def _db(value: xr.DataArray) -> str:
    return f"{value.item():.0f} dB".replace("-", "−")


def _exceeded(change: xr.Dataset) -> str:
    """In which bands more is predicted than single-degree-of-freedom theory gives."""
    more = change["ideal_change"] - change["base_change"]
    at = more["frequency"].values[(more > 0.05).values]
    if not at.size:
        return ""
    return (
        f", exceeded by the prediction at {listed(label(f) for f in at)} Hz, by up to "
        f"{more.max().item():.0f} dB"
    )


_BASE = (
    "base_change", "base_change_without_bypass", "base_change_low", "base_change_high",
    "power_change", "ideal_change",
)  # fmt: skip


def _loudest_band(result: xr.Dataset) -> float:
    """Band that carries most of the A-weighted level of the first option, over all rooms."""
    mean = result["mean_level"].isel(option=0)
    heard = (mean + weighting.a(mean["frequency"])).max("room")
    return float(heard["frequency"].values[int(heard.argmax("frequency"))])


def _passbys(study: Study, result: xr.Dataset) -> Iterator[Picture]:
    source: Any = result["source_level"]
    # Ten equal passbys are the least that carry a 95th percentile.
    percentile = 95.0 if source.sizes["passby"] >= 10 else None
    background = study.passbys.background
    if background is not None:
        background = background.sel(frequency=source["frequency"].values)
    also = "" if percentile is None else " and 95th percentile of each band by itself"
    yield Picture(
        section="passbys",
        slug="passbys",
        caption=f"Source: {_source_words(result)}, {source.attrs['quantity']} "
        f"{source.attrs.get('location', '')}, dB re {source.attrs['reference']}. Energy "
        f"mean{also}; all passbys alike, without the timetable.",
        size=(7.0, 3.4),
        draw=_single(
            lambda ax: plot.passbys(source, ax=ax, percentile=percentile, background=background)
        ),
    )
