"""Public names, and where they are defined; the one list of them."""

from groundborne.isolation.base import (
    BaseIsolation as BaseIsolation,
    IdealIsolation as IdealIsolation,
)
from groundborne.isolation.bypass import (
    ONE_STAGE_PATH as ONE_STAGE_PATH,
    TWO_STAGE_PATH as TWO_STAGE_PATH,
    Bypassed as Bypassed,
    EnergyPath as EnergyPath,
    bypassed_loss as bypassed_loss,
    stage_paths as stage_paths,
    stages_of as stages_of,
    with_and_without as with_and_without,
)
from groundborne.isolation.crossed_mount import CrossedMount as CrossedMount
from groundborne.isolation.crossings import Crossing as Crossing
from groundborne.isolation.distributed import (
    Dashpot as Dashpot,
    DistributedMount as DistributedMount,
    InParallel as InParallel,
    InSeries as InSeries,
)
from groundborne.isolation.in_service import InService as InService
from groundborne.isolation.mount import (
    ChosenFor as ChosenFor,
    LinearMount as LinearMount,
    Mount as Mount,
    TwoStageMount as TwoStageMount,
)
from groundborne.isolation.rooms.air import (
    air_stiffness as air_stiffness,
    mass_air_mass_frequency as mass_air_mass_frequency,
    resilient_layer_stiffness as resilient_layer_stiffness,
)
from groundborne.isolation.rooms.box import Box as Box
from groundborne.isolation.rooms.bridge import BridgedFloor as BridgedFloor, Contact as Contact
from groundborne.isolation.rooms.ceiling import (
    HungCeiling as HungCeiling,
    largest_hanger_grid as largest_hanger_grid,
)
from groundborne.isolation.rooms.floor import (
    JackUpFloor as JackUpFloor,
    poured_thickness as poured_thickness,
)
from groundborne.isolation.rooms.floor_on_mounts import FloorOnMounts as FloorOnMounts
from groundborne.isolation.rooms.floor_on_slab import FloorOnSlab as FloorOnSlab
from groundborne.isolation.rooms.inner_wall import InnerWall as InnerWall
from groundborne.isolation.rooms.light_floor import Board as Board, LightFloor as LightFloor
from groundborne.isolation.rooms.lining import (
    BridgedLining as BridgedLining,
    line_bridge_factor as line_bridge_factor,
    lining_improvement as lining_improvement,
    point_bridge_factor as point_bridge_factor,
)
from groundborne.isolation.rooms.ranked_contacts import rank_contacts as rank_contacts
from groundborne.isolation.rooms.surface import SurfaceIsolation as SurfaceIsolation
from groundborne.isolation.rubber.bearing import (
    LaminatedBearing as LaminatedBearing,
    compression_modulus as compression_modulus,
    strip_compression_modulus as strip_compression_modulus,
)
from groundborne.isolation.rubber.checks import (
    BearingChecks as BearingChecks,
    aashto_constants as aashto_constants,
    aashto_strain as aashto_strain,
    bearing_checks as bearing_checks,
)
from groundborne.isolation.rubber.compound import (
    RubberCompound as RubberCompound,
    creep_growth as creep_growth,
    hardness_range as hardness_range,
    hardness_samples as hardness_samples,
    rubber_moduli as rubber_moduli,
)
from groundborne.isolation.rubber.pads import PlainPad as PlainPad, PolymerPad as PolymerPad
from groundborne.isolation.rubber.plan import (
    Disc as Disc,
    Plan as Plan,
    Rectangle as Rectangle,
    plan_shape_factor as plan_shape_factor,
    shape_factor as shape_factor,
    shape_factor_strip as shape_factor_strip,
)
from groundborne.isolation.rubber.service import (
    rubber_age_factor as rubber_age_factor,
    rubber_amplitude_factor as rubber_amplitude_factor,
    rubber_exponent as rubber_exponent,
    rubber_frequency_factor as rubber_frequency_factor,
    rubber_temperature_factor as rubber_temperature_factor,
)
from groundborne.isolation.steel.coil_loss import coil_loss_statement as coil_loss_statement
from groundborne.isolation.steel.coiling import (
    COLD_COILED as COLD_COILED,
    HOT_COILED as HOT_COILED,
    Coiling as Coiling,
    curvature_factor as curvature_factor,
    wahl_factor as wahl_factor,
)
from groundborne.isolation.steel.pack import SpringPack as SpringPack
from groundborne.isolation.steel.spring import HelicalSpring as HelicalSpring
from groundborne.isolation.steel.stability import (
    buckling_deflection as buckling_deflection,
    lateral_ratio as lateral_ratio,
    safe_slenderness as safe_slenderness,
)
from groundborne.isolation.steel.strength import (
    FEW_CYCLES as FEW_CYCLES,
    MANY_CYCLES as MANY_CYCLES,
    FatigueLines as FatigueLines,
    cold_stress_limit as cold_stress_limit,
    modulus_temperature_factor as modulus_temperature_factor,
    relaxation_statement as relaxation_statement,
    solid_stress_limit as solid_stress_limit,
    wire_strength as wire_strength,
)
from groundborne.isolation.transmissibility import (
    coupled_frequencies as coupled_frequencies,
    hysteretic as hysteretic,
    natural_frequency as natural_frequency,
    two_stage as two_stage,
    viscous as viscous,
)
