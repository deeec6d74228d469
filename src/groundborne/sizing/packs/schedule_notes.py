"""What a reader of a schedule has to know about its columns."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from groundborne.sizing.loads.cases import wind_doubts
from groundborne.sizing.loads.hold_down import NO_TIE, TIE_CAUTION, hold_down
from groundborne.sizing.packs.choice import Packs


def _unloaded(packs: Packs, data: xr.Dataset) -> list[str]:
    """Sentences on columns that lift, or unload below what their pack needs."""
    lowest = data["lowest_load"]
    short = (lowest < data["least_load"] * (1 - 1e-9)) & (lowest >= 0)
    found = [
        f"{name}: {low / 1e3:.0f} kN in the case {case!r}, below the {need / 1e3:.0f} kN that its "
        "pack needs"
        for name, low, case, need in zip(
            *(data[n].values[short.values].tolist() for n in (
                "column", "lowest_load", "lowest_case", "least_load")), strict=True)
    ]  # fmt: skip
    lifting, held = np.flatnonzero(data["tie_force"].values > 0).tolist(), hold_down(packs.load)
    for at in lifting:
        one = data.isel(column=at)
        force = f"{float(one['tie_force']) / 1e3:.0f} kN"
        pull = -float(held["lowest_in_service"][at]) / 1e3
        if pull > 0:
            found.append(
                f"{one['column'].item()}: lifts in service, by {pull:.0f} kN in the case "
                f"{held['service_case'][at].item()!r} (at most {force}, in the case "
                f"{one['lowest_case'].item()!r}); {NO_TIE}"
            )
            continue
        tied = str(one["column"].item()) in packs.rules.tied
        tie = f"its tie takes {force}" if tied else f"a tie for {force} is needed"
        found.append(
            f"{one['column'].item()}: lifts in the case {one['lowest_case'].item()!r}; {tie}, and "
            "must not touch in service"
        )
    return [*found, TIE_CAUTION] if lifting else found


def _notes(packs: Packs, data: xr.Dataset, years: float) -> list[str]:
    notes = list(packs.why.values())
    notes += [f"a pack that was held does not stay: {text}" for text in packs.changed.values()]
    said = wind_doubts(packs.load)  # stands among the cautions
    notes += [n for n in json.loads(packs.load.attrs.get("notes", "[]")) if n not in said]
    names = data["column"].values

    def listed(bad: xr.DataArray) -> str:
        return ", ".join(str(n) for n in names[bad.values])

    notes += _unloaded(packs, data)
    # The middle of a pack that is the same turned round holds one part; two types cannot share it.
    odd = (packs.count % 2).sum("component") >= 2
    uneven = [
        f"{listed(odd & (data['pack'] == text))} ({text})"
        for text in dict.fromkeys(data["pack"].values[odd.values].tolist())
    ]
    if uneven:
        notes.append(
            f"{'; '.join(uneven)}: cannot be laid out symmetrically, with odd numbers of two "
            "types; the parts push beside the middle of the pack unless its layout balances them, "
            "and tilt of a pack is not in it"
        )
    solid = data["least_residual_travel"] < 0
    if bool(solid.any()):
        notes.append(f"{listed(solid)}: the pack goes solid in a case")
    soft = (data["least_residual_travel_soft"] < 0) & ~solid
    if bool(soft.any()):
        notes.append(f"{listed(soft)}: solid in a case where the parts are as soft as they may be")
    asked = packs.rules.travel_kept
    short = (data["least_residual_travel_soft"] < asked * (1 - 1e-9)) & ~soft & ~solid
    if bool(short.any()):
        notes.append(
            f"{listed(short)}: less than the {asked * 1e3:g} mm of travel asked for is left in a "
            "case where the parts are as soft as they may be"
        )
    if "surge_frequency" in data:
        low, high = (f"{float(f):.0f}" for f in (
            data["surge_frequency"].min(), data["surge_frequency"].max()))  # fmt: skip
        between = low if low == high else f"{low} to {high}"
        notes.append(
            f"the parts surge at {between} Hz, and let more vibration through from about half of "
            "that on; their own mass is in Schedule.mount, and surge_cost says what it costs"
        )
    closed = data["fail_safe_gap"] > data["fail_safe_gap_most"]
    if bool(closed.any()):
        notes.append(
            f"{listed(closed)}: service movement, creep over {years:g} years and margin need a "
            "larger fail-safe gap than there is travel"
        )
    height = packs.components.data["height"]
    used = packs.count > 0
    apart = xr.where(used, height, -np.inf).max("component") - xr.where(used, height, np.inf).min(
        "component"
    )
    if bool((apart > 1e-3).any()):
        notes.append(
            f"{listed(apart > 1e-3)}: parts of different height in one pack, up to "
            f"{float(apart.max()) * 1e3:.0f} mm to be made up by packers"
        )
    bare = packs.components.data["certificate"] == "" if "certificate" in (
        packs.components.data
    ) else xr.ones_like(height, dtype=bool)  # fmt: skip
    missing = height["component"].values[(bare & used.any("column")).values].tolist()
    if missing:
        notes.append(f"no test certificate is named for {', '.join(map(str, missing))}")
    return notes
