"""Options of study files that change the building: as the changed study would be, and told."""

from __future__ import annotations

import html
import re
import shutil
import tomllib
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import report
from groundborne.__main__ import main
from groundborne._checks import StudyError
from groundborne.bands import edges
from groundborne.structure import FlatSlab, OneWaySlab
from groundborne.study import notes_of, sentence, tuned_mount
from quiet_studies import errors_of, evaluated

SMALL = Path(__file__).parents[1] / "fuzz" / "small"
JOISTS = """
[slabs.joists]
model = "one way"
span_x_m = 5
span_y_m = 6
bending_stiffness_n_m = 4e6
cross_stiffness_n_m = 3e3
own_mass_kg_m2 = 60
superimposed_kg_m2 = 40
loss_factor = 0.06

[slabs.unused]
model = "flat"
span_x_m = 5
span_y_m = 6
thickness_m = 0.2
density_kg_m3 = 2400
youngs_modulus_pa = 3e10
poisson = 0.2
loss_factor = 0.05

[[isolation.crossings]]
name = "stair"
stiffness_n_m = 1e7

"""
BASE = "base = { natural_frequency_hz = 9.0, loss_factor = 0.1 }\n"


def option(changes: str, *, name: str = "other", base: str = "") -> str:
    return f'\n[[options]]\nname = "{name}"\n{base}\n[options.changes]\n{changes}\n'


def study_of(folder: Path, *options: str, part: str = "", name: str = "lines") -> Path:
    """The small study, with joists under the office and these options after the first."""
    shutil.copytree(SMALL / name, folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    text = (
        text[: text.index('\n[[options]]\nname = "rubber and floors"')] if name == "lines" else text
    )
    if name == "lines":
        text = text.replace("[[criteria", JOISTS + "[[criteria", 1)
        text = text.replace("shear_wave_speed_m_s = 250", "shear_wave_speed_m_s = 170")
        rooms = folder / "rooms.csv"
        first, header, studio, office = rooms.read_text(encoding="utf-8").splitlines()
        rows = [f"{header},slab", f"{studio},", f"{office},joists"]
        if part:
            rows = [f"{row},{of}" for row, of in zip(rows, ("part", part, part), strict=True)]
        rooms.write_text("\n".join([first, *rows]), encoding="utf-8")
        levels = folder / "structure.csv"  # columns with a usual strain
        levels.write_text(levels.read_text(encoding="utf-8").replace(",0.16,", ",0.12,"))
    if part:
        text = text.replace("[structure", f"[parts.{part}.structure")
        start, end = text.index("[isolation]"), text.index("[slabs.")
        own = f'[parts.{part}.isolation]\nlowest_isolated_floor = "0"\nimposed_share = 0.3\n\n'
        text = text[:start] + own + text[end:].replace("[[iso", f"[[parts.{part}.iso")
        columns = folder / "columns.csv"
        first, header, *rows = columns.read_text(encoding="utf-8").splitlines()
        rows = [f"{header},part", *(f"{row},{part}" for row in rows)]
        columns.write_text("\n".join([first, *rows]), encoding="utf-8")
    file.write_text(text + "".join(options), encoding="utf-8")
    return file


HEAVIER = {"storeys.1.slab_thickness_m": 0.27, "storeys.1.superimposed_kg_m2": 150.0}
AS_TABLES = "storeys.1.slab_thickness_m = 0.27\nstoreys.1.superimposed_kg_m2 = 150"


# -- As objects of a script ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "changes"),
    [
        ("", AS_TABLES),
        ("", AS_TABLES.replace("storeys.1.", '"storeys.1.').replace("_m =", '_m" =').replace(
            "_m2 =", '_m2" =')),
        ("house", AS_TABLES.replace("storeys", '"storeys of house"')),
    ],
)  # fmt: skip
def test_an_option_of_a_file_is_one_of_a_script(tmp_path, changes, part) -> None:
    of = f" of {part}" if part else ""
    file = study_of(tmp_path / "one", option(changes, base=BASE), part=part)
    study = gb.read_study(file)
    plain = gb.read_study(study_of(tmp_path / "two", part=part))
    whole = gb.read_study(
        tmp_path / "two" / "study.toml",
        changes={k.replace("storeys.", f"storeys{of}."): v for k, v in HEAVIER.items()},
    ).part(part)
    before = plain.part(part).plane
    plane = replace(whole.plane, mass=before.mass + whole.plane.moving_mass - before.moving_mass)
    mount = tuned_mount(plane, natural_frequency=9.0, loss_factor=0.1)
    scripted = gb.Option(name="other", base=mount, parts=(replace(whole, plane=plane),))
    a, b = evaluated(study), evaluated(plain.with_options([*plain.options, scripted]))
    for name in ("sound_level", "rating", "margin", "floor_level", "base_change", "mount_frequency",
                 "carried_mass", "moving_mass"):  # fmt: skip
        np.testing.assert_allclose(a[name].values, b[name].values, rtol=1e-12, atol=1e-12)
    assert float(abs(a["sound_level"].diff("option")).max()) > 0.5
    assert [p.name for p in study.options[1].parts] == [part]


