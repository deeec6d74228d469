"""Factors of load combinations: psi by use, partial factors of strength and of equilibrium."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, within
from groundborne.citation import Citation
from groundborne.sizing.loads.table import ColumnLoads

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
EQUILIBRIUM_FACTORS = Citation(
    key="en1990-equilibrium-factors",
    author="EN 1990",
    year="2002",
    title="Basis of structural design",
    locator="Table A1.2(A): 1.10, 0.90 and 1.5; Table A1.2(B): 1.0 where favourable",
    mark="seen second-hand",
    status="transcribed",
)
COMBINATIONS = Citation(
    key="en1990-combinations",
    author="EN 1990",
    year="2002",
    title="Basis of structural design",
    locator="expressions 6.10, 6.14b and 6.16b",
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
FACTOR_SOURCES = (PARTIAL_FACTORS, EQUILIBRIUM_FACTORS, COMBINATIONS, ACCIDENTAL)


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
        Partial factors of strength, Table A1.2(B): 1.35, 1.0 where favourable, 1.5
        [seen second-hand]. A variable load that is favourable is left out.
    equilibrium_permanent, equilibrium_favourable, equilibrium_variable : float
        Partial factors of static equilibrium, Table A1.2(A): 1.10, 0.90 where favourable, 1.5
        [seen second-hand].
    least : float
        Share of the permanent load in the case ``least``: what the mounts carry while the building
        is empty. It moves no other case.
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
    >>> Factors().permanent, Factors().variable, Factors().equilibrium_favourable
    (1.35, 1.5, 0.9)
    >>> Factors(category="K")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    ValueError: Factors: category is 'K'; known are 'A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', ...
    """

    category: str = "A"
    permanent: float = 1.35
    permanent_favourable: float = 1.0
    variable: float = 1.5
    equilibrium_permanent: float = 1.10
    equilibrium_favourable: float = 0.90
    equilibrium_variable: float = 1.5
    least: float = 1.0
    wind: str = "wind"
    accidental: Literal["psi1", "psi2"] = "psi1"
    quasi_permanent: float | None = None
    psi: Mapping[str, Psi] = field(default_factory=_published)

    def __post_init__(self) -> None:
        for name in ("permanent", "equilibrium_permanent"):
            within("Factors", name, getattr(self, name), 1.0, 2.0, "")
        for name in ("permanent_favourable", "equilibrium_favourable", "least"):
            within("Factors", name, getattr(self, name), 0.5, 1.0, "")
        for name in ("variable", "equilibrium_variable"):
            within("Factors", name, getattr(self, name), 1.0, 2.5, "")
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
        return tuple(dict.fromkeys((*found, *FACTOR_SOURCES)))
