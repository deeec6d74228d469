"""Which of the rigid contacts under a floor to cut first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne.isolation.rooms.bridge import BridgedFloor, Contact
from groundborne.levels import decibel, energy


@checked
def rank_contacts(
    frequency: Frequency, *, floor: BridgedFloor, level: xr.DataArray | None = None
) -> xr.Dataset:
    """Contacts of a floor, worst first, with what each loses.

    Parameters
    ----------
    frequency : DataArray
        Nominal labels [Hz].
    floor : BridgedFloor
        With at least one contact.
    level : DataArray, optional
        Level of the slab below in the same bands [dB], which weights the bands; flat without it.

    Returns
    -------
    xarray.Dataset
        Dimension ``contact``, sorted by ``removing``; per band ``alone`` (rise of the level if only
        this contact were there) and ``left`` (fall if only this one were removed), over all bands
        ``losing`` and ``removing`` of the same [dB], summed as energies; ``count``.

    Raises
    ------
    ValueError
        No contact, or a result over more dimensions than frequency.

    Notes
    -----
    Removing the worst of several gains little while the second worst stays: read both columns.

    Examples
    --------
    >>> from groundborne.structure.floating import FloatingFloor
    >>> from groundborne.bands import third_octaves
    >>> layer = FloatingFloor(mass_per_area=240.0, stiffness_per_area=9.5e5, loss_factor=0.1)
    >>> floor = BridgedFloor(floor=layer, area=30.0, bending_stiffness=2.6e6, loss_factor=0.03,
    ...                      base_bending_stiffness=4.07e7, base_mass_per_area=600.0,
    ...                      contacts=(Contact(name="hose", count=4, stiffness=5e6),
    ...                                Contact(name="mortar", count=1, at_edge=True)))
    >>> table = rank_contacts(third_octaves(50, 100), floor=floor)
    >>> table["contact"].values.tolist(), table["losing"].round(1).values.tolist()
    (['mortar', 'hose'], [23.3, 10.0])
    """
    where = "rank_contacts"
    if not floor.contacts:
        raise ValueError(f"{where}: the floor has no contact to rank")
    weight = 1.0 if level is None else energy(level)

    def passed(contacts: Sequence[Contact]) -> xr.DataArray:
        change = energy(replace(floor, contacts=tuple(contacts)).level_change(frequency)) * weight
        if change.dims != ("frequency",):
            raise ValueError(
                f"{where}: the floor varies over {change.dims}; rank one floor at a time"
            )
        return change

    names = [contact.name for contact in floor.contacts]
    axis = xr.DataArray(names, dims="contact", coords={"contact": names})
    every, clean = passed(floor.contacts), passed(())
    alone = xr.concat([passed([c]) for c in floor.contacts], dim=axis)
    others = xr.concat(
        [passed([o for o in floor.contacts if o is not c]) for c in floor.contacts], dim=axis
    )
    table = xr.Dataset(
        {
            "alone": decibel(alone / clean),
            "left": decibel(every / others),
            "losing": decibel(alone.sum("frequency", skipna=False) / clean.sum(skipna=False)),
            "removing": decibel(every.sum(skipna=False) / others.sum("frequency", skipna=False)),
            "count": ("contact", [float(c.count) for c in floor.contacts]),
        }
    )
    for name in ("alone", "left", "losing", "removing"):
        table[name].attrs = {"units": "dB"}
    return table.sortby(["removing", "losing"], ascending=False)
