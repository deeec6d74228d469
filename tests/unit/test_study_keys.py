"""The table of study keys: reader, guide and starter say what it says; all errors together."""

from __future__ import annotations

import dataclasses
import re
import shutil
import tomllib
import warnings
from pathlib import Path
from types import FunctionType, MappingProxyType

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import isolation, propagation, structure
from groundborne._checks import Faults, StudyError, TableError
from groundborne.cells import Cells
from groundborne.csv_columns import (
    COLUMNS,
    FLOOR_LOADS,
    FLOORS,
    REGISTER,
    ROOMS,
    STOREYS as TABLE_OF_STOREYS,
)
from groundborne.key import GIVEN, KeyTable
from groundborne.rating import METRICS
from groundborne.report import words
from groundborne.study import guide, keys, starter
from groundborne.study.constructions import CONSTRUCTIONS
from groundborne.study.given import Checker, Given, number
from quiet_studies import errors_of, evaluated, read

ROOT = Path(__file__).resolve().parents[2]
STUDIES = (
    ROOT / "data" / "music_school" / "study.toml",
    ROOT / "data" / "tower" / "study.toml",
    ROOT / "tests" / "fuzz" / "small" / "lines" / "study.toml",
    ROOT / "tests" / "fuzz" / "small" / "tables" / "study.toml",
)


# What is read is declared, and what is declared is read


def test_a_key_or_column_that_no_row_declares_is_a_defect(data_folder):
    given = Given("study.toml, [bands]", keys.declared("bands"), {})
    with pytest.raises(LookupError, match="'middle_hz' is read and no row declares it"):
        given["middle_hz"]
    cells = Cells.read(data_folder / "tower" / "floors.csv", FLOORS)
    with pytest.raises(LookupError, match="'girth_m' is read and no row declares it"):
        cells.has("girth_m")


