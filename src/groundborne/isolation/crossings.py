"""What crosses the isolation plane beside the mounts: stairs, risers, facade, soil, dampers, stops.

Springs isolate what only they carry. A riser pipe held on both sides, a stair flight, backfill
against a wall above the plane or a stop that touches carries vibration past them, and often more of
it than the mounts let through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from groundborne._arguments import Frequency, checked
from groundborne._checks import LabelError, Numeric, not_negative, positive, within
from groundborne.citation import Citation
from groundborne.isolation.mount import Mount
from groundborne.isolation.rooms.air import (
    AIR_LOSS_FACTOR,
    AIR_LOSS_PRACTICE,
    AIR_MODULUS,
    AIR_SPRING,
    air_stiffness,
)

CROSSING = Citation(
    key="crossing-beside-the-mounts",
    author="groundborne",
    title="massless complex stiffness across the isolation plane, in parallel with the mounts",
    mark="derived",
    status="transcribed",
)
UNLISTED_PRACTICE = Citation(
    key="unlisted-crossings-practice",
    author="common practice",
    title="crossings that nobody listed carry a twentieth of what the mounts carry",
    mark="common practice",
    status="practice",
)
UNLISTED_SHARE = 0.05
"""Stiffness of crossings that nobody listed over that of the mounts [-], common practice."""
_SLOW = 1.0
"""Frequency at which the stiffness of mounts is read [Hz]: far below what moves inside them."""


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Crossing:
    """One kind of thing that crosses the isolation plane.

    Parameters
    ----------
    name : str
        What it is, for notes and the report.
    stiffness : float or DataArray
        Vertical dynamic stiffness of all of it together [N/m], 0 or more, such as ``E A/L`` of a
        member; :meth:`member`, :meth:`void_air`, :meth:`soil` and :meth:`unlisted` work it out.
    loss_factor : float or DataArray
        Of that stiffness [-], 0 to 1.
    damping : float or DataArray
        Viscous damping of all of it together [N s/m], 0 or more: a damper; soil on a wall above
        the plane is ``ρ v_s`` times its area of contact.
    columns : sequence of str
        Columns beside which it crosses, each with an equal part; empty where all share it, each by
        the floor area it carries.
    sleeve_stiffness : float or DataArray, optional
        Dynamic stiffness of what it passes through, in series with all of it [N/m], above 0: a
        sleeve, a flexible connector, a board before the soil.
    sleeve_loss_factor : float or DataArray
        Of the sleeve [-], 0 to 1.
    sources : sequence of Citation
        Of its numbers, where they have any.

    Raises
    ------
    ValueError
        A number out of bounds, a column named twice, or a crossing with neither stiffness nor
        damping.

    Notes
    -----
    It carries no permanent load: what is built in after release hangs from both sides. Whether a
    pipe, stair or cable tray has a sleeve that lets it move is for the register of crossings on
    site; one that was forgotten is found only by measurement.

    Examples
    --------
    >>> riser = Crossing(name="DN100 riser, flexible connector", stiffness=5e5, loss_factor=0.1)
    >>> f = xr.DataArray([10.0], dims="frequency")
    >>> complex(riser.dynamic_stiffness(f).round(0)[0])
    (500000+50000j)
    """

    name: str
    stiffness: Numeric = 0.0
    loss_factor: Numeric = 0.1
    damping: Numeric = 0.0
    columns: Sequence[str] = ()
    sleeve_stiffness: Numeric | None = None
    sleeve_loss_factor: Numeric = 0.1
    sources: Sequence[Citation] = ()

    def __post_init__(self) -> None:
        where = f"Crossing {self.name!r}"
        if not self.name.strip():
            raise ValueError("Crossing: the name is empty; say what crosses the plane")
        not_negative(where, "stiffness", self.stiffness, "N/m")
        within(where, "loss_factor", self.loss_factor, 0.0, 1.0, "")
        not_negative(where, "damping", self.damping, "N s/m")
        if not np.any(np.asarray(self.stiffness) > 0) and not np.any(np.asarray(self.damping) > 0):
            raise ValueError(
                f"{where}: it has neither stiffness nor damping; give one, or leave it out"
            )
        if self.sleeve_stiffness is not None:
            positive(where, "sleeve_stiffness", self.sleeve_stiffness, "N/m")
        within(where, "sleeve_loss_factor", self.sleeve_loss_factor, 0.0, 1.0, "")
        object.__setattr__(self, "columns", tuple(self.columns))
        object.__setattr__(self, "sources", tuple(self.sources))
        for column in self.columns:
            if list(self.columns).count(column) > 1:
                raise ValueError(f"{where}: column {column!r} is named twice")

    @classmethod
    def member(
        cls,
        *,
        name: str,
        youngs_modulus: Numeric,
        section_area: Numeric,
        length: Numeric,
        count: Numeric = 1.0,
        loss_factor: Numeric = 0.01,
        sleeve_stiffness: Numeric | None = None,
        sleeve_loss_factor: Numeric = 0.1,
        columns: Sequence[str] = (),
    ) -> Crossing:
        """Alike straight members that are held on both sides of the plane: risers, ties, bars.

        Parameters
        ----------
        name, columns
            As for the class.
        youngs_modulus, section_area, length : float or DataArray
            Of one member between its fixings [Pa], [m²], [m], above 0.
        count : float or DataArray
            How many, above 0.
        loss_factor : float or DataArray
            Of the members [-], 0 to 1; 0.01 is bare steel as built, common practice.
        sleeve_stiffness, sleeve_loss_factor : float or DataArray
            Of the sleeve or connector of one member [N/m], [-]; none where it is held rigidly.

        Returns
        -------
        Crossing
            ``n E A/L``, in series with its sleeves.

        Raises
        ------
        ValueError
            A size that is not above 0.

        Examples
        --------
        >>> riser = Crossing.member(name="DN100 riser", youngs_modulus=210e9, section_area=3e-3,
        ...                         length=6.0)
        >>> round(riser.stiffness / 1e6)
        105
        """
        where = f"Crossing.member {name!r}"
        for argument, value, unit in (
            ("youngs_modulus", youngs_modulus, "Pa"), ("section_area", section_area, "m²"),
            ("length", length, "m"), ("count", count, ""),
        ):  # fmt: skip
            positive(where, argument, value, unit)
        return cls(
            name=name,
            stiffness=count * youngs_modulus * section_area / length,
            loss_factor=loss_factor,
            columns=columns,
            sleeve_stiffness=None if sleeve_stiffness is None else count * sleeve_stiffness,
            sleeve_loss_factor=sleeve_loss_factor,
        )

    @classmethod
    def void_air(
        cls, *, area: Numeric, depth: Numeric, state: str, name: str = "air in the void"
    ) -> Crossing:
        """Air between the building and what it stands over, closed in on all sides.

        Parameters
        ----------
        area : float or DataArray
            Plan area over the void [m²], above 0.
        depth : float or DataArray
            Of the void [m], above 0.
        state : str
            As for :func:`~groundborne.isolation.air_stiffness`; it has no default, since openings
            decide and drawings show them.
        name : str
            As for the class.

        Returns
        -------
        Crossing
            ``1.4 p0 A/d`` where sealed, with the loss of air in that state.

        Raises
        ------
        ValueError
            Vented air, which carries nothing, an unknown state, a size that is not above 0.

        Notes
        -----
        Thin against the wavelength in air; wide voids and deep ones have modes of their own.

        Examples
        --------
        >>> round(Crossing.void_air(area=450.0, depth=0.2, state="sealed").stiffness / 1e6)
        319
        """
        where = "Crossing.void_air"
        positive(where, "area", area, "m²")
        per_area = air_stiffness(gap=depth, state=state)
        if AIR_MODULUS[state] == 0:
            raise ValueError(f"{where}: air that is {state} carries nothing; leave it out")
        return cls(
            name=name,
            stiffness=per_area * area,
            loss_factor=AIR_LOSS_FACTOR[state],
            sources=(AIR_SPRING, AIR_LOSS_PRACTICE),
        )

    @classmethod
    def soil(
        cls,
        *,
        area: Numeric,
        density: Numeric,
        shear_wave_speed: Numeric,
        board_modulus: Numeric | None = None,
        board_thickness: Numeric | None = None,
        board_loss_factor: Numeric = 0.1,
        name: str = "soil on walls above the plane",
    ) -> Crossing:
        """Soil against walls above the plane, with or without a board between.

        Parameters
        ----------
        area : float or DataArray
            Of contact [m²], above 0.
        density, shear_wave_speed : float or DataArray
            Of the soil [kg/m³], [m/s], above 0.
        board_modulus, board_thickness : float or DataArray, optional
            Dynamic modulus of a board between [Pa] and its thickness [m]: the shear modulus on
            walls, which slide past it, the compression modulus under what presses on it. Both or
            neither.
        board_loss_factor : float or DataArray
            Of the board [-], 0 to 1.
        name : str
            As for the class.

        Returns
        -------
        Crossing
            A dashpot ``ρ v_s A``, in series with the board's ``G A/t``.

        Raises
        ------
        ValueError
            A size that is not above 0, or half a board.

        Notes
        -----
        Shear waves leave the wall as a plane front; the soil's own spring, which adds below about
        ``v_s/(2π height)``, is left out.

        Examples
        --------
        >>> wall = Crossing.soil(area=78 * 3.0, density=1900.0, shear_wave_speed=200.0)
        >>> round(wall.damping / 1e6, 1)
        88.9
        """
        where = "Crossing.soil"
        for argument, value, unit in (
            ("area", area, "m²"), ("density", density, "kg/m³"),
            ("shear_wave_speed", shear_wave_speed, "m/s"),
        ):  # fmt: skip
            positive(where, argument, value, unit)
        board = None
        if board_modulus is not None and board_thickness is not None:
            positive(where, "board_modulus", board_modulus, "Pa")
            positive(where, "board_thickness", board_thickness, "m")
            board = board_modulus * area / board_thickness
        elif board_modulus is not None or board_thickness is not None:
            raise ValueError(
                f"{where}: board_modulus and board_thickness belong together; give both, or neither"
            )
        return cls(
            name=name,
            damping=density * shear_wave_speed * area,
            sleeve_stiffness=board,
            sleeve_loss_factor=board_loss_factor,
        )

    @classmethod
    def unlisted(
        cls,
        mount: Mount,
        *,
        share: Numeric = UNLISTED_SHARE,
        loss_factor: Numeric = 0.1,
        name: str = "crossings that are not listed",
    ) -> Crossing:
        """What is taken to cross where nobody listed the crossings.

        Parameters
        ----------
        mount : Mount
            All mounts; on several columns their sum counts.
        share : float or DataArray
            Stiffness over that of the mounts [-], above 0 and at most 10; 0.05 is common practice
            for a building whose crossings are known to be detailed.
        loss_factor : float or DataArray
            Of it [-], 0 to 1.
        name : str
            As for the class.

        Returns
        -------
        Crossing
            ``share · k`` with the mounts' stiffness at 1 Hz.

        Raises
        ------
        ValueError
            A share out of bounds.

        Examples
        --------
        >>> from groundborne.isolation import LinearMount
        >>> spring = LinearMount(stiffness=4e6, loss_factor=0.02)
        >>> round(float(Crossing.unlisted(spring).stiffness))
        200000
        """
        positive("Crossing.unlisted", "share", share, "")
        within("Crossing.unlisted", "share", share, 0.0, 10.0, "")
        slow = xr.DataArray([_SLOW], dims="frequency")
        held = mount.dynamic_stiffness(slow).isel(frequency=0, drop=True).real
        if "column" in held.dims:
            held = held.sum("column", skipna=False)
        return cls(
            name=name, stiffness=share * held, loss_factor=loss_factor, sources=(UNLISTED_PRACTICE,)
        )

    @property
    def citations(self) -> tuple[Citation, ...]:
        """Sources of the model and of its numbers."""
        return tuple(dict.fromkeys((CROSSING, *self.sources)))

    def dynamic_stiffness(self, frequency: Frequency) -> xr.DataArray:
        """``k (1 + jη) + jωc`` of all of it together, in series with its sleeve [N/m]."""
        spring = self.stiffness * (1 + 1j * self.loss_factor)
        whole: xr.DataArray = spring + 2j * np.pi * frequency * self.damping
        if self.sleeve_stiffness is None:
            return whole
        sleeve = self.sleeve_stiffness * (1 + 1j * self.sleeve_loss_factor)
        in_series: xr.DataArray = whole * sleeve / (whole + sleeve)
        return in_series

    def shares(self, weights: xr.DataArray) -> xr.DataArray:
        """Part of it that falls to each column [-].

        Parameters
        ----------
        weights : DataArray
            Share of each column in the floor area carried, on ``column``.

        Raises
        ------
        LabelError
            It crosses beside a column that is not there.
        """
        if not self.columns:
            return weights
        if "column" not in weights.dims:
            raise LabelError(
                f"Crossing {self.name!r}: it names columns {', '.join(map(repr, self.columns))}, "
                "and the building is one line without columns; leave them out"
            )
        labels = weights["column"].values.tolist()
        missing = [c for c in self.columns if c not in labels]
        if missing:
            raise LabelError(
                f"Crossing {self.name!r}: there is no column {missing[0]!r}; known are "
                f"{', '.join(map(repr, labels))}"
            )
        here = xr.DataArray(np.isin(labels, list(self.columns)), coords={"column": labels})
        return here / len(self.columns)
