"""What the own mass of coils costs: they surge, and above that let vibration through."""

from __future__ import annotations

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne.isolation.base import BaseIsolation, IdealIsolation
from groundborne.isolation.mount import Mount
from groundborne.levels import stamp_change
from groundborne.sizing.packs.schedule import Schedule
from groundborne.structure import Mobility
from groundborne.structure.element import GRAVITY


@checked
def surge_cost(
    schedule: Schedule,
    frequency: Frequency,
    *,
    below: Mobility | None = None,
    above: Mobility | None = None,
) -> xr.DataArray:
    """Level behind the packs less that behind packs of the same stiffness without mass.

    Parameters
    ----------
    schedule : Schedule
        Packs with own mass.
    frequency : DataArray
        Nominal one-third-octave bands [Hz].
    below, above : Mobility, optional
        What is below and above one column, both or neither; rigid ground and a rigid mass where
        left out, which makes the difference largest.

    Returns
    -------
    DataArray
        Level change [dB] on ``column`` and ``frequency``; positive: the mass makes it louder.

    Raises
    ------
    ValueError
        Packs without own mass, columns that cannot be met, or one mobility without the other.

    Notes
    -----
    For a building evaluate two options, ``Option(base=schedule.mount())`` and
    ``Option(base=schedule.mount(massless=True))``: the difference of their levels is what surge
    costs in each room. Parts of two types in a pack surge as one line of their mean; of a coil
    only the first surge is that of a line.

    References
    ----------
    EN 13906-1:2013, clause 9.12 [seen second-hand]; line derived, as for ``DistributedMount``.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.sizing import PackRules, choose_packs, make_schedule, read_components
    >>> springs = read_components("data/components/springs.csv")
    >>> load = xr.DataArray([[2.0e6]], dims=("case", "column"), attrs={"units": "N"},
    ...     coords={"case": ["quasi-permanent"], "column": ["A1"]})
    >>> found = make_schedule(
    ...     choose_packs(load, springs, rules=PackRules(natural_frequency=(3.4, 3.6))))
    >>> surge_cost(found, third_octaves(31.5, 125)).isel(column=0).round(1).values.tolist()
    [0.4, 0.6, 1.0, 1.6, 2.6, 4.3, 7.5]
    """
    where = "surge_cost"
    if (below is None) != (above is None):
        raise ValueError(f"{where}: below and above are given together, or neither is")
    if not bool((schedule.data["own_mass"] > 0).any()):
        raise ValueError(f"{where}: the packs have no own mass; nothing surges")
    mass = schedule.data["load"].drop_attrs().reset_coords(drop=True) / GRAVITY

    def level_change(mount: Mount) -> xr.DataArray:
        if below is None or above is None:
            return IdealIsolation(mount, mass).level_change(frequency)
        return BaseIsolation(mount, below=below, above=above).level_change(frequency)

    heavy, light = (level_change(schedule.mount(massless=m)) for m in (False, True))
    return stamp_change(
        heavy - light,
        long_name="level behind packs with own mass less that without",
        citations=schedule.mount().citations,
    )
