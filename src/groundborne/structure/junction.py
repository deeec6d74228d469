"""Junctions of plates: how much bending power passes from a floor into the walls it meets."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import ArgumentError, Numeric, positive
from groundborne.citation import Citation

PINNED_JUNCTION = Citation(
    key="pinned-junction",
    author="textbook structure-borne sound",
    title="bending waves at a junction of plates that may turn and not shift",
    mark="derived",
    status="transcribed",
)
JUNCTION_BALANCE = Citation(
    key="junction-power-balance",
    author="textbook structure-borne sound",
    title="power balance of two plates, η_12 = 2 c_B l τ/(π ω S)",
    mark="derived",
    status="transcribed",
)

_ANGLES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class JunctionPlate:
    """A plate that ends at a junction.

    Parameters
    ----------
    bending_stiffness : float or DataArray
        B′ [N m], above 0.
    mass_per_area : float or DataArray
        m″ [kg/m²], above 0.
    """

    bending_stiffness: Numeric
    mass_per_area: Numeric

    def __post_init__(self) -> None:
        positive("JunctionPlate", "bending_stiffness", self.bending_stiffness, "N m")
        positive("JunctionPlate", "mass_per_area", self.mass_per_area, "kg/m²")

    def wavenumber(self, frequency: Frequency) -> xr.DataArray:
        """Of free bending waves, ``(m″ω²/B′)^¼`` [1/m]."""
        omega = 2 * np.pi * frequency
        k: xr.DataArray = (self.mass_per_area / self.bending_stiffness) ** 0.25 * omega**0.5
        return k

    def phase_speed(self, frequency: Frequency) -> xr.DataArray:
        """``(B′/m″)^¼ √ω`` [m/s]; energy travels twice as fast."""
        speed: xr.DataArray = 2 * np.pi * frequency / self.wavenumber(frequency)
        return speed


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class PinnedJunction:
    """A straight junction of plates that turn together and do not shift.

    Floors and walls hold one another in place in each other's plane, so that bending passes by
    rotation alone.

    Parameters
    ----------
    plates : tuple of JunctionPlate
        At least two: each half plate that ends at the junction; a floor that runs on behind a wall
        is two.

    Raises
    ------
    ArgumentError
        Fewer than two plates.

    Notes
    -----
    Moment over angular velocity, per length of a half plate, where waves meet it with
    ``k sin θ`` along the junction: ``W = B′k [√(1 + sin²θ) + j cos θ]/(jω)``, with
    ``cos θ = −j|cos θ|`` in plates that the trace is too short for. From plate 1,
    ``τ_1i = 4 Re W_1 Re W_i/|Σ W|²``; what comes back is ``|1 − 2 Re W_1/Σ W|²``, and both add up
    to 1. All plates are thin, so that nothing depends on the frequency. N equal plates pass
    2/N² at right angles and 4/(3N²) of a diffuse field each.

    References
    ----------
    Derived from thin-plate theory; gives the 3.0, 6.5 and 9.0 dB of textbooks for two, three and
    four equal plates at right angles.

    Examples
    --------
    >>> plate = JunctionPlate(bending_stiffness=4e7, mass_per_area=600.0)
    >>> cross = PinnedJunction(plates=(plate, plate, plate, plate))
    >>> cross.diffuse_transmission().round(4).values.tolist()
    [0.0833, 0.0833, 0.0833]
    """

    plates: tuple[JunctionPlate, ...]

    def __post_init__(self) -> None:
        if len(self.plates) < 2:
            raise ArgumentError(
                f"PinnedJunction: {len(self.plates)} plate is given; two or more meet at a junction"
            )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Source of the formula."""
        return (PINNED_JUNCTION,)

    def moment_impedance(self, frequency: Frequency, *, angle: Numeric = 0.0) -> xr.DataArray:
        """Moment over angular velocity, per length of each half plate [N s].

        Parameters
        ----------
        frequency : DataArray
            [Hz].
        angle : float or DataArray
            Of incidence in the first plate, from the normal of the junction [degrees], 0 to 90.

        Returns
        -------
        xarray.DataArray
            Complex, on ``plate`` (from 0), the real part 0 or more.
        """
        omega = 2 * np.pi * frequency
        first = self.plates[0].wavenumber(frequency)
        moment: xr.DataArray = self._relative(angle) * first / (1j * omega)
        return moment

    def transmission(self, *, angle: Numeric = 0.0) -> xr.DataArray:
        """Share of the power in the first plate that passes into each other one [-].

        Parameters
        ----------
        angle : float or DataArray
            Of incidence from the normal of the junction [degrees], 0 to 90.

        Returns
        -------
        xarray.DataArray
            On ``plate``, from 1: those after the first.
        """
        # Without the common 1/(jω): a real part there is an imaginary part here.
        each = self._relative(angle)
        passing = 4 * each.isel(plate=0).imag * each.imag / abs(each.sum("plate")) ** 2
        found: xr.DataArray = passing.drop_sel(plate=0)
        return found.drop_vars([n for n in found.coords if n != "plate" and n not in found.dims])

    def reflection(self, *, angle: Numeric = 0.0) -> xr.DataArray:
        """Share of the power in the first plate that comes back [-]."""
        each = self._relative(angle)
        back = 1 - 2 * each.isel(plate=0, drop=True).imag / (each.sum("plate") / 1j)
        share: xr.DataArray = abs(back) ** 2
        return share

    def diffuse_transmission(self) -> xr.DataArray:
        """Share of the power of a diffuse field that passes, ``∫ τ cos θ dθ`` [-]."""
        # In steps between the angles from which a plate takes nothing more.
        ends = {0.0, np.pi / 2}
        ratios = [np.ravel(np.asarray(self._ratio(p))) for p in self.plates]
        for ratio in np.concatenate(ratios):
            if ratio > 1:
                ends.add(float(np.arcsin(1 / ratio)))
        total: Any = 0.0
        for start, end in pairwise(sorted(ends)):
            # Crowded at both ends, where a cosine goes as a square root.
            t = (_ANGLES + 1) / 2
            theta = start + (end - start) * t * t * (3 - 2 * t)
            step = _WEIGHTS / 2 * (end - start) * 6 * t * (1 - t)
            angle = xr.DataArray(np.degrees(theta), dims="incidence")
            weight = xr.DataArray(step * np.cos(theta), dims="incidence")
            total = total + (self.transmission(angle=angle) * weight).sum("incidence")
        found: xr.DataArray = total
        return found

    def _ratio(self, plate: JunctionPlate) -> Any:
        """Wave number of the first plate over that of another one [-]."""
        first = self.plates[0]
        squared = first.mass_per_area / first.bending_stiffness
        return (squared * plate.bending_stiffness / plate.mass_per_area) ** 0.25

    def _relative(self, angle: Numeric) -> xr.DataArray:
        """``jω W`` over the wave number of the first plate, on ``plate`` [N m]."""
        if bool(np.any((np.asarray(angle) < 0) | (np.asarray(angle) > 90))):
            raise ArgumentError("PinnedJunction: angle must lie between 0 and 90 degrees")
        sine = xr.DataArray(np.sin(np.radians(angle)))
        rows: list[Any] = []
        for plate in self.plates:
            ratio = self._ratio(plate)
            trace = (sine * ratio) ** 2
            # The root of a negative number is −j|…|: the field decays from the junction.
            cosine = np.conj(np.sqrt((1 - trace).astype(complex)))
            rows.append((np.sqrt(1 + trace) + 1j * cosine) * plate.bending_stiffness / ratio)
        stacked: xr.DataArray = xr.concat(
            list(xr.broadcast(*rows)), dim=xr.Variable("plate", np.arange(len(rows))), join="exact",
            coords="minimal", compat="override",
        )  # fmt: skip
        return stacked


