"""What a study comes to, held against what buildings are like: wrong references, other loads."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.structure.element import GRAVITY
from groundborne.study.model import StudyModel
from groundborne.study.note import Note
from groundborne.study.note_words import sentence
from groundborne.study.option import Option
from groundborne.study.part import Part
from groundborne.study.service import described
from groundborne.usual_ranges import Quantity, UnusualValueWarning, collected, judge
from groundborne.usual_values import derived

LOADS_DIFFER = 0.02
"""Share by which loads of packs and study may differ without a word [-]; common practice: the
natural frequency then moves by 1 %."""


def result_notes(study: StudyModel, result: xr.Dataset) -> list[Note]:
    """Hold levels without measures and loads of packs against what is usual.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        With ``sound_level``, and ``rating`` and ``floor_level`` where there are any.

    Returns
    -------
    list of Note
        Rooms louder, or floors livelier, than trains make them without isolation: with the
        references of levels that would explain it. Packs that were chosen for other loads than the
        columns of the study have: with both revisions, columns and loads.

    Warns
    -----
    UnusualValueWarning
        The same.
    """
    plain = [o.name for o in study.options if not o.is_isolated]
    notes = []
    if plain:
        with collected() as odd:
            _check_levels(study, result.sel(option=plain))
        notes += [Note(kind="unusual result", values={"text": text}) for text in odd]
    for part in study.parts:
        for option, there in study.seen_by(part):
            notes += _other_loads(study, option, there)
    for note in notes:
        warnings.warn(sentence(note), UnusualValueWarning, stacklevel=2)
    return notes


def _check_levels(study: StudyModel, result: xr.Dataset) -> None:
    def hold(usual: Quantity, values: xr.DataArray, words: str) -> None:
        worst = values.max([d for d in values.dims if d != "room"])
        worst = worst.dropna("room")  # rooms without such a criterion
        rooms = worst["room"].values
        judge(
            usual,
            worst.values,
            subject=lambda at: f"result, room {str(rooms[at])!r}: {words}, without any measure,",
            error=StudyError,
        )

    hold(derived("sound without measures"), result["sound_level"], "the loudest passby")
    if "floor_level" in result:
        largest = "the largest band of its floor"
        hold(derived("floor without measures"), result["floor_level"], largest)
    usual = {c.label: c.of.usual_value for of in study.criteria.values() for c in of}
    for name in result["criterion"].values.tolist():
        bounds = usual.get(name)
        if bounds is not None:
            here = result[["rating", "applies"]].sel(criterion=name, drop=True)
            hold(bounds, here["rating"].where(here["applies"]), name)


def _other_loads(study: StudyModel, option: Option, part: Part) -> list[Note]:
    """Packs against the columns of the study."""
    chosen: Any = getattr(described(option.base), "chosen_for", None)
    if chosen is None or part.plane is None:
        return []
    own = "" if study.building.loads is None else study.building.loads.revision
    now, then = xr.DataArray(part.plane.mass * GRAVITY), xr.DataArray(chosen.load)
    if "column" not in now.dims and "column" in then.dims:
        then = then.sum("column")
    names = then["column"].values if "column" in then.dims else np.array([""])
    ratio = now / then
    others = [d for d in ratio.dims if d != "column"]
    off = np.atleast_1d(abs(ratio - 1).max(others).values)
    differ = np.flatnonzero(off > LOADS_DIFFER)
    revised = bool(own and chosen.revision and own != chosen.revision)
    if not differ.size and not revised:
        return []
    rows = []
    if differ.size:
        largest = differ[np.argsort(-off[differ], kind="stable")][:_SHOWN]
        old, new = (
            np.atleast_1d(x.mean([d for d in x.dims if d != "column"]).values) / 1e3
            for x in (then, now)
        )
        rows = [[str(names[at]), float(old[at]), float(new[at])] for at in largest.tolist()]
    values = {
        "packs": chosen.revision,
        "study": own,
        "noted": LOADS_DIFFER,
        "differ": int(differ.size),
        "count": int(off.size),
        "columns": rows,
    }
    return [Note(kind="other loads", option=option.name, part=part.name, values=values)]


_SHOWN = 5
"""Columns whose loads are named."""