COUPLING, STOREYS, FLOOR, MID_SPAN, RADIATION = (
    rf"\[path\.{name}\].*?(?=\n\[)"
    for name in ("coupling", "storeys", "floor", "mid_span", "radiation")
)
ISOLATION = r"\[isolation\].*?(?=\n\[(?!isolation))"
BANDS = "frequency_hz = [12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125]\n"
FLAT = "[0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n"
LIGHT = """
[[options.rooms]]
rooms = ["A"]

[options.rooms.floor]
construction = "boards on battens"
boards = [{ thickness_m = 0.04, density_kg_m3 = 700, youngs_modulus_pa = 3e9 }]
batten_kg_m = 1.5
batten_height_m = 0.045
batten_spacing_m = 0.4
element_spacing_m = 0.5
element_stiffness_n_m = 2e5
element_loss_factor = 0.1
element_height_m = 0.03
air_gap_m = 0.075
slab = { on = "edges", span_x_m = 5, span_y_m = 6, thickness_m = 0.2, density_kg_m3 = 2400, \
youngs_modulus_pa = 3e10, poisson = 0.2, loss_factor = 0.05 }
""".replace("\\\n", "")
JOISTS = LIGHT.replace(
    'on = "edges", span_x_m = 5, span_y_m = 6, thickness_m = 0.2, density_kg_m3 = 2400, '
    "youngs_modulus_pa = 3e10, poisson = 0.2,",
    'on = "two supports", span_x_m = 5, span_y_m = 6, bending_stiffness_n_m = 2e6, '
    "cross_stiffness_n_m = 3e3, own_mass_kg_m2 = 60,",
)
PLACES = """[track]
x_m = [-100, 100]
y_m = [-60, -60]
depth_m = 10

[path.ground]
measured_distance_m = 60
exponent = 0.5
damping_ratio = 0.01
wave_speed_m_s = 250

"""
FOUNDATION = r"\[structure\.foundation\].*?(?=\n\[)"
FOOTING = """
model = "rectangular footing"
length_m = 12
width_m = 10
embedment_m = 1.5
shear_wave_speed_m_s = 250
density_kg_m3 = 1900
poisson = 0.35
loss_factor = 0.06
mass_kg = 200000
"""
RAFT = """[structure.foundation]
model = "raft"
length_m = 7.0
width_m = 6.5
embedment_m = 0.8
shear_wave_speed_m_s = 250
density_kg_m3 = 1900
poisson = 0.35
loss_factor = 0.06
thickness_m = 0.5
concrete_modulus_pa = 33e9
concrete_density_kg_m3 = 2400
concrete_poisson = 0.2
concrete_loss_factor = 0.03
superimposed_kg_m2 = 200
basement_walls = { height_m = 2.4, thickness_m = 0.2, spacing_m = 6.0 }
"""
ON_PILES = """[structure.foundation]
model = "raft on piles"
length_m = 7.0
width_m = 6.5
stiffness_n_m = 4e9
damping_n_s_m = 2e7
loss_factor = 0.06
thickness_m = 0.5
concrete_modulus_pa = 33e9
concrete_density_kg_m3 = 2400
concrete_poisson = 0.2
concrete_loss_factor = 0.03
"""
FREE = """[path.coupling]
model = "free foundation"
apparent_speed_m_s = 300
coherent_share = 0.5
"""
SLABS = """[slabs.joists]
model = "one way"
span_x_m = 5
span_y_m = 6
bending_stiffness_n_m = 2e6
cross_stiffness_n_m = 3e3
own_mass_kg_m2 = 60
loss_factor = 0.06

[slabs.old]
model = "on edges"
span_x_m = 5
span_y_m = 6
thickness_m = 0.16
density_kg_m3 = 2300
youngs_modulus_pa = 26e9
poisson = 0.2
loss_factor = 0.05

"""
CROSSING = """[[isolation.crossings]]
name = "stair"
stiffness_n_m = 1e7
damping_n_s_m = 1e4
columns = ["A1"]

"""
VARIANTS = [
    ("tables", (COUPLING, ('[path.coupling]\nmodel = "handbook"\n'
                'foundation = "large masonry on piles"\n')), (r"\Z", LIGHT)),
    ("tables", (COUPLING, '[path.coupling]\nmodel = "E DIN 45672-3"\nplace = "basement"\n'),
     ("high_hz = 125", "high_hz = 80")),
    ("tables", (STOREYS, f'[path.storeys]\nmodel = "given"\n{BANDS}change_db = {FLAT}')),
    ("tables", (r"walls = \{", (
        f"walls = {{ {BANDS.strip()}, measured_below_floor_db = {FLAT.strip()}, "
        'source = "invented", '))),
    ("tables", (FLOOR, '[path.floor]\nmodel = "fixed"\ngain_db = 6\n'),
     (RADIATION, '[path.radiation]\nmodel = "relation"\nrelation = "minus 27"\n')),
    ("tables", (FLOOR, ('[path.floor]\nmodel = "frequency ratio"\nnatural_frequencies_hz = [26]\n'
                'construction = "concrete"\n')),
     (RADIATION, '[path.radiation]\nmodel = "relation"\nrelation = "HJ 453-2018"\n'),
     (MID_SPAN, (f'[path.mid_span]\nmodel = "given"\nplace = "mid-span"\n{BANDS}'
      f'gain_db = {FLAT}')), ("low_hz = 12.5", "low_hz = 16")),
    ("tables", (COUPLING, '[path.coupling]\nmodel = "none"\n'),
     (STOREYS, '[path.storeys]\nmodel = "none"\n'), (MID_SPAN, ""),
     (FLOOR, ('[path.floor]\nmodel = "E DIN 45672-3, ground to floor"\nconstruction = "timber"\n'
              'natural_frequencies_hz = [12, 16]\nplace = "surface average"\n')),
     (r"\Z", JOISTS)),
    ("lines", ('columns = "columns.csv"', ""), ("span_x_m = 6.0", ("span_x_m = 6.0\n"
     "foundation_share = 0.25")), (ISOLATION, ""), (r"\nbase = [^\n]*", "")),
    ("lines", (r"(?=\[path\.coupling\])", PLACES + SLABS), (r"(?=\[\[criteria)", CROSSING)),
    ("lines", ('columns = "columns.csv"', 'columns = "columns.csv"\nfloor_loads = "levels.csv"'),
     (r"\[structure\.", ('[structure.phases]\nmodel = "wave"\napparent_speed_m_s = 300\n'
                         "direction_deg = 30\n\n[structure."))),
    ("lines", (r"\[structure\.", "[structure.phases]\nslab_scatter = 0.05\n\n[structure.")),
    ("lines", (r"\[structure\]", "[parts.one.structure]"),
     (r"\[structure\.", "[parts.one.structure."),
     (ISOLATION, ('[parts.one.isolation]\nlowest_isolated_floor = "0"\nimposed_share = 0.3\n\n'
                  + CROSSING.replace("[[iso", "[[parts.one.iso"))),
     (r"\nbase = (\{[^\n]*\})", ("\nbases = { one = { natural_frequency_hz = 9.0, "
                                 "loss_factor = 0.1 } }"))),
    ("lines", (COUPLING, PLACES.rstrip() + "\nshare_along_building = 0.5\n\n" + FREE),
     (FOUNDATION, RAFT)),
    ("lines", (COUPLING, '[path.coupling]\nmodel = "free foundation"\n'), (FOUNDATION, ON_PILES),
     (r"\[structure\.", "[structure.phases]\nslab_scatter = 0.05\n\n[structure.")),
    ("tables", (r"\[isolation\.below\].*?(?=\n\[)", "[isolation.below]" + FOOTING)),
    ("lines", (COUPLING, '[path.coupling]\nmodel = "free foundation"\n'),
     ("mass_kg = 70000", "mass_kg = 70000\npads_and_strips = true")),
    ("lines", (COUPLING, ('[path.coupling]\nmodel = "none"\ntable = "columns.transfer.csv"\n'
                          "free_field_correction_only = true\n")),
     (STOREYS, ('[path.storeys]\nmodel = "column line"\ntable = "floors.transfer.csv"\n'
                'table_source = "measured on site"\n')),
     (FLOOR, ('[path.floor]\nmodel = "column line"\ntable = "rooms.transfer.csv"\n'
              'place = "surface average"\n\n[path.mid_span]\nmodel = "column line"\n'
              'table = "rooms.transfer.csv"\nplace = "mid-span"\n'))),
]  # fmt: skip
VARIANTS.append(
    ("tables", (r"unlisted_share = 0.1.*?bypass_db = 20\n",
                'all_crossings_listed = true\nbypass = "none"\n'))
)  # fmt: skip
UNCERTAIN = """
[[uncertain]]
key = "structure.foundation.shear_wave_speed_m_s"
distribution = "lognormal"
coefficient_of_variation = 0.2
low = 150
high = 400
source = "invented"

[[uncertain]]
key = "structure.column_loss_factor"
distribution = "normal"
centre = 0.02
standard_deviation = 0.002
source = "invented"

[[uncertain]]
key = "structure.slab_density_kg_m3"
distribution = "triangular"
low = 2300
high = 2500
mode = 2400
source = "invented"

[[uncertain]]
key = "structure.foundation.embedment_m"
distribution = "uniform"
low = 0.6
high = 1.0
source = "invented"

[[uncertain]]
key = "structure.foundation.density_kg_m3"
distribution = "empirical"
values = [1850, 1900, 2000]
source = "invented"

[[alternatives]]
stage = "columns"
name = "as the file has it"
weight = 0.5
source = "invented"

[[alternatives]]
stage = "columns"
name = "with less loss"
weight = 0.5
source = "invented"
changes.structure.column_loss_factor = 0.015
"""
VARIANTS.append(("lines", (r"\Z", UNCERTAIN)))
TRANSFERS = {"floors": ("floor", "1"), "rooms": ("room", "S1"), "columns": ("column", "A1")}

