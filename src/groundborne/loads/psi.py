"""Shares of imposed loads that act together, often, and nearly always: the psi factors by use."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import known, within
from groundborne.citation import Citation

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


def factors(
    category: xr.DataArray, name: str, table: Mapping[str, Psi], *, where: Callable[[Any], str]
) -> xr.DataArray:
    """One factor of each category of an array; `where` says which cell names an unknown one."""
    names, place = np.unique(category.values.astype(str), return_inverse=True)
    for at, used in enumerate(names.tolist()):
        if used not in table:
            first = np.argwhere(place.reshape(category.shape) == at)[0]
            known(where(first), "category", used, table)
    found = np.array([getattr(table[n], name) for n in names.tolist()])
    return category.copy(data=found[place].reshape(category.shape))
