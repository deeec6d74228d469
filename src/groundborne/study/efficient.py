"""Options that no other beats in everything: surer, lower, lighter and cheaper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError

SURE = "probability_all"
"""Probability that all rooms meet all criteria: more is better."""

COST = "cost"
"""What options cost, where all of them have a cost: less is better."""


@checked(nan=("sure",), infinite=("sure",), own_labels=("columns",))
def efficient_set(
    sure: xr.Dataset, columns: Mapping[str, xr.DataArray] | None = None
) -> xr.Dataset:
    """Options of which none other is at least as good in everything and better in something.

    Parameters
    ----------
    sure : Dataset
        From :func:`~groundborne.study.how_sure`, with ``probability_all`` on ``option``.
    columns : mapping of str to DataArray, optional
        What each option takes, on ``option``, lower is better: height [m], deflection [m], mass
        [kg], cost in whatever unit; ``attrs["units"]`` is kept for figures. By default the cost
        alone, which results hold where every option of the study has one; beside others it is
        ``sure["cost"]``.

    Returns
    -------
    xarray.Dataset
        On ``option``: ``probability_all`` with its standard error, the columns by their names,
        ``efficient``, and ``beaten_by``, the first option that is nowhere worse and somewhere
        better, empty where it is efficient. The attribute ``columns`` lists their names.

    Raises
    ------
    StudyError
        No column, and no cost of every option; options that differ from those of the result, other
        dims, a name that is taken.

    Notes
    -----
    Options that are the same in everything are all kept. Numbers are compared as they are:
    probabilities are of samples with the same errors for all options, and what their error leaves
    open is to be read from it.

    References
    ----------
    Pareto's order; common practice.

    Examples
    --------
    >>> sure = xr.Dataset({"probability_all": ("option", [0.2, 0.95, 0.9]),
    ...                    "probability_all_error": ("option", [0.01, 0.01, 0.01])},
    ...                   coords={"option": ["none", "springs", "rubber"]})
    >>> cost = xr.DataArray([0.0, 3.0, 3.0], coords={"option": ["none", "springs", "rubber"]})
    >>> found = efficient_set(sure, {"cost": cost})
    >>> found["efficient"].values.tolist(), found["beaten_by"].values.tolist()
    ([True, True, False], ['', '', 'springs'])
    """
    where = "efficient_set"
    if SURE not in sure:
        raise StudyError(
            f"{where}: the result does not hold {SURE!r}; give what how_sure makes of it"
        )
    if columns is None:
        if COST not in sure:
            raise StudyError(
                f"{where}: not every option of the result has a cost; give each one in the study, "
                "or columns with what each takes"
            )
        columns = {COST: sure[COST]}
    if not columns:
        raise StudyError(f"{where}: columns is empty; give what each option takes, such as a cost")
    names = [str(n) for n in sure["option"].values]
    data = {SURE: sure[SURE], f"{SURE}_error": sure[f"{SURE}_error"]}
    for name, column in columns.items():
        if name in (*data, "option", "efficient", "beaten_by"):
            raise StudyError(f"{where}: a column is called {name!r}, which is taken; rename it")
        if column.dims != ("option",) or "option" not in column.coords:
            raise StudyError(
                f"{where}: the column {name!r} has the dims {column.dims}; it must be on 'option', "
                "with their names"
            )
        given = [str(n) for n in column["option"].values]
        for label in (*given, *names):
            if given.count(label) != 1 or label not in names:
                raise StudyError(
                    f"{where}: the column {name!r} is of the options "
                    f"{', '.join(map(repr, given))}, and the result of "
                    f"{', '.join(map(repr, names))}; each needs one value, by its name"
                )
        data[name] = column.sel(option=names).reset_coords(drop=True)
    # Lower is better in each row.
    rows = np.stack([-data[SURE].values, *(data[n].values.astype(float) for n in columns)])
    no_worse = (rows[:, :, None] <= rows[:, None, :]).all(axis=0)
    better = (rows[:, :, None] < rows[:, None, :]).any(axis=0)
    beats: Any = no_worse & better  # the row beats the column
    beaten = [
        names[beats[:, at].argmax()] if beats[:, at].any() else "" for at in range(len(names))
    ]
    data["efficient"] = xr.DataArray(~beats.any(axis=0), dims="option", coords={"option": names})
    data["beaten_by"] = xr.DataArray(beaten, dims="option", coords={"option": names})
    return xr.Dataset(data, attrs={"columns": list(columns)})