EQUIPMENT = """[curves.balance]
frequency_hz = [8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80]
limit_um_s = [20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20]
outside = "free"
source = "invented"

[curves.scales]
frequency_hz = [8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80]
limit_db_re_1_nm_s = [86, 86, 86, 86, 86, 86, 86, 86, 86, 86, 86]
outside = "free"

[[criteria.laboratory]]
metric = "curve"
curve = "balance"
statistic = "period rms"
period = "day"
time_weighting = "S max"

[[criteria.scales]]
metric = "curve"
curve = "scales"
statistic = "maximum"
time_weighting = "S max"

[[equipment]]
name = "balance"
room = "O1"
mass_kg = 200
criteria_by_axis = { x = "scales", y = "scales", z = "laboratory" }
rigid_up_to_hz = 80
horizontal = { x_db = -8, y_db = -6 }
floor = { model = "mass on a spring", natural_frequency_hz = 12, mass_kg = 4000, \
loss_factor = 0.05 }

[equipment.background]
frequency_hz = [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250]
level_db_re_1_nm_s = [50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50]

[[equipment]]
name = "scales"
room = "O1"
mass_kg = 20
criteria = "scales"
mounts = { natural_frequency_hz = 5, loss_factor = 0.1, dynamic_to_static = 1.2, \
travel_to_solid_m = 0.03, x = { natural_frequency_hz = 3, loss_factor = 0.1 } }
floor = { model = "mobility", mobility_m_n_s = 2e-6 }

[equipment.horizontal]
frequency_hz = [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250]
x_db = [-8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8, -8]

[[options]]
name = "heavier floor, balance on mounts"
changes = { structure.slab_density_kg_m3 = 2500 }

[[options.equipment]]
name = "balance"
natural_frequency_hz = 4
damping_n_s_m = 800
x = { natural_frequency_hz = 3, loss_factor = 0.1 }
y = { natural_frequency_hz = 3, loss_factor = 0.02, damping_n_s_m = 500 }

""".replace("\\\n", "")
VARIANTS.append(("lines", (r"\Z", EQUIPMENT)))
SAID = """currency = "crowns"

[details]
client = "C"
author = "A"
checker = "B"
date = 2026-03-31
revision = "P1"
status = "as built"
project_number = "7"
note = "n"

[site]
track_side = "below along y"
track_offset_m = -1.5
rail_level_m = -9
ground_level_m = 0.5

[inspection]
fire_protection = "f"
access = "a"
interval = "i"
replacement = "r"
replacement_load_case = "l"

[[measurements]]
site = "yard"
date = 2026-03-01
until = "2026-03-02"
position = "p"
quantity = "velocity"
mounting = "spike"
table = "passbys.csv"
events_recorded = 5
events_kept = 3
instruments = [{ name = "geophone", calibrated = 2025-03-01 }]
left_out = { "two at once" = 2 }

[bands]"""
VARIANTS.append(
    ("lines", (r"\[bands\]", SAID),
     ('columns = "columns.csv"', 'columns = "columns.csv"\nregister = "crossings.csv"'),
     (r"(?=\[\[criteria)", CROSSING),
     ('name = "no isolation"', 'name = "no isolation"\ncost = 0\ncost_source = "none"'))
)  # fmt: skip
REGISTER_ROWS = (
    "name,part,kind,treatment,status,floor,grid,stiffness_n_m,specification,responsible,note\n"
    "stair,,stair,rigid,open,0,A1,,s,r,n\npipe,,drain,resilient,agreed,,B2,2e5,sleeve,r,\n"
)
SWAY, BEFORE = "[path.horizontal]\nlevel_db = -3\nmodel = ", r"(?=\[path\.radiation\])"
VARIANTS += [
    ("lines", (BEFORE, (
        f'{SWAY}"frame in bending"\ncolumn_depth_m = 0.5\nslab_width_share = 0.5\n\n')),
     ("natural_frequency_hz = 9.0", "natural_frequency_hz = 9.0, horizontal_ratio = 0.5")),
    ("lines", (BEFORE, (
        f'{SWAY}"frame in bending"\njoints = "held"\nfoundation_ratio = 0.5\n'
        'table = "floors.transfer.csv"\ntable_source = "measured"\n\n')),
     (FOUNDATION, ON_PILES)),
    ("lines", (BEFORE, f'{SWAY}"given"\nchange_db = -5\n\n')),
    ("tables", (BEFORE, (
        f'{SWAY}"given"\n{BANDS}change_db = {FLAT}'.replace("-3", FLAT.strip())
        + 'facing_share = 0.4\nsource = "invented"\n\n'))),
]  # fmt: skip


@pytest.fixture
def variants(tmp_path):
    return written_variants(tmp_path, VARIANTS)