def test_what_no_change_reaches_stays_the_same_object(tmp_path) -> None:
    """Of two parts on column lines of their own only the one that is changed is another."""
    file = study_of(tmp_path / "study", option('"storeys of a".1.superimposed_kg_m2 = 150'))
    text = file.read_text(encoding="utf-8")
    start, end = text.index("[structure]"), text.index("[slabs.")
    own = (
        text[start : text.index("[isolation]")]
        .replace("= 70000", "= 35000")
        .replace("s = 170", "s = 130")
    )
    both = "".join(
        own.replace("[structure", f"[parts.{name}.structure")
        + f'[parts.{name}.isolation]\nlowest_isolated_floor = "0"\nimposed_share = 0.3\n\n'
        for name in "ab"
    )
    rest = text[end:]
    crossing = rest[rest.index("[[isolation") : rest.index("[[criteria")]
    file.write_text(text[:start] + both + rest.replace(crossing, ""), encoding="utf-8")
    for table, names in (("rooms", "ab"), ("columns", "aabb")):
        path = file.with_name(f"{table}.csv")
        first, header, *rows = path.read_text(encoding="utf-8").splitlines()
        rows = [f"{row},{name}" for row, name in zip(rows, names, strict=True)]
        path.write_text("\n".join([first, f"{header},part", *rows]), encoding="utf-8")
    study = gb.read_study(file)
    other = study.options[1]
    assert [part.name for part in other.parts] == ["a"]
    assert other.seen_by(study.part("b"))[1] is study.part("b")
    result = evaluated(study)
    change = result["sound_level"].diff("option").isel(option=0)
    assert float(abs(change.sel(room="O1")).max()) == 0.0
    assert float(abs(change.sel(room="S1")).max()) > 0.1
    assert result["moving_mass"].dims == ("option", "column")
    more = result["moving_mass"].diff("option").isel(option=0)
    np.testing.assert_allclose(more, [450.0, 450.0, 0.0, 0.0])  # 50 kg/m² on 36 m²/4


def test_a_study_without_column_lines(tmp_path) -> None:
    """Tables of the path and a floor of another frequency, without structure or columns."""
    changes = "path.storeys.per_storey_db = 4\nfloors.1.storeys = 1.5\n"
    file = study_of(tmp_path / "study", option(changes), name="tables")
    study = gb.read_study(file)
    kept = study.with_options([study.options[0], study.options[-1]])
    change = evaluated(kept)["level_change"].sum("stage")
    assert float(abs(change.diff("option")).max()) > 0.5
    storeys = [
        {"0": 0.0, "1": 1.5, "2": 2.0}[f] for f in study.building.rooms["floor_of_room"].values
    ]
    element = study.options[-1].parts[0].as_built.elements["storeys"]
    np.testing.assert_allclose(
        element.level_change(study.frequency).sel(frequency=16.0),
        -4.0 * np.array(storeys),
        atol=1e-9,
    )


