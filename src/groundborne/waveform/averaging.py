"""Running mean squares of time records: exponential (S, F, any time constant) and linear."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from groundborne._arguments import checked
from groundborne._checks import known, positive
from groundborne.citation import Citation

IEC_61672_1_TIME = Citation(
    key="iec61672-1-time",
    author="IEC 61672-1",
    year="2013",
    title="Sound level meters",
    locator="exponential time weightings F and S: time constants, decay rates, toneburst response",
    mark="seen second-hand",
    status="verified",
)

TIME_CONSTANTS = {"S": 1.0, "F": 0.125}
"""Time constants of the standard weightings [s]."""


@checked
@dataclass(frozen=True, kw_only=True)
class Averaging:
    """How a squared record is averaged over time.

    Parameters
    ----------
    kind : str
        ``exponential`` or ``linear``.
    seconds : float
        Time constant τ, or length of the window that ends at the time given [s].

    Raises
    ------
    ValueError
        An unknown kind, or a time that is not above zero.

    References
    ----------
    IEC 61672-1:2013, time weightings F (0.125 s) and S (1 s).

    Examples
    --------
    >>> Averaging(kind="exponential", seconds=1.0).label
    'S'
    >>> Averaging(kind="linear", seconds=10.0).label
    'linear, 10 s'
    """

    kind: Literal["exponential", "linear"]
    seconds: float

    def __post_init__(self) -> None:
        """Check the fields."""
        known("Averaging", "kind", self.kind, ("exponential", "linear"))
        positive("Averaging", "seconds", self.seconds, "s")

    @property
    def label(self) -> str:
        """``S``, ``F``, or the kind and its time."""
        if self.kind == "exponential":
            for name, seconds in TIME_CONSTANTS.items():
                if self.seconds == seconds:
                    return name
        return f"{self.kind}, {self.seconds:g} s"

    @property
    def decay_rate(self) -> float:
        """How fast an exponential average falls in silence, ``10 lg(e)/τ`` [dB/s]."""
        if self.kind == "linear":
            raise ValueError(
                "Averaging: a linear average has no decay rate; it ends with its window"
            )
        return 10 / (math.log(10) * self.seconds)

    @property
    def independent_time(self) -> float:
        """Length of the linear average with the same scatter [s]: 2 τ, or the window."""
        return 2 * self.seconds if self.kind == "exponential" else self.seconds


def read_averaging(averaging: str | Averaging, *, every: float, where: str) -> Averaging:
    """Averaging from its name.

    Parameters
    ----------
    averaging : str or Averaging
        ``S``, ``F``, ``linear`` (windows of length `every`, end to end), or an
        :class:`Averaging`.
    every : float
        Step between results [s].
    where : str
        Who asks; it starts the sentence of an error.

    Returns
    -------
    Averaging
        Kind and time.

    Raises
    ------
    ValueError
        An unknown name, or a step that is not above zero.

    Examples
    --------
    >>> read_averaging("F", every=0.125, where="example").seconds
    0.125
    """
    positive(where, "every", every, "s")
    if isinstance(averaging, Averaging):
        return averaging
    name = known(where, "averaging", averaging, (*TIME_CONSTANTS, "linear"))
    if name == "linear":
        return Averaging(kind="linear", seconds=every)
    return Averaging(kind="exponential", seconds=TIME_CONSTANTS[name])
