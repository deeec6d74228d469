"""Mounts and what they gain: under the building and in the room."""

import importlib
from typing import TYPE_CHECKING, Any

from groundborne.isolation.base import BaseIsolation, IdealIsolation
from groundborne.isolation.distributed import Dashpot, DistributedMount, InParallel, InSeries
from groundborne.isolation.mount import LinearMount, Mount, TwoStageMount
from groundborne.isolation.surface import SurfaceIsolation
from groundborne.isolation.transmissibility import (
    coupled_frequencies,
    hysteretic,
    natural_frequency,
    two_stage,
    viscous,
)

if TYPE_CHECKING:
    from groundborne.isolation.air import (
        air_stiffness,
        mass_air_mass_frequency,
        resilient_layer_stiffness,
    )
    from groundborne.isolation.box import Box
    from groundborne.isolation.bridge import BridgedFloor, Contact, rank_contacts
    from groundborne.isolation.ceiling import HungCeiling, largest_hanger_grid
    from groundborne.isolation.coiling import (
        COLD_COILED,
        HOT_COILED,
        Coiling,
        curvature_factor,
        wahl_factor,
    )
    from groundborne.isolation.compound import (
        RubberCompound,
        creep_growth,
        hardness_range,
        hardness_samples,
        rubber_moduli,
        rubber_temperature_factor,
    )
    from groundborne.isolation.floor import JackUpFloor, poured_thickness
    from groundborne.isolation.floor_layers import FloorOnSlab
    from groundborne.isolation.inner_wall import InnerWall
    from groundborne.isolation.light_floor import Board, LightFloor
    from groundborne.isolation.lining import (
        BridgedLining,
        line_bridge_factor,
        lining_improvement,
        point_bridge_factor,
    )
    from groundborne.isolation.pads import PlainPad, PolymerPad
    from groundborne.isolation.rubber import (
        LaminatedBearing,
        compression_modulus,
        strip_compression_modulus,
    )
    from groundborne.isolation.rubber_checks import (
        BearingChecks,
        aashto_constants,
        aashto_strain,
        bearing_checks,
    )
    from groundborne.isolation.rubber_plan import (
        Disc,
        Plan,
        Rectangle,
        plan_shape_factor,
        shape_factor,
        shape_factor_strip,
    )
    from groundborne.isolation.spring_pack import SpringPack
    from groundborne.isolation.spring_stability import (
        buckling_deflection,
        lateral_ratio,
        safe_slenderness,
    )
    from groundborne.isolation.spring_strength import (
        FEW_CYCLES,
        MANY_CYCLES,
        FatigueLines,
        modulus_temperature_factor,
        relaxation_statement,
        solid_stress_limit,
    )
    from groundborne.isolation.steel import HelicalSpring

__all__ = [
    "COLD_COILED",
    "FEW_CYCLES",
    "HOT_COILED",
    "MANY_CYCLES",
    "BaseIsolation",
    "BearingChecks",
    "Board",
    "Box",
    "BridgedFloor",
    "BridgedLining",
    "Coiling",
    "Contact",
    "Dashpot",
    "Disc",
    "DistributedMount",
    "FatigueLines",
    "FloorOnSlab",
    "HelicalSpring",
    "HungCeiling",
    "IdealIsolation",
    "InParallel",
    "InSeries",
    "InnerWall",
    "JackUpFloor",
    "LaminatedBearing",
    "LightFloor",
    "LinearMount",
    "Mount",
    "PlainPad",
    "Plan",
    "PolymerPad",
    "Rectangle",
    "RubberCompound",
    "SpringPack",
    "SurfaceIsolation",
    "TwoStageMount",
    "aashto_constants",
    "aashto_strain",
    "air_stiffness",
    "bearing_checks",
    "buckling_deflection",
    "compression_modulus",
    "coupled_frequencies",
    "creep_growth",
    "curvature_factor",
    "hardness_range",
    "hardness_samples",
    "hysteretic",
    "largest_hanger_grid",
    "lateral_ratio",
    "line_bridge_factor",
    "lining_improvement",
    "mass_air_mass_frequency",
    "modulus_temperature_factor",
    "natural_frequency",
    "plan_shape_factor",
    "point_bridge_factor",
    "poured_thickness",
    "rank_contacts",
    "relaxation_statement",
    "resilient_layer_stiffness",
    "rubber_moduli",
    "rubber_temperature_factor",
    "safe_slenderness",
    "shape_factor",
    "shape_factor_strip",
    "solid_stress_limit",
    "strip_compression_modulus",
    "two_stage",
    "viscous",
    "wahl_factor",
]

# Loaded when first asked for: a prediction needs none of them, and they double its start.
_LATER = {
    "air": (
        "air_stiffness",
        "mass_air_mass_frequency",
        "resilient_layer_stiffness",
    ),
    "box": ("Box",),
    "bridge": (
        "BridgedFloor",
        "Contact",
        "rank_contacts",
    ),
    "ceiling": (
        "HungCeiling",
        "largest_hanger_grid",
    ),
    "coiling": (
        "COLD_COILED",
        "HOT_COILED",
        "Coiling",
        "curvature_factor",
        "wahl_factor",
    ),
    "compound": (
        "RubberCompound",
        "creep_growth",
        "hardness_range",
        "hardness_samples",
        "rubber_moduli",
        "rubber_temperature_factor",
    ),
    "floor": (
        "JackUpFloor",
        "poured_thickness",
    ),
    "floor_layers": ("FloorOnSlab",),
    "inner_wall": ("InnerWall",),
    "light_floor": (
        "Board",
        "LightFloor",
    ),
    "lining": (
        "BridgedLining",
        "line_bridge_factor",
        "lining_improvement",
        "point_bridge_factor",
    ),
    "pads": (
        "PlainPad",
        "PolymerPad",
    ),
    "rubber": (
        "LaminatedBearing",
        "compression_modulus",
        "strip_compression_modulus",
    ),
    "rubber_checks": (
        "BearingChecks",
        "aashto_constants",
        "aashto_strain",
        "bearing_checks",
    ),
    "rubber_plan": (
        "Disc",
        "Plan",
        "Rectangle",
        "plan_shape_factor",
        "shape_factor",
        "shape_factor_strip",
    ),
    "spring_pack": ("SpringPack",),
    "spring_stability": (
        "buckling_deflection",
        "lateral_ratio",
        "safe_slenderness",
    ),
    "spring_strength": (
        "FEW_CYCLES",
        "MANY_CYCLES",
        "FatigueLines",
        "modulus_temperature_factor",
        "relaxation_statement",
        "solid_stress_limit",
    ),
    "steel": ("HelicalSpring",),
}
_MODULE_OF = {name: module for module, names in _LATER.items() for name in names}


def __getattr__(name: str) -> Any:
    if name in _MODULE_OF:
        return getattr(importlib.import_module(f"groundborne.isolation.{_MODULE_OF[name]}"), name)
    raise AttributeError(f"module 'groundborne.isolation' has no attribute {name!r}")
