"""Figures of base isolation and of resonances."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import xarray as xr
from matplotlib.axes import Axes

from groundborne import plot, weighting
from groundborne.bands import label
from groundborne.isolation.base import THEORY
from groundborne.isolation.bypass import WITHOUT
from groundborne.plot.insertion_loss import base_groups
from groundborne.plot.style import band_proportions
from groundborne.report.assessment import listed
from groundborne.report.facts import Facts
from groundborne.report.picture import Picture, file_name, single
from groundborne.study import Resonance, resonances
from groundborne.study.natural_frequencies import coincidences
from groundborne.study.part import Part


def isolation_pictures(facts: Facts) -> Iterator[Picture]:
    """Base isolation and resonances of every part of the building that has an isolation plane."""
    result = facts.single
    for part in facts.study.parts:
        if part.plane is not None:
            by_part = "part" in result["base_change"].dims
            yield from _of_part(facts, result.sel(part=part.name) if by_part else result, part)


def _of_part(facts: Facts, result: xr.Dataset, part: Part) -> Iterator[Picture]:
    loudest = loudest_band(result)
    for names in base_groups(result):
        kept = [n for n in _BASE if n in result]
        cut = result[kept].sel(option=names)

        def draw(ax: Axes, cut: xr.Dataset = cut) -> Axes:
            drawn = plot.insertion_loss(cut, ax=ax)
            band_proportions(drawn)
            return drawn

        at = cut.sel(option=names[0], frequency=loudest)
        power, beside = "", ""
        if "base_change_without_bypass" in at:
            beside = f" ({_db(-at['base_change_without_bypass'])} {WITHOUT})"
        if "power_change" in at:
            power = f", {_db(-at['power_change'])} in power through the mounts"
        found_db, theory = _db(-at["base_change"]), _db(-at["ideal_change"])
        yield Picture(
            section="isolation",
            slug=file_name("base-isolation", part.name, names[0]),
            caption=f"Base isolation of {part.in_words + ', ' if part.name else ''}"
            f"{listed(map(repr, names))}. "
            f"At {label(loudest)} Hz: predicted {found_db}{beside}{power}, {THEORY} {theory}"
            f"{_exceeded(cut.sel(option=names[0]))}.",
            alt=f"At {label(loudest)} Hz the mounts of {names[0]} are predicted to lower the level "
            f"by {found_db}, where single-degree-of-freedom theory gives {theory}.",
            size=(3.5, 4.4),
            half=True,
            draw=single(draw),
            invented=facts.study.invented,
        )


def resonance_pictures(facts: Facts) -> Iterator[Picture]:
    """Resonances of the option that the report speaks of, part by part."""
    option = next(o for o in facts.study.options if o.name == facts.chosen)
    for part in facts.study.parts:
        of = f" of {part.in_words}" if part.name else ""
        found = resonances(facts.study, option, part=part.name)
        if len(found) < 2:
            continue
        pairs = coincidences(found)

        def draw(ax: Axes, found: Sequence[Resonance] = found) -> Axes:
            return plot.resonances(found, ax=ax)

        told = listed(f"{a.name} with {b.name}" for a, b in pairs) or "none"
        yield Picture(
            section="resonances",
            slug=file_name("resonances", part.name, facts.chosen),
            caption=f"Resonances{of} with {facts.chosen!r}. Filled marks are coincident "
            "resonances, within a third of an octave on a common floor: each amplifies what the "
            "other passes. Peaks of the source spectrum: peaks of the energy mean of passbys, as "
            "the timetable of the criteria weights them, within 10 dB of its largest band.",
            alt=f"Coincident resonances with {facts.chosen}: {told}.",
            size=(6.6, 1.1 + 0.2 * len(found)),
            draw=single(draw),
            invented=facts.study.invented,
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


def loudest_band(result: xr.Dataset) -> float:
    """Band that carries most of the A-weighted level of the first option, over all rooms."""
    mean = result["mean_level"].isel(option=0)
    heard = (mean + weighting.a(mean["frequency"])).max("room")
    return float(heard["frequency"].values[int(heard.argmax("frequency"))])