def written_variants(inside, variants):
    """Studies that go through every model and construction that a study file may name."""
    found = []
    for at, (name, *exchanges) in enumerate(variants):
        folder = inside / str(at)
        shutil.copytree(ROOT / "tests" / "fuzz" / "small" / name, folder)
        text = (folder / "study.toml").read_text(encoding="utf-8")
        for pattern, new in exchanges:
            text, count = re.subn(pattern, lambda _, new=new: new, text, count=1, flags=re.DOTALL)
            assert count == 1, pattern
        (folder / "study.toml").write_text(text, encoding="utf-8")
        for kind, (label, row) in TRANSFERS.items():
            bands = [f"{gb.bands.label(f)} Hz" for f in gb.bands.third_octaves(5, 250).values]
            table = f"{','.join([label, *bands])}\n{row}{',-3' * len(bands)}\n"
            (folder / f"{kind}.transfer.csv").write_text(table, encoding="utf-8")
        (folder / "crossings.csv").write_text(REGISTER_ROWS, encoding="utf-8")
        if "[slabs." in text:  # one column is a strip of wall
            table = folder / "columns.csv"
            first, header, wall, *rows = table.read_text(encoding="utf-8").splitlines()
            own = f"{header},area_m2,modulus_pa,density_kg_m3,loss_factor"
            rows = [own, f"{wall},0.6,4e9,1500,0.03", *(f"{row},,,," for row in rows)]
            table.write_text("\n".join([first, *rows]), encoding="utf-8")
        if "floor_loads" in text:
            rows = [f"{c},{f},{kn},18" for c in ("A1", "A2", "B1", "B2")
                    for f, kn in (("0", 70), ("1", 70), ("2", 58))]  # fmt: skip
            table = "\n".join(["column,floor,permanent_kn,imposed_kn", *rows])
            (folder / "levels.csv").write_text(table, encoding="utf-8")
            columns = folder / "columns.csv"  # the levels tell what they carry
            cut = columns.read_text(encoding="utf-8").replace(",permanent_kn,imposed_kn", "")
            columns.write_text(cut.replace(",198,54", ""), encoding="utf-8")
            slabs = (folder / "structure.csv").read_text(encoding="utf-8")
            slabs = slabs.replace(",superimposed_kg_m2", "").replace(",100\n", "\n")
            (folder / "structure.csv").write_text(slabs, encoding="utf-8")
        if "[parts." in text:  # rooms and columns name theirs
            for table in (folder / "rooms.csv", folder / "columns.csv"):
                first, header, *rows = table.read_text(encoding="utf-8").splitlines()
                rows = [f"{header},part", *(f"{row},one" for row in rows)]
                table.write_text("\n".join([first, *rows]), encoding="utf-8")
        found.append(folder / "study.toml")
    return found


def test_every_declared_key_is_read(variants, tmp_path, monkeypatch):
    asked: set[tuple[int, str]] = set()
    item, has = Given.__getitem__, Cells.has

    def asking(self, name):
        asked.add((id(self.of), name))
        return item(self, name)

    def having(self, column):
        loads = {"column": COLUMNS, "column.floor": FLOOR_LOADS}  # as their files have them
        asked.add((id(loads.get(self.of.label, self.of)), column))
        return has(self, column)

    monkeypatch.setattr(Given, "__getitem__", asking)
    monkeypatch.setattr(Cells, "has", having)
    for path in (*STUDIES, *variants, starter.write_starter(tmp_path / "new")[0]):
        read(path)
    tables = {id(of): (place, of) for place, of, _ in keys.places()}
    csv = {"floors": FLOORS, "rooms": ROOMS, "columns": COLUMNS, "storeys": TABLE_OF_STOREYS}
    csv |= {"floor_loads": FLOOR_LOADS, "register": REGISTER}
    tables |= {id(of): (f"{place}.csv", of) for place, of in csv.items()}
    left = {
        (place, name)
        for number, (place, of) in tables.items()
        for name in of.names
        if (number, name) not in asked and name != of.label
    }
    # `format`, `uncertain` and `alternatives` are held before anything else; the others say
    # something to people only, or are octaves that no band of these studies falls in.
    assert left == {
        ("", "format"),
        ("", "uncertain"),
        ("", "alternatives"),
        ("floors.csv", "use"),
        ("rooms.csv", "rt_500hz_s"),
    }


BUILT = [
    ("path.ground", None, propagation.GroundDistance),
    ("path.speed", None, propagation.SpeedChange),
    ("structure.foundation", "rectangular footing", structure.RectangularFooting),
    ("structure.foundation", "springs and dashpots", structure.SpringFoundation),
    ("isolation.below", "rectangular footing", structure.RectangularFooting),
    ("isolation.above", "semi-infinite columns", structure.SemiInfiniteRod),
    ("options.rooms.floor.slab", "columns", structure.FlatSlab),
    ("options.rooms.floor.slab", "edges", structure.EdgeSupportedSlab),
    ("options.rooms.floor.slab", "two supports", structure.OneWaySlab),
    ("options.rooms.floor.boards", None, isolation.Board),
    *(
        (f"options.rooms.{group}", name, getattr(isolation, CONSTRUCTIONS[name]))
        for group in ("floor", "walls", "ceiling")
        for name in keys.declared(f"options.rooms.{group}").rows("construction")[0].choices
    ),
]


@pytest.mark.parametrize(("place", "kind", "cls"), BUILT)
def test_arguments_are_those_of_what_is_built_and_defaults_agree(place, kind, cls):
    fields = {field.name: field for field in dataclasses.fields(cls)}
    given = set()
    for key in keys.declared(place).keys:
        applies = all(w.values == (GIVEN,) or kind in w.values for w in key.when)
        if not key.argument or not applies:
            continue
        given.add(key.argument)
        field = fields[key.argument]
        if not key.needed:
            assert field.default is not dataclasses.MISSING, key.name
            if key.default is not None:
                assert key.default == field.default, key.name
    needed = {n for n, f in fields.items() if f.default is dataclasses.MISSING and f.init}
    assert needed - given <= {"boards"}  # a list of tables of its own


def test_a_number_with_any_dim_is_one_its_argument_takes():
    for place, _, cls in BUILT:
        annotations = {f.name: str(f.type) for f in dataclasses.fields(cls)}
        for key in keys.declared(place).keys:
            if key.kind == "number" and key.argument in annotations:
                assert key.uncertain == ("Numeric" in annotations[key.argument]), key.name


def test_every_condition_names_a_key_and_values_it_may_have():
    for place, of, _ in keys.places():
        for key in of.keys:
            for when in key.when:
                if when.key.startswith("/"):
                    assert keys.STUDY.rows(when.key[1:])
                    continue
                (other, *_) = of.rows(when.key)
                allowed = {None, GIVEN, *other.choices}
                assert set(when.values) <= allowed, (place, key.name)
    metrics = {w for key in keys.trains.CRITERION.rows("limit") for w in key.when[0].values}
    assert metrics == {name for name, m in METRICS.items() if m.fixed_limit is None}


