"""Columns that unload or lift, in any case and direction, and the force that holds them down."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.loads.cases import check_load, in_service, wind_doubts

TIE_FORCE = Citation(
    key="tie-force",
    author="groundborne",
    title="force in a tie: what the design value of the column load lacks to 0",
    mark="derived",
    status="transcribed",
)

TIE_CAUTION = (
    "Forces in ties are demands from the column loads as given, and no design of a tie: anchorage, "
    "load path and robustness are the structural engineer's; local codes and licensed engineers "
    "govern. A tie must not bridge the isolation in service."
)
"""Stands beside every force in a tie."""

NO_TIE = (
    "no tie cures that, for it would have to bear in service and bridge the isolation; more dead "
    "load on the column, or another frame, is needed"
)
"""Stands beside every column that lifts in service."""


@checked
def hold_down(load: xr.DataArray) -> xr.Dataset:
    """Least load of each column over all cases, and the force in a tie where it lifts.

    Parameters
    ----------
    load : DataArray
        Combined loads [N], downwards, dims (case, column), from
        :func:`~groundborne.sizing.combine`. The factors of the cases are in it.

    Returns
    -------
    xarray.Dataset
        On ``column``: ``lowest_load`` [N] in ``lowest_case``; ``tie_force`` [N], 0 or more, that
        keeps the column at 0 in that case: a design value where the case has design factors;
        ``lowest_in_service`` [N] in ``service_case``; ``lifts``, at 0 as well: a column that the
        loss of another lifts off its pack carries nothing and, untied, pulls nothing; and
        ``lifts_in_service``, which no tie cures. The attributes hold ``caution``, with who lifts
        off without a pull, what is doubtful about the wind and which columns lift in service, and
        sources.

    Raises
    ------
    ValueError
        Loads that are not on (case, column) in newtons.

    Notes
    -----
    The column loads are taken as given: how they change when a column lifts is the frame's, and
    the structural engineer's, to say.

    References
    ----------
    Worked out from equilibrium of the column [derived].

    Examples
    --------
    >>> from groundborne.sizing import ColumnLoads, combine
    >>> data = xr.Dataset({n: ("column", [v]) for n, v in dict(
    ...     x=0.0, y=0.0, permanent=2000e3, imposed=100e3, wind_x=1300e3).items()},
    ...     coords={"column": ["A1"]})
    >>> found = hold_down(combine(ColumnLoads(data=data, revision="P1")))
    >>> found.lowest_case.values.tolist(), found.tie_force.values.tolist()
    (['equilibrium x-'], [150000.0])
    """
    load = check_load("hold_down", load)
    lowest = load.min("case").drop_attrs()
    service = load.isel(case=np.flatnonzero(in_service(load["case"].values)))
    case, in_use = (one["case"].values[one.argmin("case").values] for one in (load, service))
    doubts = wind_doubts(load)
    lifted = service["column"].values[(service < 0).any("case").values].tolist()
    if lifted:
        doubts.append(f"{', '.join(map(str, lifted))}: lifts in service, and {NO_TIE}")
    data = xr.Dataset(
        {
            "lowest_load": lowest.assign_attrs(units="N"),
            "lowest_case": ("column", case.astype(str)),
            "tie_force": (-lowest).clip(min=0.0).assign_attrs(units="N"),
            "lowest_in_service": service.min("case").drop_attrs().assign_attrs(units="N"),
            "service_case": ("column", in_use.astype(str)),
            "lifts": lowest <= 0,
            "lifts_in_service": (service <= 0).any("case"),
        }
    )
    off = (lowest.values == 0) & np.char.startswith(case.astype(str), "column loss")
    loose = ", ".join(map(str, load["column"].values[off]))
    if loose:
        doubts.insert(
            0,
            f"Where another column is lost, {loose} would lift off, untied and so without a force "
            "here; what holding it down would take is hold_down of the column loss",
        )
    sources = [t for t in (load.attrs.get("citations", ""), citation_texts([TIE_FORCE])) if t]
    data.attrs = {
        "caution": ". ".join([TIE_CAUTION.removesuffix("."), *doubts]) + ".",
        "citations": "; ".join(sources),
        "revision": str(load.attrs.get("revision", "")),
    }
    return data


@checked
def hold_down_table(found: xr.Dataset) -> pd.DataFrame:
    """Columns that lift, one row each, the largest force first.

    Parameters
    ----------
    found : Dataset
        From :func:`hold_down`.

    Returns
    -------
    pandas.DataFrame
        ``column``, ``lowest_load_kn``, ``lowest_case``, ``tie_force_kn``, ``lifts_in_service``, and
        where it does ``service_pull_kn``, the pull that no tie may take, in ``service_case``
        (else 0 and empty); ``attrs`` hold ``caution``, ``revision`` and the sources.

    Examples
    --------
    >>> load = xr.DataArray([[9e5, 8e5], [1e5, -2e4]], dims=("case", "column"),
    ...     coords={"case": ["quasi-permanent", "uplift"], "column": ["A", "B"]},
    ...     attrs={"units": "N"})
    >>> hold_down_table(hold_down(load)).values.tolist()
    [['B', -20.0, 'uplift', 20.0, False, 0.0, '']]
    """
    lifting = found.isel(column=np.flatnonzero(found["lifts"].values))
    frame = pd.DataFrame(
        {
            "column": lifting["column"].values.astype(str).astype(object),
            "lowest_load_kn": lifting["lowest_load"].values / 1e3,
            "lowest_case": lifting["lowest_case"].values.astype(object),
            "tie_force_kn": lifting["tie_force"].values / 1e3,
            "lifts_in_service": lifting["lifts_in_service"].values,
            "service_pull_kn": -lifting["lowest_in_service"].values.clip(max=0.0) / 1e3 + 0.0,
            "service_case": np.where(
                lifting["lifts_in_service"].values, lifting["service_case"].values, ""
            ).astype(object),
        }
    ).sort_values("tie_force_kn", ascending=False, kind="stable", ignore_index=True)
    frame.attrs.update({k: found.attrs[k] for k in ("caution", "revision", "citations")})
    return frame
