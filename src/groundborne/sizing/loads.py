"""Column loads from a table of the structural engineer, and their combinations."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, not_negative, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.load_table import ColumnLoads

PSI_TABLE = Citation(
    key="en1990-psi",
    author="EN 1990",
    year="2002",
    title="Basis of structural design",
    locator="Table A1.1, categories A to G",
    mark="seen second-hand",
    status="transcribed",
)
PSI_MEMORY = Citation(
    key="en1990-psi-roof-wind",
    author="EN 1990",
    year="2002",
    title="Basis of structural design",
    locator="Table A1.1, roofs, snow, wind and temperature",
    mark="from memory",
)
PARTIAL_FACTORS = Citation(
    key="en1990-factors",
    author="EN 1990",
    year="2002",
    title="Basis of structural design",
    locator="Table A1.2(B): 1.35 and 1.5",
    mark="seen second-hand",
    status="transcribed",
)
COMBINATIONS = Citation(
    key="en1990-combinations",
    author="EN 1990",
    year="2002",
    title="Basis of structural design",
    locator="expressions 6.10, 6.14b and 6.16b; favourable permanent load 1.0",
    mark="from memory",
)
ACCIDENTAL = Citation(
    key="en1990-6.11b",
    author="EN 1990 and EN 1991-1-7",
    year="2006",
    title="accidental design situation",
    locator="expression 6.11b; psi1 or psi2 of the imposed load by National Annex",
    mark="seen",
)

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
    "accidental",
)
"""Cases of a combination; those of wind only where the table has wind."""

SERVICE_CASES = ("quasi-permanent", "service", "wind x+", "wind x-", "wind y+", "wind y-")
"""Cases in which the mounts stay in use: nothing may touch a stop."""


@checked
@dataclass(frozen=True, kw_only=True)
class Psi:
    """Combination, frequent and quasi-permanent factor of a variable load.

    Parameters
    ----------
    psi0, psi1, psi2 : float
        0 to 1.
    citation : Citation
        Where they stand.

    Examples
    --------
    >>> PSI["B"].values
    (0.7, 0.5, 0.3)
    """

    psi0: float
    psi1: float
    psi2: float
    citation: Citation = PSI_TABLE

    def __post_init__(self) -> None:
        for name in ("psi0", "psi1", "psi2"):
            within("Psi", name, getattr(self, name), 0.0, 1.0, "")

    @property
    def values(self) -> tuple[float, float, float]:
        """All three."""
        return self.psi0, self.psi1, self.psi2


PSI: dict[str, Psi] = {
    "A": Psi(psi0=0.7, psi1=0.5, psi2=0.3),
    "B": Psi(psi0=0.7, psi1=0.5, psi2=0.3),
    "C": Psi(psi0=0.7, psi1=0.7, psi2=0.6),
    "D": Psi(psi0=0.7, psi1=0.7, psi2=0.6),
    "E": Psi(psi0=1.0, psi1=0.9, psi2=0.8),
    "F": Psi(psi0=0.7, psi1=0.7, psi2=0.6),
    "G": Psi(psi0=0.7, psi1=0.5, psi2=0.3),
    "H": Psi(psi0=0.0, psi1=0.0, psi2=0.0, citation=PSI_MEMORY),
    "snow, low": Psi(psi0=0.5, psi1=0.2, psi2=0.0, citation=PSI_MEMORY),
    "snow, high": Psi(psi0=0.7, psi1=0.5, psi2=0.2, citation=PSI_MEMORY),
    "wind": Psi(psi0=0.6, psi1=0.2, psi2=0.0, citation=PSI_MEMORY),
    "temperature": Psi(psi0=0.6, psi1=0.5, psi2=0.0, citation=PSI_MEMORY),
}
"""Recommended values: A dwellings, B offices, C congregation, D shops, E storage, F and G traffic,
H roofs. National Annexes differ."""


@checked
def psi_factors(name: str) -> Psi:
    """Look up the factors of a category of use, ``wind`` or ``snow``.

    Parameters
    ----------
    name : str
        As in :data:`PSI`.

    Returns
    -------
    Psi
        The recommended values with their mark.

    Raises
    ------
    ValueError
        The name is unknown.

    Examples
    --------
    >>> psi_factors("E").psi2
    0.8
    """
    return PSI[known("psi_factors", "name", name, PSI)]


def _published() -> Mapping[str, Psi]:
    return dict(PSI)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Factors:
    """Factors of the load combinations; the defaults are the recommended ones of EN 1990.

    Parameters
    ----------
    category : str
        Category of the imposed load where the table does not say it column by column.
    permanent, permanent_favourable, variable : float
        Partial factors: 1.35 and 1.5 [seen second-hand], 1.0 where favourable [from memory].
    wind : str
        Which entry of `psi` holds for wind.
    accidental : str
        ``psi1`` or ``psi2`` of the imposed load in the accidental case: a choice of the National
        Annex. ``psi1`` gives the larger load.
    quasi_permanent : float, optional
        Share of the imposed load in the working load in place of psi2, such as 0.1, common in
        checks of floors.
    psi : mapping of str to Psi
        By category.

    Raises
    ------
    ValueError
        A factor out of bounds, or an unknown category.

    Examples
    --------
    >>> Factors().permanent, Factors().variable
    (1.35, 1.5)
    >>> Factors(category="K")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    ValueError: Factors: category is 'K'; known are 'A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', ...
    """

    category: str = "A"
    permanent: float = 1.35
    permanent_favourable: float = 1.0
    variable: float = 1.5
    wind: str = "wind"
    accidental: Literal["psi1", "psi2"] = "psi1"
    quasi_permanent: float | None = None
    psi: Mapping[str, Psi] = field(default_factory=_published)

    def __post_init__(self) -> None:
        within("Factors", "permanent", self.permanent, 1.0, 2.0, "")
        within("Factors", "permanent_favourable", self.permanent_favourable, 0.5, 1.0, "")
        within("Factors", "variable", self.variable, 1.0, 2.5, "")
        known("Factors", "category", self.category, self.psi)
        known("Factors", "wind", self.wind, self.psi)
        known("Factors", "accidental", self.accidental, ("psi1", "psi2"))
        if self.quasi_permanent is not None:
            within("Factors", "quasi_permanent", self.quasi_permanent, 0.0, 1.0, "")

    def imposed(self, loads: ColumnLoads, name: str) -> Numeric:
        """One psi factor of the imposed load: a number, or on ``column`` by category.

        Parameters
        ----------
        loads : ColumnLoads
            May carry ``category`` for each column.
        name : str
            ``psi0``, ``psi1`` or ``psi2``.

        Raises
        ------
        ValueError
            A category of the table is unknown.
        """
        known("Factors.imposed", "name", name, ("psi0", "psi1", "psi2"))
        if "category" not in loads.data:
            return float(getattr(self.psi[self.category], name))
        names, place = np.unique(loads.data["category"].values, return_inverse=True)
        for used in names.tolist():
            known(f"{loads.file or 'loads'}, column 'category'", "category", used, self.psi)
        table = np.array([getattr(self.psi[n], name) for n in names.tolist()])
        return xr.DataArray(table[place], coords={"column": loads.data["column"].values})

    def citations(self, loads: ColumnLoads) -> tuple[Citation, ...]:
        """Sources of the factors that these loads need.

        Parameters
        ----------
        loads : ColumnLoads
            Decides which categories are used.
        """
        used = {self.category}
        if "category" in loads.data:
            used = set(np.unique(loads.data["category"].values).tolist())
        if loads.has_wind:
            used.add(self.wind)
        found = [self.psi[n].citation for n in sorted(used)]
        return tuple(dict.fromkeys((*found, PARTIAL_FACTORS, COMBINATIONS, ACCIDENTAL)))


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
        Load [N], downwards, dims (case, column); cases as in :data:`CASES`. The attributes hold
        revision, sources and notes (a JSON list).

    Raises
    ------
    ValueError
        Names or positions are doubled, or a category is unknown.

    Notes
    -----
    With G permanent, Q imposed, W the larger wind of the two directions, A accidental:

    - least: ``γG,inf G``
    - quasi-permanent: ``G + ψ2 Q``; it sets deflection and natural frequency
    - service: ``G + Q + ψ0,w W``
    - wind ±: ``G ± Wi``, and ``ψ0 Q`` where the wind presses
    - ultimate: the larger of ``γG G + γQ (Q + ψ0,w W)`` and ``γG G + γQ (W + ψ0 Q)``
    - uplift: ``γG,inf G - γQ W``; below zero the mounts need a tie
    - accidental: ``G + A + ψ1 Q`` (or ψ2)

    A table of magnitudes gives the two ends of the range at each column, not one state of the
    building; a table with signs gives both directions of the wind.

    References
    ----------
    EN 1990:2002, expressions 6.10, 6.14b, 6.16b [from memory], 6.11b [seen]; factors as marked.

    Examples
    --------
    >>> import xarray as xr
    >>> from groundborne.sizing.load_table import ColumnLoads
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
    permanent, imposed = loads.data["permanent"], loads.data["imposed"]
    psi0 = factors.imposed(loads, "psi0")
    working = factors.quasi_permanent
    least = factors.permanent_favourable * permanent
    found: dict[str, xr.DataArray] = {
        "least": least,
        "quasi-permanent": permanent
        + (factors.imposed(loads, "psi2") if working is None else working) * imposed,
    }
    wind = xr.zeros_like(permanent)
    notes = []
    for axis in ("x", "y"):
        if f"wind_{axis}" not in loads.data:
            notes.append(f"the table holds no wind in {axis}; its cases are left out")
            continue
        along = loads.data[f"wind_{axis}"]
        wind = xr.where(np.abs(along) > wind, np.abs(along), wind)
        for sign, word in ((1.0, "+"), (-1.0, "-")):
            push = sign * along
            with_imposed = xr.where(push > 0, psi0 * imposed, 0.0)
            found[f"wind {axis}{word}"] = permanent + push + with_imposed
    psi_wind = factors.psi[factors.wind].psi0
    found["service"] = permanent + imposed + psi_wind * wind
    found["ultimate"] = factors.permanent * permanent + factors.variable * np.maximum(
        imposed + psi_wind * wind, wind + psi0 * imposed
    )
    if loads.has_wind:
        found["uplift"] = least - factors.variable * wind
    accident: Any = 0.0
    if "accidental" in loads.data:
        accident = loads.data["accidental"]
    else:
        notes.append("the table holds no accidental load; the accidental case has none")
    found["accidental"] = (
        permanent + accident + factors.imposed(loads, factors.accidental) * (imposed)
    )
    names = [case for case in CASES if case in found]
    load = xr.concat([found[n] for n in names], dim="case", coords="minimal", compat="override")
    load = load.reset_coords(drop=True).assign_coords(case=names).transpose("case", "column")
    load.name = "load"
    load.attrs = {
        "units": "N",
        "long_name": "column load",
        "revision": loads.revision,
        "citations": citation_texts(factors.citations(loads)),
        "notes": json.dumps(notes, ensure_ascii=False),
    }
    return load


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
