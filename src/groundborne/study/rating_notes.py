"""Notes on ratings: lower bounds, what stated limits of isolation decide, what is too quiet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from groundborne.bands import label
from groundborne.isolation.base import SINGLE_STAGE_LIMIT
from groundborne.rating import METRICS, Mark
from groundborne.rating.criteria import QUIETEST, metric_of
from groundborne.study.stage_limits import MATTERS

if TYPE_CHECKING:
    from groundborne.study.option import Option

_FEW_ROOMS = 8


def limit_notes(option: Option, result: xr.Dataset) -> list[str]:
    """What stated limits of isolation decide: margins, and answers."""
    notes = []
    here = result.sel(option=option.name)
    head = f"Option {option.name!r}: "
    # Without a limit a margin is infinite, and a difference of two is no number.
    both = (here[n].where(here["applies"], 0.0) for n in ("margin", "margin_one_stage"))
    margin, held = both
    gained = margin - held
    others = [d for d in gained.dims if d not in ("room", "criterion")]
    gained, held, margin = gained.max(others), held.min(others), margin.min(others)
    if bool((gained >= MATTERS).any()):
        where = _rooms_where((gained >= MATTERS).any("criterion"))
        bands = _bands_where(_either(here, "base_excess") > 0)
        notes.append(
            f"{head}base isolation above {SINGLE_STAGE_LIMIT:g} dB at {bands} raises margins in "
            f"{where} by up to {float(gained.max()):.1f} dB."
        )
    only = (margin >= 0) & (held < 0)
    for name in only["criterion"].values[only.any("room").values].tolist():
        rooms = only["room"].values[only.sel(criterion=name).values].tolist()
        unit = "NR" if metric_of(name) is METRICS["NR"] else "dB"
        parts = [
            f"{r} ({_signed(margin, r, name)} {unit}; held to that {_signed(held, r, name)} {unit})"
            for r in rooms
        ]
        notes.append(
            f"{head}{name} is met only by base isolation above {SINGLE_STAGE_LIMIT:g} dB, and so "
            f"not shown, in room {', '.join(parts)}."
        )
    limited = here["loss_limited_rating"] & here["applies"]
    limited = limited.any([d for d in limited.dims if d != "room"])
    for measure in option.measures:
        rooms = [r for r in measure.rooms if bool(limited.sel(room=r))]
        losses = [getattr(t, "largest_loss", None) for t in measure.treatments.values()]
        stated = [float(np.max(np.asarray(x))) for x in losses if x is not None]
        if rooms and stated:
            most = max(stated)
            limits = here["loss_limited"].sel(room=rooms)
            if not bool(limits.any()):  # then it is the vibration of the floors
                limits = here["floor_loss_limited"].sel(room=rooms)
            bands = _bands_where(limits)
            notes.append(
                f"Option {option.name!r}, {measure.name}: the largest loss stated for its layers, "
                f"{most:g} dB, stands for them at {bands} and decides ratings in room "
                f"{', '.join(rooms)}. Other ways round the layers are not predicted."
            )
    return notes


def _either(result: xr.Dataset, name: str) -> xr.DataArray:
    """Of the sound in the room or of the floor at mid-span, the larger."""
    floor = f"floor_{name}"
    if floor not in result:
        return result[name]
    larger: xr.DataArray = xr.where(result[name] > result[floor], result[name], result[floor])
    return larger


def _signed(margin: xr.DataArray, room: str, criterion: str) -> str:
    return f"{float(margin.sel(room=room, criterion=criterion)):+.1f}".replace("-", "−")


def _rooms_where(flag: xr.DataArray) -> str:
    rooms = flag["room"].values[flag.values].tolist()
    return f"room {', '.join(rooms)}" if len(rooms) <= _FEW_ROOMS else f"{len(rooms)} rooms"


def _bands_where(flag: xr.DataArray) -> str:
    """Bands in which something holds anywhere, as runs."""
    any_ = flag.any([d for d in flag.dims if d != "frequency"])
    frequency = any_["frequency"].values
    runs: list[list[int]] = []
    for at in np.flatnonzero(any_.values).tolist():
        if runs and runs[-1][-1] == at - 1:
            runs[-1].append(at)
        else:
            runs.append([at])
    words = [
        label(frequency[r[0]])
        if len(r) == 1
        else f"{label(frequency[r[0]])} to {label(frequency[r[-1]])}"
        for r in runs
    ]
    return f"{', '.join(words)} Hz"


def bound_notes(result: xr.Dataset) -> list[str]:
    """Ratings that are lower bounds or below what can be measured, and why."""
    notes = []
    mark, applies = result["mark"], result["applies"]
    for name in result["criterion"].values.tolist():
        at_least = mark.isin([Mark.AT_LEAST.value, Mark.OPEN.value]).sel(criterion=name)
        at_least = at_least & applies.sel(criterion=name)
        if bool(at_least.any()):
            room = at_least.any([d for d in at_least.dims if d != "room"])
            why = str(result["bound"].sel(criterion=name).item())
            notes.append(
                f"{name} is a lower bound in {_rooms_where(room)}, under at least one option: "
                f"{why}. A lower bound never shows that a criterion is met."
            )
    if bool((mark.isin([Mark.BELOW.value, Mark.OPEN.value]) & applies).any()):
        notes.append(
            f"Ratings below {QUIETEST:g} dB(A) or NR 0 are printed as such: nothing so quiet is "
            "measured in a building, whose own noise is louder (common practice)."
        )
    return notes