def test_rows_of_one_name_never_apply_together():
    for place, of, _ in keys.places():
        for name in of.names:
            found = [(w.key, v) for row in of.rows(name) for w in row.when[:1] for v in w.values]
            assert len(set(found)) == len(found), (place, name)


# All errors in one run


def test_all_that_is_wrong_is_told_in_one_run(copied_study):
    study = copied_study("music_school")
    for file, old, new in (
        ("study.toml", "low_hz = 5", 'low_hz = "5"'),
        ("study.toml", "hours = 16", "hours = 160"),
        ("study.toml", "span_x_m = 8.0", "span_xm = 8.0"),
        ("study.toml", "poisson = 0.35", "poisson = 0.35\nporosity = 0.3"),
        ("study.toml", 'metric = "LASmax"', 'metric = "LAsmax"'),
        ("study.toml", 'rooms = ["R0.1"]', 'rooms = ["R0.9"]'),
        ("rooms.csv", ",14,7,6.5", ',14,"7,5",6.5'),
        ("rooms.csv", ",classroom\n", ",classrooms\n"),
        ("floors.csv", "natural_frequency_hz", "natural_frequency"),
        ("columns.csv", ",1256,", ",-1256,"),
        ("structure.csv", "0.9,0.25,0.42", "0.9,0.25,420"),
        ("passbys.csv", "55.8", "loud"),
    ):
        target = study.with_name(file)
        text = target.read_text(encoding="utf-8")
        assert old in text, (file, old)
        target.write_text(text.replace(old, new, 1), encoding="utf-8")
    errors = errors_of(study)
    expected = [
        r"study\.toml, \[bands\]: 'low_hz' is '5'; a number is needed; usual: 1 to 31\.5 Hz \(ISO",
        r"study\.toml, \[periods\], \[day\]: 'hours' is 160 h, out of bounds; .* usual: 1 to 24 h",
        (
            r"study\.toml, \[structure\]: 'span_x_m' is missing; a number is needed; 'span_xm' is "
            r"unknown, is 'span_x_m' meant by it\?; usual: 3 to 20 m"
        ),
        r"study\.toml, \[structure\], \[foundation\]: key is 'porosity'; known are ",
        r"study\.toml, \[criteria\], hall 1: 'metric' is 'LAsmax'; .* Did you mean 'LASmax'",
        r"passbys\.csv, row 4, column '5 Hz': 'loud' is not a number",
        r"floors\.csv: column 'natural_frequency' is unknown; known are .*'natural_frequency_hz'",
        r"rooms\.csv, row 4, column 'width_m': '7,5' has a decimal comma; write a decimal point",
        r"columns\.csv, row 5, column 'permanent_kn': -1256 is out of bounds; it must be above 0",
        r"structure\.csv, row 4, column 'slab_thickness_m' is 420 m, out .* looks like mm \(0\.42",
    ]
    for sentence in expected:
        assert [e for e in errors if re.match(sentence, e)], (sentence, errors)
    # Rooms with a cell that is no number are not looked at further, so two of the twelve wait.
    assert len(errors) == len(expected)


def test_names_that_lead_nowhere_are_told_together(spoiled):
    study = spoiled("rooms.csv", (",classroom\n", ",classrooms\n"), ("hall,0,2,14", "hall,9,2,14"))
    text = study.read_text(encoding="utf-8").replace('rooms = ["R0.1"]', 'rooms = ["R0.9"]', 1)
    study.write_text(text.replace('floor = "0"', 'floor = "-1"'), encoding="utf-8")
    errors = errors_of(study)
    assert len(errors) == 4
    assert any("there is no set of criteria 'classrooms'" in e for e in errors)
    assert any("rooms.csv, row 4, column 'floor': there is no floor '9'" in e for e in errors)
    assert any("options 4, rooms 1: room is 'R0.9'" in e for e in errors)
    assert any("'lowest_isolated_floor' is '-1'" in e for e in errors)


def test_what_does_not_fit_together_is_told_for_every_option_and_criterion(spoiled):
    study = spoiled(
        "study.toml",
        ("percentile = 95\n", ""),
        ('statistic = "energy mean"', 'statistic = "energy mean"\npercentile = 95'),
        ("mount_capacity_n = 16e3", "mount_capacity_n = 2e3"),
        ("hanger_capacity_n = 1000", "hanger_capacity_n = 100"),
        ("mount_capacity_n = 8e3", "mount_capacity_n = 1e3"),
    )
    errors = errors_of(study)
    assert [re.match(r"study\.toml, (\[criteria\], hall \d|options 5, rooms \d, \[floor\])", e)[1]
            for e in errors[:2]] == ["[criteria], hall 1", "[criteria], hall 2"]  # fmt: skip
    text = study.read_text(encoding="utf-8")
    text = text.replace('statistic = "percentile"', 'statistic = "percentile"\npercentile = 95', 1)
    text = text.replace('"energy mean"\npercentile = 95', '"energy mean"', 1)
    study.write_text(text, encoding="utf-8")
    errors = errors_of(study)
    assert [e.split(":")[0] for e in errors] == [
        "study.toml, options 5, rooms 1, [floor]",
        "study.toml, options 5, rooms 2, [floor]",
    ]


def test_a_table_with_many_bad_cells_names_the_first_and_counts_the_others(spoiled):
    study = spoiled("passbys.csv")
    table = study.with_name("columns.csv")
    lines = table.read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("column,"))
    header = lines[at].split(",")
    place = header.index("permanent_kn")
    rows = [line.split(",") for line in lines[at + 1 :]]
    for row in rows:
        row[place] = "many"
    table.write_text("\n".join([*lines[: at + 1], *map(",".join, rows)]), encoding="utf-8")
    errors = errors_of(study)
    assert len(rows) == 12
    assert len(errors) == 8
    assert errors[-1].endswith("column 'permanent_kn': 'many' is not a number. So are 4 more cells")


