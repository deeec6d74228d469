"""Public names, and where they are defined; the one list of them."""

from groundborne.structure.column_line import ColumnLine as ColumnLine
from groundborne.structure.damped_body import damped_modes as damped_modes
from groundborne.structure.damped_body import frequency_response as frequency_response
from groundborne.structure.dampers import Dampers as Dampers
from groundborne.structure.element import (
    Mobility as Mobility,
)
from groundborne.structure.element import (
    RigidMass as RigidMass,
)
from groundborne.structure.element import (
    SemiInfiniteRod as SemiInfiniteRod,
)
from groundborne.structure.element import (
    SpringFoundation as SpringFoundation,
)
from groundborne.structure.floating import FloatingFloor as FloatingFloor
from groundborne.structure.footing import (
    RADIATION as RADIATION,
)
from groundborne.structure.footing import (
    DiscFooting as DiscFooting,
)
from groundborne.structure.footing import (
    RectangularFooting as RectangularFooting,
)
from groundborne.structure.footing import (
    gazetas_stiffness as gazetas_stiffness,
)
from groundborne.structure.lifting_springs import TippingError as TippingError
from groundborne.structure.one_way_slab import OneWaySlab as OneWaySlab
from groundborne.structure.pile import Pile as Pile
from groundborne.structure.pile import PileGroup as PileGroup
from groundborne.structure.planar_body import (
    PlanarBody as PlanarBody,
)
from groundborne.structure.plate import (
    InfiniteBeam as InfiniteBeam,
)
from groundborne.structure.plate import (
    InfinitePlate as InfinitePlate,
)
from groundborne.structure.plate import (
    plate_bending_stiffness as plate_bending_stiffness,
)
from groundborne.structure.plate import (
    simply_supported_frequency as simply_supported_frequency,
)
from groundborne.structure.plate_on_springs import PlateOnSprings as PlateOnSprings
from groundborne.structure.plate_parts import (
    PlateBeam as PlateBeam,
)
from groundborne.structure.plate_parts import (
    PlatePart as PlatePart,
)
from groundborne.structure.rigid_body import RigidBody as RigidBody
from groundborne.structure.shared import SharedFoundation as SharedFoundation
from groundborne.structure.slab import BareSlab as BareSlab
from groundborne.structure.slab import (
    EdgeSupportedSlab as EdgeSupportedSlab,
)
from groundborne.structure.slab import (
    FlatSlab as FlatSlab,
)
from groundborne.structure.slab import (
    Slab as Slab,
)
from groundborne.structure.storey import IsolationPlane as IsolationPlane
from groundborne.structure.storey import Storey as Storey
from groundborne.structure.supports import Supports as Supports
from groundborne.structure.tributary import column_mean as column_mean
from groundborne.structure.tributary import column_weights as column_weights
from groundborne.structure.tributary import columns_around as columns_around
