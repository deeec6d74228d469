"""Whether packs go solid, lift or pull when a column is lost."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import not_negative
from groundborne.sizing.lost_columns.column_loss import ColumnLoss, said_of
from groundborne.sizing.packs.schedule import Schedule


@checked
def column_loss_travel(loss: ColumnLoss, *, schedule: Schedule, gap: float = 0.0) -> xr.Dataset:
    """Travel that is left to solid in every pack after each loss.

    Parameters
    ----------
    loss : ColumnLoss
        Loads after the losses.
    schedule : Schedule
        Packs under the same columns.
    gap : float
        Travel that must be left [m]; less is flagged.

    Returns
    -------
    Dataset
        ``residual_travel`` [m], for the worse bound of the floors, and ``flagged``; ``least_load``
        [N], below 0 where a column held down pulls, and ``hold_down`` [N] as of the column loss,
        the largest of both bounds: dims (lost, column). ``increase`` [-], the largest load of a
        column over its load before. The attribute ``sentences`` (a JSON list) names the packs that
        would go solid, the columns that would lift off and those held that would pull.

    Raises
    ------
    ValueError
        The columns differ, or the packs were chosen for other loads than those of the loss.

    Examples
    --------
    >>> names = {"column": ["A", "B"]}
    >>> stiffness = xr.DataArray([1e7, 1e7], coords=names)
    >>> packs = xr.Dataset({"static_stiffness": stiffness, "deflection": 0 * stiffness + 0.02,
    ...     "fail_safe_gap_most": 0 * stiffness + 0.03}).assign(pack=("column", ["2 × S", "2 × S"]))
    >>> load = xr.DataArray([[[0.0, 6e5]]], dims=("rigidity", "lost", "column"),
    ...     coords={"rigidity": ["stiff"], "lost": ["A"], **names})
    >>> lost = ColumnLoss(load=load, before=3e5 + 0 * stiffness, share=load * 0, hold_down=load * 0,
    ...     offset=load.isel(column=0), dynamic=1.5, case="accidental",
    ...     made_for=xr.Dataset({"load": (3e5 + 0 * stiffness).expand_dims(case=["accidental"])}))
    >>> json.loads(column_loss_travel(lost, schedule=Schedule(data=packs)).attrs["sentences"])
    ['A lost: the pack of B (2 × S) would go solid: 60.0 mm under 600 kN, 50.0 mm of travel']
    """
    data = schedule.data
    if [str(c) for c in data["column"].values] != [str(c) for c in loss.load["column"].values]:
        raise ValueError("column_loss_travel: schedule and loss hold different columns")
    if "load" in data:  # not in one that was put together by hand
        working = data["load"].drop_attrs().expand_dims(case=["quasi-permanent"])
        loss.require_of(
            "column_loss_travel: schedule", working, str(data.attrs.get("revision", ""))
        )
    not_negative("column_loss_travel", "gap", gap, "m")
    worst = loss.load.max("rigidity")
    down = worst / data["static_stiffness"]
    travel = data["fail_safe_gap_most"] + data["deflection"]
    left = (travel - down).transpose("lost", "column")
    flagged = left < gap
    sentences = []
    packs, lost, columns = data["pack"].values, left["lost"].values, left["column"].values
    for i, j in zip(*(a.tolist() for a in np.nonzero(flagged.values)), strict=True):
        word = (
            "go solid" if left.values[i, j] < 0 else f"come closer than {gap * 1e3:g} mm to solid"
        )
        sentences.append(
            f"{lost[i]} lost: the pack of {columns[j]} ({packs[j]}) would {word}: "
            f"{down.values[i, j] * 1e3:.1f} mm under {worst.values[i, j] / 1e3:.0f} kN, "
            f"{travel.values[j] * 1e3:.1f} mm of travel"
        )
    pull = loss.hold_down.max("rigidity")
    off, pulls = loss.lifted.any("rigidity"), (loss.load < 0).any("rigidity")
    beside = " beside what is held" if bool(pulls.any()) else ""
    for i, j in zip(*(a.tolist() for a in np.nonzero((off | pulls).values)), strict=True):
        force = f"{pull.values[i, j] / 1e3:.0f} kN"
        sentences.append(
            f"{lost[i]} lost: {columns[j]} would lift off its pack ({packs[j]}); to hold it alone "
            f"down{beside} takes {force}"
            if off.values[i, j]
            else f"{lost[i]} lost: {columns[j]}, held down, would pull with {force}"
        )
    found = xr.Dataset(
        {
            "residual_travel": left.assign_attrs(units="m"),
            "flagged": flagged,
            "least_load": loss.load.min("rigidity").assign_attrs(units="N"),
            "hold_down": pull.assign_attrs(units="N"),
            "increase": loss.increase.assign_attrs(units="1"),
        }
    )
    found.attrs = {"sentences": json.dumps(sentences, ensure_ascii=False), **said_of(loss)}
    return found
