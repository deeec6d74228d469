"""Room measures solved together with column lines and mounts, against the lines by hand."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.isolation import Box, HungCeiling, JackUpFloor
from groundborne.levels import decibel
from groundborne.path import COLUMN
from groundborne.study import Frame, Option, RoomMeasure

FLOOR = JackUpFloor(
    thickness=0.10, density=2400.0, youngs_modulus=30e9, mount_stiffness=0.9e6,
    mount_loss_factor=0.1, spacing_x=1.2, spacing_y=1.4, air_gap=0.08, air_state="filled",
)  # fmt: skip
CEILING = HungCeiling(
    board_mass=50.0, spacing_x=1.2, spacing_y=1.2, hanger_deflection=0.025, loss_factor=0.05,
    cavity_depth=0.3, air_state="filled",
)  # fmt: skip
ROOM = "R1.1"  # on level 1, under level 2


@pytest.fixture(scope="module")
def school() -> gb.Study:
    study = gb.read_study("data/music_school/study.toml")
    # Three columns of unlike weight are enough.
    assert isinstance(study.plane, Frame)
    return study


def option(study, parts, *, base=None, rooms=(ROOM,), **more):
    slabs = study.plane.room_slabs()
    box = Box(**parts)
    treatments = {
        group: part.treatment(slab=slabs.get(group), largest_loss=60.0)
        for group, part in parts.items()
    }
    return Option(
        name="built",
        base=base,
        measures=(RoomMeasure(rooms=rooms, treatments=treatments, box=box), *more.get("more", ())),
    )


def by_hand(study, mount, layers):
    """Mean squares at the columns, over the surfaces and at mid-panel, with layers on slabs."""
    frame = study.plane
    line = frame.line if mount is None else frame.isolated_line(mount)
    storeys = tuple(
        replace(s, slab=replace(s.slab, floating_floor=layers[s.floor].layer()))
        if s.floor in layers
        else s
        for s in line.storeys
    )
    found = replace(line, storeys=storeys).floor_mean_squares(
        study.frequency,
        places=("column", "surface", "slab", "mid_panel"),
        on_floating_floor=True,
    )
    if mount is not None:  # by the way that limits one stage arrives what does without mounts
        built, _ = by_hand(study, None, layers)
        found = {place: each + 10**-2.5 * built[place] for place, each in found.items()}
    return found, frame.column_weights


@pytest.fixture(scope="module")
def diffuse() -> gb.Study:
    """Rooms with a diffuse field, into which surfaces radiate by their mean squares alone."""
    changes = {"path.radiation.field": "diffuse"}
    return gb.read_study("data/music_school/study.toml", changes=changes)


@pytest.mark.parametrize("soft", [False, True])
def test_floor_and_ceiling_load_their_slabs(diffuse, soft) -> None:
    """All of base, floor and ceiling from one line: what the column of the room brings, by hand.
    Walls stay 10 dB below the slab under the floor, to which they are joined."""
    school = diffuse
    mount = school.mount(natural_frequency=9.0, loss_factor=0.1) if soft else None
    study = school.with_options([option(school, {"floor": FLOOR, "ceiling": CEILING}, base=mount)])
    found, weights = by_hand(school, mount, {"1": FLOOR, "2": CEILING})
    bare, _ = by_hand(school, mount, {})
    arriving = school.as_built.up_to("coupling").level_change(school.frequency)

    def beside(place: str, level: str) -> xr.DataArray:
        """With the way beside the layers, 60 dB below what arrives without them."""
        with_layer, without = (x[place].sel(floor=level, drop=True) for x in (found, bare))
        return with_layer + 1e-6 * without

    felt = study.floor_paths()["built"].level_change(school.frequency).sel(room=ROOM)
    mid = (beside("mid_panel", "1") * weights).sum("column")
    np.testing.assert_allclose(
        felt.values, (arriving + decibel(mid)).transpose("frequency").values, atol=1e-9
    )

    # The sound: areas and radiation factors of the surfaces, velocities from the line.
    path = study.paths()["built"]
    heard = path.level_change(school.frequency).sel(room=ROOM)
    moving = {
        "floor": beside("surface", "1"),
        "ceiling": beside("surface", "2"),
        "long walls": 0.1 * found["slab"].sel(floor="1", drop=True),
        "short walls": 0.1 * found["slab"].sel(floor="1", drop=True),
    }
    assert school.surfaces is not None
    total, area = xr.DataArray(0.0), xr.DataArray(0.0)
    for name, surface in school.surfaces.items():
        radiating = surface.radiating_area(school.frequency).sel(room=ROOM)
        total = total + radiating * (moving[name] * weights).sum("column")
        area = area + radiating
    sound = path.elements["radiation"].level_change(school.frequency).sel(room=ROOM)
    wanted = arriving + decibel(total / area) + sound
    np.testing.assert_allclose(heard.values, wanted.transpose("frequency").values, atol=1e-9)


def test_other_rooms_are_left_alone(school) -> None:
    built = school.with_options([option(school, {"floor": FLOOR})]).paths()["built"]
    change = built.level_changes(school.frequency)["room_isolation"]
    rest = [r for r in school.rooms if r != ROOM]
    assert float(abs(change.sel(room=rest)).max()) == 0.0
    assert float(abs(change.sel(room=ROOM)).max()) > 4.0


def test_a_soft_heavy_floor_couples_and_a_light_stiff_one_does_not(school) -> None:
    """The lighter the layer the nearer to the sum of base and floor by itself."""
    mount = school.mount(natural_frequency=9.0, loss_factor=0.1)

    def apart(floor: JackUpFloor) -> float:
        one = option(school, {"floor": floor}, base=mount)
        together = school.with_options([one]).paths()["built"].level_change(school.frequency)
        path = one.path(
            school.as_built, plane=school.plane, above_plane=school.above_plane,
            surfaces=school.surfaces,
        )  # fmt: skip
        added = path.level_change(school.frequency)
        return float(abs(together - added).sel(room=ROOM).max())

    light = replace(
        FLOOR, thickness=0.004, mount_stiffness=FLOOR.mount_stiffness * 0.004 / 0.10,
        air_state="vented", youngs_modulus=1e9,
    )  # fmt: skip
    # What is left of the light one is the band mean of a product against the product of means.
    assert apart(light) < 2.0 < apart(FLOOR)


def test_two_measures_of_one_room_are_solved_as_one(school) -> None:
    slabs = school.plane.room_slabs()
    ceiling = RoomMeasure(
        rooms=(ROOM, "R1.2"),
        treatments={"ceiling": CEILING.treatment(slab=slabs["ceiling"], largest_loss=60.0)},
        box=Box(ceiling=CEILING),
        name="ceiling",
    )
    both = option(school, {"floor": FLOOR, "ceiling": CEILING})
    parts = option(school, {"floor": FLOOR}, more=(ceiling,))
    one, two = (
        school.with_options([o]).paths()["built"].level_change(school.frequency).sel(room=ROOM)
        for o in (both, parts)
    )
    np.testing.assert_allclose(one.values, two.values, atol=1e-9)
    twice = school.with_options([option(school, {"ceiling": CEILING}, more=(ceiling,))])
    with pytest.raises(ValueError, match=r"ceiling of room 'R1\.1' is treated twice"):
        twice.paths()


def test_measures_without_a_mass_act_by_themselves(school) -> None:
    """A floor given by its natural frequency alone has no mass that could load a slab."""
    treatment = gb.isolation.SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
    plain = Option(
        name="built", measures=(RoomMeasure(rooms=(ROOM,), treatments={"floor": treatment}),)
    )
    study = school.with_options([plain])
    last = study.paths()["built"].giving(COLUMN)
    assert last == "storeys"
    felt = study.floor_paths()["built"].level_changes(school.frequency)["floor_treatment"]
    np.testing.assert_allclose(
        felt.sel(room=ROOM).values, treatment.level_change(school.frequency).values, atol=1e-9
    )


def test_only_what_is_added_is_said_to_be_added(school) -> None:
    """A floor by construction is solved with the mounts; one by its frequency alone is added."""
    mount = school.mount(natural_frequency=9.0, loss_factor=0.1)
    plain = gb.isolation.SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
    added = RoomMeasure(rooms=("R1.2",), treatments={"floor": plain}, name="by frequency")
    both = option(school, {"floor": FLOOR}, base=mount, more=(added,))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = school.with_options([both]).evaluate(band_levels=False)
    found = [n for n in gb.study.notes_of(result) if n.kind == "base and rooms apart"]
    assert [n.rooms for n in found] == [("R1.2",)]
