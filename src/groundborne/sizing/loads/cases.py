"""Column loads combined into the cases that mounts see."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive
from groundborne.citation import citation_texts, warn_validity
from groundborne.loads import ColumnLoads
from groundborne.sizing.loads.factors import Factors

CASES = (
    "least",
    "quasi-permanent",
    "service",
    "wind x+",
    "wind x-",
    "wind y+",
    "wind y-",
    "ultimate",
    "uplift",
    "equilibrium x+",
    "equilibrium x-",
    "equilibrium y+",
    "equilibrium y-",
    "accidental",
)
"""Cases of a combination; those of wind only where the table has wind. Further directions of the
table have a case ``wind NAME`` and a case ``equilibrium NAME`` behind those of the axes."""

CAUTIONS = (
    "Loads, load paths and robustness are the structural engineer's; these cases show mounts only.",
    "Local codes and licensed practice govern; the factors are recommendations; Annexes differ.",
    "No value here is a certificate: tests of the parts supplied must show stiffness and travel.",
    "Stops, ties against uplift and replacement of packs are to be designed with the structure.",
)
"""Stand with combined loads and in every schedule."""

SERVICE_CASES = ("quasi-permanent", "service", "wind x+", "wind x-", "wind y+", "wind y-")
"""Cases in which the mounts stay in use: nothing may touch a stop. See :func:`in_service`."""


def in_service(cases: Iterable[Any]) -> np.ndarray[Any, Any]:
    """Which cases are of service: those of :data:`SERVICE_CASES` and wind from anywhere.

    Examples
    --------
    >>> in_service(["least", "service", "wind ne", "ultimate"]).tolist()
    [False, True, True, False]
    """
    names = [str(c) for c in cases]
    return np.array([n in SERVICE_CASES or n.startswith("wind ") for n in names], dtype=bool)


def one_way(cases: Iterable[Any]) -> list[str]:
    """Directions of the wind that are taken one way only, one sentence each.

    A direction whose name says that its opposite is there as well (``ne`` and ``sw``, ``45`` and
    ``225``) needs none.

    Examples
    --------
    >>> one_way(["wind x+", "wind x-", "wind ne", "wind 45", "wind 225"])  # doctest: +ELLIPSIS
    ['wind ne is taken as it stands, not reversed; give its opposite as a direction of its own ...']
    """
    names = [str(c).removeprefix("wind ") for c in cases if str(c).startswith("wind ")]
    there = {_opposite(n) for n in names if _opposite(n) != n}
    return [
        f"wind {n} is taken as it stands, not reversed; give its opposite as a direction of its "
        "own (pressures from the other side differ), or columns that it lifts are not seen"
        for n in names
        if n not in there
    ]


def wind_doubts(load: xr.DataArray) -> list[str]:
    """What is doubtful about the wind of combined loads, one sentence each.

    As :func:`combine` found it; of loads put together by hand what :func:`one_way` says.
    """
    kept = load.attrs.get("wind_doubts")
    if kept is None:
        return one_way(load["case"].values)
    found: list[str] = json.loads(kept)
    return found


def _unsigned(loads: ColumnLoads) -> list[str]:
    """Winds taken one way that press a building down, one sentence each.

    What a wind presses and lifts balances over a building but for pressure on the roof, which
    lifts; a table that presses more than it lifts by half of all has lost its signs.
    """
    found = []
    for name, push in loads.winds.items():
        down, gross = float(push.sum()), float(np.abs(push).sum())
        if name[-1] in "+-" or push.size < _PLAN or down <= _PRESSED * gross:
            continue
        found.append(
            f"wind {name} presses the columns by {0.5 * (gross + down) / 1e3:.0f} kN in all and "
            f"lifts them by {0.5 * (gross - down) / 1e3:.0f} kN, and over a building the two about "
            "balance; magnitudes without signs hide every column that lifts: give what lifts a "
            "minus"
        )
    return found


_PLAN = 3
"""Columns from which what a wind presses and lifts can be held against each other."""
_PRESSED = 0.5
"""Share of what a wind presses and lifts that its sum may be."""


def _opposite(name: str) -> str:
    """Name of the wind from the other side; the same name where it does not tell."""
    if name.isdigit():
        return str((int(name) + 180) % 360)
    return name.translate(_TURNED)


_TURNED = str.maketrans("+-nsew", "-+snwe")


@checked
def combine(loads: ColumnLoads, *, factors: Factors | None = None) -> xr.DataArray:
    """Combine the loads of every column into the cases its mounts will see.

    Parameters
    ----------
    loads : ColumnLoads
        Characteristic loads.
    factors : Factors, optional
        The recommended ones where not given.

    Returns
    -------
    DataArray
        Load [N], downwards, dims (case, column) and any others of the loads, which packs are not
        chosen for; cases as in :data:`CASES`. The attributes hold
        revision, sources and notes (a JSON list), first of them each direction of the wind that
        is taken one way only, or that presses the columns and lifts none to balance it.

    Raises
    ------
    ValueError
        Names or positions are doubled, the loads have no revision, or a category is unknown.

    Warns
    -----
    ValidityWarning
        A direction of the wind other than x and y is there without its opposite, or presses the
        columns of a building far more than it lifts them.

    Notes
    -----
    With G permanent, Q imposed, Wi what the wind from one direction adds, W the most that any
    direction presses or lifts, A accidental:

    - least: ``G`` times its own share
    - quasi-permanent: ``G + ψ2 Q``, or the share of Q that the factors or the loads name in place
      of ψ2; it sets deflection and natural frequency
    - service: ``G + Q + ψ0,w W``
    - wind, each direction: ``G + Wi``, and ``ψ0 Q`` where the wind presses
    - ultimate: the larger of ``γG G + γQ (Q + ψ0,w W)`` and ``γG G + γQ (W + ψ0 Q)``
    - uplift: ``γG,inf G - γQ W``, factors of strength
    - equilibrium, each direction: ``0.90 G + 1.5 Wi`` where the wind lifts, and
      ``1.10 G + 1.5 (Wi + ψ0 Q)`` where it presses, factors of equilibrium
    - accidental: ``G + A + ψ1 Q`` (or ψ2), without Q where the accident lifts

    Below 0 a column lifts, see :func:`hold_down`. x and y are taken both ways, so that magnitudes
    give the two ends of the range at each column there, not one state of the building, and signs
    each direction of the wind. Any other direction is taken as it stands, for pressures from the
    other side differ: it needs signs, above 0 where it presses a column and below where it lifts
    one, and its opposite as a direction of its own. Magnitudes would hide all that lifts.

    References
    ----------
    EN 1990:2002, expressions 6.10, 6.14b, 6.16b [from memory], 6.11b [seen]; Tables A1.2(A) and
    A1.2(B) [seen second-hand].

    Examples
    --------
    >>> import xarray as xr
    >>> from groundborne.loads import ColumnLoads
    >>> data = xr.Dataset(
    ...     {"x": ("column", [0.0]), "y": ("column", [0.0]), "permanent": ("column", [7881e3]),
    ...      "imposed": ("column", [778e3])}, coords={"column": ["B2"]})
    >>> load = combine(ColumnLoads(data=data, revision="P1"))
    >>> float(load.sel(case="quasi-permanent", column="B2")) / 1e3
    8114.4
    """
    factors = Factors() if factors is None else factors
    if loads.doubles:
        raise ValueError(f"combine: {loads.doubles[0]}; every column needs one row")
    if not loads.revision:
        raise ValueError(
            f"{loads.file or 'combine'}: the loads are of no revision, and packs are bought for "
            "one; begin the table with '# revision: P1', or name it: loads.of_revision('P1')"
        )
    permanent, imposed = loads.data["permanent"], loads.data["imposed"]
    beside = loads.imposed(factors.imposed(loads, "psi0"))
    working: Numeric | None = factors.quasi_permanent
    if working is None:
        working = loads.moving_share(table=factors.psi, category=factors.category)
    found: dict[str, xr.DataArray] = {
        "least": factors.least * permanent,
        "quasi-permanent": permanent + loads.imposed(working),
    }
    press: Any = xr.zeros_like(permanent)
    lift: Any = press
    doubts = _unsigned(loads) + one_way(f"wind {name}" for name in loads.winds)
    if doubts:
        warn_validity(f"{loads.file or 'combine'}: {'; '.join(doubts)}")
    axes = [axis for axis in ("x", "y") if f"wind_{axis}" not in loads.data]
    named = any(name[-1] not in "+-" for name in loads.winds)  # stands in for the axes
    notes = doubts + [
        f"the table holds no wind in {axis}; its cases are left out" for axis in axes if not named
    ]
    balance = {}
    for name, push in loads.winds.items():
        press, lift = np.maximum(press, push), np.maximum(lift, -push)
        with_imposed = xr.where(push > 0, beside, 0.0)
        found[f"wind {name}"] = permanent + push + with_imposed
        weighed = xr.where(push > 0, factors.equilibrium_permanent, factors.equilibrium_favourable)
        balance[f"equilibrium {name}"] = weighed * permanent + factors.equilibrium_variable * (
            push + with_imposed
        )
    psi_wind = factors.psi[factors.wind].psi0
    found["service"] = permanent + imposed + psi_wind * press
    found["ultimate"] = factors.permanent * permanent + factors.variable * np.maximum(
        imposed + psi_wind * press, press + beside
    )
    if loads.has_wind:
        found["uplift"] = factors.permanent_favourable * permanent - factors.variable * lift
    found |= balance
    accident: Any = xr.zeros_like(permanent)
    if "accidental" in loads.data:
        accident = loads.data["accidental"]
    else:
        notes.append("the table holds no accidental load; the accidental case has none")
    meanwhile = loads.imposed(factors.imposed(loads, factors.accidental))
    found["accidental"] = permanent + accident + xr.where(accident < 0, 0.0, meanwhile)
    names = _ordered(found)
    load = xr.concat([found[n] for n in names], dim="case", coords="minimal", compat="override")
    load = load.reset_coords(drop=True).assign_coords(case=names).transpose("case", "column", ...)
    load.name = "load"
    load.attrs = {
        "units": "N",
        "long_name": "column load",
        "revision": loads.revision,
        "citations": citation_texts(factors.citations(loads)),
        "notes": json.dumps(notes, ensure_ascii=False),
        "wind_doubts": json.dumps(doubts, ensure_ascii=False),
        "cautions": json.dumps(CAUTIONS, ensure_ascii=False),
    }
    return load


def _ordered(found: Iterable[str]) -> list[str]:
    """Cases as in :data:`CASES`; those of further directions behind the last of their kind."""
    kinds = {case: at for at, case in enumerate(CASES)}
    behind = {kind: kinds[f"{kind} y-"] + 0.5 for kind in ("wind", "equilibrium")}
    return sorted(found, key=lambda c: (kinds[c] if c in kinds else behind[c.partition(" ")[0]], c))


def check_load(where: str, load: xr.DataArray, *, need: str = "quasi-permanent") -> xr.DataArray:
    """Refuse anything that is not a load on (case, column) with the case that is needed.

    Parameters
    ----------
    where : str
        Who asks.
    load : DataArray
        Result of :func:`combine`.
    need : str
        Case that must be there and above 0.
    """
    if set(load.dims) != {"case", "column"} or not {"case", "column"} <= set(load.coords):
        raise ValueError(
            f"{where}: load has the dims {load.dims}; ('case', 'column') with labels are needed"
        )
    if load.attrs.get("units") != "N":
        raise ValueError(
            f"{where}: load is in {load.attrs.get('units')!r}; newtons are needed, as combine gives"
        )
    known(where, "case", need, [str(c) for c in load["case"].values])
    for dim in ("case", "column"):
        names, count = np.unique(load[dim].values, return_counts=True)
        if (count > 1).any():
            raise ValueError(f"{where}: {dim} {str(names[count > 1][0])!r} is there twice")
    positive(where, f"load in the case {need!r}", load.sel(case=need), "N")
    not_negative(where, "magnitude of load", np.abs(load), "N")
    return load.transpose("case", "column")
