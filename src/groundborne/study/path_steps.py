"""Single steps of a path from their tables: to the foundation, the columns, the slabs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import xarray as xr

from groundborne._checks import Numeric, StudyError
from groundborne.bands import edges, third_octaves
from groundborne.cells import Cells
from groundborne.citation import Citation
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    FREE_FOUNDATION,
    GROUND,
    MID_SPAN,
    End,
    GivenChange,
    PathElement,
    TransmissionPath,
    Unchanged,
    Where,
)
from groundborne.propagation import (
    FixedAmplification,
    FloorResonance,
    FreeFoundation,
    FtaStoreyAttenuation,
    FundamentalAmplification,
    StoreyAttenuation,
    anc_floor_for_noise,
    anc_floor_vibration,
    edin_foundation,
    edin_ground_to_floor,
    no_coupling_loss,
    no_storey_attenuation,
    published_coupling,
)
from groundborne.study.building import Building
from groundborne.study.frame import Frame
from groundborne.study.given import Given
from groundborne.study.keys.path import GROUND_TO_FLOOR, MEASURED_HERE
from groundborne.study.line_steps import changed_columns, mounted_slab
from groundborne.study.table_files import plain
from groundborne.study.transfers import Transfers, over_model


def reaching(step: PathElement, building: Building) -> PathElement:
    """Refuse a step that is a table with fewer bands than the study, before it is evaluated."""
    if isinstance(step, GivenChange):
        step.level_change(building.rooms["frequency"])
    parts: list[PathElement] = []
    if isinstance(step, TransmissionPath):
        parts = list(step.elements.values())
    if isinstance(step, Where):
        parts = [part for part in (step.element, step.otherwise) if part is not None]
    for part in parts:
        reaching(part, building)
    return step


def _spectrum(given: Given, key: str, sign: float, ends: tuple[End, End]) -> GivenChange | None:
    """A spectrum written into the study file as two lists; None where a table stands for it."""
    frequency, values = given["frequency_hz"], given[key]
    if (frequency is None) != (values is None):
        there, lacking = ("frequency_hz", key) if values is None else (key, "frequency_hz")
        raise StudyError(
            f"{given.where}: {there!r} is given and {lacking!r} is not; give both, for what the "
            "table holds no row of, or none"
        )
    if frequency is None:
        return None
    return GivenChange(
        sign * given.on_bands(key),
        quantity_in=ends[0],
        quantity_out=ends[1],
        citations=given.citations(),
        measured=bool(given[MEASURED_HERE]),
    )


def _beside(step: PathElement | None, change: PathElement | None) -> PathElement | None:
    """Numbers that were given, with what column lines change beside them."""
    if step is None or change is None:
        return step
    return TransmissionPath(given=step, changed=change)


def coupling_step(
    given: Given,
    building: Building,
    frame: Frame | None,
    transfers: Transfers,
    *,
    by_line: bool,
    free: FreeFoundation | None,
) -> PathElement:
    """From the ground to the foundation: free of the building before column lines, else under it.

    Raises
    ------
    StudyError
        Losses before a column line that hold what it adds; a table that fits no model; a free
        foundation that no column line follows.
    """
    model, cells = given["model"], transfers.get("coupling")
    if model == "free foundation":
        return _free_foundation(given, free if by_line else None)
    ends = (GROUND, FREE_FOUNDATION if by_line else FOUNDATION)
    if by_line and (model != "none" or cells is not None):
        _require_free(given, "given" if model == "none" else model)
    elif given.has(_ONLY_FREE):
        raise StudyError(
            f"{given.where}: {_ONLY_FREE!r} is said of a table of losses before a column line, "
            "which adds the reaction of building and soil; here nothing adds it, so leave the key "
            "out and give the loss to the loaded foundation"
        )
    step: PathElement | None
    if model == "given":
        step = _spectrum(given, "loss_db", -1.0, ends)
    elif model == "none":
        step = Unchanged(*ends) if by_line else no_coupling_loss()
    elif model == "handbook":
        step = published_coupling(**given.arguments())
    else:
        step = edin_foundation(**given.arguments())
    return over_model(
        step, given, cells, building, of="floor_of_room", ends=ends, sign=-1.0, frame=frame
    )


def _free_foundation(given: Given, free: FreeFoundation | None) -> FreeFoundation:
    """What the foundation under column lines makes of the ground, as the path asks for it."""
    if free is None:
        raise StudyError(
            f"{given.where}: the model 'free foundation' leads to the foundation free of the "
            "building, from which the model 'column line' of [path.storeys] alone leads on; take "
            "that, or a loss to the loaded foundation here"
        )
    for name in ("table", _ONLY_FREE):
        if given.has(name):
            raise StudyError(
                f"{given.where}: the model 'free foundation' works out what the foundation makes "
                f"of the free ground, and {name!r} is of losses that hold the same, so that it "
                "would count twice; leave one of them out (beside a table the model is 'none')"
            )
    asked = given.arguments(*_AVERAGING)
    if asked and free.length is None:
        named = " and ".join(repr(n) for n in _AVERAGING if given.has(n))
        raise StudyError(
            f"{given.where}: {named} tells how a plan averages short waves, and pads, strips and "
            "piles without a raft, as [structure.foundation] has them, average none; leave it out"
        )
    return replace(free, **asked)


_ONLY_FREE = "free_field_correction_only"
_AVERAGING = ("apparent_speed_m_s", "coherent_share")


def _require_free(given: Given, model: str) -> None:
    """Refuse a coupling loss that holds what a column line adds: building and soil, twice."""
    twice = (
        f"{given.where}: the model {model!r} leads from the ground to the loaded foundation, and "
        "the model 'column line' of [path.storeys] adds the reaction of building and soil by "
        "itself, so that it would count twice; "
    )
    if model != "given":
        raise StudyError(
            f"{twice}take the model 'none' here, or storeys by another model. A table of what the "
            "foundation averages out of the free ground alone may be 'given', with "
            f"{_ONLY_FREE} = true"
        )
    if not given[_ONLY_FREE]:
        raise StudyError(
            f"{twice}take the model 'none' here, or, if 'loss_db' or 'table' holds no more than "
            "what the foundation averages out of the free ground, without the building, say so "
            f"with {_ONLY_FREE} = true"
        )


def storeys_step(
    given: Given,
    building: Building,
    of: str,
    frame: Frame | None,
    transfers: Transfers,
    *,
    loaded: bool,
) -> PathElement:
    """From the foundation to the columns; what is given by table begins under the building.

    Numbers are those of the building as built; what an option changes in its lines is beside them.
    """
    model = given["model"]
    ends, before = (FOUNDATION, COLUMN), None
    cells = transfers.get("storeys")
    after = None
    if frame is not None and cells is not None:
        after = changed_columns(frame, getattr(frame, of), alike=cells.of.label != "column")
    step: PathElement | None
    if model == "given":
        step = _spectrum(given, "change_db", 1.0, ends)
        if frame is not None:
            step = _beside(step, changed_columns(frame, getattr(frame, of), alike=True))
    elif model == "column line":
        assert frame is not None  # held against [structure] when it was read
        step = frame.to_columns(getattr(frame, of), loaded=loaded)
        before = None if loaded else frame.to_foundation()
    elif model == "none":
        step = no_storey_attenuation()
    else:
        storeys = plain(building.on_floor("storeys", of))
        if model == "FTA 2006":
            step = FtaStoreyAttenuation(storeys=storeys)
        else:
            step = StoreyAttenuation(
                storeys=storeys, citations=given.citations(), **given.arguments()
            )
    return over_model(
        step, given, cells, building, of=of, ends=ends, frame=frame, before=before, after=after
    )


def leads_from_the_ground(path: Given) -> bool:
    """Whether the floor step of a path holds all from the ground, and then takes it alone.

    Raises
    ------
    StudyError
        Steps beside it that would count coupling, building or floor twice.
    """
    floor = path["floor"]
    if floor["model"] != GROUND_TO_FLOOR:
        return False
    whole = (
        f"{floor.where}: the model {GROUND_TO_FLOOR!r} leads from the ground to the floor in one "
        "step, which holds coupling, building and floor; "
    )
    if not path.has("coupling"):
        raise StudyError(
            f"{whole}a path that begins at the foundation needs another model, and one that begins "
            'in the ground [path.coupling] with model = "none"'
        )
    for name in ("coupling", "storeys"):
        step = path[name]
        if step["model"] != "none" or step.has("table"):
            given = "a table" if step["model"] == "none" else f"the model {step['model']!r}"
            raise StudyError(
                f"{whole}{step.where} has {given}, which would count twice: take the model 'none'"
            )
    if path.has("mid_span"):
        raise StudyError(
            f"{whole}[path.mid_span] would lead on from columns that it does not tell of: leave it "
            "out, floors at mid-span then follow this model too"
        )
    return True


_MID_SPAN_FOR_AVERAGE = Citation(
    key="mid-span-for-average",
    author="groundborne",
    title="surface average taken as high as mid-span: of a strip between two supports that move "
    "alike 3.6 dB too much to 0.7 dB too little",
    mark="derived",
    status="assumed",
)


def _ground_to_floor(given: Given, building: Building, of: str, end: End) -> GivenChange:
    """From the ground, whose level the columns are given unchanged, to the floor."""
    natural = given["natural_frequencies_hz"]
    if natural is None:
        if "natural_frequency" not in building.floors:
            raise StudyError(
                f"{given.where}: the table of floors has no column 'natural_frequency_hz'; give it "
                "there, or 'natural_frequencies_hz' here"
            )
        natural = plain(building.on_floor("natural_frequency", of))
    elif not isinstance(natural, xr.DataArray):
        labels = {"floor_frequency": natural}
        natural = xr.DataArray(natural, dims="floor_frequency", coords=labels)
    step = edin_ground_to_floor(_third_octave(given, natural), given["construction"])
    more = () if end == MID_SPAN else (_MID_SPAN_FOR_AVERAGE,)
    return replace(step, quantity_in=COLUMN, quantity_out=end, citations=(*step.citations, *more))


def _third_octave(given: Given, natural: Numeric) -> xr.DataArray:
    """Nominal label of the third octave that each frequency lies in."""
    found = xr.DataArray(natural)
    held = third_octaves(8, 80)
    low, high = edges(held)
    place = np.searchsorted(high.values, found.values, side="right")
    outside = (found.values < low.values[0]) | (place == held.size)
    if outside.any():
        raise StudyError(
            f"{given.where}: the floor frequency {found.values[outside].ravel()[0]:g} Hz lies "
            f"outside the table, which holds the third octaves 8 to 80 Hz ({low.values[0]:.2f} to "
            f"{high.values[-1]:.1f} Hz); take another model"
        )
    return found.copy(data=held.values[place])


_PLACES = {"surface average": FLOOR_AVERAGE, "mid-span": MID_SPAN}


def floor_step(
    given: Given,
    building: Building,
    surface: str,
    frame: Frame | None,
    cells: Cells | None,
    *,
    from_own: bool = False,
) -> PathElement:
    """From the columns at the room's floor to the slab under it (floor) or over it (ceiling).

    `from_own` of a ceiling: from the columns at its own floor. Gains that are given are those of
    the building without mounts; what mounts change on the slab of a column line is beside them.
    """
    model = given["model"]
    of = "ceiling_floor" if surface == "ceiling" else "floor_of_room"
    ends = (COLUMN, _PLACES.get(given["place"], FLOOR_AVERAGE))
    after = None
    if frame is not None and cells is not None:
        alike = cells.of.label != "column"
        after = mounted_slab(frame, getattr(frame, of), ends[1], alike=alike)
    step: PathElement | None
    if model == "column line":
        assert frame is not None  # held against [structure] when it was read
        if surface == "mid_span":
            step = frame.to_mid_span(frame.as_built)
        elif from_own:
            step = frame.to_slab(getattr(frame, of))
        else:
            step = frame.to_slabs(frame.as_built)[surface]
    elif model == "ANC 2001, noise":
        step = anc_floor_for_noise()
    elif model == "ANC 2001, vibration":
        step = anc_floor_vibration()
    elif model == "fixed":
        step = FixedAmplification(**given.arguments())
    elif model == "fundamental":
        natural = plain(building.on_floor("natural_frequency", of))
        step = FundamentalAmplification(natural_frequency=natural, **given.arguments())
    elif model == GROUND_TO_FLOOR:
        if surface == "mid_span":
            ends = (COLUMN, MID_SPAN)
        step = _ground_to_floor(given, building, of, ends[1])
    elif model == "given":
        step = _spectrum(given, "gain_db", 1.0, ends)
        if frame is not None:
            step = _beside(step, mounted_slab(frame, getattr(frame, of), ends[1], alike=True))
    else:
        possible = given["natural_frequencies_hz"]
        if not isinstance(possible, xr.DataArray):
            labels = {"floor_frequency": possible}
            possible = xr.DataArray(possible, dims="floor_frequency", coords=labels)
        step = FloorResonance(natural_frequency=possible, **given.arguments())
    return over_model(step, given, cells, building, of=of, ends=ends, frame=frame, after=after)
