"""Notes on mounts under the building: what passes beside them, and how they age."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne.isolation import DistributedMount, InService, LinearMount, coil_loss_statement
from groundborne.levels import decibel, energy
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.option_checks import RUBBER
from groundborne.study.part import Part
from groundborne.study.room_rating import STATE
from groundborne.study.service import BY_STATE, ages, described

USUAL_SERVICE = 1.15 * 1.05 * 1.15
"""Stiffness of rubber at small strain, in a basement and after fifty years over that as tested [-],
from memory: the factor that :class:`~groundborne.isolation.InService` shows."""


def bypass_note(
    option: Option, part: Part, change: xr.DataArray, by_mounts: xr.DataArray
) -> list[Note]:
    """Where what passes beside the mounts of an option decides, and what it costs.

    Parameters
    ----------
    option : Option
        On mounts.
    part : Part
        Of the building, with the plane they stand in.
    change, by_mounts : DataArray
        Level change of base isolation with the ways beside the mounts, and by mounts and crossings
        alone [dB].
    """
    assert part.plane is not None
    assert option.base is not None
    bypass = part.plane.bypass
    paths = bypass.of(option.base)
    if not paths:
        return [Note(kind="no bypass", option=option.name, values={"reason": bypass.reason})]
    lost = _over_others(change - by_mounts)
    passed = xr.DataArray(bypass.passed(option.base))
    governs = _over_others(passed / energy(by_mounts)) > 1
    worst = float(lost.idxmax("frequency"))

    def gain(of: xr.DataArray) -> float:
        return float(-of.sel(frequency=worst).max())

    values = {
        "names": [path.name for path in paths],
        "sources": [f"{c.author} {c.year}".strip() + f" [{c.mark}]" for c in
                    bypass.citations(option.base)],
        "reduction": float(np.max(np.asarray(-decibel(passed)))),
        "bands": change["frequency"].values[governs.values].tolist(),
        "band": worst,
        "alone": gain(by_mounts),
        "beside": gain(change),
    }  # fmt: skip
    return [
        Note(
            kind="bypass",
            option=option.name,
            consequence_db=float(lost.max()),
            values=values,
        )
    ]


def service_notes(option: Option, part: Part, result: xr.Dataset) -> list[Note]:
    """How stiff mounts are in the building, and what their age costs.

    Parameters
    ----------
    option : Option
        On mounts.
    part : Part
        Of the building that they stand under.
    result : Dataset
        Rated.
    """
    notes = []
    mount = option.base
    bare = described(mount)
    if isinstance(bare, (LinearMount, DistributedMount)):
        rubber = bool(np.max(bare.dynamic_to_static) > RUBBER)
        if rubber and bare is mount:
            lost = 20 * float(np.log10(USUAL_SERVICE))
            values = {"factor": USUAL_SERVICE, "lost": lost}
            notes.append(
                Note(
                    kind="stiffness as tested",
                    option=option.name,
                    consequence_db=lost,
                    values=values,
                )
            )
        if not rubber and (said := coil_loss_statement(loss_factor=bare.loss_factor)):
            notes.append(Note(kind="loss of coils", option=option.name, values={"text": said}))
    if isinstance(mount, InService):
        notes.append(_in_service(mount, option, part, result))
    return notes


def _in_service(mount: InService, option: Option, part: Part, result: xr.Dataset) -> Note:
    factor = np.asarray(mount.factor, dtype=float)
    values = {
        "factor": [float(factor.min()), float(factor.max())],
        "law": mount.reference_frequency is not None,
        "ages": ages(mount),
    }
    if not ages(mount):
        return Note(kind="mounts in service", option=option.name, values=values)
    change = result[f"base_change{BY_STATE}"].sel(option=option.name)
    change = change.sel(part=part.name) if "part" in change.dims else change
    new, old = (_over_others(change.isel({STATE: at}, drop=True)) for at in (0, 1))
    lost = old - new
    margin = result[f"margin{BY_STATE}"].sel(option=option.name, room=list(part.rooms))
    margin = margin.where(result["applies"].sel(room=list(part.rooms)), 0.0)
    drop = margin.isel({STATE: 0}, drop=True) - margin.isel({STATE: 1}, drop=True)
    drop = drop.max([d for d in drop.dims if d not in ("room", "criterion")])
    worst = drop.isel(drop.argmax(["room", "criterion"]))
    values |= {
        "band": float(lost.idxmax("frequency")),
        "lost": float(lost.max()),
        "room": str(worst["room"].item()),
        "criterion": str(worst["criterion"].item()),
        "drop": float(worst),
        "better": int((drop < -0.05).sum()),
        "state": str(result["state_of_levels"].sel(option=option.name).item()),
    }
    return Note(
        kind="mounts in service",
        option=option.name,
        consequence_db=float(lost.max()),
        values=values,
    )


def _over_others(values: xr.DataArray) -> xr.DataArray:
    """Largest of columns and samples, by band."""
    return values.max([d for d in values.dims if d != "frequency"])
