"""A rigid body on springs and dampers: damped modes, and its response to a sine."""

from __future__ import annotations

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import Numeric, no_nan, within
from groundborne.citation import Citation, citation_texts
from groundborne.structure.dampers import responding, roots_as_modes
from groundborne.structure.planar_body import PlanarBody
from groundborne.structure.rigid_body import CAUTION, RigidBody
from groundborne.structure.rigid_matrices import require_load, shares

DAMPED_BODY = Citation(
    key="damped-rigid-body",
    author="groundborne",
    title="rigid body with viscous dampers: roots of λ² M + λ C + K by the matrix of states",
    mark="derived",
    status="transcribed",
)


@checked
def damped_modes(body: RigidBody | PlanarBody) -> xr.Dataset:
    """Modes with the dampers: how fast each swings and how soon it dies down.

    Parameters
    ----------
    body : RigidBody or PlanarBody
        With dampers, or without.

    Returns
    -------
    xarray.Dataset
        On ``mode`` (six, of a planar body three or two, by rising natural frequency):
        ``natural_frequency`` ``|λ|/2π`` and ``damped_frequency`` ``Im λ/2π`` [Hz],
        ``damping_ratio`` ``-Re λ/|λ|`` [-] of the roots λ; ``shape`` on ``mode, dof``,
        complex, ``φᴴMφ = 1``; ``participation`` on ``mode, dof``, the share of each movement in the
        kinetic energy, and ``mostly``, the movement with the largest.

    Raises
    ------
    ValueError
        Dampers so strong that two or more movements do not oscillate.

    Notes
    -----
    Dampers that are not in proportion to the springs make the shapes complex: points do not
    pass through rest together. Of a movement that does not oscillate, ``damped_frequency`` is
    0 and ``damping_ratio`` 1 or more, from the product and the sum of its two roots. Hysteretic
    loss of the springs is not in it; it adds about half its loss factor to the ratio.

    References
    ----------
    Derived: roots of ``λ² M + λ C + K`` by the matrix of states.

    Examples
    --------
    >>> from groundborne.structure import Dampers, Supports
    >>> at, here = {"column": ["SW", "SE", "NE", "NW"]}, {"damper": ["centre"]}
    >>> springs = Supports(
    ...     x=xr.DataArray([-5.0, 5.0, 5.0, -5.0], coords=at),
    ...     y=xr.DataArray([-4.0, -4.0, 4.0, 4.0], coords=at), z=0.0, kx=6e7, ky=6e7, kz=9e7)
    >>> damper = Dampers(x=xr.DataArray([0.0], coords=here), y=xr.DataArray([0.0], coords=here),
    ...                  z=0.0, cz=2.68e6)
    >>> body = RigidBody.box(mass=5e5, length_x=12.0, length_y=10.0, length_z=9.0, centre_z=4.5,
    ...                      supports=springs, dampers=damper)
    >>> found = damped_modes(body)
    >>> found["damping_ratio"].round(3).values.tolist()
    [0.0, 0.0, 0.1, 0.0, 0.0, 0.0]
    """
    mass = body.mass_matrix
    found = roots_as_modes(body.stiffness_matrix, body.damping_matrix, mass)
    shape = found["shape"]
    two_pi = 2 * np.pi
    frequency = no_nan("damped_modes", found["rate"] / two_pi)
    frequency.attrs = {"units": "Hz", "long_name": "natural frequency"}
    damped = (found["oscillation"] / two_pi).assign_attrs(units="Hz", long_name="damped frequency")
    return xr.Dataset(
        {
            "natural_frequency": frequency,
            "damped_frequency": damped,
            "damping_ratio": found["ratio"].assign_attrs(long_name="damping ratio"),
            "shape": shape.assign_attrs(long_name="mode shape, mass-normalised"),
            **shares(shape, mass),
        },
        attrs={"citations": citation_texts((*body.citations, DAMPED_BODY)), "caution": CAUTION},
    )


@checked
def frequency_response(
    body: RigidBody, load: xr.DataArray, frequency: Frequency, *, loss_factor: Numeric = 0.0
) -> xr.DataArray:
    """Complex movement of the centre of mass under a load that is a sine.

    Parameters
    ----------
    body : RigidBody
        With dampers, or without.
    load : DataArray
        Amplitude on ``dof``, from ``body.load`` [N, N m].
    frequency : DataArray
        Frequencies [Hz], not band labels.
    loss_factor : float or DataArray
        Hysteretic, of all springs [-], 0 to 1; beside the dampers.

    Returns
    -------
    xarray.DataArray
        Amplitude with phase on ``dof`` and ``frequency`` [m, rad], time factor exp(jωt); any
        point from ``body.movement_at``.

    Raises
    ------
    ValueError
        A load without the six entries of ``dof``, or a loss factor out of bounds.

    References
    ----------
    Derived: ``(K + jωC - ω²M) u = F``, K with its loss factor.

    Examples
    --------
    >>> from groundborne.structure import Supports
    >>> at = {"column": ["SW", "SE", "NE", "NW"]}
    >>> springs = Supports(
    ...     x=xr.DataArray([-5.0, 5.0, 5.0, -5.0], coords=at),
    ...     y=xr.DataArray([-4.0, -4.0, 4.0, 4.0], coords=at), z=0.0, kx=6e7, ky=6e7, kz=9e7)
    >>> body = RigidBody.box(mass=5e5, length_x=12.0, length_y=10.0, length_z=9.0, centre_z=4.5,
    ...                      supports=springs)
    >>> moved = frequency_response(body, body.load(fz=1e4), [1.0, 4.27], loss_factor=0.05)
    >>> abs(moved.sel(dof="z") * 1e6).round(1).values.tolist()  # 27.8 at rest
    [29.3, 555.5]
    """
    where = "frequency_response"
    require_load(where, load)
    within(where, "loss_factor", loss_factor, 0.0, 1.0, "")
    lossy = body.stiffness_matrix + 1j * loss_factor * body.spring_matrix
    moved = responding(lossy, body.damping_matrix, body.mass_matrix, load, frequency)
    return no_nan(where, moved).assign_attrs(long_name="movement of the centre of mass")
