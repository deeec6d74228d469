"""Base isolation: single-degree-of-freedom theory, and the loss between two mobilities."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass

import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, positive
from groundborne.bands import single_frequencies
from groundborne.citation import Citation
from groundborne.isolation.mount import Mount
from groundborne.isolation.transmissibility import HYSTERETIC
from groundborne.levels import decibel, mean_square, stamp_change
from groundborne.path import FOUNDATION, End
from groundborne.structure import Mobility, RigidMass
from groundborne.twoport import TWO_PORT_INSERTION, VIGRAN_MOBILITY, rigid_link

SINGLE_STAGE_LIMIT = 25.0
"""Most a single stage was found to give in any band [dB], see ``WALKER_MATHERS``."""

WALKER_MATHERS = Citation(
    key="walker-mathers1989",
    author="Walker and Mathers",
    year="1989",
    title="research report RD 1989/2",
    locator="summary: about 25 dB at any frequency for one stage",
    mark="seen",
    status="transcribed",
)


THEORY = "single-degree-of-freedom theory"
"""What the curve of :class:`IdealIsolation` is called wherever it is shown."""

THEORY_WORDS = (
    "Single-degree-of-freedom theory takes a rigid mass on its mounts on rigid ground. Well above "
    "the resonances of the mounts and of the building on its soil it is more than a frame on soil "
    "gains; near them a frame on soil may gain more than the theory says, or lose, and the theory "
    "bounds nothing."
)
"""Where the theory bounds a real building and where it does not: the one place that says so."""


@checked
@dataclass(frozen=True, eq=False)
class IdealIsolation:
    """Single-degree-of-freedom theory: a rigid mass on a mount on rigid ground.

    Never a prediction: ``THEORY_WORDS`` says where it bounds one. Predict with
    :class:`BaseIsolation`, or with column lines.

    Parameters
    ----------
    mount : Mount
        With one or two stages.
    mass : float or DataArray
        Mass carried [kg].

    Notes
    -----
    The level change of a band is the energy mean of ``|v2/v1|²`` over single frequencies inside it.

    References
    ----------
    Harris; Bies and Hansen; Cremer and Heckl [from memory].

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.isolation import LinearMount
    >>> mount = LinearMount.tuned(natural_frequency=4.0, mass=1e5, loss_factor=0.1)
    >>> IdealIsolation(mount, 1e5).level_change(third_octaves(63, 63)).round(1).item()
    -47.8
    """

    mount: Mount
    mass: Numeric

    def __post_init__(self) -> None:
        positive("IdealIsolation", "mass", self.mass, "kg")

    @property
    def quantity_in(self) -> End:
        """Velocity of the foundation."""
        return FOUNDATION

    @property
    def quantity_out(self) -> End:
        """Velocity of the foundation, now above the mounts."""
        return FOUNDATION

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the curve."""
        return (HYSTERETIC, *self.mount.citations)

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Band mean of the transmissibility [dB]."""
        f = single_frequencies(frequency, loss_factor=self.mount.loss_factor_floor)
        receiver = RigidMass(mass=self.mass).driving_point_mobility(f)
        ratio = self.mount.two_port(f).velocity_ratio(
            source_mobility=0.0, receiver_mobility=receiver
        )
        return stamp_change(
            decibel(mean_square(ratio, "single_frequency")),
            long_name=f"base isolation, {THEORY}",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere: the theory is exact for what it assumes."""
        return xr.ones_like(frequency, dtype=bool)


@checked
@dataclass(frozen=True, eq=False)
class BaseIsolation:
    """Mounts between what is below and what is above, both of which give way.

    Parameters
    ----------
    mount : Mount
        One mount, or a pack as one.
    below, above : Mobility
        Driving-point mobilities at the mount: soil and foundation below, building above. They
        must stand for the same mounts (one column, or the whole building).

    Notes
    -----
    With the ground's free velocity ``v0`` behind mobility Ys, the building of mobility Yr and a
    mount two-port, ``v2 = v0 Yr/(c + d Yr + a Ys + b Ys Yr)``; without mounts
    ``v2 = v0 Yr/(Ys + Yr)``. The insertion loss is their ratio; a band's value is the ratio of
    the two energy means for a free velocity that is flat within the band.

    A rigid mass above is its low-frequency limit and ignores that columns and slabs give way:
    above the first modes of the frame the loss is over-stated. A rod without reflections
    (:class:`~groundborne.structure.SemiInfiniteRod`) is the mean trend; neither is a bound.

    References
    ----------
    Vigran 2008, eq. 2.43, massless isolator [seen]; for a two-port derived from the definition.

    Examples
    --------
    >>> from groundborne.bands import third_octaves
    >>> from groundborne.isolation import LinearMount
    >>> from groundborne.structure import DiscFooting
    >>> pad = DiscFooting(radius=1.0, shear_modulus=50e6, density=1900.0, poisson=0.4)
    >>> mount = LinearMount.tuned(natural_frequency=5.0, mass=1e5, loss_factor=0.1)
    >>> base = BaseIsolation(mount, below=pad, above=RigidMass(mass=1e5))
    >>> float(base.insertion_loss(xr.DataArray([63.0], dims="frequency")).round(1)[0])
    18.5
    """

    mount: Mount
    _: KW_ONLY
    below: Mobility
    above: Mobility

    @property
    def quantity_in(self) -> End:
        """Velocity of the foundation."""
        return FOUNDATION

    @property
    def quantity_out(self) -> End:
        """Velocity of the foundation, now above the mounts."""
        return FOUNDATION

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the formula and of the mobilities."""
        own = (VIGRAN_MOBILITY, TWO_PORT_INSERTION)
        return tuple(
            dict.fromkeys(
                (*own, *self.below.citations, *self.above.citations, *self.mount.citations)
            )
        )

    def _mean_squares(self, f: xr.DataArray) -> tuple[xr.DataArray, xr.DataArray]:
        ys, yr = self.below.driving_point_mobility(f), self.above.driving_point_mobility(f)
        without = rigid_link(f).velocity_ratio(source_mobility=ys, receiver_mobility=yr)
        isolated = self.mount.two_port(f).velocity_ratio(source_mobility=ys, receiver_mobility=yr)
        return abs(without) ** 2, abs(isolated) ** 2

    def insertion_loss(self, frequency: Frequency) -> xr.DataArray:
        """Insertion loss at single frequencies [dB]; positive lowers the level.

        Parameters
        ----------
        frequency : DataArray
            Frequencies [Hz], not band labels.
        """
        without, isolated = self._mean_squares(frequency)
        return stamp_change(
            decibel(without / isolated), long_name="insertion loss", citations=self.citations
        )

    def level_change(self, frequency: Frequency) -> xr.DataArray:
        """Minus the band insertion loss [dB]."""
        floor = min(
            self.mount.loss_factor_floor,
            self.below.loss_factor_floor,
            self.above.loss_factor_floor,
        )
        without, isolated = self._mean_squares(single_frequencies(frequency, loss_factor=floor))
        return stamp_change(
            decibel(
                isolated.mean("single_frequency", skipna=False)
                / without.mean("single_frequency", skipna=False)
            ),
            long_name="base isolation, insertion between mobilities",
            citations=self.citations,
        )

    def valid(self, frequency: Frequency) -> xr.DataArray:
        """True everywhere; what the mobilities cover is theirs to say."""
        return xr.ones_like(frequency, dtype=bool)
