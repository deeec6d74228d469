"""Foundations from their tables in a study file, and what they make of the ground."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from groundborne._checks import Numeric, StudyError
from groundborne.propagation import FreeFoundation
from groundborne.structure import (
    EdgeSupportedSlab,
    Mobility,
    Raft,
    RectangularFooting,
    SpringFoundation,
    basement_wall_stiffness,
)
from groundborne.study.given import Given

_SOIL = {
    "rectangular footing": RectangularFooting,
    "springs and dashpots": SpringFoundation,
    "raft": RectangularFooting,
    "raft on piles": SpringFoundation,
}
_CONCRETE = (
    "thickness_m",
    "concrete_modulus_pa",
    "concrete_density_kg_m3",
    "concrete_poisson",
    "concrete_loss_factor",
    "superimposed_kg_m2",
)
_OF_SOIL = {
    RectangularFooting: (
        "length_m", "width_m", "embedment_m", "shear_wave_speed_m_s", "density_kg_m3", "poisson",
        "loss_factor", "mass_kg",
    ),
    SpringFoundation: ("stiffness_n_m", "damping_n_s_m", "loss_factor", "mass_kg"),
}  # fmt: skip


def foundation_of(given: Given) -> Mobility:
    """A rigid foundation on soil or piles; of a raft the soil or piles under it.

    Raises
    ------
    StudyError
        Its numbers do not fit together.
    """
    kind: Any = _SOIL[given["model"]]
    with given.naming():
        found: Mobility = kind(**given.arguments(*_OF_SOIL[kind]))
    return found


def whole_foundation(given: Given, *, slab: Any) -> Mobility:
    """The foundation of a building of column lines, whole: of a raft what is under one panel.

    Parameters
    ----------
    given : Given
        The table ``[structure.foundation]``.
    slab : Slab
        Of a storey, which tells the column grid and whether columns or walls stand there.

    Raises
    ------
    StudyError
        Its numbers do not fit together.
    """
    soil = foundation_of(given)
    if not given["model"].startswith("raft"):
        return soil
    if np.any(np.asarray(given["width_m"] > given["length_m"])):
        raise StudyError(
            f"{given.where}: 'width_m' is above 'length_m', which is the longer side of the raft"
        )
    walls: Given | None = given["basement_walls"]
    with given.naming():
        concrete = given.arguments(*_CONCRETE)
        stiffness: Numeric = 0.0
        if walls is not None:
            if np.any(np.asarray(walls["spacing_m"] > given["width_m"])):
                raise StudyError(
                    f"{walls.where}: 'spacing_m' is above 'width_m' of the raft, so that no two "
                    "walls stand on it; give the distance from wall to wall"
                )
            with walls.naming():
                stiffness = basement_wall_stiffness(
                    **walls.arguments(),
                    raft_thickness=concrete["thickness"],
                    youngs_modulus=concrete["youngs_modulus"],
                )
        return Raft(
            soil=soil,
            area=given["length_m"] * given["width_m"],
            span_x=slab.span_x,
            span_y=slab.span_y,
            wall_stiffness=stiffness,
            under="walls" if isinstance(slab, EdgeSupportedSlab) else "columns",
            **concrete,
        )


def free_foundation_of(given: Given, under: Any) -> FreeFoundation:
    """What the foundation, free of the building, makes of the ground by its size and mass.

    Parameters
    ----------
    given : Given
        The table ``[structure.foundation]``.
    under : Mobility
        What the column lines stand on: a share of the foundation, or panels of a raft.
    """
    plan: dict[str, Any] = {}
    if given.has("length_m") and not given["pads_and_strips"]:
        plan = given.arguments("length_m", "width_m")
    whole = replace(under, panel_share=1.0) if isinstance(under, Raft) else under.foundation
    with given.naming():
        return FreeFoundation(foundation=whole, **plan)


def share_under_lines(under: Any) -> Numeric:
    """Share of the whole foundation that carries each line [-]."""
    if isinstance(under, Raft):
        return under.panel_share * under.span_x * under.span_y / under.area
    share: Numeric = under.share
    return share
