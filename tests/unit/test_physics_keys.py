"""Keys of phases and walls that contradict themselves, and floors of small rooms."""

from __future__ import annotations

import re
import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
from scipy.special import j0

import groundborne as gb
from groundborne._checks import StudyError
from groundborne.structure import basement_wall_stiffness

LINES = Path(__file__).parents[1] / "fuzz" / "small" / "lines"
BANDS = "frequency_hz = [31.5, 40, 50, 63, 80, 100, 125]"
RAFT = """[structure.foundation]
model = "raft"
length_m = 7.0
width_m = 6.5
thickness_m = 0.5
concrete_modulus_pa = 33e9
concrete_density_kg_m3 = 2450
concrete_poisson = 0.2
concrete_loss_factor = 0.05
shear_wave_speed_m_s = 200
density_kg_m3 = 1900
poisson = 0.35
loss_factor = 0.06
basement_walls = { height_m = 2.4, thickness_m = 0.2, spacing_m = 7.0 }

"""


@pytest.fixture
def read(tmp_path):
    """The small study with text put behind it, or in place of some of it."""

    def of(more="", *exchanges, changes=None):
        folder = tmp_path / f"study{len(list(tmp_path.iterdir()))}"
        shutil.copytree(LINES, folder)
        file = folder / "study.toml"
        text = file.read_text(encoding="utf-8")
        for pattern, new in exchanges:
            text, count = re.subn(pattern, lambda _, new=new: new, text, count=1, flags=re.DOTALL)
            assert count == 1, pattern
        file.write_text(f"{text}\n{more}\n", encoding="utf-8")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return gb.read_study(file, changes=changes)

    return of


def phases(words):
    return f"[structure.phases]\n{words}\n"


def option(changes):
    return f'[[options]]\nname = "other"\nchanges = {{ {changes} }}\n'


@pytest.mark.parametrize(
    ("words", "change"),
    [
        ("apparent_speed_m_s = 200", "structure.phases.apparent_speed_m_s = 400"),
        ("points = 3", 'structure.phases.model = "in phase"'),
        ("points = 3", "structure = { phases = { slab_scatter = 0.1 } }"),
    ],
)
def test_an_option_leaves_phases_as_they_are(read, words, change):
    with pytest.raises(StudyError, match=r"'structure\.phases\.[a-z_]+' is of how columns are ta"):
        read(phases(words) + option(change))


@pytest.mark.parametrize(
    "change", ['field = "diffuse"', 'ceiling = "in phase"', 'position = "corner"']
)
def test_an_option_leaves_the_models_of_rooms_as_they_are(read, change):
    key, value = change.split(" = ")
    with pytest.raises(
        StudyError, match=rf"'path\.radiation\.{key}' is of .* difference of two mo"
    ):
        read(option(f"path.radiation.{key} = {value}"))


def test_points_are_whole_and_of_a_mean_over_phases(read):
    with pytest.raises(StudyError, match=r"\[phases\]: 'points' is 2.5; a whole number is needed"):
        read(phases("points = 2.5"))
    for model in ('model = "in phase"', 'model = "wave"\ndirection_deg = 30'):
        with pytest.raises(StudyError, match="key is 'points'"):
            read(phases(f"{model}\npoints = 5"))
        assert read(phases(model)).part().frame.line.phases.kind in model


def walls(words):
    return r"walls = \{ ", f"walls = {{ {words}, "


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("below_floor_db = 12, measured_below_floor_db = [9, 9, 9, 9, 9, 9, 9], " + BANDS,
         "'below_floor_db' and 'measured_below_floor_db' both say"),
        ("measured_below_floor_db = [9, 9, 9, 9, 9, 9, 9]", "'frequency_hz', its bands, is not"),
        (BANDS, "'frequency_hz' is of 'measured_below_floor_db', which is not given"),
        ('source = "us"', "'source' is of 'measured_below_floor_db', which is not given"),
        ("measured_below_floor_db = [-70, 9, 9, 9, 9, 9, 9], " + BANDS, "-70 dB, out of bounds"),
    ],
)  # fmt: skip
def test_walls_are_told_once(read, words, said):
    with pytest.raises(StudyError, match=re.escape(said)):
        read("", walls(words))


def test_walls_as_measured_and_ten_decibels_where_nothing_is_said(read):
    plain = read().evaluate()["mean_level"]
    ten = read("", walls("below_floor_db = 10")).evaluate()["mean_level"]
    np.testing.assert_array_equal(plain.values, ten.values)


def test_basement_walls_leave_room_between_them_and_stand_on_the_raft(read):
    with pytest.raises(ValueError, match="nothing is left between them"):
        basement_wall_stiffness(
            height=3.0, thickness=2.5, spacing=2.0, raft_thickness=0.5, youngs_modulus=33e9
        )
    foundation = r"\[structure\.foundation\].*?(?=\n\[(?!structure\.foundation))"
    with pytest.raises(StudyError, match="'spacing_m' is above 'width_m' of the raft"):
        read("", (foundation, RAFT))


def test_the_floor_of_a_small_room_moves_as_one_where_its_bay_does_not(read):
    """Rooms far smaller than a bending wave, above the first resonance of a bay of 6 m."""
    small = {f"rooms.{room}.{side}_m": 2.6 for room in ("S1", "O1") for side in ("length", "width")}
    study = read(changes=small)
    at = study.frequency.sel(frequency=[40.0, 50.0, 63.0])
    part = study.part()
    floor = part.surfaces["floor"]
    share = 10 ** (floor.mean_velocity.level_change(study.frequency) / 10)
    share = share.sel(frequency=at.values).max("column") if "column" in share.dims else share
    length, width = (study.building.rooms[n] for n in ("length", "width"))
    for room, floor_of in study.building.rooms["floor_of_room"].to_series().items():
        slab = dict(zip(part.frame.line.floors, part.frame.line.slabs, strict=True))[floor_of]
        wave = ((2 * np.pi * at.values) ** 2 * slab.mass_per_area / slab.bending_stiffness) ** 0.25
        sides = float(length.sel(room=room)), float(width.sel(room=room))
        x, y = (side * ((np.arange(16) + 0.5) / 16) for side in sides)
        places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        apart = np.hypot(*(places[:, None] - places).transpose(2, 0, 1))
        least = np.array([j0(float(k) * apart).mean() for k in wave])
        assert (share.sel(room=room, frequency=at.values).values > 0.95 * least - 0.005).all(), room
