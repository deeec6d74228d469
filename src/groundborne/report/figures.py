"""Which figures a report shows, with captions that say what is drawn and where it comes from."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from groundborne import plot
from groundborne.bands import label
from groundborne.plot.floors import option_panels
from groundborne.plot.style import band_proportions, legend_of_figure
from groundborne.report.facts import Facts, Row
from groundborne.report.handover_figures import handover_pictures
from groundborne.report.isolation_figures import isolation_pictures, resonance_pictures
from groundborne.report.option_figures import option_pictures
from groundborne.report.picture import Picture, file_name, single
from groundborne.report.printed import interval_words, margin_whole, rating_words
from groundborne.report.words import chain_steps
from groundborne.study.change_words import keys_in_words
from groundborne.study.rated_spectrum import RatedSpectrum
from groundborne.study.samples import range_words, samples_words

_LOW_STOREYS = 9
"""Floors of a section that the first page has room for."""
_MOST_ROOMS = 3
"""Rooms whose spectra are shown under every option."""


def pictures(facts: Facts) -> list[Picture]:
    """All figures of a report, section by section.

    Parameters
    ----------
    facts : Facts
        Study and result.
    """
    found = [
        *_plan(facts),
        *_drawings(facts),
        *_chain(facts),
        *_passbys(facts),
        *_critical(facts),
        *option_pictures(facts),
        *_decides(facts),
        *_floors(facts),
        *_all_options(facts),
        *_stages(facts),
        *isolation_pictures(facts),
        *resonance_pictures(facts),
        *handover_pictures(facts),
    ]
    words = samples_words(facts.median)
    also = f" Shown: {words}." if words else ""
    plain = ("passbys", "method", "handover")
    each = [replace(p, caption=p.caption + also) if p.section not in plain else p for p in found]
    return _with_own_names(each)


def _with_own_names(each: list[Picture]) -> list[Picture]:
    """Names of files that differ, also where long ones were cut to the same beginning."""
    seen: dict[str, int] = {}
    found = []
    for picture in each:
        slug = picture.slug
        count = seen[slug.lower()] = seen.get(slug.lower(), 0) + 1
        found.append(picture if count == 1 else replace(picture, slug=f"{slug}-{count}"))
    return found


def _drawings(facts: Facts) -> Iterator[Picture]:
    """Section and plan of the building, where it has what they are drawn of."""
    draw_section: Any = getattr(plot, "plot_section", None)
    if draw_section is not None:
        storeys = facts.study.building.floors.sizes["floor"]
        tall = storeys > _LOW_STOREYS
        yield Picture(
            # A tall one needs the height of half a page to be read, and stands with the plan.
            section="plan" if tall else "answer",
            slug="building-section",
            caption=f"Section of the building with {facts.chosen!r}: rooms by their answer"
            f"{', and the isolation plane' * _is_mounted(facts)}. Not to be scaled off.",
            alt=f"Section of the building with {facts.chosen}; "
            f"{_worst_words(facts, facts.governing)}.",
            size=(6.2, 4.8 if tall else 2.9),
            draw=single(
                lambda ax: draw_section(facts.study, facts.single, option=facts.chosen, ax=ax)
            ),
        )


def _plan(facts: Facts) -> Iterator[Picture]:
    """Plan of the floor of the room that governs."""
    draw_plan: Any = getattr(plot, "plot_room_plan", None)
    if draw_plan is not None:
        floor = str(facts.governing["floor"])
        yield Picture(
            section="plan",
            slug=file_name("plan-of-floor", floor),
            caption=f"Plan of floor {floor} with {facts.chosen!r}: rooms by their answer, columns "
            "and track. Not to be scaled off.",
            alt=f"On floor {floor} {_worst_words(facts, facts.governing)}.",
            size=(6.4, 3.3 if _is_wide(facts) else 3.8),
            draw=single(
                lambda ax: draw_plan(
                    facts.study, facts.single, option=facts.chosen, floor=floor, ax=ax
                )
            ),
        )


def _is_mounted(facts: Facts) -> bool:
    return next(o for o in facts.study.options if o.name == facts.chosen).is_mounted


def _is_wide(facts: Facts) -> bool:
    """Whether the plan of the columns is so much wider than deep that little height will do."""
    columns = facts.study.building.columns
    if columns is None:
        return False
    x, y = (float(np.ptp(columns[name].values)) for name in ("x", "y"))
    return x > 1.5 * y


def _chain(facts: Facts) -> Iterator[Picture]:
    steps = chain_steps(facts.study, facts.chosen)
    yield Picture(
        section="method",
        slug="chain-from-trains-to-rooms",
        caption=f"The way from the trains to the rooms, with {facts.chosen!r}. Each box adds a "
        "level change in every band.",
        alt="Chain of steps: " + ", then ".join(title for title, _ in steps) + ".",
        size=(7.0, 1.25 * -(-len(steps) // 4)),
        draw=single(lambda ax: plot.chain(steps, ax=ax)),
    )


def source_words(result: xr.Dataset) -> str:
    """What levels were predicted from, in words."""
    source = result["source_level"]
    weighting = source.attrs.get("time_weighting", "")
    file = source.attrs.get("source", "")
    of = f" from {file}" if file else ""
    return f"{source.sizes['passby']} measured passbys{of}, {weighting} of each band".rstrip(" ,")


def _worst_words(facts: Facts, row: Row) -> str:
    """What governs, in one clause."""
    ends = interval_words(row)
    between = f" ({ends})" if ends else ""
    unit = facts.scales[str(row["criterion"])].margin_unit
    return (
        f"room {row['room']} governs on {row['criterion']} with a margin of "
        f"{margin_whole(row)}{between} {unit}: {row['answer']}"
    )


def _critical(facts: Facts) -> Iterator[Picture]:
    for row in facts.critical:
        room, criterion = str(row["room"]), str(row["criterion"])
        spectrum = facts.spectrum(room, criterion, tuple(facts.shown))
        if spectrum is None:
            continue
        scale = facts.scales[criterion]
        before = facts.row(facts.first, room, criterion)
        alt = (
            f"Room {room}{', median ratings' * facts.sure}: {rating_words(before, scale)} before"
            + (f", {rating_words(row, scale)} with {facts.chosen}" if len(facts.shown) > 1 else "")
            + f", limit {row['limit']:g}, {criterion}. Most comes from the "
            f"{facts.governing_words(row)}."
        )
        yield Picture(
            section="critical",
            slug=file_name("spectrum", room, criterion),
            caption=f"Room {room} ({row['name']}), {criterion}: "
            f"{' and '.join(repr(facts.label(o)) for o in facts.shown)}.",
            alt=alt,
            size=(3.4, 3.6),
            half=True,
            draw=single(_rated(facts, spectrum)),
            invented=facts.study.invented,
        )


def _rated(facts: Facts, spectrum: RatedSpectrum) -> Callable[[Axes], Axes]:
    names = [facts.label(str(o)) for o in spectrum.level["option"].values.tolist()]
    return lambda ax: plot.rated_spectrum(spectrum, names=names, ax=ax)


def _all_options(facts: Facts) -> Iterator[Picture]:
    """The governing room of each group under all options, a few in a panel."""
    if len(facts.options) < 3:
        return
    panels = option_panels(facts.options)
    for row in facts.critical[:_MOST_ROOMS]:
        room, criterion = str(row["room"]), str(row["criterion"])
        for number, names in enumerate(panels, start=1):
            spectrum = facts.spectrum(room, criterion, tuple(names))
            if spectrum is None:
                continue
            rows = [facts.row(name, room, criterion) for name in names]
            scale = facts.scales[criterion]
            told = "; ".join(f"{r['option']} {rating_words(r, scale)}" for r in rows)
            yield Picture(
                section="spectra",
                slug=file_name("options", room, criterion, str(number)),
                caption=f"Room {room} ({row['name']}), {criterion}: "
                f"{', '.join(repr(facts.label(o)) for o in names)}. Intervals are left out.",
                alt=f"Room {room} on {criterion}, {'median ' * facts.sure}ratings: {told}; "
                f"limit {row['limit']:g}.",
                size=(3.4, 3.6),
                half=True,
                draw=single(_rated(facts, spectrum.without_intervals())),
                invented=facts.study.invented,
            )


def _decides(facts: Facts) -> Iterator[Picture]:
    budget = facts.budget
    if budget is None:
        return
    row = facts.governing
    place = {k: str(row[k]) for k in ("option", "room", "criterion")}
    found = budget["budget"].sel(place)
    sources = [keys_in_words(str(name)) for name in budget["source_of_error"].values]
    named = budget.assign_coords(source_of_error=sources)
    largest = sources[int(found.argmax("source_of_error"))]
    yield Picture(
        section="decides",
        slug=file_name("what-decides", place["room"], place["criterion"]),
        caption=f"What makes the rating of room {place['room']} uncertain, {place['criterion']}, "
        f"{place['option']!r}: standard deviation by each source of error, to first order.",
        alt=f"The largest source of error of room {place['room']} is {largest}, "
        f"±{found.max().item():.0f} {facts.scales[place['criterion']].margin_unit}.",
        size=(5.2, 2.9),
        draw=single(lambda ax: plot.tornado(named, ax=ax, **place)),
        invented=facts.study.invented,
    )


def _stages(facts: Facts) -> Iterator[Picture]:
    room, shown = str(facts.governing["room"]), facts.shown
    name = str(facts.governing["name"])
    change = facts.single["level_change"].sel(room=room, option=shown[-1]).mean("frequency")
    most = str(change["stage"].values[int(change.argmax("stage"))]).replace("_", " ")
    yield Picture(
        section="stages",
        slug=file_name("stages", room),
        caption=f"Room {room} ({name}), which governs {facts.chosen!r}, from source to room: "
        f"{' and '.join(map(repr, shown))}. Sum over bands with A-weighting of the energy mean "
        "of passbys: velocity re 1 nm/s on the way, sound pressure re 20 µPa in the room. "
        "A-weighted velocity has no meaning of its own; it shows what each stage takes from what "
        f"is heard. Predicted from {source_words(facts.single)}.",
        alt=f"From source to room {room}: the stage that raises the bands most is {most}.",
        size=(6.6, 2.9),
        draw=single(lambda ax: plot.stages(facts.result_of_stages, room=room, option=shown, ax=ax)),
        invented=facts.study.invented,
    )


def _floors(facts: Facts) -> Iterator[Picture]:
    result = facts.single
    words = range_words(result)
    bars = f"; bars: the {words}" * bool(words)
    for criterion in facts.criteria:
        here = result["applies"].sel(criterion=criterion).values.astype(bool)
        heights = np.unique(result["room_height"].values[here])
        if heights.size < 2:
            continue
        own = facts.table[
            (facts.table["criterion"] == criterion) & (facts.table["option"] == facts.chosen)
        ]
        worst = own.sort_values(facts.margin).iloc[0]
        yield Picture(
            section="floors",
            slug=file_name("by-floor", criterion),
            caption=f"{criterion}, by floor. Lines join the room with the least margin on each "
            f"floor; small dots are the other rooms{bars}. "
            f"Predicted from {source_words(result)}.",
            alt=f"With {facts.chosen} the least margin on {criterion} is on floor "
            f"{worst['floor']}, in room {worst['room']}: {margin_whole(worst.to_dict())}.",
            size=(6.6, 3.0),
            draw=_floor_panels(result, criterion),
            invented=facts.study.invented,
        )


def _floor_panels(result: xr.Dataset, criterion: str) -> Callable[[Canvas], None]:
    """Few options in each panel, on the same axes; one legend for all."""
    panels = option_panels(result["option"].values.tolist())
    if len(panels) == 1:
        return single(lambda ax: plot.floors(result, criterion=criterion, ax=ax))

    def on(canvas: Canvas) -> None:
        axes = canvas.subplots(1, len(panels), sharex=True, sharey=True)
        keys: dict[str, Artist] = {}
        for ax, options in zip(axes, panels, strict=True):
            plot.floors(result, criterion=criterion, option=options, ax=ax)
            legend = ax.get_legend()
            texts = (" ".join(text.get_text().split()) for text in legend.get_texts())
            for text, handle in zip(texts, legend.legend_handles, strict=True):
                keys.setdefault(text, handle)
            legend.remove()
            ax.set_xlabel(textwrap.fill(ax.get_xlabel().split("\n")[0], 72 // len(panels)))
            ax.label_outer()
        legend_of_figure(canvas, list(keys.values()), list(keys))

    return on


def _passbys(facts: Facts) -> Iterator[Picture]:
    source: Any = facts.single["source_level"]
    # Ten equal passbys are the least that carry a 95th percentile.
    percentile = 95.0 if source.sizes["passby"] >= 10 else None
    background = facts.study.passbys.background
    if background is not None:
        background = background.sel(frequency=source["frequency"].values)
    also = "" if percentile is None else " and 95th percentile of each band by itself"

    def draw(ax: Axes) -> Axes:
        drawn = plot.passbys(source, ax=ax, percentile=percentile, background=background)
        band_proportions(drawn, tallest=0.8)
        return drawn

    mean = source.mean("passby")
    peak = label(float(mean["frequency"].values[int(mean.argmax("frequency"))]))
    yield Picture(
        section="passbys",
        slug="passbys",
        caption=f"Source: {source_words(facts.single)}, {source.attrs['quantity']} "
        f"{source.attrs.get('location', '')}, dB re {source.attrs['reference']}. Energy "
        f"mean{also}; all passbys alike, without the timetable.",
        alt=f"The trains are strongest at {peak} Hz, {mean.max().item():.0f} dB re "
        f"{source.attrs['reference']} in the mean.",
        size=(3.9, 3.2),
        draw=single(draw),
        invented=facts.study.invented,
    )