def test_one_error_is_its_sentence_and_of_both_kinds(spoiled):
    study = spoiled("study.toml", ("high_hz = 250", "high_hz = 0"))
    (sentence,) = errors_of(study)
    assert sentence.startswith(
        "study.toml, [bands]: 'high_hz' is 0; it must be above 0 Hz; possible"
    )
    for kind in (StudyError, TableError):
        with pytest.raises(kind):
            read(study)


def test_a_key_of_another_model_says_what_it_goes_with(spoiled):
    storeys = '[path.storeys]\nmodel = "column line"'
    study = spoiled("study.toml", (storeys, f"{storeys}\nper_storey_db = 2"))
    (sentence,) = errors_of(study)
    assert sentence.endswith("'per_storey_db' goes with model = \"fixed\".")


def test_a_file_of_another_format_is_told_nothing_else(tmp_path):
    file = tmp_path / "study.toml"
    file.write_text('format = "groundborne study 2"\nbands = 3\n', encoding="utf-8")
    with pytest.raises(StudyError, match="'format' is 'groundborne study 2'; known are") as caught:
        read(file)
    assert len(caught.value.errors) == 1


# Values that a script changes

SCHOOL = ROOT / "data" / "music_school" / "study.toml"


@pytest.mark.parametrize(
    ("changes", "file", "exchange"),
    [
        ({"structure.foundation.shear_wave_speed_m_s": 180.0}, "study.toml",
         ("shear_wave_speed_m_s = 220", "shear_wave_speed_m_s = 180")),
        ({"options.rubber 9 Hz.base.loss_factor": 0.12}, "study.toml",
         ("loss_factor = 0.10, dyn", "loss_factor = 0.12, dyn")),
        ({"options.2.base.loss_factor": 0.12}, "study.toml",
         ("loss_factor = 0.10, dyn", "loss_factor = 0.12, dyn")),
        ({"criteria.hall.LASmax.limit": 27}, "study.toml", ("limit = 25", "limit = 27")),
        ({"rooms.R0.1.rt_63hz_s": 1.2}, "rooms.csv",
         ("6.5,1.4,1.4,1.4,1.4,1.4,", "6.5,1.4,1.4,1.4,1.4,1.2,")),
        ({"structure.foundation.embedment_m": 0.5, "storeys.0.slab_thickness_m": 0.4}, "", ()),
    ],
)  # fmt: skip
def test_a_change_is_the_same_as_editing_the_file(spoiled, changes, file, exchange):
    changed = read(SCHOOL, changes=changes)
    if file:
        by_hand = read(spoiled(file, exchange))
    else:
        study = spoiled("study.toml", ("embedment_m = 1.0", "embedment_m = 0.5"))
        table = study.with_name("structure.csv")
        text = table.read_text(encoding="utf-8")
        table.write_text(text.replace("0,0.9,0.25,0.42", "0,0.9,0.25,0.4"), encoding="utf-8")
        by_hand = read(study)
    told, own = changed.described(), by_hand.described()
    assert told == own
    assert [d.key for d in changed.changed] == list(changes)
    assert by_hand.changed == ()
    a, b = (evaluated(s.with_options(s.options[:2])) for s in (changed, by_hand))
    assert a.attrs["study_checksum"] == b.attrs["study_checksum"]
    for name in ("rating", "mean_level", "floor_level"):
        np.testing.assert_array_equal(a[name].values, b[name].values)
    assert next(iter(changes)) in a.attrs["changed_after_reading"]


def test_a_change_is_told_with_what_was_and_what_is():
    (found,) = read(SCHOOL, changes={"options.springs 4.5 Hz.base.natural_frequency_hz": 4}).changed
    assert (found.read, found.now) == ("4.5", "4")
    column = xr.DataArray([0.4, 0.3, 0.3, 0.3], coords={"floor": ["0", "1", "2", "3"]})
    (found,) = read(SCHOOL, changes={"floors.slab_thickness_m": column}).changed
    assert (found.read, found.now) == (
        "0: 0.42, 1: 0.3, 2: 0.3, 3: 0.3", "0: 0.4, 1: 0.3, 2: 0.3, 3: 0.3",
    )  # fmt: skip
    (found,) = read(SCHOOL, changes={"options.rubber 9 Hz.base.travel_to_solid_m": 0.02}).changed
    assert (found.read, found.now) == ("none", "0.02")


def test_a_report_tells_what_a_script_changed_before_the_study_was_built():
    address = "structure.foundation.shear_wave_speed_m_s"
    study = read(SCHOOL, changes={address: 180.0})
    assert words.evaluated(study).rows.rows == ((address, "220", "180"),)
    table = words.evaluated_table(study)
    assert table.iloc[0].tolist() == [address, "180", "220", "yes"]
    assert set(table["differs"].iloc[1:]) == {"no"}


SAMPLED = {
    "structure.foundation.shear_wave_speed_m_s": (200.0, 220.0),
    "structure.slab_density_kg_m3": (2400.0, 2380.0),
    "structure.column_modulus_pa": (35e9, 33e9),
    "isolation.load.imposed_share": (0.3, 0.35),
    "path.radiation.walls.thickness_m": (0.14, 0.15),
    "path.radiation.slabs.longitudinal_wave_speed_m_s": (4061.0, 4000.0),
    "options.springs 4.5 Hz.base.natural_frequency_hz": (4.5, 4.6),
    "options.rubber 9 Hz.base.own_mass_kg_per_mn": (60.0, 80.0),
    "options.5.rooms.1.floor.mount_stiffness_n_m": (0.5e6, 0.52e6),
    "options.5.rooms.1.walls.leaf_kg_m2": (110.0, 115.0),
    "options.5.rooms.1.ceiling.hanger_deflection_m": (0.025, 0.026),
    "rooms.R0.1.rt_63hz_s": (1.4, 1.3),
    "rooms.R0.1.height_m": (6.5, 6.4),
    "floors.slab_thickness_m": (0.3, 0.31),
    "storeys.0.slab_modulus_pa": (38e9, 36e9),
    "columns.A1.imposed_kn": (90.0, 95.0),
}


