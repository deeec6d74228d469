"""Notes on mounts under the building: what passes beside them, and how they age."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne.levels import decibel, energy
from groundborne.study.note import Note
from groundborne.study.option import Option
from groundborne.study.part import Part


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


def _over_others(values: xr.DataArray) -> xr.DataArray:
    """Largest of columns and samples, by band."""
    return values.max([d for d in values.dims if d != "frequency"])
