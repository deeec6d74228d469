"""What a study comes to, held against what buildings are like: wrong references, other loads."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from groundborne._checks import StudyError
from groundborne.rating.criteria import metric_of
from groundborne.structure.element import GRAVITY
from groundborne.usual_ranges import UnusualValueWarning, judge
from groundborne.usual_values import derived

if TYPE_CHECKING:
    from groundborne.study.model import Study
    from groundborne.study.option import Option

LOADS_DIFFER = 0.02
"""Share by which loads of packs and study may differ without a word [-]; common practice: the
natural frequency then moves by 1 %."""


def check_result(study: Study, result: xr.Dataset) -> None:
    """Hold levels without measures and loads of packs against what is usual.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        With ``sound_level``, and ``rating`` and ``floor_level`` where there are any.

    Warns
    -----
    UnusualValueWarning
        Rooms louder, or floors livelier, than trains make them without isolation: with the
        references of levels that would explain it. Packs that were chosen for other loads than the
        columns of the study have: with both revisions, columns and loads.
    """
    plain = [o.name for o in study.options if not o.is_isolated]
    if plain:
        _check_levels(result.sel(option=plain))
    for option in study.options:
        _check_loads(study, option)


def _check_levels(result: xr.Dataset) -> None:
    def hold(name: str, values: xr.DataArray, words: str) -> None:
        worst = values.max([d for d in values.dims if d != "room"])
        worst = worst.dropna("room")  # rooms without such a criterion
        rooms = worst["room"].values
        judge(
            derived(f"{name} without measures"),
            worst.values,
            subject=lambda at: f"result, room {str(rooms[at])!r}: {words}, without any measure,",
            error=StudyError,
        )

    hold("sound", result["sound_level"], "the loudest passby")
    if "floor_level" in result:
        hold("floor", result["floor_level"], "the largest band of its floor")
    for name in result["criterion"].values.tolist():
        metric = name.split(",")[0]
        if metric in ("VDV", "KB_Fmax"):
            rating = result["rating"].sel(criterion=name, drop=True)
            applies = result["applies"].sel(criterion=name, drop=True)
            assert metric_of(name).vibration
            hold(metric, rating.where(applies), name)


def _check_loads(study: Study, option: Option) -> None:
    """Packs against the columns of the study."""
    chosen: Any = getattr(option.base, "chosen_for", None)
    if chosen is None or study.plane is None:
        return
    columns = study.building.columns
    own = "" if columns is None else str(columns.attrs.get("revision", ""))
    now, then = xr.DataArray(study.plane.mass * GRAVITY), xr.DataArray(chosen.load)
    if "column" not in now.dims and "column" in then.dims:
        then = then.sum("column")
    names = then["column"].values if "column" in then.dims else np.array([""])
    ratio = now / then
    others = [d for d in ratio.dims if d != "column"]
    off = np.atleast_1d(abs(ratio - 1).max(others).values)
    differ = np.flatnonzero(off > LOADS_DIFFER)
    revised = bool(own and chosen.revision and own != chosen.revision)
    if not differ.size and not revised:
        return
    of_packs = f"revision {chosen.revision!r}" if chosen.revision else "an unknown revision"
    of_study = f"of revision {own!r}" if own else "of no noted revision"
    text = (
        f"Option {option.name!r}: its packs were chosen for loads of {of_packs}, and the columns "
        f"of the study are {of_study}; "
    )
    if not differ.size:
        text += f"no load differs by more than {100 * LOADS_DIFFER:g} %."
    else:
        largest = differ[np.argsort(-off[differ], kind="stable")][:_SHOWN]
        old, new = (
            np.atleast_1d(x.mean([d for d in x.dims if d != "column"]).values) / 1e3
            for x in (then, now)
        )
        parts = [
            f"{str(names[at]) or 'all columns'} {old[at]:,.0f} kN then, {new[at]:,.0f} kN now"
            for at in largest.tolist()
        ]
        more = f" and {differ.size - _SHOWN} more" if differ.size > _SHOWN else ""
        text += (
            f"the quasi-permanent loads of {differ.size} of {off.size} differ by more than "
            f"{100 * LOADS_DIFFER:g} %: {'; '.join(parts)}{more}. Under the loads of now the "
            "packs settle and resonate otherwise than their schedule says: choose them anew, or "
            "give the study their loads."
        )
    warnings.warn(text, UnusualValueWarning, stacklevel=2)


_SHOWN = 5
"""Columns whose loads are named."""
