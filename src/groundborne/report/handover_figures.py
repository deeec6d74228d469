"""Figures of what was measured at handover."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from groundborne import plot
from groundborne.bands import label
from groundborne.commissioning.diagnosis import NONE_FOUND, UNEXPLAINED
from groundborne.commissioning.provenance import PROVENANCE, prediction_of
from groundborne.report.facts import Facts
from groundborne.report.handover import Handover
from groundborne.report.picture import Picture, file_name, single

SECTION = "handover"
_MOST_ROOMS = 4
_MOST_CAUSES = 4
_CURVES = 3


def handover_pictures(facts: Facts) -> Iterator[Picture]:
    """Rooms that depart most, isolation, causes, and what was learnt; nothing without a handover.

    Parameters
    ----------
    facts : Facts
        Study and result.
    """
    if facts.handover is not None:
        yield from _rooms(facts.handover, facts.study.invented)
        yield from _isolation(facts.handover, facts.study.invented)
        yield from _causes(facts.handover, facts.study.invented)
        yield from _learnt(facts.handover, facts.study.invented)


def _rooms(handover: Handover, invented: bool) -> Iterator[Picture]:
    each = [(d, str(r), float(d["p_value"].sel(room=r))) for d in handover.levels
            for r in d["room"].values]  # fmt: skip
    for found, room, _ in sorted(each, key=lambda e: e[2])[:_MOST_ROOMS]:
        here = found.sel(room=room)
        off = here["difference"].values[~here["upper_limit"].values]
        quantity = str(found.attrs["quantity"])

        def draw(ax: Axes, found: xr.Dataset = found, room: str = room) -> Axes:
            return plot.plot_measured_room(found, room=room, ax=ax)

        yield Picture(
            section=SECTION,
            slug=file_name("measured", room, quantity),
            caption=f"Room {room}: {quantity}, measured against predicted with "
            f"{handover.option!r}; prediction: {prediction_of(found.attrs)}; energy means of the "
            f"passbys, {found.attrs['time_weighting']} of each band. Measurement: "
            f"{found.attrs[PROVENANCE]}.",
            alt=f"Room {room}: {quantity} measured on average {off.mean():+.0f} dB against what "
            "was predicted.".replace("-", "−"),
            size=(3.4, 3.6),
            half=True,
            draw=single(draw),
            invented=invented,
        )


def _isolation(handover: Handover, invented: bool) -> Iterator[Picture]:
    for kind in ("insertion loss", "level difference"):
        own = {n: d for n, d in handover.isolation.items() if d.attrs["kind"] == kind}
        groups: dict[tuple[float, ...], dict[str, xr.Dataset]] = {}
        for name, data in own.items():
            groups.setdefault(tuple(data["frequency"].values.tolist()), {})[name] = data
        for of in groups.values():
            for first in range(0, len(of), _CURVES):
                shown = dict([*of.items()][first : first + _CURVES])

                def draw(ax: Axes, shown: dict[str, xr.Dataset] = shown) -> Axes:
                    return plot.plot_measured_isolation(shown, ax=ax)

                labels = dict.fromkeys(str(d.attrs[PROVENANCE]) for d in shown.values())
                told = "; ".join(
                    f"{n} {float(d['value'].min()):.0f} to {float(d['value'].max()):.0f} dB"
                    for n, d in shown.items()
                )
                yield Picture(
                    section=SECTION,
                    slug=file_name("measured", kind, *shown),
                    caption=f"Measured {kind} with its interval: {', '.join(shown)}. "
                    f"Measurement: {'; '.join(labels)}.",
                    alt=f"Measured {kind}: {told}.".replace("-", "−"),
                    size=(6.4, 4.8),
                    draw=single(draw),
                    invented=invented,
                )


def _causes(handover: Handover, invented: bool) -> Iterator[Picture]:
    stands = {n: d for n, d in handover.causes.items() if d.attrs["verdict"] != NONE_FOUND}
    for place, found in list(stands.items())[:_MOST_CAUSES]:

        def draw(ax: Axes, found: xr.Dataset = found) -> Axes:
            return plot.plot_causes(found, ax=ax)

        worst = int(np.argmax(np.abs((found["measured"] - found["designed"]).values)))
        yield Picture(
            section=SECTION,
            slug=file_name("causes", place),
            caption=f"{place}: measured level change, and what was designed with its tolerances"
            + (
                "; no cause on the list explains it."
                if found.attrs["verdict"] == UNEXPLAINED
                else "; what the likely cause would make of it."
            ),
            alt=f"{place}: {found.attrs['sentence']}; furthest from the design at "
            f"{label(float(found['frequency'].values[worst]))} Hz.",
            size=(6.4, 4.8),
            draw=single(draw),
            invented=invented,
        )


def _learnt(handover: Handover, invented: bool) -> Iterator[Picture]:
    for number, table in enumerate(handover.learnt, 1):
        room = str(table["room"].values[0])

        def draw(ax: Axes, table: xr.Dataset = table, room: str = room) -> Axes:
            return plot.plot_stage_update(table, room=room, ax=ax)

        here = table.sel(room=room)
        yield Picture(
            section=SECTION,
            slug=file_name("learnt", str(number), room),
            caption=f"What was learnt of all stages together in room {room}: error of the "
            f"prediction in {table.attrs['quantity']} before the measurement, the data, and after.",
            alt=f"Room {room}: the interval of all stages goes from "
            f"{float(here['prior_sum_error'].mean()):.0f} to "
            f"{float(here['posterior_sum_error'].mean()):.0f} dB, as standard deviations.",
            size=(6.4, 4.8),
            draw=single(draw),
            invented=invented,
        )