def dims_in(thing, above=()):
    """Dims of every array inside a study."""
    if isinstance(thing, xr.DataArray | xr.Dataset):
        return set(thing.dims)
    if isinstance(thing, dict | MappingProxyType):
        inner = thing.values()
    elif isinstance(thing, tuple | list):
        inner = thing
    else:
        inner = getattr(thing, "__dict__", {}).values()
    if id(thing) in above or isinstance(thing, type | FunctionType):
        return set()
    return set().union(*(dims_in(part, (*above, id(thing))) for part in inner))


@pytest.mark.parametrize("address", SAMPLED)
def test_samples_reach_the_model_as_they_are(address):
    values = xr.DataArray(np.array(SAMPLED[address]), dims="sample")
    study = read(SCHOOL, changes={address: values})
    (found,) = study.changed
    assert found.key == address
    assert found.now == ", ".join(f"{v:.10g}" for v in SAMPLED[address])
    assert "sample" in dims_in(study)
    assert "sample" not in dims_in(read(SCHOOL))


def test_samples_are_built_as_each_would_be_by_itself():
    addresses = ("structure.foundation.shear_wave_speed_m_s", "storeys.0.slab_thickness_m",
                 "rooms.R0.1.rt_63hz_s", "isolation.load.imposed_share")  # fmt: skip
    pairs = ((200.0, 220.0), (0.42, 0.43), (1.4, 1.3), (0.3, 0.35))
    both = {
        a: xr.DataArray(np.array(v), dims="sample") for a, v in zip(addresses, pairs, strict=True)
    }
    frequency = gb.bands.third_octaves(5, 250)
    sampled = read(SCHOOL, changes=both)
    change = sampled.as_built.level_changes(frequency)["storeys"]
    for at in range(2):
        alone = read(SCHOOL, changes={a: v[at] for a, v in zip(addresses, pairs, strict=True)})
        own = alone.as_built.level_changes(frequency)["storeys"]
        np.testing.assert_allclose(
            change.isel(sample=at).transpose(*own.dims).values, own.values, atol=1e-9
        )
        np.testing.assert_allclose(sampled.plane.mass.isel(sample=at), alone.plane.mass)
        times = sampled.building.rooms["reverberation_time"].isel(sample=at)
        np.testing.assert_array_equal(times, alone.building.rooms["reverberation_time"])


def test_a_change_begins_a_table_that_the_file_left_out():
    study = read(SCHOOL, changes={"structure.phases.model": "in phase"})
    assert study.part().frame.line.phases.in_phase
    assert not read(SCHOOL).part().frame.line.phases.in_phase
    assert [(d.key, d.now) for d in study.changed] == [("structure.phases.model", "in phase")]
    hall = SCHOOL.parents[1] / "assembly_hall" / "study.toml"
    study = read(hall, changes={"parts.annexe.structure.phases.model": "uniform"})
    assert [p.frame.line.phases.kind for p in study.parts] == ["window", "uniform"]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"structure.foundation.shear_wave_sped_m_s": 180},
         (r"changes: there is no key 'structure\.foundation\.shear_wave_sped_m_s'; .* Did you mean "
         r"'structure\.foundation\.shear_wave_speed_m_s'\?")),
        ({"structure.phases.modell": "window"}, r"mean 'structure\.phases\.model'"),
        ({"structure.foundation.basement_walls.height_m": 3.0,
          "structure.foundation.basement_walls.thickness_m": 0.3},
         r"\[basement_walls\]: 'spacing_m' is missing"),
        ({"rooms.R0.9.rt_63hz_s": 1.0}, r"no key 'rooms\.R0\.9\.rt_63hz_s'; .* mean 'rooms\.R0"),
        ({"options.springs 4,5 Hz.base.loss_factor": 0.1}, r"mean 'options\.springs 4\.5 Hz\.base"),
        ({"structure.foundation": 1.0}, r"there is no key 'structure\.foundation'"),
        ({"structure.storeys": "other.csv"}, r"there is no key 'structure\.storeys'"),
        ({"structure.foundation.poisson": 0.6},
         r"changes: 'structure\.foundation\.poisson' is 0\.6, out of bounds; possible: 0 to 0"),
        ({"structure.foundation.poisson": "stiff"}, r"foundation\.poisson' is 'stiff'; a numb"),
        ({"structure.foundation.poisson": float("nan")}, r"poisson' is nan; it must be finite; u"),
        ({"structure.foundation.poisson": xr.DataArray([0.3, 0.7], dims="sample")},
         r"poisson' at sample=1 is 0\.7, out of bounds"),
        ({"structure.foundation.poisson": xr.DataArray([0.3, np.nan], dims="sample")},
         r"poisson' is nan at sample=1; it must be finite"),
        ({"bands.low_hz": xr.DataArray([5.0, 10.0], dims="sample")},
         r"'bands\.low_hz' is a DataArray; it takes no samples, a number is needed"),
        ({"rooms.R0.1.length_m": xr.DataArray([14.0], coords={"room": ["R0.1"]})},
         r"carries the dim 'room' of the rows themselves; change the column 'rooms\.length_m'"),
        ({"floors.slab_thickness_m": xr.DataArray([0.4], coords={"floor": ["0"]})},
         r"has other labels on 'floor' than the table, which holds '0', '1', '2', '3'"),
        ({"options.2.base.loss_factor": 0.1, "options.rubber 9 Hz.base.loss_factor": 0.2},
         r"is the same key as"),
        ({"path.coupling.model": "given", "path.coupling.free_field_correction_only": True,
          "path.coupling.frequency_hz": gb.bands.third_octaves(5, 250).values.tolist(),
          "path.coupling.loss_db": xr.DataArray(np.ones((18, 2)), dims=("frequency", "sample"))},
         r"\[coupling\]: 'loss_db' needs its bands on the dim 'frequency'"),
    ],
)  # fmt: skip
def test_changes_that_cannot_be_made_are_refused(changes, sentence):
    (error,) = errors_of(SCHOOL, changes=changes)
    assert re.search(sentence, error), error