def readme_block(words: str) -> str:
    text = (SMALL.parents[2] / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", text, flags=re.DOTALL)
    (found,) = [block for block in blocks if words in block]
    return found


@pytest.mark.parametrize(
    "name", ["heavier first floor on springs", "balance on springs and dampers"]
)
def test_what_the_readme_shows_is_read_and_evaluated(tmp_path, name) -> None:
    folder = tmp_path / "study"
    shutil.copytree(SMALL.parents[2] / "data" / "music_school", folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(f"{text}\n{readme_block(name)}", encoding="utf-8")
    study = gb.read_study(file)  # warnings are errors
    other = study.options[-1]
    assert other.name == name
    result = evaluated(study.with_options([study.options[0], other]))
    assert result.sizes["option"] == 2
    assert bool(other.parts) != bool(other.equipment)


def test_what_the_readme_shows_of_the_assembly_hall_stands_in_its_file() -> None:
    file = SMALL.parents[2] / "data" / "assembly_hall" / "study.toml"
    held = tomllib.loads(file.read_text(encoding="utf-8"))
    shown = tomllib.loads(readme_block("walls_measured.csv"))

    def leaves(value, at=()):
        parts = value.items() if isinstance(value, dict) else ()
        if isinstance(value, list) and all(isinstance(part, dict) for part in value):
            parts = [(part.get("name", n), part) for n, part in enumerate(value)]
        for key, part in parts:
            yield from leaves(part, (*at, key))
        if not parts:
            yield at, value

    there = dict(leaves(held))
    assert len(dict(leaves(shown))) > 20
    for at, value in leaves(shown):
        assert there[at] == value, at


BOX = """
[[options.rooms]]
rooms = ["S1"]

[options.rooms.floor]
construction = "jack-up concrete"
thickness_m = 0.1
density_kg_m3 = 2400
youngs_modulus_pa = 30e9
mount_stiffness_n_m = 0.9e6
mount_loss_factor = 0.1
spacing_x_m = 1.2
spacing_y_m = 1.4
air_gap_m = 0.08
"""


def test_floors_by_construction_load_the_slab_of_their_option(tmp_path) -> None:
    thicker = option("storeys.0.slab_thickness_m = 0.3") + BOX
    plain = f'\n[[options]]\nname = "as is"\n{BOX}'
    study = gb.read_study(study_of(tmp_path / "study", plain, thicker))
    slabs = [o.measures[0].treatments["floor"].slab for o in study.options[1:]]
    np.testing.assert_allclose([float(np.max(s.thickness)) for s in slabs], [0.25, 0.3])
    result = evaluated(study)
    # Solved with the lines of the option: as in a study that has them from the start.
    other = gb.read_study(
        study_of(tmp_path / "other", plain), changes={"storeys.0.slab_thickness_m": 0.3}
    )
    np.testing.assert_allclose(
        result["sound_level"].sel(option="other").values,
        evaluated(other)["sound_level"].sel(option="as is").values,
        atol=1e-9,
    )


# -- By hand ---------------------------------------------------------------------------------------


def mid_span(mass: float, frequency: xr.DataArray) -> np.ndarray:
    """``½ (sec + sech)(κl/2)``, ``κ⁴ = ω² m″/(D (1+jη))``: energy mean over each band [dB]."""
    low, high = (np.asarray(e)[:, None] for e in edges(frequency.values))
    f = low + (high - low) * np.linspace(0, 1, 4001)
    kappa = ((2 * np.pi * f) ** 2 * mass / (4e6 * (1 + 0.06j))) ** 0.25
    half = kappa * 5.0 / 2
    ratio = (1 / np.cos(half) + 1 / np.cosh(half)) / 2
    return 10 * np.log10((np.abs(ratio) ** 2).mean(axis=1))


def test_a_heavier_floor_by_hand(tmp_path) -> None:
    """Joists of 60 kg/m² under 40 and under 80: √(100/140) of the frequency; levels of a beam with
    moving ends, which the columns do not feel. In phase: over phases columns move most where
    their slabs bend, and a beam by hand has no such bands."""
    file = study_of(tmp_path / "study", option("slabs.joists.superimposed_kg_m2 = 80"))
    study = gb.read_study(file, changes={"structure.phases.model": "in phase"})
    (part,) = study.options[1].parts
    slabs = [p.frame.other_slabs["1, joists"][1] for p in (study.part(), part)]
    first = [np.pi / 2 / 25 * np.sqrt(4e6 / m) for m in (100.0, 140.0)]
    np.testing.assert_allclose([s.first_resonance for s in slabs], first, rtol=1e-12)
    assert first[1] / first[0] == pytest.approx(np.sqrt(100 / 140))
    result = evaluated(study)
    change = result["floor_change"].sel(room="O1").diff("option").isel(option=0)
    expected = mid_span(140.0, study.frequency) - mid_span(100.0, study.frequency)
    near = study.frequency.values <= 50
    # Columns vary little inside these bands, but for the one in which the slabs of the lines bend.
    off = np.abs(change.values - expected)
    assert (off[near] < np.where(study.frequency.values == 16.0, 1.0, 0.25)[near]).all()
    assert np.ptp(expected[near]) > 8.0
    assert float(abs(result["floor_change"].sel(room="S1").diff("option")).max()) == 0.0
    np.testing.assert_array_equal(part.plane.mass, study.plane.mass)  # no column carries it


def test_loads_on_mounts_follow_the_slab_by_hand(tmp_path) -> None:
    """0.02 m of 2400 kg/m³ and 50 kg/m² on a quarter of 36 m² are 882 kg on every column."""
    file = study_of(tmp_path / "study", option(AS_TABLES, base=BASE))
    study = gb.read_study(file)
    (part,) = study.options[1].parts
    more = (0.02 * 2400 + 50) * 36 / 4
    loads = (198e3 + 0.3 * 54e3) / 9.80665
    np.testing.assert_allclose(study.plane.mass, loads)
    np.testing.assert_allclose(part.plane.mass, loads + more)
    np.testing.assert_allclose(part.plane.moving_mass - study.plane.moving_mass, more)
    stiffness = (2 * np.pi * 9.0) ** 2 * (loads + more)  # 9 Hz under the loads of the option
    np.testing.assert_allclose(study.options[1].base.stiffness, stiffness)
    result = evaluated(study)
    np.testing.assert_allclose(result["carried_mass"].sel(option="other"), loads + more)
    np.testing.assert_allclose(result["nominal_frequency"].sel(option="other"), 9.0)
    (note,) = [n for n in notes_of(result) if n.kind == "changed building"]
    ((_, was, now, carried, carries),) = note.values["masses"]
    assert now[0] - was[0] == pytest.approx(4 * more / 1e3)
    assert carries[0] - carried[0] == pytest.approx(4 * more / 1e3)


def test_a_stiffer_floor_of_the_path_resonates_where_it_says(tmp_path) -> None:
    """Floors by their natural frequency alone: the note on resonances follows the option."""
    file = study_of(tmp_path / "study", option("floors.1.natural_frequency_hz = 19"), name="tables")
    text = file.read_text(encoding="utf-8")
    start, end = text.index("[path.floor]"), text.index("[path.mid_span]")
    text = text[:start] + '[path.floor]\nmodel = "fundamental"\n\n' + text[end:]
    start, end = text.index("[path.radiation]"), text.index("[isolation]")
    relation = '[path.radiation]\nmodel = "relation"\nrelation = "minus 27"\n\n'
    text = text[:start] + relation + text[end:]
    first = text.index("[[options]]")
    others = text.index("[[options]]", first + 1), text.rindex("[[options]]")
    file.write_text(text[: others[0]] + text[others[1] :], encoding="utf-8")
    table = file.with_name("floors.csv")
    rows = table.read_text(encoding="utf-8").splitlines()
    rows = [rows[0], f"{rows[1]},natural_frequency_hz", *(f"{row},12" for row in rows[2:])]
    table.write_text("\n".join(rows), encoding="utf-8")
    study = gb.read_study(file)
    found = [
        [(r.floors, r.frequency) for r in gb.study.resonances(study, o) if r.kind == "floors"]
        for o in study.options
    ]
    assert found[0] == [(frozenset({"0", "1", "2"}), 12.0)]
    assert (frozenset({"1"}), 19.0) in found[1]


# -- What it is told by ----------------------------------------------------------------------------


def test_notes_texts_and_reports_say_what_is_changed(tmp_path, monkeypatch, capsys) -> None:
    file = study_of(tmp_path / "study", option(AS_TABLES, name="thicker", base=BASE))
    study = gb.read_study(file)
    assert study.changed == ()
    result = evaluated(study)
    words = "slab thickness of floor 1: 0.27 m in place of 0.25 m"
    said = [sentence(n) for n in notes_of(result) if n.kind == "changed building"]
    assert len(said) == 1
    thicker = "slab thickness of floor 1 0.25 → 0.27 m"
    assert said[0].startswith(
        f"Option 'thicker' changes the building: {thicker}; superimposed mass of floor 1 "
    )
    assert "in the structure, and 91 t in place of 87 t by the loads on the mounts." in said[0]
    assert f"  changes the building: {thicker}" in report.assessment_text(result)
    monkeypatch.setattr(report.document, "pictures", lambda *_: [])
    text = html.unescape(
        report.write_report(study, result, tmp_path / "out").read_text(encoding="utf-8")
    )
    assert f"Changed in the building: {words}" in text
    assert f"Changes the building: {thicker}" in text  # among the notes
    assert main(["check", str(file)]) == 0
    assert f"option thicker: {words}; superimposed mass" in capsys.readouterr().out
    assert "options · thicker · changes · 1 · key" in study.described()
    gb.save_result(result, tmp_path / "r.nc")
    xr.testing.assert_identical(gb.read_result(tmp_path / "r.nc"), result)


def test_a_change_without_effect_beside_others_is_told(tmp_path) -> None:
    """Loss of the plates that radiate is of no level here, the slab is."""
    idle = "floors.1.natural_frequency_hz = 19"
    file = study_of(tmp_path / "study", option(f"{AS_TABLES}\n{idle}"))
    with pytest.warns(
        gb.UnusualValueWarning, match=r"option 'other', changes: 'floors\.1\.nat"
    ) as w:
        study = gb.read_study(file)
    (told,) = [str(x.message) for x in w if "changes nothing" in str(x.message)]
    assert told.endswith("changes nothing beside the others: no level follows from it")
    assert told in study.unusual
    with warnings.catch_warnings():
        warnings.simplefilter("error", gb.UnusualValueWarning)
        gb.read_study(study_of(tmp_path / "both", option(AS_TABLES)))


@pytest.mark.parametrize(
    ("storeys", "told"),
    [('model = "column line"', False), ('model = "none"', True), ('model = "FTA 2006"', True)],
)
def test_steps_that_do_not_follow_changed_lines_are_told(tmp_path, storeys, told) -> None:
    file = study_of(tmp_path / "study", option(AS_TABLES))
    text = file.read_text(encoding="utf-8")
    head, _, tail = text.partition("[path.storeys]\n")
    file.write_text(
        f"{head}[path.storeys]\n{storeys}\n{tail.partition(chr(10))[2]}", encoding="utf-8"
    )
    result = evaluated(gb.read_study(file))
    found = [n for n in notes_of(result) if n.kind == "steps do not follow"]
    assert [n.values["steps"] for n in found] == [["storeys"]] * told
    if told:
        assert "storeys of the path does not follow from them" in sentence(found[0])


def test_parts_of_a_script_are_told_too(tmp_path) -> None:
    plain = gb.read_study(study_of(tmp_path / "study"))
    other = gb.read_study(tmp_path / "study" / "study.toml", changes=HEAVIER).part()
    study = plain.with_options([*plain.options, gb.Option(name="other", parts=(other,))])
    (said,) = [sentence(n) for n in notes_of(evaluated(study)) if n.kind == "changed building"]
    assert said.startswith(
        "Option 'other' changes the building: the building that as built → another"
    )
    assert "and 87 t in place of 87 t" in said  # nobody raised the loads
    _, _, measures = report.words.options_in_words(study)[-1]
    assert measures == ["Changed: the building is another than as built"]
    with pytest.raises(StudyError, match="changes are named, and no part is otherwise"):
        gb.Option(name="x", changes=(gb.study.description.Difference(key="a", read="", now="b"),))


# -- Kinds of changes ------------------------------------------------------------------------------


def test_a_table_of_levels_of_its_own(tmp_path) -> None:
    file = study_of(tmp_path / "study", option('structure.storeys = "heavier.csv"'))
    table = file.with_name("structure.csv").read_text(encoding="utf-8")
    file.with_name("heavier.csv").write_text(table.replace(",100\n", ",150\n"), encoding="utf-8")
    study = gb.read_study(file)
    (difference,) = study.options[1].changes
    assert (difference.read, difference.now) == ("structure.csv", "heavier.csv")
    assert set(study.inputs) >= {"structure.csv", "heavier.csv"}
    slabs = study.options[1].parts[0].frame.line.slabs
    assert [s.superimposed_mass for s in slabs] == [150.0] * 3
    assert [s.superimposed_mass for s in study.part().frame.line.slabs] == [100.0] * 3
    (error,) = errors_of(file, changes={"storeys.1.superimposed_kg_m2": 120.0})
    assert "option 'other', changes: the table of storeys is another file, and the script" in error


def test_another_model_takes_the_keys_of_the_one_before_with_it(tmp_path) -> None:
    changes = (
        'slabs.joists = { model = "flat", thickness_m = 0.2, density_kg_m3 = 2400, '
        "youngs_modulus_pa = 3e10, poisson = 0.2 }"
    )
    study = gb.read_study(study_of(tmp_path / "study", option(changes)))
    slab = study.options[1].parts[0].frame.other_slabs["1, joists"][1]
    expected = FlatSlab(
        span_x=5.0, span_y=6.0, thickness=0.2, density=2400.0, youngs_modulus=3e10, poisson=0.2,
        loss_factor=0.06, superimposed_mass=40.0,
    )  # fmt: skip
    assert gb.study.description.describe(slab) == gb.study.description.describe(expected)
    assert isinstance(study.part().frame.other_slabs["1, joists"][1], OneWaySlab)
    told = {d.key: (d.read, d.now) for d in study.options[1].changes}
    assert told["slabs.joists.model"] == ("one way", "flat")
    assert told["slabs.joists.own_mass_kg_m2"] == ("60", "none")


def test_what_crosses_the_plane_by_one_key_and_as_a_list(tmp_path) -> None:
    one = option("isolation.crossings.stair.stiffness_n_m = 2e7", name="stiffer", base=BASE)
    both = (
        'isolation.crossings = [{ name = "stair", stiffness_n_m = 1e7 }, { name = "duct", '
        "stiffness_n_m = 3e6 }]"
    )
    study = gb.read_study(study_of(tmp_path / "study", one, option(both, base=BASE)))
    stiffer, more = (o.parts[0].plane.crossings for o in study.options[1:])
    assert [(c.name, c.stiffness) for c in stiffer] == [("stair", 2e7)]
    assert [(c.name, c.stiffness) for c in more] == [("stair", 1e7), ("duct", 3e6)]
    (told,) = study.options[2].changes
    assert told.now.endswith("(name = duct, stiffness_n_m = 3000000)")


def test_a_script_changes_what_an_option_changes_and_samples_go_through(tmp_path) -> None:
    file = study_of(tmp_path / "study", option("slabs.joists.superimposed_kg_m2 = 80"))
    address = "options.other.changes.slabs.joists.superimposed_kg_m2"
    values = [80.0, 95.0, 120.0]
    sampled = gb.read_study(file, changes={address: xr.DataArray(values, dims="sample")})
    assert [d.key for d in sampled.changed] == [address]
    found = evaluated(sampled)["rating"]
    for at, value in enumerate(values):
        one = evaluated(gb.read_study(file, changes={address: value}))["rating"]
        here = found.isel(sample=at).transpose(*one.dims)
        np.testing.assert_allclose(here.values, one.values, atol=1e-9)


def test_what_is_unusual_of_an_option_is_told_with_its_name(tmp_path) -> None:
    file = study_of(tmp_path / "study", option("slabs.joists.superimposed_kg_m2 = 1200"))
    with pytest.warns(gb.UnusualValueWarning, match="option 'other', changes: 'slabs.joists.super"):
        study = gb.read_study(file)
    own = [text for text in study.unusual if "option 'other'" in text]
    assert own
    assert all("superimposed" in t or "resonance" in t or "mass" in t for t in own)
    assert len(study.unusual) == len(own)


# -- What cannot be --------------------------------------------------------------------------------

TOLD = "study.toml, option 'other', changes: "


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ("slabs.joist.superimposed_kg_m2 = 80",
         TOLD + "there is no key 'slabs.joist.superimposed_kg_m2'; an address is the way to a key "
         "or cell of the building.* Did you mean 'slabs.joists.superimposed_kg_m2'"),
        ("slabs.joists.superimposed_kg_m2 = 40.0",
         TOLD + "'slabs.joists.superimposed_kg_m2' is 40 without the option too; leave it out"),
        ("rooms.S1.rt_s = 0.3", TOLD + "'rooms.S1.rt_s' is of the table of rooms, which"),
        ("columns.A1.permanent_kn = 250", TOLD + "'columns.A1.permanent_kn' is of the table of c"),
        ("criteria.studio.1.limit = 35", TOLD + r"'criteria.studio.1.limit' is of \[criteria\]"),
        ("periods.day.hours = 12", TOLD + r"'periods.day.hours' is of \[periods\]"),
        ("source.quantity = 'acceleration'", TOLD + r"'source.quantity' is of \[source\]"),
        ("isolation.lowest_isolated_floor = '1'", TOLD + r"'isolation.lowest_isolated_floor' is"),
        ("slabs.joists.superimposed_kg_m2 = 'much'",
         TOLD + "'slabs.joists.superimposed_kg_m2' is 'much'; a number is needed"),
        ("slabs.joists.superimposed_kg_m2 = -1", TOLD + "'slabs.joists.superimposed_kg_m2' is -1"),
        ("slabs.unused.thickness_m = 0.3",
         TOLD + "no level follows from 'slabs.unused.thickness_m': no room names this slab"),
        ("floors.1.natural_frequency_hz = 15",
         TOLD + "no level follows from 'floors.1.natural_frequency_hz': the path, the slabs"),
        ("structure.storeys = 'none.csv'", "none.csv"),
        ("building.floors = 'structure.csv'", "study.toml, option 'other': structure.csv"),
        ("slabs.joists.model = 'flat'",
         r"study.toml, option 'other': .*\[slabs\], \[joists\]: 'thickness_m' is missing"),
        ("storeys.superimposed_kg_m2 = 90000", TOLD + "'storeys.superimposed_kg_m2' is 9e.04"),
        ('"slabs.joists.span_x_m" = 6\nslabs.joists.span_x_m = 7',
         "study.toml, option 'other', changes: 'slabs.joists.span_x_m' is given twice"),
        ("slabs.joists.cross_stiffness_n_m = 5e6",
         r"study.toml, option 'other': .*cross_stiffness is above bending_stiffness"),
        ("isolation.crossings = 3", "'isolation.crossings' is 3; a list of tables is needed"),
    ],
)  # fmt: skip
def test_changes_that_cannot_be_are_told_with_option_and_key(tmp_path, changes, said) -> None:
    errors = errors_of(study_of(tmp_path / "study", option(changes)))
    assert re.search(said, errors[0]), errors


def test_all_that_is_wrong_is_told_in_one_run(tmp_path) -> None:
    file = study_of(
        tmp_path / "study",
        option("slabs.joists.own_mass_kg_m2 = 'x'\nrooms.S1.rt_s = 0.2", name="one"),
        option("slabs.joist.span_x_m = 3", name="two"),
    )
    text = file.read_text(encoding="utf-8").replace("low_hz = 5", 'low_hz = "5"', 1)
    file.write_text(text, encoding="utf-8")
    errors = errors_of(file)
    assert len(errors) == 4, errors
    assert sum("option 'one'" in e for e in errors) == 2
    assert sum("option 'two'" in e for e in errors) == 1


def test_floors_stay_those_of_the_study(tmp_path) -> None:
    file = study_of(tmp_path / "study", option("building.floors = 'more.csv'"))
    table = file.with_name("floors.csv").read_text(encoding="utf-8").rstrip()
    file.with_name("more.csv").write_text(f"{table}\n3,3,11.4,13,0.25,\n", encoding="utf-8")
    (error,) = errors_of(file)
    assert "an option may change what floors are, not which there are" in error
