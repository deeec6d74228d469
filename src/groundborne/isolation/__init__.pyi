"""Public names, and where they are defined; the one list of them."""

from groundborne.isolation.air import (
    air_stiffness as air_stiffness,
)
from groundborne.isolation.air import (
    mass_air_mass_frequency as mass_air_mass_frequency,
)
from groundborne.isolation.air import (
    resilient_layer_stiffness as resilient_layer_stiffness,
)
from groundborne.isolation.base import (
    BaseIsolation as BaseIsolation,
)
from groundborne.isolation.base import (
    IdealIsolation as IdealIsolation,
)
from groundborne.isolation.box import Box as Box
from groundborne.isolation.bridge import (
    BridgedFloor as BridgedFloor,
)
from groundborne.isolation.bridge import (
    Contact as Contact,
)
from groundborne.isolation.bridge import (
    rank_contacts as rank_contacts,
)
from groundborne.isolation.ceiling import (
    HungCeiling as HungCeiling,
)
from groundborne.isolation.ceiling import (
    largest_hanger_grid as largest_hanger_grid,
)
from groundborne.isolation.coiling import (
    COLD_COILED as COLD_COILED,
)
from groundborne.isolation.coiling import (
    HOT_COILED as HOT_COILED,
)
from groundborne.isolation.coiling import (
    Coiling as Coiling,
)
from groundborne.isolation.coiling import (
    curvature_factor as curvature_factor,
)
from groundborne.isolation.coiling import (
    wahl_factor as wahl_factor,
)
from groundborne.isolation.compound import (
    RubberCompound as RubberCompound,
)
from groundborne.isolation.compound import (
    creep_growth as creep_growth,
)
from groundborne.isolation.compound import (
    hardness_range as hardness_range,
)
from groundborne.isolation.compound import (
    hardness_samples as hardness_samples,
)
from groundborne.isolation.compound import (
    rubber_moduli as rubber_moduli,
)
from groundborne.isolation.compound import (
    rubber_temperature_factor as rubber_temperature_factor,
)
from groundborne.isolation.crossings import CrossedMount as CrossedMount
from groundborne.isolation.crossings import Crossing as Crossing
from groundborne.isolation.distributed import (
    Dashpot as Dashpot,
)
from groundborne.isolation.distributed import (
    DistributedMount as DistributedMount,
)
from groundborne.isolation.distributed import (
    InParallel as InParallel,
)
from groundborne.isolation.distributed import (
    InSeries as InSeries,
)
from groundborne.isolation.floor import (
    JackUpFloor as JackUpFloor,
)
from groundborne.isolation.floor import (
    poured_thickness as poured_thickness,
)
from groundborne.isolation.floor_layers import FloorOnSlab as FloorOnSlab
from groundborne.isolation.inner_wall import InnerWall as InnerWall
from groundborne.isolation.light_floor import Board as Board
from groundborne.isolation.light_floor import LightFloor as LightFloor
from groundborne.isolation.lining import (
    BridgedLining as BridgedLining,
)
from groundborne.isolation.lining import (
    line_bridge_factor as line_bridge_factor,
)
from groundborne.isolation.lining import (
    lining_improvement as lining_improvement,
)
from groundborne.isolation.lining import (
    point_bridge_factor as point_bridge_factor,
)
from groundborne.isolation.mount import (
    ChosenFor as ChosenFor,
)
from groundborne.isolation.mount import (
    LinearMount as LinearMount,
)
from groundborne.isolation.mount import (
    Mount as Mount,
)
from groundborne.isolation.mount import (
    TwoStageMount as TwoStageMount,
)
from groundborne.isolation.pads import PlainPad as PlainPad
from groundborne.isolation.pads import PolymerPad as PolymerPad
from groundborne.isolation.rubber import (
    LaminatedBearing as LaminatedBearing,
)
from groundborne.isolation.rubber import (
    compression_modulus as compression_modulus,
)
from groundborne.isolation.rubber import (
    strip_compression_modulus as strip_compression_modulus,
)
from groundborne.isolation.rubber_checks import (
    BearingChecks as BearingChecks,
)
from groundborne.isolation.rubber_checks import (
    aashto_constants as aashto_constants,
)
from groundborne.isolation.rubber_checks import (
    aashto_strain as aashto_strain,
)
from groundborne.isolation.rubber_checks import (
    bearing_checks as bearing_checks,
)
from groundborne.isolation.rubber_plan import (
    Disc as Disc,
)
from groundborne.isolation.rubber_plan import (
    Plan as Plan,
)
from groundborne.isolation.rubber_plan import (
    Rectangle as Rectangle,
)
from groundborne.isolation.rubber_plan import (
    plan_shape_factor as plan_shape_factor,
)
from groundborne.isolation.rubber_plan import (
    shape_factor as shape_factor,
)
from groundborne.isolation.rubber_plan import (
    shape_factor_strip as shape_factor_strip,
)
from groundborne.isolation.spring_pack import SpringPack as SpringPack
from groundborne.isolation.spring_stability import (
    buckling_deflection as buckling_deflection,
)
from groundborne.isolation.spring_stability import (
    lateral_ratio as lateral_ratio,
)
from groundborne.isolation.spring_stability import (
    safe_slenderness as safe_slenderness,
)
from groundborne.isolation.spring_strength import (
    FEW_CYCLES as FEW_CYCLES,
)
from groundborne.isolation.spring_strength import (
    MANY_CYCLES as MANY_CYCLES,
)
from groundborne.isolation.spring_strength import (
    FatigueLines as FatigueLines,
)
from groundborne.isolation.spring_strength import (
    cold_stress_limit as cold_stress_limit,
)
from groundborne.isolation.spring_strength import (
    modulus_temperature_factor as modulus_temperature_factor,
)
from groundborne.isolation.spring_strength import (
    relaxation_statement as relaxation_statement,
)
from groundborne.isolation.spring_strength import (
    solid_stress_limit as solid_stress_limit,
)
from groundborne.isolation.spring_strength import (
    wire_strength as wire_strength,
)
from groundborne.isolation.steel import HelicalSpring as HelicalSpring
from groundborne.isolation.surface import SurfaceIsolation as SurfaceIsolation
from groundborne.isolation.transmissibility import (
    coupled_frequencies as coupled_frequencies,
)
from groundborne.isolation.transmissibility import (
    hysteretic as hysteretic,
)
from groundborne.isolation.transmissibility import (
    natural_frequency as natural_frequency,
)
from groundborne.isolation.transmissibility import (
    two_stage as two_stage,
)
from groundborne.isolation.transmissibility import (
    viscous as viscous,
)
