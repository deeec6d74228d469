"""Rooms in plan: which are drawn, where, and what cannot be drawn."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from matplotlib.patches import Rectangle

import groundborne as gb
from groundborne._checks import StudyError

HALL = Path(__file__).parents[2] / "data" / "assembly_hall" / "study.toml"


@pytest.fixture(scope="module")
def study():
    return gb.read_study(HALL)


def loud(study) -> xr.DataArray:
    rooms = study.building.rooms["room"]
    return xr.DataArray(
        40.0 - np.arange(rooms.size), coords={"room": rooms.values}, attrs={"units": "dB"}
    )


def test_rooms_of_the_floor_stand_in_their_places(study) -> None:
    ax = gb.plot.plan(loud(study), study=study, floor="upper")
    rooms = study.building.rooms
    here = rooms.isel(room=(rooms["floor_of_room"] == "upper").values)
    drawn = [p for p in ax.patches if isinstance(p, Rectangle)]
    assert [p.get_center() for p in drawn] == [
        pytest.approx(place) for place in zip(here["x"].values, here["y"].values, strict=True)
    ]
    assert [p.get_width() for p in drawn] == pytest.approx(here["length"].values)
    texts = [t.get_text().split("\n")[0] for t in ax.texts]
    assert texts == [*here["room"].values.tolist(), "track"]
    # The track is in the view, and the darker room is the louder one.
    low, high = sorted(ax.get_ylim())
    assert any(low < y < high for _, y in study.building.track.points)
    lightness = [float(np.dot(p.get_facecolor()[:3], [0.299, 0.587, 0.114])) for p in drawn]
    assert lightness == sorted(lightness)


def test_numbers_follow_their_labels(study) -> None:
    values = loud(study)
    first, other = (
        [t.get_text() for t in gb.plot.plan(v, study=study, floor="upper").texts]
        for v in (values, values[::-1])
    )
    assert first == other


@pytest.mark.parametrize(
    ("spoil", "floor", "said"),
    [
        (lambda v: v, "cellar", "floor is 'cellar'|'cellar'"),
        (lambda v: v, "attic", "no room on floor 'attic' has a place"),
        (lambda v: v.isel(room=slice(0, 2)), "upper", "no number of the room 'H1.1'"),
        (lambda v: v.where(v.room != "H1.1"), "upper", "NaN|not a number|finite"),
        (lambda v: v.expand_dims(passby=["a", "b"]), "upper", "passby"),
    ],
)
def test_what_cannot_be_drawn_is_told(study, spoil, floor, said) -> None:
    with pytest.raises((StudyError, ValueError), match=said):
        gb.plot.plan(spoil(loud(study)), study=study, floor=floor)