def test_an_unusual_change_is_warned_of_and_noted():
    changes = {"structure.foundation.loss_factor": xr.DataArray([0.06, 0.5], dims="sample")}
    with pytest.warns(gb.UnusualValueWarning, match="loss_factor' at sample=1 is 0.5, unusual"):
        study = gb.read_study(SCHOOL, changes=changes)
    assert study.unusual[0].startswith("changes: 'structure.foundation.loss_factor' at sample=1")


# The guide and the starter study


def test_the_guide_is_what_the_table_gives():
    text = (ROOT / guide.README).read_text(encoding="utf-8")
    assert guide.renewed(text) == text, "run python -m groundborne.study.guide"
    whole = (ROOT / guide.WHOLE).read_text(encoding="utf-8")
    assert whole == guide.whole_guide(), "run python -m groundborne.study.guide"


def test_the_guide_names_every_key():
    block, whole = guide.readme_block(), guide.whole_guide()
    for place, row in keys.rows():
        if row.name != "*":
            assert f"`{row.name}`" in block, place
            assert f"`{row.name}`" in whole, place
    with pytest.raises(ValueError, match="are needed once each"):
        guide.renewed("no marks")


def test_a_key_that_is_added_stands_in_guide_and_starter(monkeypatch):
    from groundborne.key import number as row

    new = row("girth_m", "girth", "m", (0.1, 1, 3, 10), "around the track", default=2.0)
    more = KeyTable((*keys.STUDY.keys, new))
    monkeypatch.setattr(starter, "STUDY", more)
    assert (
        "# girth_m = 2  # around the track; 2 by default; usual: 1 to 3 m; possible: 0.1 to 10 m"
        in (starter.starter_files()["study.toml"])
    )
    faults = Faults()
    given = Checker({"girth_m": 20.0}, faults).table({"girth_m": 20.0}, KeyTable((new,)), "here")
    assert given["girth_m"] is None
    assert faults.found[0].startswith("here: 'girth_m' is 20 m, out of bounds; possible: 0.1 to 10")


def test_every_example_of_the_starter_study_is_possible_and_usual():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for place, row in keys.rows():
            if row.inner is None:
                value = starter.example(row)
                faults = Faults()
                of = KeyTable((dataclasses.replace(row, when=()),))
                Checker({}, faults).table({row.name: value}, of, place)
                assert faults.found == []


def test_the_starter_study_names_every_key_with_its_unit_and_range():
    files = starter.starter_files()
    text = files["study.toml"]
    tomllib.loads(text)
    for place, row in keys.rows():
        if row.inner is None and row.name != "*":
            assert re.search(rf"(?m)^(# )?{row.name} = .*#", text), place
            if row.quantity is not None:
                assert f"usual: {row.quantity.usual[0]:g} to" in text
    for kind, of in (("rooms", ROOMS), ("floors", FLOORS), ("columns", COLUMNS)):
        for key in of.keys:
            assert f"{key.name}: " in files[f"{kind}.csv"]


def test_the_starter_study_is_read_and_evaluated_without_a_warning(tmp_path):
    file, *_ = starter.write_starter(tmp_path / "house")
    study = gb.read_study(file)  # warnings are errors
    result = evaluated(study)
    assert result["answer"].sizes == {"option": 3, "room": 2, "criterion": 3}
    springs = result["mean_level"].sel(option="springs 4.5 Hz", frequency=63.0)
    assert (
        float((result["mean_level"].sel(option="no isolation", frequency=63.0) - springs).min()) > 5
    )


def test_numbers_are_taken_as_they_are():
    row = keys.declared("structure.foundation").rows("poisson")[0]
    assert number(row, 0.3, "here: 'poisson'") == 0.3
    assert isinstance(number(row, np.float64(0.3), "here: 'poisson'"), float)
    array = xr.DataArray([0.3, 0.4], dims="sample")
    assert number(row, array, "here: 'poisson'") is array
    with pytest.raises(StudyError, match="here: 'poisson' holds <U4; real numbers are needed"):
        number(row, xr.DataArray(["0.3", "high"], dims="sample"), "here: 'poisson'")


def test_keys_that_had_another_name_say_what_they_are_called(tmp_path: Path) -> None:
    text = STUDIES[2].read_text(encoding="utf-8")
    folder = tmp_path / "study"
    shutil.copytree(STUDIES[2].parent, folder)
    path = folder / "study.toml"
    path.write_text(
        text.replace('storeys = "structure.csv"', 'levels = "structure.csv"').replace(
            'columns = "columns.csv"', 'columns = "columns.csv"\nlevel_loads = "columns.csv"'
        ),
        encoding="utf-8",
    )
    with pytest.raises(StudyError) as caught:
        read(path)
    assert caught.value.errors == (
        "study.toml, [building]: 'level_loads' is called 'floor_loads' now; rename the key",
        "study.toml, [structure]: 'levels' is called 'storeys' now; rename the key",
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        read(path, changes={"levels.1.slab_thickness_m": 0.3})
    assert caught.value.errors == (
        "changes, 'levels.1.slab_thickness_m': 'levels' is called 'storeys' now; rename the key",
    )
