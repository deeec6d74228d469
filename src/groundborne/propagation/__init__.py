"""From the ground to the floor: distance, coupling, storeys, floor resonance."""

from groundborne.propagation.coupling import (
    FOUNDATIONS,
    edin_foundation,
    no_coupling_loss,
    published_coupling,
)
from groundborne.propagation.floors import (
    FixedAmplification,
    FloorResonance,
    FundamentalAmplification,
    anc_floor_for_noise,
    anc_floor_vibration,
    edin_ground_to_floor,
)
from groundborne.propagation.frame import LineStoreys, MechanicalCoupling
from groundborne.propagation.free_foundation import FreeFoundation, plan_averaging
from groundborne.propagation.fta import (
    ADJUSTMENTS,
    BASE_CURVES,
    COUPLINGS,
    NOISE_STEPS,
    Adjustment,
    BaseCurve,
    fta_adjustment,
    fta_base_curve,
    fta_coupling,
    fta_noise_level,
)
from groundborne.propagation.ground import GroundDistance, SpeedChange, geometric_exponent
from groundborne.propagation.storeys import (
    FtaStoreyAttenuation,
    StoreyAttenuation,
    StoreyStep,
    no_storey_attenuation,
)
from groundborne.propagation.track import Track
from groundborne.propagation.walls import (
    WALL_CHANGE,
    WALL_CHANGE_RANGE,
    WALL_STANDARD_DEVIATION,
    WallsBelowFloor,
    WallsByJunction,
)

__all__ = [
    "ADJUSTMENTS",
    "BASE_CURVES",
    "COUPLINGS",
    "FOUNDATIONS",
    "NOISE_STEPS",
    "WALL_CHANGE",
    "WALL_CHANGE_RANGE",
    "WALL_STANDARD_DEVIATION",
    "Adjustment",
    "BaseCurve",
    "FixedAmplification",
    "FloorResonance",
    "FreeFoundation",
    "FtaStoreyAttenuation",
    "FundamentalAmplification",
    "GroundDistance",
    "LineStoreys",
    "MechanicalCoupling",
    "SpeedChange",
    "StoreyAttenuation",
    "StoreyStep",
    "Track",
    "WallsBelowFloor",
    "WallsByJunction",
    "anc_floor_for_noise",
    "anc_floor_vibration",
    "edin_foundation",
    "edin_ground_to_floor",
    "fta_adjustment",
    "fta_base_curve",
    "fta_coupling",
    "fta_noise_level",
    "geometric_exponent",
    "no_coupling_loss",
    "no_storey_attenuation",
    "plan_averaging",
    "published_coupling",
]


def __dir__() -> list[str]:
    return list(__all__)
