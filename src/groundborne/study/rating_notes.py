"""Notes on ratings: what governs, lower bounds, what stated limits decide, what is too quiet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from groundborne.rating import Mark
from groundborne.rating.scale import scale_of
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.stage_limits import MATTERS


def governing_bands(
    result: xr.Dataset, option: str, rooms: Sequence[str]
) -> list[tuple[str, float]]:
    """The criterion of each room with the least margin, and the band that counts most in it."""
    at = {"option": option, "room": list(rooms)}
    margin = result["margin"].sel(at).where(result["applies"].sel(room=at["room"]), np.inf)
    margin = margin.transpose("room", "criterion", ...)
    band = result["governing_band"].sel(at).broadcast_like(margin).transpose(*margin.dims)
    least = margin.values.reshape(len(rooms), -1).argmin(axis=1)
    found = band.values.reshape(len(rooms), -1)[np.arange(len(rooms)), least]
    each = least // (margin[0].size // margin.sizes["criterion"]) if len(rooms) else least
    names = margin["criterion"].values[each]
    return [(str(n), float(b)) for n, b in zip(names, found, strict=True)]


def within(study: StudyModel, criterion: str, band: float) -> list[float]:
    """Bands of a study in one that governs a criterion: itself, or the thirds of an octave."""
    every = (c for of in study.criteria.values() for c in of)
    rule = next(c.of.rule for c in every if c.label == criterion)
    own = np.asarray(rule.band_of(study.frequency).values)
    found: list[float] = study.frequency.values[np.isclose(own, band)].tolist()
    return found


def limit_notes(option: Option, result: xr.Dataset) -> list[Note]:
    """What stated limits of isolation decide: margins, and answers."""
    notes = []
    here = result.sel(option=option.name)
    # Without a limit a margin is infinite, and a difference of two is no number.
    both = (here[n].where(here["applies"], 0.0) for n in ("margin", "margin_one_stage"))
    margin, held = both
    gained = margin - held
    others = [d for d in gained.dims if d not in ("room", "criterion")]
    gained, held, margin = gained.max(others), held.min(others), margin.min(others)
    if bool((gained >= MATTERS).any()):
        notes.append(
            Note(
                kind="margins beyond one stage",
                option=option.name,
                rooms=_rooms_where((gained >= MATTERS).any("criterion")),
                consequence_db=float(gained.max()),
                values={"bands": _runs_where(_either(here, "base_excess") > 0)},
            )
        )
    only = (margin >= 0) & (held < 0)
    for name in only["criterion"].values[only.any("room").values].tolist():
        rooms = _rooms_where(only.sel(criterion=name))
        at = {"room": list(rooms), "criterion": name}
        values = {
            "criterion": name,
            "unit": scale_of(result, name).margin_unit,
            "margins": margin.sel(at).values.tolist(),
            "held": held.sel(at).values.tolist(),
        }
        notes.append(
            Note(kind="met beyond one stage", option=option.name, rooms=rooms, values=values)
        )
    limited = here["loss_limited_rating"] & here["applies"]
    limited = limited.any([d for d in limited.dims if d != "room"])
    for measure in option.measures:
        decided = [r for r in measure.rooms if bool(limited.sel(room=r))]
        losses = [getattr(t, "largest_loss", None) for t in measure.treatments.values()]
        stated = [float(np.max(np.asarray(x))) for x in losses if x is not None]
        if decided and stated:
            limits = here["loss_limited"].sel(room=decided)
            if not bool(limits.any()):  # then it is the vibration of the floors
                limits = here["floor_loss_limited"].sel(room=decided)
            values = {
                "measure": measure.name,
                "largest": max(stated),
                "bands": _runs_where(limits),
            }
            notes.append(
                Note(
                    kind="largest loss decides",
                    option=option.name,
                    rooms=tuple(decided),
                    values=values,
                )
            )
    return notes


def _either(result: xr.Dataset, name: str) -> xr.DataArray:
    """Of the sound in the room or of the floor at mid-span, the larger."""
    floor = f"floor_{name}"
    if floor not in result:
        return result[name]
    larger: xr.DataArray = xr.where(result[name] > result[floor], result[name], result[floor])
    return larger


def _rooms_where(flag: xr.DataArray) -> tuple[str, ...]:
    return tuple(flag["room"].values[flag.values].astype(str).tolist())


def _runs_where(flag: xr.DataArray) -> list[list[float]]:
    """Bands in which something holds anywhere, as runs by their ends."""
    any_ = flag.any([d for d in flag.dims if d != "frequency"])
    frequency = any_["frequency"].values.tolist()
    runs: list[list[int]] = []
    for at in np.flatnonzero(any_.values).tolist():
        if runs and runs[-1][-1] == at - 1:
            runs[-1].append(at)
        else:
            runs.append([at])
    return [[frequency[run[0]], frequency[run[-1]]] for run in runs]


def bound_notes(result: xr.Dataset) -> list[Note]:
    """Ratings that are lower bounds or below what can be measured, and why."""
    notes = []
    mark, applies = result["mark"], result["applies"]
    for name in result["criterion"].values.tolist():
        at_least = mark.isin([Mark.AT_LEAST.value, Mark.OPEN.value]).sel(criterion=name)
        at_least = at_least & applies.sel(criterion=name)
        if bool(at_least.any()):
            rooms = _rooms_where(at_least.any([d for d in at_least.dims if d != "room"]))
            why = str(result["bound"].sel(criterion=name).item())
            notes.append(
                Note(kind="lower bound", rooms=rooms, values={"criterion": name, "why": why})
            )
    quiet = mark.isin([Mark.BELOW.value, Mark.OPEN.value]) & applies
    if bool(quiet.any()):
        names = quiet["criterion"].values[quiet.any(_but(quiet, "criterion")).values].tolist()
        least = dict.fromkeys(scale_of(result, name).least_words for name in names)
        notes.append(Note(kind="below what can be measured", values={"least": list(least)}))
    return notes


def _but(array: xr.DataArray, dim: str) -> list[str]:
    return [str(d) for d in array.dims if d != dim]
