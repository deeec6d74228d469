"""Public names, and where they are defined; the one list of them."""

from groundborne.structure.bending_frame import (
    BendingFrame as BendingFrame,
    FrameStorey as FrameStorey,
    SlabStrip as SlabStrip,
)
from groundborne.structure.column_line import ColumnLine as ColumnLine
from groundborne.structure.damped_body import (
    damped_modes as damped_modes,
    frequency_response as frequency_response,
)
from groundborne.structure.dampers import Dampers as Dampers
from groundborne.structure.edge_slab import EdgeSupportedSlab as EdgeSupportedSlab
from groundborne.structure.element import (
    Mobility as Mobility,
    RigidMass as RigidMass,
    SemiInfiniteRod as SemiInfiniteRod,
    SpringFoundation as SpringFoundation,
)
from groundborne.structure.floating import FloatingFloor as FloatingFloor
from groundborne.structure.floor_masses import weighed as weighed
from groundborne.structure.footing import (
    RADIATION as RADIATION,
    DiscFooting as DiscFooting,
    RectangularFooting as RectangularFooting,
    gazetas_stiffness as gazetas_stiffness,
)
from groundborne.structure.junction import (
    JunctionPlate as JunctionPlate,
    PinnedJunction as PinnedJunction,
    velocity_by_junction as velocity_by_junction,
)
from groundborne.structure.lateral_foundation import (
    LateralFoundation as LateralFoundation,
)
from groundborne.structure.lifting_springs import TippingError as TippingError
from groundborne.structure.line_limits import known_failures as known_failures
from groundborne.structure.one_way_slab import OneWaySlab as OneWaySlab
from groundborne.structure.phases import ColumnPhases as ColumnPhases
from groundborne.structure.pile import Pile as Pile, PileGroup as PileGroup
from groundborne.structure.planar_body import (
    PlanarBody as PlanarBody,
)
from groundborne.structure.plate import (
    InfiniteBeam as InfiniteBeam,
    InfinitePlate as InfinitePlate,
    plate_bending_stiffness as plate_bending_stiffness,
    simply_supported_frequency as simply_supported_frequency,
)
from groundborne.structure.plate_on_springs import PlateOnSprings as PlateOnSprings
from groundborne.structure.plate_parts import (
    PlateBeam as PlateBeam,
    PlatePart as PlatePart,
)
from groundborne.structure.raft import (
    Raft as Raft,
    basement_wall_stiffness as basement_wall_stiffness,
)
from groundborne.structure.rigid_body import RigidBody as RigidBody
from groundborne.structure.shared import SharedFoundation as SharedFoundation
from groundborne.structure.slab import BareSlab as BareSlab, FlatSlab as FlatSlab, Slab as Slab
from groundborne.structure.soil import (
    effective_shear_wave_speed as effective_shear_wave_speed,
    free_velocity_ratio as free_velocity_ratio,
)
from groundborne.structure.storey import IsolationPlane as IsolationPlane, Storey as Storey
from groundborne.structure.supports import Supports as Supports
from groundborne.structure.tributary import (
    column_mean as column_mean,
    column_weights as column_weights,
    columns_around as columns_around,
)
