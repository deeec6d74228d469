"""Paths: ends that meet, exchange of elements, and what a level may start from."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import bands, levels, propagation, receiver
from groundborne._checks import ArgumentError, BandError, LevelError, PathError
from groundborne.path import (
    COLUMN,
    FLOOR_AVERAGE,
    FOUNDATION,
    GROUND,
    MID_SPAN,
    ROOM,
    SURFACE,
    GivenChange,
    TransmissionPath,
    Unchanged,
    Where,
)

F = bands.third_octaves(50, 80)


def given(values, quantity_in=GROUND, quantity_out=FOUNDATION, **coords):
    dims = (*coords, "frequency")
    array = xr.DataArray(
        np.asarray(values, float), dims=dims, coords={**coords, "frequency": F.values}
    )
    return GivenChange(array, quantity_in=quantity_in, quantity_out=quantity_out)


def source(values=(90.0, 96.0, 92.0), **more):
    array = xr.DataArray(
        [list(values)],
        dims=("passby", "frequency"),
        coords={"passby": ["P1"], "frequency": F.values},
    )
    return levels.stamp(array, quantity="velocity", reference="1 nm/s", long_name="level", **more)


COUPLING = given([-6.0, -7.0, -8.0])
STOREYS = Unchanged(FOUNDATION, COLUMN)
FLOOR = given([6.0, 6.0, 6.0], COLUMN, FLOOR_AVERAGE)
RADIATION = receiver.relation("minus 27")
WHOLE = TransmissionPath(coupling=COUPLING, storeys=STOREYS, floor=FLOOR, radiation=RADIATION)


def test_ends_that_do_not_meet_name_both_elements():
    with pytest.raises(
        PathError,
        match="Path: 'coupling' gives velocity of the foundation, but 'floor' takes velocity of th"
        "e columns at the floor",
    ):
        TransmissionPath(coupling=COUPLING, floor=FLOOR)
    with pytest.raises(
        PathError, match="'floor' gives velocity of the floor, surface average, but 'room' takes"
    ):
        TransmissionPath(storeys=STOREYS, floor=FLOOR, room=receiver.relation("HJ 453-2018"))
    with pytest.raises(PathError, match="'b' gives sound pressure in the room"):
        TransmissionPath(a=FLOOR, b=RADIATION, c=COUPLING)


def test_there_must_be_elements_and_nothing_else():
    with pytest.raises(PathError, match="there is no element; at least one is needed"):
        TransmissionPath()
    with pytest.raises(ValueError, match=r"gain is 6.0; a PathElement \(it has .*\) is needed"):
        TransmissionPath(gain=6.0)
    with pytest.raises(PathError, match="there is no element"):
        WHOLE.without(*WHOLE.names)


def test_insert_after_and_before_give_the_same_path():
    isolation = given([-10.0, -10.0, -10.0], FOUNDATION, FOUNDATION)
    after = WHOLE.insert(after="coupling", isolation=isolation)
    before = WHOLE.insert(before="storeys", isolation=isolation)
    assert after.names == before.names == ("coupling", "isolation", *WHOLE.names[1:])
    assert WHOLE.names == ("coupling", "storeys", "floor", "radiation")
    np.testing.assert_array_equal(after.level_change(F), before.level_change(F))
    np.testing.assert_allclose(after.level_change(F) - WHOLE.level_change(F), -10.0, atol=1e-12)


def test_several_elements_are_inserted_in_their_order():
    isolation = given([-10.0, -10.0, -10.0], FOUNDATION, FOUNDATION)
    path = WHOLE.insert(before="storeys", first=isolation, second=isolation)
    assert path.names[1:3] == ("first", "second")


def test_insert_is_strict():
    isolation = given([-10.0] * 3, FOUNDATION, FOUNDATION)
    with pytest.raises(PathError, match="give one of 'after' and 'before'"):
        WHOLE.insert(isolation=isolation)
    with pytest.raises(PathError, match="give one of 'after' and 'before'"):
        WHOLE.insert(after="coupling", before="storeys", isolation=isolation)
    with pytest.raises(PathError, match=r"place is 'cuopling'; known are .* mean 'coupling'"):
        WHOLE.insert(after="cuopling", isolation=isolation)
    with pytest.raises(PathError, match="'storeys' is in the path already; use replace"):
        WHOLE.insert(after="coupling", storeys=isolation)
    with pytest.raises(
        PathError, match=r"'floor' gives velocity of the floor, .* 'isolation' take"
    ):
        WHOLE.insert(after="floor", isolation=isolation)


def test_replace_is_strict():
    better = WHOLE.replace(coupling=propagation.no_coupling_loss())
    assert better.names == WHOLE.names
    np.testing.assert_allclose(better.level_change(F), -21.0, atol=1e-12)
    with pytest.raises(PathError, match=r"element is 'flor'; known are .* Did you mean 'floor'"):
        WHOLE.replace(flor=FLOOR)
    with pytest.raises(PathError, match="'floor' gives velocity of the floor at mid-span, but"):
        WHOLE.replace(floor=given([9.0] * 3, COLUMN, MID_SPAN))


def test_without_is_strict():
    assert WHOLE.without("radiation").quantity_out == FLOOR_AVERAGE
    with pytest.raises(PathError, match="element is 'radiaton'"):
        WHOLE.without("radiaton")
    with pytest.raises(PathError, match=r"'coupling' gives .* but 'floor' takes"):
        WHOLE.without("storeys")


def test_a_path_cannot_be_changed_in_place():
    with pytest.raises(dataclasses.FrozenInstanceError):
        WHOLE.elements = {}
    with pytest.raises(TypeError):
        WHOLE.elements["extra"] = COUPLING


def test_looking_up():
    assert WHOLE["floor"] is FLOOR
    assert list(WHOLE) == list(WHOLE.names)
    with pytest.raises(PathError, match=r"element is 'floors'; .* Did you mean 'floor'"):
        WHOLE["floors"]


def test_a_given_change_is_checked():
    with pytest.raises(ValueError, match="GivenChange: change is a bare ndarray of 3"):
        GivenChange(np.zeros(3), quantity_in=GROUND, quantity_out=FOUNDATION)
    with pytest.raises(PathError, match="the dim 'frequency'"):
        GivenChange(xr.DataArray([0.0], dims="f"), quantity_in=GROUND, quantity_out=FOUNDATION)
    with pytest.raises(ValueError, match=r"GivenChange: change is nan at frequency=63.0"):
        given([0.0, np.nan, 0.0])
    with pytest.raises(BandError, match="after 50 Hz comes 80 Hz; 63 Hz is missing"):
        GivenChange(
            xr.DataArray([0.0, 0.0], coords={"frequency": [50.0, 80.0]}),
            quantity_in=GROUND,
            quantity_out=FOUNDATION,
        )


def test_bands_a_table_does_not_hold_are_refused():
    with pytest.raises(BandError, match=r"40 Hz is asked for and not there; .* 50 to 80 Hz"):
        WHOLE.level_change(bands.third_octaves(40, 80))


def test_outside_its_source_an_element_warns_and_says_where():
    path = TransmissionPath(floor=FLOOR, radiation=receiver.FixedOffset(
        offset=-27.0, velocity=FLOOR_AVERAGE, low=63.0))  # fmt: skip
    with pytest.warns(gb.ValidityWarning, match=r"'radiation': 50 to 50 Hz \(1 of 3 bands\)"):
        path.level_change(F)
    assert path.valid(F).values.tolist() == [False, True, True]


def test_places_where_an_element_acts():
    above = xr.DataArray([True, False], coords={"room": ["hall", "pit"]})
    gain = given([-1.0, -2.0, -3.0], FOUNDATION, FOUNDATION)
    change = Where(gain, above).level_change(F)
    np.testing.assert_array_equal(change.sel(room="pit"), 0.0)
    np.testing.assert_array_equal(change.sel(room="hall"), [-1.0, -2.0, -3.0])
    with pytest.raises(PathError, match="Where: GivenChange turns velocity of the ground into"):
        Where(COUPLING, above)
    with pytest.raises(PathError, match="Where: where holds int64; True and False are needed"):
        Where(gain, above.astype(int))


@pytest.mark.parametrize(
    ("change", "error", "sentence"),
    [
        (lambda s: s.drop_attrs(), LevelError, "the level is not labelled"),
        (lambda s: s.values, ArgumentError, "source is a bare ndarray of .* without named dim"),
        (
            lambda s: levels.stamp(
                s, quantity="sound pressure", reference="20 µPa", long_name="level"
            ),
            LevelError,
            "the level is of sound pressure; velocity is needed",
        ),
        (
            lambda s: levels.stamp(
                s,
                quantity="velocity",
                reference="1 nm/s",
                long_name="level",
                location=FOUNDATION.location,
            ),
            LevelError,
            "the source is the velocity of the foundation; the path takes velocity of the ground",
        ),
        (lambda s: s.assign_attrs(reference="1 mm/s"), LevelError, "reference for velocity is '1"),
    ],
    ids=["unlabelled", "bare numbers", "other quantity", "other place", "unknown reference"],
)
def test_sources_that_are_refused(change, error, sentence):
    with pytest.raises(error, match=sentence):
        WHOLE.level(change(source()))


def test_a_source_on_another_reference_gives_the_same_level():
    us = levels.convert(source(), reference="1 µin/s")
    np.testing.assert_allclose(WHOLE.level(us), WHOLE.level(source()), atol=1e-12)
    assert WHOLE.level(us).attrs["reference"] == "20 µPa"
    assert WHOLE.without("radiation").level(us).attrs["reference"] == "1 nm/s"


def test_the_level_says_what_it_is():
    level = WHOLE.level(source(time_weighting="S max"))
    assert level.attrs["quantity"] == ROOM.quantity
    assert level.attrs["location"] == ROOM.location
    assert level.attrs["time_weighting"] == "S max"
    assert "British practice" in level.attrs["citations"]


def test_elements_that_know_other_rooms_are_refused():
    one = given(np.zeros((2, 3)), GROUND, FOUNDATION, room=["a", "b"])
    two = given(np.zeros((2, 3)), FOUNDATION, COLUMN, room=["b", "c"])
    with pytest.raises(ValueError, match="room"):
        TransmissionPath(one=one, two=two).level_change(F)


def test_elements_that_know_the_rooms_in_another_order_agree_by_name():
    values = np.arange(6.0).reshape(2, 3)
    one = given(values, GROUND, FOUNDATION, room=["a", "b"])
    two = given(-values[::-1], FOUNDATION, COLUMN, room=["b", "a"])
    try:
        change = TransmissionPath(one=one, two=two).level_change(F)
    except ValueError:
        return
    assert change.sizes == {"room": 2, "frequency": 3}
    np.testing.assert_allclose(change, 0.0, atol=1e-12)


class _Faulty:
    """An element that answers wrongly."""

    quantity_in, quantity_out, citations = GROUND, FOUNDATION, ()

    def __init__(self, change):
        self.change = change

    def level_change(self, _):
        return self.change

    def valid(self, frequency):
        return xr.ones_like(frequency, dtype=bool)


def test_faulty_elements_are_caught():
    nan = xr.DataArray([0.0, np.nan, 0.0], coords={"frequency": F.values})
    with pytest.raises(PathError, match="element 'bad': the result is not a number: nan at freq"):
        TransmissionPath(bad=_Faulty(nan)).level_change(F)
    shifted = xr.DataArray([0.0] * 3, coords={"frequency": [63.0, 80.0, 100.0]})
    with pytest.raises(BandError, match="'bad' answers on other bands than frequency asks for"):
        TransmissionPath(bad=_Faulty(shifted)).level_change(F)
    sized = xr.DataArray(np.zeros((2, 3)), dims=("room", "frequency"))
    other = xr.DataArray(np.zeros((4, 3)), dims=("room", "frequency"))
    second = _Faulty(other)
    second.quantity_in, second.quantity_out = FOUNDATION, COLUMN
    with pytest.raises(PathError, match="the elements do not fit together"):
        TransmissionPath(bad=_Faulty(sized.assign_coords(frequency=F.values)),
             worse=_wrap(second, F)).level_changes(F)  # fmt: skip


def _wrap(element, frequency):
    element.change = element.change.assign_coords(frequency=frequency.values)
    return element


def test_a_treatment_must_keep_to_its_surface():
    plate = receiver.RadiatingPlate(length=5.0, width=4.0, critical_frequency=76.8)
    both = {n: receiver.Surface(area=20.0, radiation=plate) for n in ("floor", "ceiling")}
    gain = given([-20.0] * 3, SURFACE, SURFACE)
    with pytest.raises(ValueError, match="surface is 'wall'; known are 'floor', 'ceiling'"):
        receiver.TreatedSurfaces(both, {"wall": gain})
    with pytest.raises(PathError, match="the treatment of 'floor' turns velocity of the ground in"):
        receiver.TreatedSurfaces(both, {"floor": COUPLING})
    with pytest.raises(
        PathError, match=r"Surface: velocity turns .* into velocity of the floor at"
    ):
        receiver.Surface(area=20.0, radiation=plate, velocity=given([9.0] * 3, COLUMN, MID_SPAN))
    with pytest.raises(ValueError, match="SurfaceMean: there is no surface; at least one must"):
        receiver.SurfaceMean({})
