"""Tables of a correction for print: jacks turned, and the steps of each pass."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked

_MM = 1e3
_KEPT = ("cautions", "note", "unmet", "blunders")
_MORE = ("outside", "midway", "proof", "citations")


@checked
def correction_table(result: xr.Dataset) -> pd.DataFrame:
    """Jacks that are turned, one row each, from :func:`correction_schedule`.

    Parameters
    ----------
    result : Dataset
        From :func:`correction_schedule`.

    Returns
    -------
    pandas.DataFrame
        Jack, turns, direction, movement, and the load on its mount before and after, the whole and
        the cracked slab apart; the cautions, the note, the points not met, the mounts beyond their
        limits and the blunders stand in ``attrs``.

    Examples
    --------
    >>> loads = (("bound", "jack"), [[5e3, 4e3], [5e3, 4.2e3]])
    >>> schedule = xr.Dataset({"turns": ("jack", [0.0, 1.5]), "movement": ("jack", [0.0, 4.5e-3]),
    ...     "load_before": loads, "load": loads},
    ...     coords={"jack": ["A1", "A2"], "bound": ["uncracked", "cracked"]},
    ...     attrs={"cautions": "", "note": "", "unmet": (), "blunders": ()})
    >>> correction_table(schedule).iloc[:, :6].values.tolist()
    [['A2', 1.5, 'raise', 4.5, 4.0, 4.0]]
    """
    if "bound" not in result.coords:
        raise ValueError(
            "correction_table: result lacks the labels of the dim 'bound', uncracked and cracked, "
            "which correction_schedule gives it"
        )
    turns = result["turns"].transpose("jack").values
    turned = turns != 0
    turns = turns[turned]
    columns = {
        "jack": result["jack"].values[turned].astype(object),
        "turns": np.abs(turns),
        "direction": np.where(turns > 0, "raise", "lower").astype(object),
        "movement_mm": (result["movement"].values[turned] * _MM).round(3),
    }
    for bound in ("uncracked", "cracked"):
        for name, words in (("load_before", "load_before"), ("load", "load_after")):
            load = result[name].transpose("bound", "jack").sel(bound=bound).values[turned] * 1e-3
            columns[f"{words}_{bound}_kn"] = load.round(2)
    return _with_attrs(pd.DataFrame(columns), result)


@checked
def pass_table(result: xr.Dataset) -> pd.DataFrame:
    """Steps of every pass in their order, one row each, with the hold after each pass.

    Parameters
    ----------
    result : Dataset
        From :func:`correction_schedule`.

    Returns
    -------
    pandas.DataFrame
        Pass, step, jack, turns, direction, what follows, and at the hold after each pass what is
        ``expected`` there: the level of every believed point over its target and the load on every
        mount, from the least to the largest of all rigidities. ``attrs`` as of
        :func:`correction_table`; :func:`groundborne.report.write_correction` writes both.

    Examples
    --------
    >>> schedule = xr.Dataset({"pass_turns": (("lift_pass", "jack"), [[0.0, 1.0], [0.25, 0.5]]),
    ...     "rank": (("lift_pass", "jack"), [[0, 1], [2, 1]]),
    ...     "predicted_after": (("bound", "lift_pass", "point"), [[[-4e-3], [-1e-3]]]),
    ...     "load_after": (("bound", "lift_pass", "jack"), [[[3e3, 4e3], [3.5e3, 4.25e3]]])},
    ...     coords={"jack": ["A1", "A2"], "lift_pass": [1, 2], "point": ["P1"]},
    ...     attrs={"cautions": "", "note": "", "unmet": (), "blunders": ()})
    >>> table = pass_table(schedule)
    >>> table[["pass", "step", "jack", "turns"]].values.tolist()
    [[1, 1, 'A2', 1.0], [2, 1, 'A2', 0.5], [2, 2, 'A1', 0.25]]
    >>> table["expected"].iloc[-1]
    'floor, mm above target: P1 -1.0; mounts, kN: A1 3.50, A2 4.25'
    """
    rank = result["rank"].transpose("lift_pass", "jack").values
    turns = result["pass_turns"].transpose("lift_pass", "jack").values
    number, jack = np.nonzero(rank)
    sort = np.lexsort((rank[number, jack], number))
    number, jack = number[sort], jack[sort]
    last = np.diff(number, append=-1) != 0
    chosen = turns[number, jack]
    expected = [_expected(result.isel(lift_pass=k)) for k in range(result.sizes["lift_pass"])]
    frame = pd.DataFrame(
        {
            "pass": result["lift_pass"].values[number],
            "step": rank[number, jack],
            "jack": result["jack"].values[jack].astype(object),
            "turns": np.abs(chosen),
            "direction": np.where(chosen > 0, "raise", "lower").astype(object),
            "then": np.where(last, "hold: survey, read the mounts", "next jack").astype(object),
            "expected": [
                expected[k] if hold else "" for k, hold in zip(number.tolist(), last, strict=True)
            ],
        }
    )
    return _with_attrs(frame, result)


def _with_attrs(frame: pd.DataFrame, result: xr.Dataset) -> pd.DataFrame:
    frame.attrs.update({k: result.attrs[k] for k in _KEPT})
    frame.attrs.update({k: result.attrs[k] for k in _MORE if k in result.attrs})
    return frame


def _expected(after: xr.Dataset) -> str:
    """Levels and loads at one hold, to read against."""
    level = _ranges(after["predicted_after"] * _MM, "point", 1)
    return f"floor, mm above target: {level}; mounts, kN: " + _ranges(
        after["load_after"] * 1e-3, "jack", 2
    )


def _ranges(values: xr.DataArray, dim: str, digits: int) -> str:
    values = values.transpose("bound", dim)
    low, high = (
        # 0 is added for no minus before a zero.
        [f"{v + 0.0:.{digits}f}" for v in end.round(digits).values.tolist()]
        for end in (values.min("bound"), values.max("bound"))
    )
    names = values[dim].values.tolist()
    return ", ".join(
        f"{n} {a}" if a == b else f"{n} {a} to {b}"
        for n, a, b in zip(names, low, high, strict=True)
    )
