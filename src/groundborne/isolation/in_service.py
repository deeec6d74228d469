"""Mounts as they are in the building: stiffer than on the test bench, and stiffer with age."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import KW_ONLY, dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, known, positive, within
from groundborne.citation import Citation
from groundborne.isolation.crossed_mount import CrossedMount
from groundborne.isolation.distributed import Dashpot, DistributedMount
from groundborne.isolation.mount import LinearMount, Mount
from groundborne.isolation.rubber.service import (
    CONSTANT_LOSS,
    RUBBER_SERVICE,
    rubber_frequency_factor,
)
from groundborne.twoport import TwoPort

SCALED = Citation(
    key="mount-scaled-in-stiffness",
    author="groundborne",
    title="springs and masses with all stiffness g times as large: g times the dynamic stiffness "
    "at the frequency over √g",
    mark="derived",
)
STATES = ("as new", "end of life")
"""Labels on the dimension ``state``."""
END_OF_LIFE = 1.15
"""Stiffness of natural rubber after fifty years over that when new [-], from memory."""
_FACTORS = ("amplitude", "temperature", "age", "tolerance")


@checked
@dataclass(frozen=True, eq=False)
class InService:
    """A mount of rubber whose stiffness differs in service from the one it is described by.

    Parameters
    ----------
    mount : Mount
        As described: springs with hysteretic loss, with or without own mass. Wrap the rubber
        alone; steel, dampers and crossings stand beside or below it.
    amplitude : float or DataArray
        Stiffness at the strain of trains over the described one [-], 0.5 to 3, see
        :func:`~groundborne.isolation.rubber_amplitude_factor`.
    temperature : float or DataArray
        Likewise for the temperature, see
        :func:`~groundborne.isolation.rubber_temperature_factor`.
    age : float or DataArray
        Likewise for age, see :func:`~groundborne.isolation.rubber_age_factor`; on ``state`` by
        :meth:`through_life`.
    tolerance : float or DataArray
        Likewise for what a delivery may differ by: a number, or drawn on ``sample``.
    reference_frequency : float or DataArray, optional
        Frequency at which the described stiffness holds [Hz], above 0. With it the stiffness
        follows the law that belongs to the mount's loss factor,
        :func:`~groundborne.isolation.rubber_frequency_factor`; without it, it is the same at all
        frequencies. Taken at the natural frequency it leaves that where it is.

    Raises
    ------
    ValueError
        A factor out of bounds, a mount with a dashpot, with crossings or in service already, or a
        reference frequency for a mount without a loss factor of its own.

    Notes
    -----
    Springs and masses whose stiffness all grows by the same real factor g have g times the dynamic
    stiffness at ``f/√g``; so internal modes move up by √g. Far above resonance the isolation falls
    by ``20 lg g``. The static deflection stays as described: no factor here is one of slow loads.

    References
    ----------
    Derived.

    Examples
    --------
    >>> pad = LinearMount.tuned(natural_frequency=10.0, mass=1e4, loss_factor=0.1)
    >>> built = InService(pad, amplitude=1.15, temperature=1.05, age=1.15)
    >>> round(float(built.frequency_rise), 2), round(float(built.loss_far_above), 1)
    (1.18, 2.9)
    """

    mount: Mount
    _: KW_ONLY
    amplitude: Numeric = 1.0
    temperature: Numeric = 1.0
    age: Numeric = 1.0
    tolerance: Numeric = 1.0
    reference_frequency: Numeric | None = None

    def __post_init__(self) -> None:
        for name in _FACTORS:
            within("InService", name, getattr(self, name), 0.5, 3.0, "")
        for part in _parts(self.mount):
            _require_elastic(part)
        if self.reference_frequency is not None:
            positive("InService", "reference_frequency", self.reference_frequency, "Hz")
            if not isinstance(self.mount, (LinearMount, DistributedMount)):
                raise ValueError(
                    f"InService: reference_frequency is given, and a {type(self.mount).__name__} "
                    "has no loss factor of its own; wrap the rubber in it, a LinearMount or a "
                    "DistributedMount"
                )

    @classmethod
    def through_life(
        cls,
        mount: Mount,
        *,
        amplitude: Numeric = 1.0,
        temperature: Numeric = 1.0,
        end_of_life: Numeric = END_OF_LIFE,
        tolerance: Numeric = 1.0,
        reference_frequency: Numeric | None = None,
    ) -> InService:
        """The mount as new and at the end of its life, on the dimension ``state``.

        Parameters
        ----------
        mount, amplitude, temperature, tolerance, reference_frequency
            As for the class.
        end_of_life : float or DataArray
            Stiffness at the end over that when new [-]; 1.15 for natural rubber, from memory.

        Returns
        -------
        InService
            Whatever is worked out with it has the labels ``"as new"`` and ``"end of life"``; of
            margins the smaller one counts, ``margin.min("state")``.

        Raises
        ------
        ValueError
            As for the class.

        Examples
        --------
        >>> pad = LinearMount.tuned(natural_frequency=10.0, mass=1e4, loss_factor=0.1)
        >>> both = InService.through_life(pad)
        >>> both.frequency_rise.round(3).values.tolist()
        [1.0, 1.072]
        """
        state = xr.DataArray(list(STATES), dims="state", coords={"state": list(STATES)})
        return cls(
            mount,
            amplitude=amplitude,
            temperature=temperature,
            age=xr.where(state == STATES[1], end_of_life, 1.0),
            tolerance=tolerance,
            reference_frequency=reference_frequency,
        )

    def at(self, state: str) -> InService:
        """The same in one state, without the dimension; itself where no factor has it.

        Parameters
        ----------
        state : str
            ``"as new"`` or ``"end of life"``.

        Raises
        ------
        ValueError
            Another state.
        """
        known("InService.at", "state", state, STATES)
        here: dict[str, Any] = {}
        for name in _FACTORS:
            factor = getattr(self, name)
            if isinstance(factor, xr.DataArray) and "state" in factor.dims:
                here[name] = factor.sel(state=state, drop=True)
        return replace(self, **here)

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the mount, and of what is done to it."""
        law = () if self.reference_frequency is None else (CONSTANT_LOSS,)
        return tuple(dict.fromkeys((*self.mount.citations, SCALED, RUBBER_SERVICE, *law)))

    @property
    def loss_factor_floor(self) -> float:
        """As of the mount: no factor changes the loss."""
        return self.mount.loss_factor_floor

    @property
    def factor(self) -> Numeric:
        """Stiffness in service over the described one, at the reference frequency [-]."""
        return self.amplitude * self.temperature * self.age * self.tolerance

    @property
    def frequency_rise(self) -> Numeric:
        """Natural frequency over that with the described stiffness, ``√factor`` [-]."""
        rise: Numeric = np.sqrt(self.factor)
        return rise

    @property
    def loss_far_above(self) -> Numeric:
        """Isolation lost far above resonance, ``20 lg factor`` [dB]; negative is a gain."""
        loss: Numeric = 20 * np.log10(self.factor)
        return loss

    def _scale(self, frequency: xr.DataArray) -> xr.DataArray:
        """Stiffness at a frequency over the described one [-]."""
        scale: xr.DataArray = xr.ones_like(frequency, dtype=float) * self.factor
        if self.reference_frequency is None:
            return scale
        assert isinstance(self.mount, (LinearMount, DistributedMount))
        ratio = rubber_frequency_factor(
            frequency_ratio=frequency / self.reference_frequency,
            loss_factor=self.mount.loss_factor,
        )
        return scale * ratio

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """Transfer stiffness [N/m]."""
        scale = self._scale(frequency)
        stiffness: xr.DataArray = scale * self.mount.dynamic_stiffness(frequency / scale**0.5)
        return stiffness

    def static_deflection(self, load: Numeric) -> Numeric:
        """As described [m]."""
        return self.mount.static_deflection(load)

    def two_port(self, frequency: Frequency) -> TwoPort:
        """Two-port of the mount with its stiffness in service."""
        root = self._scale(frequency) ** 0.5
        port = self.mount.two_port(frequency / root)
        return TwoPort(a=port.a, b=port.b * root, c=port.c / root, d=port.d)


def _parts(mount: Mount) -> Iterator[Mount]:
    """A mount and all mounts that it holds."""
    yield mount
    if is_dataclass(mount):
        for field in fields(mount):
            held = getattr(mount, field.name)
            if isinstance(held, Mount):
                yield from _parts(held)


def _require_elastic(part: Mount) -> None:
    """Refuse what a common factor on all stiffness does not describe, or would count twice."""
    if isinstance(part, InService):
        raise ValueError(
            "InService: the mount, or a part of it, is in service already; each factor counts once"
        )
    if isinstance(part, CrossedMount):
        raise ValueError(
            "InService: the mount has crossings beside it, which do not change with the rubber; "
            "wrap the mounts, and set the crossings beside"
        )
    viscous = isinstance(part, LinearMount) and bool(np.any(np.asarray(part.damping) > 0))
    if viscous or isinstance(part, Dashpot):
        raise ValueError(
            "InService: the mount has a dashpot, which does not change with the rubber; wrap the "
            "rubber alone and set a Dashpot beside it with InParallel"
        )