@checked
def velocity_by_junction(
    frequency: Frequency,
    *,
    junction: PinnedJunction,
    plate: int,
    length: Numeric,
    area: Numeric,
    receiving_area: Numeric,
    loss_factor: Numeric,
) -> xr.DataArray:
    """Mean square velocity of a wall over that of the floor it meets, by power balance.

    Parameters
    ----------
    frequency : DataArray
        [Hz].
    junction : PinnedJunction
        The floor first.
    plate : int
        Which plate of the junction the wall is, from 1.
    length : float or DataArray
        Of the junction [m].
    area, receiving_area : float or DataArray
        Of floor and wall [m²].
    loss_factor : float or DataArray
        Total loss factor of the wall, its own junctions included [-], above 0.

    Returns
    -------
    xarray.DataArray
        Ratio of mean squares [-].

    Raises
    ------
    ValueError
        A parameter that is not above 0, or a plate the junction does not have.

    Notes
    -----
    ``(η_12/η_2) m″_1 S_1/(m″_2 S_2)`` with ``η_12 = 2 c_B l τ/(π ω S_1)`` and τ of a diffuse field.
    It needs modes in both plates: below the first resonance of a wall, 30 Hz and more of 3 m of
    concrete, it overstates what the wall does.

    References
    ----------
    Derived; the power balance is that of textbooks of structure-borne sound.

    Examples
    --------
    >>> floor = JunctionPlate(bending_stiffness=4.07e7, mass_per_area=600.0)
    >>> wall = JunctionPlate(bending_stiffness=1.52e7, mass_per_area=432.0)
    >>> cross = PinnedJunction(plates=(floor, floor, wall, wall))
    >>> f = xr.DataArray([63.0], dims="frequency")
    >>> ratio = velocity_by_junction(f, junction=cross, plate=2, length=5.0, area=20.0,
    ...                              receiving_area=15.0, loss_factor=0.1)
    >>> round(float(10 * np.log10(ratio[0])), 1)
    -7.5
    """
    where = "velocity_by_junction"
    for name, value, unit in (
        ("length", length, "m"),
        ("area", area, "m²"),
        ("receiving_area", receiving_area, "m²"),
        ("loss_factor", loss_factor, ""),
    ):
        positive(where, name, value, unit)
    if not 1 <= plate < len(junction.plates):
        raise ArgumentError(
            f"{where}: plate is {plate}; the junction has a floor and the plates 1 to "
            f"{len(junction.plates) - 1}"
        )
    floor, wall = junction.plates[0], junction.plates[plate]
    tau = junction.diffuse_transmission().sel(plate=plate, drop=True)
    omega = 2 * np.pi * frequency
    # The area of the floor goes out: per length of junction, what passes is its energy per area.
    coupling = 2 * floor.phase_speed(frequency) * length * tau / (np.pi * omega * area)
    masses = floor.mass_per_area * area / (wall.mass_per_area * receiving_area)
    ratio: xr.DataArray = coupling / loss_factor * masses
    return ratio
