"""How a helical spring is coiled, and how far its curvature raises the stress."""

from __future__ import annotations

from dataclasses import dataclass

from groundborne._arguments import checked
from groundborne._checks import Numeric, within
from groundborne.citation import Citation

COIL = Citation(
    key="en13906-1-coil",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="clauses 9.4 to 9.10: rate, stress, stress correction, solid length, least gap (hot)",
    mark="seen second-hand",
    status="transcribed",
)
COLD_COIL = Citation(
    key="en13906-1-cold",
    author="EN 13906-1",
    year="2013",
    title="Helical compression springs",
    locator="cold-coiled springs with ground ends: coils, solid length, least gap",
    mark="seen second-hand",
    status="verified",
)
WAHL = Citation(
    key="bhandari-springs",
    author="Bhandari",
    title="Design of Machine Elements",
    locator="chapter 10: rate of a coil and Wahl factor, worked examples as rerun in public code",
    mark="seen second-hand",
    status="verified",
)


@checked
@dataclass(frozen=True, kw_only=True)
class Coiling:
    """What depends on how the bar was coiled.

    Parameters
    ----------
    name : str
        For reports.
    dead_coils : float
        Total less active coils [-].
    ground_off : float
        Coils that ground ends take off the solid length [-].
    gap_wire, gap_diameter, gap_ratio : float
        Least sum of gaps per active coil, as shares of d, D and D²/d [-].
    dynamic_gap : float
        Factor on that under alternating load [-].
    citation : Citation
        Source.
    cold : bool
        Coiled cold from drawn wire: limits of stress then hang on the wire's tensile strength.

    Examples
    --------
    >>> HOT_COILED.dead_coils, COLD_COILED.dead_coils
    (1.5, 2.0)
    """

    name: str
    dead_coils: float
    ground_off: float
    gap_wire: float
    gap_diameter: float
    gap_ratio: float
    dynamic_gap: float
    citation: Citation
    cold: bool = False


HOT_COILED = Coiling(
    name="hot coiled",
    dead_coils=1.5,
    ground_off=0.3,
    gap_wire=0.02,
    gap_diameter=0.02,
    gap_ratio=0.0,
    dynamic_gap=2.0,
    citation=COIL,
)
"""Bars coiled hot, ends ground: the springs under buildings."""
COLD_COILED = Coiling(
    name="cold coiled",
    dead_coils=2.0,
    ground_off=0.0,
    gap_wire=0.1,
    gap_diameter=0.0,
    gap_ratio=0.0015,
    dynamic_gap=1.5,
    citation=COLD_COIL,
    cold=True,
)
"""Wire coiled cold, ends ground."""


@checked
def curvature_factor(*, spring_index: Numeric) -> Numeric:
    """Stress correction of EN 13906-1 for the curvature of the bar (Bergsträsser).

    Parameters
    ----------
    spring_index : float or DataArray
        Mean coil over wire diameter w = D/d [-], 2 to 30.

    Returns
    -------
    float or DataArray
        ``(w + 0.5)/(w − 0.75)`` [-]; for alternating loads, not for the static check.

    Raises
    ------
    ValueError
        An index out of bounds.

    References
    ----------
    EN 13906-1:2013 [seen second-hand].

    Examples
    --------
    >>> round(curvature_factor(spring_index=4.5), 4)
    1.3333
    """
    within("curvature_factor", "spring_index", spring_index, 2.0, 30.0, "")
    return (spring_index + 0.5) / (spring_index - 0.75)


@checked
def wahl_factor(*, spring_index: Numeric) -> Numeric:
    """Wahl's stress correction, the older companion of :func:`curvature_factor`.

    Parameters
    ----------
    spring_index : float or DataArray
        w = D/d [-], 2 to 30.

    Returns
    -------
    float or DataArray
        ``(4w − 1)/(4w − 4) + 0.615/w`` [-], within 1.35 % of the other from w = 4.5 on.

    Raises
    ------
    ValueError
        An index out of bounds.

    References
    ----------
    Wahl; table in Bhandari, Design of Machine Elements, chapter 10 [seen second-hand].

    Examples
    --------
    >>> round(wahl_factor(spring_index=7.0), 3), round(wahl_factor(spring_index=8.0), 3)
    (1.213, 1.184)
    """
    within("wahl_factor", "spring_index", spring_index, 2.0, 30.0, "")
    return (4 * spring_index - 1) / (4 * spring_index - 4) + 0.615 / spring_index
