"""Factors of load combinations: psi by use, partial factors of strength and of equilibrium."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from groundborne._arguments import checked
from groundborne._checks import Numeric, known, within
from groundborne.citation import Citation
from groundborne.loads import PSI, ColumnLoads, Psi

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
        Share of the imposed load in the working load in place of the one that the loads name, or
        else of psi2, such as 0.1, common in checks of floors.
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
        """One psi factor of the imposed load: a number, or by category of column and floor.

        Parameters
        ----------
        loads : ColumnLoads
            May carry ``category``, whose factor then holds.
        name : str
            ``psi0``, ``psi1`` or ``psi2``.

        Raises
        ------
        ValueError
            A category of the table is unknown.
        """
        return loads.psi(name, table=self.psi, category=self.category)

    def citations(self, loads: ColumnLoads) -> tuple[Citation, ...]:
        """Sources of the factors that these loads need.

        Parameters
        ----------
        loads : ColumnLoads
            Decides which categories are used.
        """
        category = loads.of_imposed("category")
        used = {self.category} if category is None else set(np.unique(category.values).tolist())
        if loads.has_wind:
            used.add(self.wind)
        found = [self.psi[n].citation for n in sorted(used)]
        return tuple(dict.fromkeys((*found, *FACTOR_SOURCES)))
