"""The mass on the mounts, by column loads and by the model: compared, shown, and bounded."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, StudyError
from groundborne.isolation import CrossedMount, InService, Mount
from groundborne.study.note import Note

TOTAL_NOTED, COLUMN_NOTED = 0.05, 0.15
"""Differences of the two masses above which a note says so, in total and at a column [-]; common
practice: a natural frequency then moves by 2 and 7 %."""
TOTAL_REFUSED, COLUMN_REFUSED = 0.25, 0.50
"""Differences above which they are refused [-]; common practice: a natural frequency then moves by
12 and 22 %, half and nearly a whole third of an octave."""
REMEDY = (
    "Both must describe one building: check slabs, what rests on them (with partitions, facade and "
    "the share of imposed load) and what each column or wall carries of them against its loads"
)


@checked
def natural_frequency(mount: Mount, mass: Numeric) -> Numeric:
    """Natural frequency of a rigid mass on mounts on a rigid base [Hz].

    With their stiffness at low frequency; where that follows a law of frequency, with that at the
    natural frequency itself.
    """
    at = xr.DataArray(0.01)
    for _ in range(1 + _STEPS * _follows_a_law(mount)):
        at = xr.DataArray(np.sqrt(mount.dynamic_stiffness(at).real / mass) / (2 * np.pi))
    result: Numeric = at
    return result


_STEPS = 8
"""In which a natural frequency settles: each leaves less than a third of what it is off, since
stiffness rises by less than the half power of frequency (a loss factor of 1)."""


def _follows_a_law(mount: Mount) -> bool:
    held = mount.mount if isinstance(mount, CrossedMount) else mount
    return isinstance(held, InService) and held.reference_frequency is not None


@checked
def require_one_mass(where: str, *, carried: Numeric, moving: Numeric) -> None:
    """Refuse a model that moves another building than the column loads describe.

    Parameters
    ----------
    where : str
        For the message.
    carried : float or DataArray
        Mass on the mounts by the quasi-permanent loads [kg], with or without ``column``.
    moving : float or DataArray
        Mass above the mounts in the model [kg].

    Raises
    ------
    StudyError
        In total or at a column the larger is above the smaller by more than ``TOTAL_REFUSED`` or
        ``COLUMN_REFUSED``.
    LabelError
        Their columns differ.

    Examples
    --------
    >>> require_one_mass("here", carried=1688e3, moving=1425e3)
    >>> require_one_mass("here", carried=1688e3, moving=1425e2)
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: here: the mass above the mounts is 142 t in the structure and \
1,688 t by the column loads, which is more than 25 % apart. Both must describe one building: check \
slabs, what rests on them (with partitions, facade and the share of imposed load) and what each \
column or wall carries of them against its loads
    """
    loads, model = both_masses(carried, moving)
    total = _apart(_total(loads), _total(model))
    if bool((total > TOTAL_REFUSED).any()):
        raise StudyError(
            f"{where}: the mass above the mounts is {_tonnes(_total(model))} t in the structure "
            f"and {_tonnes(_total(loads))} t by the column loads, which is more than "
            f"{100 * TOTAL_REFUSED:g} % apart. {REMEDY}"
        )
    if "column" not in loads.dims:
        return
    worst = _over_others(_apart(loads, model))
    if bool((worst > COLUMN_REFUSED).any()):
        index = int(np.argmax(worst.values))
        name, at = worst["column"].values[index], {"column": index}
        raise StudyError(
            f"{where}: the mass above the mounts of column {str(name)!r} is "
            f"{_tonnes(model.isel(at))} t in the structure and {_tonnes(loads.isel(at))} t by its "
            f"loads, which is more than {100 * COLUMN_REFUSED:g} % apart. {REMEDY}"
        )


@checked
def mass_note(*, carried: Numeric, moving: Numeric) -> list[Note]:
    """A note with both masses where they differ by more than the noted share, else none.

    Parameters
    ----------
    carried, moving : float or DataArray
        As for :func:`require_one_mass`.

    Examples
    --------
    >>> mass_note(carried=1688e3, moving=1650e3)
    []
    >>> mass_note(carried=1688e3, moving=1425e3)[0].values["model_t"]
    [1425.0, 1425.0]
    """
    loads, model = both_masses(carried, moving)
    total = _apart(_total(loads), _total(model))
    noted = bool((total > TOTAL_NOTED).any())
    by_column = None
    if "column" in loads.dims:
        noted = noted or bool((_apart(loads, model) > COLUMN_NOTED).any())
        by_column = _ends(model / loads)
    if not noted:
        return []
    values = {
        "model_t": _ends(_total(model) / 1e3),
        "loads_t": _ends(_total(loads) / 1e3),
        "ratio": _ends(_total(model) / _total(loads)),
        "by_column": by_column,
        "remedy": REMEDY,
    }
    return [Note(kind="masses differ", values=values)]


@checked
def frequency_note(
    option: str, *, nominal: Numeric, in_model: Numeric, crossed: bool = False
) -> list[Note]:
    """Where mounts ride in the model, if not at the frequency their loads give them.

    Parameters
    ----------
    option : str
        Whose mounts.
    nominal, in_model : float or DataArray
        Natural frequency of the mounts alone, under the column loads and under the masses of the
        model [Hz].
    crossed : bool
        Whether anything crosses the isolation plane beside them.

    Examples
    --------
    >>> frequency_note("springs", nominal=4.5, in_model=4.9)[0].values["in_model"]
    [4.9, 4.9]
    """
    loads, model = both_masses(nominal, in_model)
    if bool((_apart(loads, model) < 0.01).all()):
        return []
    values = {
        "nominal": _ends(loads),
        "in_model": _ends(model),
        "by_column": "column" in model.dims,
        "crossed": crossed,
    }
    return [Note(kind="frequency of mounts", option=option, values=values)]


def both_masses(carried: Numeric, moving: Numeric) -> tuple[xr.DataArray, xr.DataArray]:
    """Both on the same columns."""
    for name, mass in (("carried", carried), ("moving", moving)):
        if np.iscomplexobj(mass):
            raise ValueError(f"masses: {name} holds complex numbers; masses are real [kg]")
    one, other = xr.DataArray(carried), xr.DataArray(moving)
    if ("column" in one.dims) != ("column" in other.dims):
        one, other = xr.broadcast(one, other)
    return one, other


def _total(mass: xr.DataArray) -> xr.DataArray:
    return mass.sum("column", skipna=False) if "column" in mass.dims else mass


def _over_others(apart: xr.DataArray) -> xr.DataArray:
    return apart.max([d for d in apart.dims if d != "column"])


def _apart(one: xr.DataArray, other: xr.DataArray) -> xr.DataArray:
    """By how much the larger is above the smaller [-]."""
    ratio = one / other
    apart: xr.DataArray = xr.where(ratio > 1, ratio, 1 / ratio) - 1
    return apart


def _tonnes(mass: xr.DataArray) -> str:
    low, high = (f"{end / 1e3:,.0f}" for end in _ends(mass))
    return low if low == high else f"{low} to {high}"


def _ends(value: Any) -> list[float]:
    """Smallest and largest."""
    flat = np.asarray(value, dtype=float)
    return [float(flat.min()), float(flat.max())]
