"""Horizontal motion of storeys in studies: what it adds, what mounts do to it, and what is said."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import PathError, StudyError
from groundborne.isolation import LinearMount
from groundborne.levels import decibel, energy
from groundborne.path import COLUMN, FLOOR_AVERAGE, Unchanged
from groundborne.receiver import SURFACE_MEAN, RadiatingPlate, Surface
from groundborne.structure import BendingFrame
from groundborne.study.horizontal import FrameSway, SidewaysMount, sideways_of
from note_sentences import sentences_of
from quiet_studies import errors_of, evaluated, levels_of, read

SMALL = Path(__file__).resolve().parents[1] / "fuzz" / "small"
F = gb.bands.third_octaves(5, 250)
GIVEN = '[path.horizontal]\nmodel = "given"\nlevel_db = {level}\nchange_db = {change}\n'
FRAME = '[path.horizontal]\nmodel = "frame in bending"\nlevel_db = 0\n'
BASE = "base = { natural_frequency_hz = 9.0,"
LEFT_OUT = "is left out. It moves walls"


@pytest.fixture
def written(tmp_path):
    """A small study with a table [path.horizontal], a ratio of its mounts, other exchanges."""

    def make(table="", *exchanges, name="lines", ratio=None, **tables):
        folder = tmp_path / f"{name}{len(list(tmp_path.iterdir()))}"
        shutil.copytree(SMALL / name, folder)
        study = folder / "study.toml"
        text = study.read_text(encoding="utf-8")
        exchanges = [("[path.radiation]", f"{table}\n[path.radiation]"), *exchanges]
        if ratio is not None:
            exchanges.append((BASE, f"{BASE} horizontal_ratio = {ratio},"))
        for old, new in exchanges:
            assert old in text, old
            text = text.replace(old, new, 1)
        study.write_text(text, encoding="utf-8")
        for file, content in tables.items():
            (folder / f"{file}.csv").write_text(content, encoding="utf-8")
        return study

    return make


@pytest.fixture(scope="module")
def plain():
    """The small study without horizontal motion, evaluated."""
    return evaluated(read(SMALL / "lines" / "study.toml"))


def total(result, option=0):
    """Level change from source to room of an option [dB], room and frequency."""
    return result["level_change"].isel(option=option).sum("stage", skipna=False)


def added(result, without, option=0):
    """Energy that a result has beyond another."""
    return energy(total(result, option)) - energy(total(without, option))


# What it adds


def test_walls_that_move_horizontally_add_their_power(written, plain):
    """Power of walls as pistons, worked out by hand: ``p² = 4 ρc/A Σ σ S v²`` of half of them."""
    level, change = -4.0, 2.5
    with_it = levels_of(read(written(GIVEN.format(level=level, change=change))))
    rooms = {"S1": (5.6, 4.8, 3.2, 0.4), "O1": (5.6, 5.6, 3.1, 0.6)}
    for room, (length, width, height, time) in rooms.items():
        absorption = 0.161 * length * width * height / time
        area = 0.0
        for side in (length, width):
            plate = RadiatingPlate(length=side, width=height, critical_frequency=100.0, factor=0.8)
            area = area + 2 * side * height * plate.piston_efficiency(F)
        # Velocity re 1 nm/s into pressure re 20 µPa: (413 · 1e-9/2e-5)².
        pressure = (413e-9 / 20e-6) ** 2 * 4 * area / absorption
        by_hand = pressure * 0.5 * 10 ** ((level + change) / 10)
        found = added(with_it, plain).sel(room=room)
        np.testing.assert_allclose(found, by_hand, rtol=1e-6, atol=1e-9 * float(by_hand.max()))


def test_without_level_nothing_is_added_and_half_the_walls_are_3_db_less(written, plain):
    still = levels_of(read(written(GIVEN.format(level=-60, change=-100))))
    np.testing.assert_allclose(total(still), total(plain), atol=1e-6)
    whole, half = (
        levels_of(read(written(GIVEN.format(level=0, change=0) + f"facing_share = {share}\n")))
        for share in (1.0, 0.5)
    )
    np.testing.assert_allclose(added(whole, plain) / added(half, plain), 2.0, rtol=1e-6)


def test_levels_may_be_given_by_band(written):
    bands = f"frequency_hz = {F.values.tolist()}\n"
    level, change = (np.linspace(-9, 3, F.size), np.linspace(2, -8, F.size))
    table = GIVEN.format(level=level.tolist(), change=change.tolist()) + bands
    study = read(written(table + 'source = "measured on site"\n'))
    walls = sideways_of(study.parts[0].surfaces)
    np.testing.assert_allclose(walls.own.level_change(F), level + change)
    assert "measured on site" in {c.author for c in walls.citations}
    missing = written(GIVEN.format(level=[0.0], change=[0.0]) + "frequency_hz = [63]\n")
    assert any("frequency" in e or "band" in e for e in errors_of(missing))


def test_a_table_by_floor_stands_for_the_floors_it_holds(written):
    bands = [f"{gb.bands.label(f)} Hz" for f in F.values]
    csv = "\n".join([",".join(["floor", *bands]), ",".join(["1", *(["-7"] * F.size)])]) + "\n"
    table = 'table = "sway.csv"\ntable_source = "measured upstairs"\n'
    walls = sideways_of(read(written(FRAME + table, sway=csv)).parts[0].surfaces)
    alone = sideways_of(read(written(FRAME)).parts[0].surfaces)
    found, computed = (one.own.level_change(F) for one in (walls, alone))
    np.testing.assert_allclose(found.sel(room="O1"), -7.0)
    np.testing.assert_allclose(found.sel(room="S1"), computed.sel(room="S1"))
    given = '[path.horizontal]\nmodel = "given"\nlevel_db = 0\n' + table
    (error,) = errors_of(written(given, sway=csv))
    assert "no row for floor '0'" in error
    columns = csv.replace("floor,", "column,").replace("\n1,", "\nA1,")
    (error,) = errors_of(written(FRAME + table, sway=columns))
    assert "floors tie columns together horizontally; give rows by floor or room" in error


# What a frame makes of the lines


def test_the_frame_has_columns_slabs_and_soil_of_the_lines(written):
    study = read(written(FRAME))
    sway = sideways_of(study.parts[0].surfaces).own["storey"]
    assert isinstance(sway, FrameSway)
    storey = sway.bending.storeys[1]
    line = study.parts[0].frame.line
    assert float(storey.bending_stiffness) == pytest.approx(33e9 * 0.16**2 / 12)
    assert float(storey.mass_per_length) == pytest.approx(2450 * 0.16)
    # A quarter of a panel on each of four columns: 0.4 of its width turns with the joints.
    joint = storey.joint
    assert float(joint.bending_stiffness.sum()) == pytest.approx(33e9 * 0.4 * 6 * 0.25**3 / 12)
    assert float(joint.mass_per_length.sum()) == pytest.approx(0.4 * 6 * (600 + 100))
    assert joint.span == 6.0
    assert float(storey.floor_mass.sum()) == pytest.approx(36 * 700)
    f = xr.DataArray([20.0], dims="frequency")
    whole = line.foundation.foundation
    soil = sway.bending.foundation.impedance(f).sum("column")
    assert abs(soil / whole.lateral_impedance(f) - 1).max() < 1e-12
    assert float(sway.bending.foundation.mass) == 70000
    deep = read(written(FRAME + 'joints = "held"\ncolumn_depth_m = 0.8\n'))
    storey = sideways_of(deep.parts[0].surfaces).own["storey"].bending.storeys[0]
    assert storey.joint is None
    assert float(storey.bending_stiffness) == pytest.approx(33e9 * 0.16 * 0.64 / 12)


def test_the_source_at_the_foundation_is_that_under_the_standing_building(written):
    """Over the foundation as it stands the frame is that of an imposed motion."""
    study = read(
        written(
            FRAME,
            ('[path.coupling]\nmodel = "none"\n', ""),
            ('location = "ground"', 'location = "foundation"'),
        )
    )
    sway = sideways_of(study.parts[0].surfaces).own["storey"]
    imposed = replace(sway.bending, foundation=None)
    f = gb.bands.single_frequencies(F, loss_factor=0.002)
    ratio = abs(imposed.velocity_ratio(f)) ** 2
    over = abs(sway.bending.foundation_ratio(f)) ** 2
    exact = (ratio * over).mean("single_frequency") / over.mean("single_frequency")
    np.testing.assert_allclose(
        sway.level_change(F).sel(room="O1"), decibel(exact).sel(floor="1"), atol=0.05
    )


def test_piles_need_a_ratio_and_footings_none(written):
    piles = (
        '[structure.foundation]\nmodel = "springs and dashpots"\nstiffness_n_m = 4e9\n'
        "damping_n_s_m = 2e7\n"
    )
    text = (SMALL / "lines" / "study.toml").read_text(encoding="utf-8")
    footing = text[text.index("[structure.foundation]") : text.index("[isolation]")]
    (error,) = errors_of(written(FRAME, (footing, piles)))
    assert "'foundation_ratio' is missing" in error
    study = read(written(FRAME + "foundation_ratio = 0.4\n", (footing, piles)))
    found = sideways_of(study.parts[0].surfaces).own["storey"].bending.foundation
    f = xr.DataArray([20.0], dims="frequency")
    vertical = found.soil.soil_impedance(f) * found.share
    assert abs(found.impedance(f) / vertical - 0.4).max() < 1e-12
    (error,) = errors_of(written(FRAME + "foundation_ratio = 0.4\n"))
    assert "horizontal stiffness of a footing follows from its size and soil; leave it out" in error


def test_a_given_transfer_needs_numbers(written):
    (error,) = errors_of(written('[path.horizontal]\nmodel = "given"\nlevel_db = 0\n'))
    assert "neither 'change_db' nor 'table' is given; one of them, or both" in error


def test_what_no_wall_or_no_line_follows_is_refused(written):
    relation = written(
        GIVEN.format(level=0, change=0),
        ('model = "room surfaces"', 'model = "relation"\nrelation = "minus 27"'),
        ("slabs = { longitudinal_wave_speed_m_s = 3600 }\n", ""),
        (
            (
                "walls = { thickness_m = 0.14, longitudinal_wave_speed_m_s = 2500, "
                "radiating_share = 0.8 }\n"
            ),
            "",
        ),
    )
    assert any("no wall is in the model 'relation'" in e for e in errors_of(relation))
    (error,) = errors_of(written(FRAME, name="tables"))
    assert "takes columns and slabs of [structure], and there is none" in error


def test_walls_measured_against_their_floor_hold_it_already(written):
    bands = F.values.tolist()
    more = f"measured_below_floor_db = {[8.0] * len(bands)}, frequency_hz = {bands}, "
    measured = ("walls = { thickness_m = 0.14,", f"walls = {{ {more}thickness_m = 0.14,")
    (error,) = errors_of(written(GIVEN.format(level=0, change=0), measured))
    assert (
        "hold what horizontal motion gave them, and [path.horizontal] would add it again" in error
    )
    read(written("", measured))


# What mounts make of it


def test_what_was_given_stays_as_built_on_mounts_and_is_said(written, plain):
    """The horizontal part of the level with mounts is that without: never better by silence."""
    table = GIVEN.format(level=0, change=0)
    for ratio in (None, 0.5):
        with_it = evaluated(read(written(table, ratio=ratio)))
        # Option 1 has floating floors too, which leave the walls as they are.
        np.testing.assert_allclose(added(with_it, plain, 1), added(with_it, plain, 0), rtol=1e-6)
        told = sentences_of(with_it)
        assert any("taken as it is without mounts, because the transfer" in t for t in told)
        assert not any(LEFT_OUT in t for t in told)


def test_the_same_between_two_mobilities(written):
    with_it = levels_of(read(written(GIVEN.format(level=0, change=0), name="tables")))
    without = levels_of(read(written(name="tables")))
    isolated = [i for i, o in enumerate(read(written(name="tables")).options) if o.base]
    assert isolated
    for option in isolated:
        treated = read(written(name="tables")).options[option].measures
        if any("walls" in m.treatments for m in treated):
            continue
        np.testing.assert_allclose(
            added(with_it, without, option), added(with_it, without, 0), rtol=1e-5
        )


def test_a_frame_without_a_ratio_stays_as_built(written, plain):
    with_it = evaluated(read(written(FRAME)))
    np.testing.assert_allclose(added(with_it, plain, 1), added(with_it, plain, 0), rtol=1e-6)
    told = sentences_of(with_it)
    assert any("nothing says how stiff the mounts are horizontally" in t for t in told)
    assert any("columns in bending between rigid floors. Walls, cores" in t for t in told)
    # Storeys that follow the ground, as with walls and cores: what a transfer of 0 dB gives.
    (note,) = (n for n in gb.study.notes_of(with_it) if n.kind == "frame in bending")
    follow = levels_of(read(written(GIVEN.format(level=0, change=0))))
    more = follow["sound_level"].isel(option=0) - plain["sound_level"].isel(option=0)
    assert note.consequence_db == pytest.approx(float(more.max()), abs=1e-6)
    assert f"that would add up to {note.consequence_db:.1f} dB" in gb.study.sentence(note)


def test_a_frame_with_a_ratio_follows_its_mounts(written, plain):
    """Mounts at the ratio, crossings as vertically, and the energy beside one stage."""
    study = read(written(FRAME, ratio=0.5))
    option, part = study.options[1], study.parts[0]
    with_it = evaluated(study)
    sway = sideways_of(part.surfaces).own["storey"]
    plane = part.plane
    crossed = plane.crossed(option.base)
    f = gb.bands.single_frequencies(F, loss_factor=0.01)

    class Mounts:
        citations = ()
        loss_factor_floor = 0.02

        def lateral_stiffness(self, frequency):
            own = 0.5 * crossed.mount.dynamic_stiffness(frequency)
            return own + crossed.beside(frequency)

    frame = BendingFrame(
        storeys=sway.bending.storeys, foundation=sway.bending.foundation, under="0", mounts=Mounts()
    )
    moved = (abs(frame.velocity_ratio(f)) ** 2).mean("single_frequency")
    built = (abs(sway.bending.velocity_ratio(f)) ** 2).mean("single_frequency")
    share = 10**-2.5
    exact = (moved + share * built) / built
    change = added(with_it, plain, 1) / added(with_it, plain, 0)
    lost = decibel(exact.sel(floor="0"))
    shown = decibel(change.sel(room="S1"))
    # A result shows one state of the mounts, new or aged.
    off = abs(lost - shown)
    assert float(off.max("frequency").min("state")) < 0.1
    assert any("stated as 0.5 of the vertical" in t for t in sentences_of(with_it))
    assert not any("taken as it is without mounts" in t for t in sentences_of(with_it))


def test_what_crosses_beside_mounts_is_as_stiff_as_vertically():
    spring = LinearMount(stiffness=4e6, loss_factor=0.1)
    stair = gb.isolation.Crossing(name="stair", stiffness=1e6, loss_factor=0.1)
    both = gb.isolation.CrossedMount(mount=spring, crossings=[stair], weights=xr.DataArray(1.0))
    f = xr.DataArray([10.0], dims="frequency")
    found = SidewaysMount(mount=both, ratio=0.25).lateral_stiffness(f)
    assert float(found.real[0]) == pytest.approx(0.25 * 4e6 + 1e6)
    alone = SidewaysMount(mount=spring, ratio=0.25).lateral_stiffness(f)
    assert float(alone.real[0]) == pytest.approx(1e6)


def test_stiffer_columns_of_an_option_carry_more(written):
    text = (
        '\n[[options]]\nname = "stout columns"\nchanges = { structure.column_modulus_pa = 6e10 }\n'
    )
    study = read(written(FRAME, ("[[criteria.studio]]", f"{text}\n[[criteria.studio]]")))
    stout = next(o for o in study.options if o.name == "stout columns")
    now, built = (
        sideways_of(part.surfaces).own["storey"] for part in (stout.parts[0], study.parts[0])
    )
    stiffness = [float(x.bending.storeys[0].bending_stiffness) for x in (now, built)]
    assert stiffness[0] / stiffness[1] == pytest.approx(6e10 / 33e9)


def test_a_ratio_without_mounts_is_refused():
    with pytest.raises(StudyError, match="horizontal_ratio is of the mounts of base"):
        gb.Option(name="as built", horizontal_ratio=0.5)
    spring = LinearMount(stiffness=4e6, loss_factor=0.1)
    with pytest.raises(ValueError, match="'annexe'"):
        gb.Option(name="one", bases={"hall": spring}, horizontal_ratios={"annexe": 0.5})
    with pytest.raises(ValueError, match="horizontal_ratio"):
        gb.Option(name="one", base=spring, horizontal_ratio=0.0)


# What is said, and what surfaces take


def test_that_it_is_left_out_is_said(written, plain):
    told = sentences_of(plain)
    assert sum(LEFT_OUT in t for t in told) == 1
    counted = sentences_of(evaluated(read(written(GIVEN.format(level=0, change=0)))))
    assert any("50 % of them are taken to face the motion" in t for t in counted)


def test_a_surface_moves_sideways_as_a_piston_on_top_of_the_rest():
    plate = RadiatingPlate(length=5.0, width=3.0, critical_frequency=90.0)
    follows = Unchanged(COLUMN, FLOOR_AVERAGE)
    wall = Surface(area=15.0, radiation=plate, velocity=follows)
    both = replace(wall, sideways=Unchanged(COLUMN, SURFACE_MEAN))
    np.testing.assert_allclose(
        both.power(F) - wall.power(F), 15.0 * plate.piston_efficiency(F), rtol=1e-9
    )
    with pytest.raises(PathError, match="sideways turns"):
        replace(wall, sideways=follows)
