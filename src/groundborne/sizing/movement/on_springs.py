"""A building on its springs under wind, and when a support is lost or stiffened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, not_negative
from groundborne.citation import Citation, citation_texts, warn_validity
from groundborne.sizing.loads.factors import EQUILIBRIUM_FACTORS, Factors
from groundborne.sizing.loads.hold_down import TIE_CAUTION, TIE_FORCE
from groundborne.sizing.lost_columns.floors_above import (
    BOUNDS,
    CRACKED,
    FLOORS_TOGETHER,
    FloorsAbove,
)
from groundborne.structure.lifting_springs import ACTIVE_SET
from groundborne.structure.plate_mesh import PLATE_ELEMENT
from groundborne.structure.plate_on_springs import PlateOnSprings
from groundborne.structure.rigid_body import CAUTION, RigidBody

SUPPORT_LOST = Citation(
    key="support-lost-neighbours",
    author="isolation practice",
    title="neighbours of a lost support take about 1.3 to 2 times their load",
    mark="common practice",
    status="practice",
)


def _names(bad: xr.DataArray) -> str:
    other = [d for d in bad.dims if d != "column"]
    return ", ".join(str(c) for c in bad.column.values[bad.any(other).values])


@checked
def wind_movement(
    body: RigidBody,
    load: xr.DataArray,
    *,
    height: Numeric,
    x: Numeric | None = None,
    y: Numeric | None = None,
    clearance: Numeric | None = None,
    factors: Factors | None = None,
) -> xr.Dataset:
    """Tilt, sway and uplift of a body on its springs under wind, at rest.

    Parameters
    ----------
    body : RigidBody
        With static stiffness.
    load : DataArray
        Wind on ``dof``, from :meth:`RigidBody.load`; without the weight, which is added here.
        A dim of its own (direction, say) holds the cases.
    height : float or DataArray
        Where sway is wanted [m], in the frame of the supports.
    x, y : float or DataArray, optional
        Plan position of that point [m]; the centre of mass where left out.
    clearance : float or DataArray, optional
        Horizontal gap of the wind stops [m].
    factors : Factors, optional
        Of equilibrium, for the force in ties: 0.90 on the weight and 1.5 on the wind by EN 1990,
        Table A1.2(A) [seen second-hand], where not given.

    Returns
    -------
    xarray.Dataset
        Under wind alone: ``sway_x``, ``sway_y``, ``sway`` [m] at the height, ``tilt``, and on
        ``column`` ``support_sway`` [m] and ``reaction_wind`` [N]. ``reaction_permanent`` is that
        of the weight, ``reaction_least`` the sum, and ``uplift`` marks sums below 0.
        ``reaction_equilibrium`` [N] is the sum with the factors of equilibrium, and ``tie_force``
        [N] what holds a support at 0 then, on the linear model.
        With `clearance` also ``clearance_left`` [m], below 0 where the stop is touched.

    Warns
    -----
    ValidityWarning
        Supports that lift off: springs do not pull, and what follows is not computed.

    Notes
    -----
    The body is rigid: bending of the frame above the springs comes on top of this sway, and
    gusts in step with a sway mode raise it. The wind is the structural engineer's.

    References
    ----------
    Derived: drift ``F/k`` at the springs and tilt ``M/(kθ − m g h)``.

    Examples
    --------
    >>> corners = {"column": ["SW", "SE", "NE", "NW"]}
    >>> from groundborne.structure.supports import Supports
    >>> springs = Supports(
    ...     x=xr.DataArray([-5.0, 5.0, 5.0, -5.0], dims="column", coords=corners),
    ...     y=xr.DataArray([-4.0, -4.0, 4.0, 4.0], dims="column", coords=corners),
    ...     z=0.0, kx=6e7, ky=6e7, kz=9e7)
    >>> body = RigidBody.box(mass=5e5, length_x=12.0, length_y=10.0, length_z=9.0, centre_z=4.5,
    ...                      supports=springs)
    >>> wind = wind_movement(body, body.load(fx=1e5, z=4.5), height=9.0)
    >>> round(float(wind.sway_x) * 1e3, 2), bool(wind.uplift.any())
    (0.87, False)
    """
    where = "wind_movement"
    finite(where, "height", height)
    permanent, wind = body.response(body.weight), body.response(load)
    top = body.movement_at(wind["displacement"], x=x, y=y, z=height)
    least = permanent["reaction"] + wind["reaction"]
    factors = Factors() if factors is None else factors
    balance = (
        factors.equilibrium_favourable * permanent["reaction"]
        + factors.equilibrium_variable * wind["reaction"]
    )
    support_sway: Any = np.hypot(wind["lateral_x"], wind["lateral_y"])
    sway: Any = np.hypot(top["x"], top["y"])
    result = xr.Dataset(
        {
            "sway_x": top["x"],
            "sway_y": top["y"],
            "sway": sway.assign_attrs(units="m", long_name="sway"),
            "tilt": wind["tilt"].assign_attrs(long_name="tilt under wind"),
            "support_sway": support_sway.assign_attrs(units="m"),
            "reaction_permanent": permanent["reaction"],
            "reaction_wind": wind["reaction"],
            "reaction_least": least.assign_attrs(units="N"),
            "uplift": least < 0,
            "reaction_equilibrium": balance.assign_attrs(units="N"),
            "tie_force": (-balance).clip(min=0.0).assign_attrs(units="N"),
        },
        attrs={
            "caution": f"{CAUTION} {TIE_CAUTION}",
            "citations": citation_texts((*body.citations, EQUILIBRIUM_FACTORS, TIE_FORCE)),
            "note": "rigid body and linear springs; loss of contact is marked, not followed",
        },
    )
    if clearance is not None:
        not_negative(where, "clearance", clearance, "m")
        result["clearance_left"] = (-support_sway + clearance).assign_attrs(units="m")
    further = (balance < 0) & ~result["uplift"]
    told = [
        f"supports {_names(lifting)} would pull{when}"
        for lifting, when in (
            (result["uplift"], ""),
            (further, " with the factors of equilibrium"),
        )
        if bool(lifting.any())
    ]
    if told:
        warn_validity(
            f"{where}: {', '.join(told)}; springs lift off instead, which is not followed: hold "
            "them down or lower the wind's share"
        )
    return result


@checked
def changed_supports(
    body: RigidBody, *, factor: xr.DataArray, floors: FloorsAbove | None = None
) -> xr.Dataset:
    """Loads, deflection and frequencies when supports are lost, softened or stiffened.

    Parameters
    ----------
    body : RigidBody
        As designed.
    factor : DataArray
        On ``column``: stiffness over that designed, 0 for a lost support. Other dims hold cases.
    floors : FloorsAbove, optional
        Floors that bend. Vertical stiffness is that of the body's supports, with the
        `column_stiffness` of the floors in series; their packs are not used. A rigid body where
        left out.

    Returns
    -------
    xarray.Dataset
        On ``column``: ``reaction_before``, ``reaction`` [N], ``load_ratio``,
        ``deflection_before``, ``deflection`` and ``added_deflection`` [m], ``uplift``; ``tilt``;
        ``natural_frequency_before`` and ``natural_frequency`` [Hz] on ``mode``. With `floors` all
        but tilt and frequencies have the dim ``rigidity``: ``soft``, ``stiff`` and ``rigid``;
        supports there lift off and do not pull, and ``hold_down`` [N] is what each would pull were
        all of them held down. Tilt and frequencies stay those of a rigid body on supports that
        pull as well, whatever lifts off.

    Raises
    ------
    ValueError
        Supports that pull before anything changed, or a body no longer held.

    Warns
    -----
    ValidityWarning
        Supports that would pull after the change, where lifting off is not followed.

    Notes
    -----
    At rest: a support that breaks suddenly sends the others to about twice the added deflection
    for a moment. Frequencies are right only for dynamic stiffness, deflection only for static.
    A rigid body spreads a loss over all supports; floors that bend leave it to the next ones.

    References
    ----------
    Derived: equilibrium before and after.

    Examples
    --------
    >>> from groundborne.structure import RigidBody, Supports
    >>> at = {"column": ["A", "B", "C", "D"]}
    >>> place = [xr.DataArray(v, coords=at) for v in ([-5.0, 5, -5, 5], [-5.0, -5, 5, 5])]
    >>> four = Supports(x=place[0], y=place[1], z=0.0, kx=7e7, ky=7e7, kz=1e8)
    >>> body = RigidBody.box(mass=4e5, length_x=10.0, length_y=10.0, length_z=6.0, centre_z=4.0,
    ...                      supports=four)
    >>> stiff = xr.DataArray([1.2, 1.0, 1.0, 1.2], coords=at)
    >>> changed_supports(body, factor=stiff)["load_ratio"].round(2).values.tolist()
    [1.09, 0.91, 0.91, 1.09]
    """
    where = "changed_supports"
    before = body.response(body.weight)
    pulled = before["reaction"] <= 0
    if bool(pulled.any()):
        raise ValueError(
            f"{where}: supports {_names(pulled)} carry nothing or pull under the weight alone; "
            "mend the layout first"
        )
    changed = replace(body, supports=body.supports.scaled(factor))
    after = changed.response(changed.weight)
    cited: tuple[Citation, ...] = (SUPPORT_LOST,)
    if floors is None:
        bent = {}
        reaction, deflection = after["reaction"], after["deflection"]
        uplift = reaction < 0
        if bool(uplift.any()):
            warn_validity(
                f"{where}: supports {_names(uplift)} would pull after the change; springs lift off "
                "instead, which is not followed"
            )
        of = "rigid body"
    else:
        moved = _on_floors(body, before["reaction"], factor, floors)
        bent = {"hold_down": moved["hold_down"]}
        reaction = moved["reaction"]
        deflection = before["deflection"] + moved["deflection"]
        uplift = moved["gap"] > 0
        of = floors.said().split(";")[0]
        cited = (FLOORS_TOGETHER, CRACKED, PLATE_ELEMENT, ACTIVE_SET, *cited)
    added = deflection - before["deflection"]
    return xr.Dataset(
        {
            "reaction_before": before["reaction"],
            "reaction": reaction.assign_attrs(units="N"),
            "load_ratio": reaction / before["reaction"],
            "deflection_before": before["deflection"],
            "deflection": deflection.assign_attrs(units="m"),
            "added_deflection": added.assign_attrs(units="m"),
            "uplift": uplift,
            **bent,
            "tilt": after["tilt"],
            "natural_frequency_before": body.modes()["natural_frequency"],
            "natural_frequency": changed.modes()["natural_frequency"],
        },
        attrs={
            "caution": CAUTION,
            "citations": citation_texts((*body.citations, *cited)),
            "note": f"at rest, {of}; a sudden loss adds up to the same again for a moment"
            + ("" if floors is None else "; tilt and frequencies of a rigid body that pulls too"),
        },
    )


def _on_floors(
    body: RigidBody, load: xr.DataArray, factor: xr.DataArray, floors: FloorsAbove
) -> xr.Dataset:
    """Reactions, and deflection of floors that were level, on ``rigidity``."""
    x, y, _ = body.supports.position
    series = replace(floors, mount_stiffness=body.supports.stiffness[2])
    stiffness = series.support_stiffness(load)
    if stiffness.dims != ("column",) or load.dims != ("column",):
        raise ValueError(
            "changed_supports: supports under floors that bend must have the dim 'column' only; "
            "one set of them at a time"
        )
    plates = [floors.plate(x, y, stiffness, bound=bound) for bound in BOUNDS]
    plates.append(PlateOnSprings(x=x, y=y, stiffness=stiffness))
    found = [plate.response(load, raised=load / stiffness, factor=factor) for plate in plates]
    label = xr.DataArray([*BOUNDS, "rigid"], dims="rigidity", name="rigidity")
    return xr.concat([f.drop_attrs() for f in found], dim=label)


@checked
def lost_supports(
    body: RigidBody, columns: Sequence[Any] | None = None, *, floors: FloorsAbove | None = None
) -> xr.Dataset:
    """Lose one support at a time.

    Parameters
    ----------
    body : RigidBody
        As designed.
    columns : sequence, optional
        Names of those that may be lost, one at a time; all of them where left out.
    floors : FloorsAbove, optional
        Floors that bend; a rigid body where left out. See :func:`changed_supports`.

    Returns
    -------
    xarray.Dataset
        As :func:`changed_supports`, with dim ``lost``.

    Raises
    ------
    ValueError
        An unknown column, or a body no longer held.

    Notes
    -----
    Without `floors` it is the least that neighbours take: a rigid body spreads the load over all
    supports. Floors that bend leave it to the columns around, between a soft and a stiff bound;
    the structural engineer's analysis of the frame decides.

    Examples
    --------
    >>> from groundborne.structure.supports import Supports
    >>> at = xr.DataArray([-6.0, 0.0, 6.0], dims="i")
    >>> x, y = (xr.DataArray(v.values.ravel(), dims="column", coords={"column": range(9)})
    ...         for v in xr.broadcast(at, at.rename(i="j")))
    >>> springs = Supports(x=x, y=y, z=0.0, kx=6e7, ky=6e7, kz=9e7)
    >>> body = RigidBody.box(mass=5e5, length_x=14.0, length_y=14.0, length_z=9.0, centre_z=4.5,
    ...                      supports=springs)
    >>> lost_supports(body, [4]).load_ratio.sel(lost=4).values.round(3).tolist()
    [1.125, 1.125, 1.125, 1.125, 0.0, 1.125, 1.125, 1.125, 1.125]
    """
    where = "lost_supports"
    column = body.supports.column
    names = column.values.tolist()
    wanted = names if columns is None else list(columns)
    for name in wanted:
        if wanted.count(name) > 1:
            raise ValueError(f"{where}: columns hold {name!r} twice; keep one")
    unknown = [c for c in wanted if c not in names]
    if unknown or not wanted:
        raise ValueError(
            f"{where}: columns holds {', '.join(map(str, unknown)) or 'nothing'}; known are "
            f"{', '.join(map(str, names))}"
        )
    lost = column.sel(column=wanted).rename(column="lost").drop_attrs()
    return changed_supports(body, factor=(lost != column).astype(float), floors=floors)
