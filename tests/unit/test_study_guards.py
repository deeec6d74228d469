"""What contradicts itself in a study, or cannot be what was meant, is named with what would fit."""

from __future__ import annotations

import copy
import dataclasses
import re
import warnings

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import isolation as iso, source, usual_values
from groundborne._checks import StudyError, TableError
from groundborne.csv_columns import CSV_TABLES
from groundborne.isolation import ChosenFor, LinearMount
from groundborne.rating import METRICS
from groundborne.rating.scale import scale_of
from groundborne.report.assessment import assessment_table
from groundborne.report.rated import rating_text
from groundborne.report.tables import result_tables
from groundborne.study.keys import rows
from groundborne.study.natural_frequencies import option_resonances
from groundborne.usual_ranges import SLIPS, UnusualValueWarning
from groundborne.usual_values import derived
from note_sentences import sentences_of
from spoiled_units import Files, quantity_of

SCHOOL, TOWER, PLAIN = "music_school", "tower", "music_school_plain"
GRAVITY = 9.80665


@pytest.fixture
def files(tmp_path):
    def make(name: str) -> Files:
        return Files.of(name, tmp_path)

    return make


def cells(files: Files, file: str, column: str, factor: float) -> None:
    """Multiply a column in place."""
    header, *rows = files.tables[file]
    at = header.index(column)
    for row in rows:
        row[at] = repr(float(row[at]) * factor)


def said(files: Files) -> str:
    """What reading a study warns of, or refuses it for."""
    return files.verdict()[1]


def notes_of(result: xr.Dataset) -> list[str]:
    found: list[str] = sentences_of(result)
    return found


def evaluated(study: gb.Study) -> xr.Dataset:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UnusualValueWarning)
        return study.evaluate(band_levels=False)


# The slab on the ground


def test_a_row_for_the_slab_on_the_ground_is_refused(files):
    study = files(TOWER)
    study.tables["structure.csv"].insert(1, ["0", "4.5", *study.tables["structure.csv"][1][2:]])
    with pytest.raises(
        StudyError,
        match=r"structure\.csv, storey '0': the row holds a column of 4\.5 m below the slab, and "
        r"floors\.csv puts the slab at 0 m above the foundation.* leave the row out",
    ):
        study.read()


def test_a_stub_under_the_lowest_slab_stands_in_both_tables(files):
    study = files(SCHOOL)
    header, *rows = study.tables["floors.csv"]
    for row in rows:
        row[header.index("height_m")] = repr(float(row[header.index("height_m")]) + 2.4)
    assert re.search(
        r"structure\.csv and floors\.csv, floor '0': the rise of 'height_m' over 'storey_height_m' "
        r"is 3\.667, unusual",
        said(study),
    )


def test_a_room_on_the_slab_on_the_ground_is_told_that_no_row_belongs_there(files):
    study = files(TOWER)
    header, first, *_ = study.tables["rooms.csv"]
    first[header.index("floor")] = "0"
    with pytest.raises(TableError, match=r"'0' carries or covers a room and has no row; a row hol"):
        study.read()


# Loads of packs


def packs(study: gb.Study, factor: np.ndarray, revision: str) -> gb.Option:
    load = study.plane.mass * GRAVITY * xr.DataArray(factor, dims="column")
    mount = LinearMount(stiffness=study.plane.mass * 600.0, loss_factor=0.1,
                        chosen_for=ChosenFor(load=load, revision=revision))  # fmt: skip
    return gb.Option(name="packs", base=mount)


@pytest.mark.parametrize(
    ("factor", "revision", "noted", "sentence"),
    [
        ([1.0] * 12, "B", "", ""),
        ([1.015] * 12, "A", "A", ""),
        (
            [1.0] * 12,
            "B",
            "A",
            "revision 'B', and the columns of the study are of revision 'A'; no",
        ),
        ([0.8, *[1.0] * 11], "A", "A", r"loads of 1 of 12 differ by more than 2 %: \w+ "),
        (
            [0.5, *[1.1] * 11],
            "",
            "C",
            r"an unknown revision, .* of revision 'C'; .* 12 of 12 .* 7 m",
        ),
    ],
)
def test_packs_of_other_loads_are_named(files, factor, revision, noted, sentence):
    study = files(SCHOOL).read()
    loads = study.building.loads.of_revision(noted)
    building = dataclasses.replace(study.building, loads=loads)
    study = dataclasses.replace(study, building=building)
    study = study.with_options([gb.Option(name="as built"), packs(study, factor, revision)])
    if not sentence:
        study.evaluate(band_levels=False)  # no warning: they would be errors
        return
    with pytest.warns(UnusualValueWarning, match=sentence) as caught:
        result = study.evaluate(band_levels=False)
    assert str(caught[0].message) in notes_of(result)


def test_the_largest_difference_of_loads_comes_first(files):
    study = files(SCHOOL).read()
    factor = np.ones(12)
    factor[3] = 0.5
    study = study.with_options([gb.Option(name="as built"), packs(study, factor, "B")])
    with pytest.warns(UnusualValueWarning) as caught:
        study.evaluate(band_levels=False)
    name = str(study.building.columns["column"].values[3])
    now = float(study.plane.mass[3]) * GRAVITY / 1e3
    assert f": {name} {now / 2:,.0f} kN then, {now:,.0f} kN now." in str(caught[0].message)


def test_the_revision_of_columns_is_read_and_a_schedule_hands_on_its_own(files, tmp_path):
    from groundborne import sizing

    study = files(SCHOOL)
    text = "# revision: P2\n" + "\n".join(",".join(r) for r in study.tables["columns.csv"])
    (tmp_path / "P2.csv").write_text(text)
    study.toml["building"]["columns"] = "P2.csv"
    assert study.read().loads.revision == "P2"
    load = sizing.combine(sizing.read_loads(tmp_path / "P2.csv")).sel(case=["quasi-permanent"])
    chosen = sizing.choose_packs(
        load, sizing.read_components("data/components/springs.csv"),
        rules=sizing.PackRules(natural_frequency=(3.9, 4.1), most=16),
    )  # fmt: skip
    mount = sizing.make_schedule(chosen).mount(accept_unmet=True)
    assert mount.chosen_for.revision == "P2"
    np.testing.assert_allclose(mount.chosen_for.load, load.sel(case="quasi-permanent"))


# References of levels


@pytest.mark.parametrize(
    ("name", "reference", "sentence"),
    [
        (
            SCHOOL,
            "10 nm/s",
            r"116\.7 looks like .*10 nm/s in place of 1 nm/s, 20\.0 dB too high \(96",
        ),
        (
            SCHOOL,
            "1 µin/s",
            r"124\.8 looks like .*1 µin/s in place of 1 nm/s, 28\.1 dB too high \(96",
        ),
        (
            TOWER,
            "1 µin/s",
            r"116\.9 looks like .*1 µin/s in place of 1 nm/s, 28\.1 dB too high \(88",
        ),
        (
            TOWER,
            "50 nm/s",
            r"122\.8 looks like .*50 nm/s in place of 1 nm/s, 34\.0 dB too high \(88",
        ),
    ],
)
def test_a_source_with_a_wrong_reference_is_named(files, name, reference, sentence):
    study = files(name)
    study.toml["source"]["reference"] = reference
    verdict = said(study)
    assert f"the largest band, read re {reference}, is" in verdict
    assert re.search(sentence, verdict)


def test_levels_re_one_microinch_read_as_nanometres_are_named(files):
    study = files(TOWER)
    for column in [c for c in study.tables["passbys.csv"][0] if c.endswith(" Hz")]:
        header, *rows = study.tables["passbys.csv"]
        for row in rows:
            at = header.index(column)
            row[at] = repr(float(row[at]) - 34.0)
    assert re.search(
        r"54\.\d+ looks like .*1 nm/s in place of 1 µin/s, 28\.1 dB too low", said(study)
    )


@pytest.mark.parametrize("name", [SCHOOL, TOWER])
def test_a_result_with_a_wrong_reference_is_named(files, name):
    study = files(name)
    study.toml["source"]["reference"] = "10 nm/s"  # a source of the tower passes unseen
    study.toml["options"] = study.toml["options"][:1]
    result = evaluated(_read(study))
    found = " ".join(n for n in notes_of(result) if n.startswith("result, room"))
    for what in ("the loudest passby", "the largest band of its floor"):
        assert f"{what}, without any measure, is" in found
    assert "10 nm/s in place of 1 nm/s, 20.0 dB too high (" in found
    if name == TOWER:
        said = re.search(r"VDV, night, without any measure, is ([\d.]+) m/s\^1\.75.*?"
                         r"20\.0 dB too high \(([\d.]+) m/s\^1\.75\)", found)  # fmt: skip
        assert said is not None, found
        assert float(said[1]) == pytest.approx(10 * float(said[2]), rel=1e-3)


def _read(files: Files) -> gb.Study:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UnusualValueWarning)
        return files.read()


def test_levels_as_they_are_pass(files):
    for name in (SCHOOL, TOWER):
        study = files(name).read()
        result = study.evaluate(band_levels=False)
        assert not [n for n in notes_of(result) if "unusual" in n]


def test_a_severity_is_off_by_the_factor_of_the_references():
    # 20 lg(25.4) = 28.1: one microinch is 25.4 nm.
    hint = METRICS["KB_Fmax"].usual_value.hint(0.3 * 25.4)
    assert "1 µin/s in place of 1 nm/s, 28.1 dB too high (0.299" in hint
    assert "peak in place of rms, up to 12 dB too high" in hint


# Feet, tonnes, shares


@pytest.mark.parametrize("name", [SCHOOL, PLAIN, TOWER])
def test_rooms_higher_than_their_storey_are_refused_as_feet(files, name):
    study = files(name)
    cells(study, "rooms.csv", "height_m", 1 / 0.3048)
    with pytest.raises(
        StudyError,
        match=r"'height_m' over the floors\.csv distance .* out of bounds; .* looks like ft in ",
    ):
        _read(study)


def test_rooms_that_do_not_fit_on_their_floor_are_named(files):
    study = files(SCHOOL)
    header, *rows = study.tables["rooms.csv"]
    for row in rows:  # practice rooms only, each of which fits the plan by itself
        if row[0].startswith("R1"):
            for column in ("length_m", "width_m"):
                at = header.index(column)
                row[at] = repr(float(row[at]) / 0.3048)
    assert re.search(
        r"rooms\.csv, floor '1': the area of its rooms.* over that of the column grid is 2\.4\d+, "
        r"unusual; .* looks like ft in place of m",
        said(study),
    )


def test_column_loads_in_tonnes_are_named(files):
    study = files(SCHOOL)
    for column in [c for c in study.tables["columns.csv"][0] if c.endswith("_kn")]:
        cells(study, "columns.csv", column, 1 / GRAVITY)
    verdict = said(study)
    assert "9.81 times the loads would fit: are they in t in place of kN?" in verdict
    assert re.search(r"'permanent_kn' over its panels .* looks like t in place of kN", verdict)


def test_only_shares_look_like_percent():
    assert "looks like % (0.3)" in quantity_of("isolation.load", "imposed_share").hint(30.0)
    assert "looks like a share (95)" in quantity_of("criteria.bedroom", "percentile").hint(0.95)
    for quantity, value in (
        (quantity_of("path.ground", "exponent"), 50.0),
        (METRICS["KB_Fmax"].usual_limit, 50.0),
        (derived("imposed over permanent"), 5.0),
        (derived("distance over median"), 50.0),
        (derived("band off its neighbours"), 200.0),
    ):
        assert "%" not in quantity.hint(value)
    assert derived("band off its neighbours").hint(-200.0) == ""


def test_every_unit_that_is_named_gives_a_usual_value():
    of_metrics = [q for m in METRICS.values() for q in (m.usual_limit, m.usual_value) if q]
    keys = (row for _, row in rows() if row.quantity is not None)
    columns = (k for of in CSV_TABLES.values() for k in of.keys if k.quantity is not None)
    ranges = [k.quantity for k in (*keys, *columns)]
    for quantity in (*ranges, *of_metrics, *usual_values.DERIVED.values()):
        low, high = quantity.usual
        for size in SLIPS.get(quantity.slips or quantity.unit, {}).values():
            for value in (low / size, high / size, np.sqrt(abs(low * high)) / size):
                if np.isfinite(value) and not low <= value <= high:
                    for right in re.findall(r"\((\S+?)[ )]", quantity.hint(value)):
                        slack = 1e-3 * max(abs(low), abs(high))  # of figures that are shown
                        assert low - slack <= float(right) <= high + slack


# The path and the plane


@pytest.mark.parametrize(
    ("leading", "sentence"),
    [
        (("coupling",), r"\[path\.coupling\] starts in the ground: remove \[path\.coupling\], or"),
        (("ground", "coupling"), r"start in the ground: remove \[path\.ground\] and \[path\.coup"),
        (("ground",), r"remove \[path\.ground\], or, if they were measured in the ground, say"),
    ],
)
def test_a_source_on_the_foundation_names_the_tables_to_remove(files, leading, sentence):
    study = files(TOWER)
    study.toml["source"]["location"] = "foundation"
    path = study.toml["path"]
    path["ground"] = {"distance_m": 20, "measured_distance_m": 18, "exponent": 0.5,
                      "damping_ratio": 0.01, "wave_speed_m_s": 180}  # fmt: skip
    for name in {"ground", "coupling"} - set(leading):
        del path[name]
    with pytest.raises(StudyError, match=sentence):
        study.read()


def test_a_source_in_the_ground_needs_a_way_to_the_foundation(files):
    study = files(TOWER)
    del study.toml["path"]["coupling"]
    with pytest.raises(StudyError, match=r"add \[path\.coupling\] \(model = \"none\" if nothing"):
        study.read()


@pytest.mark.parametrize(
    ("floor", "sentence"),
    [
        ("0", r"'0', which structure\.csv has no row for; .* the lowest of them is '1'"),
        (2, r"'lowest_isolated_floor' is 2; a text is needed, in quotation marks: \"2\""),
        ("26", r"From floor '2' up the structure weighs .* should .* be '2' in place of '26'\?"),
        ("level 2", "known are '1', '2', '3'"),
    ],
)
def test_a_wrong_lowest_isolated_floor_is_told_what_would_be_right(files, floor, sentence):
    study = files(TOWER)
    study.toml["isolation"]["lowest_isolated_floor"] = floor
    with pytest.raises(StudyError, match=sentence):
        _read(study)


# Types of trains


def test_a_timetable_by_types_needs_the_column(files):
    study = files(SCHOOL)
    header, *rows = study.tables["passbys.csv"]
    at = header.index("train_type")
    study.tables["passbys.csv"] = [row[:at] + row[at + 1 :] for row in (header, *rows)]
    for criteria in study.toml["criteria"].values():
        criteria[0]["period"] = "night"
    with pytest.raises(
        StudyError,
        match=r"period 'night': it counts trains by type \('metro_6car'\), and the passbys have no "
        r"column 'train_type'.*write_passbys.* 'all'",
    ):
        study.read()
    for period in study.toml["periods"].values():
        period["trains"] = {"all": 52}
    assert study.read().periods["night"].trains == {"all": 52}


def test_types_get_into_a_file_as_the_readme_says(tmp_path):
    level = gb.levels.stamp(
        xr.DataArray([[81.0], [92.0]], coords={"passby": ["P1", "P2"], "frequency": [50.0]}),
        quantity="velocity", reference="1 nm/s", long_name="velocity level",
        time_weighting="S max",
    )  # fmt: skip
    level = level.assign_coords(train_type=("passby", ["commuter", "freight"]))
    file = source.write_passbys(source.Passbys(level), tmp_path / "typed.csv")
    read = source.read_passbys(
        file, quantity="velocity", reference="1 nm/s", time_weighting="S max"
    )
    assert read.level["train_type"].values.tolist() == ["commuter", "freight"]


# Notes


@pytest.mark.parametrize(
    ("percentile", "words"),
    [
        (95, "fewer than 10 carry no 95th percentile, and fewer than 15"),
        (90, "fewer than 5 carry no 90th percentile, and fewer than 15"),
        (98, "fewer than 25 carry no 98th percentile, and fewer than 38"),
    ],
)
def test_a_note_on_few_passbys_names_the_percentile(files, percentile, words):
    study = files(TOWER)
    for criteria in study.toml["criteria"].values():
        criteria[0]["percentile"] = percentile
    study.toml["options"] = study.toml["options"][:1]
    assert words in next(n for n in notes_of(study.read().evaluate()) if "Few passbys" in n)


def test_a_study_without_percentiles_speaks_of_none(files):
    study = files(TOWER)
    for criteria in study.toml["criteria"].values():
        del criteria[0]["percentile"]
        criteria[0]["statistic"] = "energy mean"
    study.toml["options"] = study.toml["options"][:1]
    found = next(n for n in notes_of(study.read().evaluate()) if "Few passbys" in n)
    assert "percentile" not in found


def test_doses_in_notes_have_the_digits_of_the_tables(tower):
    text = " ".join(n for n in notes_of(tower.result) if "makes floors move" in n)
    found = re.findall(r"(VDV, \w+) in (\w+) from (?:≥ )?([\d.]+) to (?:≥ )?([\d.]+)", text)
    assert found
    table = assessment_table(tower.result).set_index(["option", "room", "criterion"])
    first = tower.study.options[0].name
    option = re.search(r"Option '([^']+)' makes floors move", text)[1]
    for criterion, room, before, after in found:
        for name, shown in ((first, before), (option, after)):
            row = table.loc[(name, room, criterion)]
            assert rating_text(row["rating"], scale_of(tower.result, criterion)) == shown


def test_one_rule_prints_a_rating():
    scale = METRICS["VDV"].scale
    shown = scale.printed(0.0929481, 0.2)
    assert scale.text(shown) == rating_text(shown, scale) == "0.0930"


@pytest.mark.parametrize(("natural", "word"), [(7.0, "quieter"), (62.0, "louder")])
def test_layers_are_said_to_make_rooms_quieter_or_louder(files, natural, word):
    study = files(SCHOOL)
    layer = {"natural_frequency_hz": natural, "loss_factor": 0.02}
    measure = {"measure": "raised", "rooms": ["R0.1"], "floor": layer}
    study.toml["options"] = [{"name": "as built"}, {"name": "x", "rooms": [measure]}]
    found = next(n for n in notes_of(evaluated(_read(study))) if "still radiate" in n)
    assert re.search(rf"make these rooms \d+\.\d dB {word} in the mean, A-weighted\.", found)
    assert "gain" not in found


def test_what_constructions_say_of_themselves_is_noted(files):
    study = files(SCHOOL)
    light = {
        "construction": "boards on battens",
        "boards": [{"thickness_m": 0.018, "density_kg_m3": 700, "youngs_modulus_pa": 4e9}] * 2,
        "batten_kg_m": 2.0, "batten_height_m": 0.045, "batten_spacing_m": 0.4,
        "element_spacing_m": 0.6, "element_stiffness_n_m": 2e5, "element_loss_factor": 0.1,
        "element_height_m": 0.03, "air_gap_m": 0.06,
    }  # fmt: skip
    measure = {"measure": "light floor", "rooms": ["R2.5"], "floor": light}
    built = copy.deepcopy(study.toml["options"][4])
    study.toml["options"] = [{"name": "as built"}, built, {"name": "light", "rooms": [measure]}]
    notes = notes_of(evaluated(_read(study)))
    for start in (
        f"Option '{built['name']}', box in box, hall: floor: from 17 Hz on bending waves",
        "Option 'light', light floor: floor: joints staggered",
        "Option 'light', light floor: floor: air sealed: it raises the natural frequency",
    ):
        assert [n for n in notes if n.startswith(start)], start


def test_strips_stiffer_than_the_air_are_named(files):
    study = files(SCHOOL)
    walls = study.toml["options"][4]["rooms"][0]["walls"]
    walls["strip_stiffness_n_m2"] *= 10
    assert "the stiffness of strips and ties" in said(study)
    walls["strip_stiffness_n_m2"] *= 10
    assert "the frequency of the leaf on its strips and the air behind it is 36" in said(study)


# Constructions in all rooms


@pytest.mark.parametrize("boxed", [True, False])
@pytest.mark.parametrize("everywhere", [True, False])
def test_floors_by_construction_resonate_with_and_without_a_box(music_school, boxed, everywhere):
    study = music_school.study
    rooms = tuple(study.rooms) if everywhere else ("R1.1", "R2.5")
    floor = iso.JackUpFloor(thickness=0.10, density=2400.0, youngs_modulus=30e9, air_gap=0.08,
                            air_state="filled", mount_stiffness=0.9e6, mount_loss_factor=0.1,
                            spacing_x=1.2, spacing_y=1.4)  # fmt: skip
    box = iso.Box(floor=floor)
    treatments = box.treatments(floor_slab=study.plane.room_slabs()["floor"])
    measure = gb.study.RoomMeasure(rooms=rooms, treatments=treatments, box=box if boxed else None)
    option = gb.Option(name="floors", measures=(measure,))
    (layer,) = option_resonances(study, option, study.part())
    assert layer.frequency == pytest.approx(float(floor.natural_frequency))
    result = evaluated(study.with_options([gb.Option(name="as built"), option]))
    assert bool(np.isfinite(result["sound_level"]).all())


# Keys, limits, tables


def test_a_missing_key_beside_an_unknown_one_is_told_in_one_sentence(files):
    study = files(SCHOOL)
    bands = gb.bands.third_octaves(5, 250).values.tolist()
    study.toml["path"]["coupling"] = {
        "model": "given", "free_field_correction_only": True, "frequency_hz": bands,
        "loss_dB": [3.0] * len(bands),
    }  # fmt: skip
    with pytest.raises(
        StudyError,
        match=r"\[coupling\]: 'loss_db' is missing; .*; 'loss_dB' is unknown, is 'loss_db' meant",
    ):
        study.read()
    study = files(SCHOOL)
    del study.toml["structure"]["span_x_m"]  # span_y_m is near, and means itself
    sentence = r"'span_x_m' is missing; a number is needed; usual: 3 to 20 m \(common practice\)$"
    with pytest.raises(StudyError, match=sentence):
        study.read()


def test_a_missing_column_beside_an_unknown_one_is_told_in_one_sentence(files):
    study = files(SCHOOL)
    header = study.tables["rooms.csv"][0]
    header[header.index("length_m")] = "lenght_m"
    with pytest.raises(TableError, match=r"'lenght_m' is unknown, is 'length_m' meant by it\?"):
        study.read()


def test_a_depth_in_millimetres_is_refused(music_school):
    floor = music_school.study.options[4].measures[0].box.floor
    with pytest.raises(ValueError, match=r"JackUpFloor\.fits: limit is 350; .* 10 m, and is in me"):
        floor.fits(limit=350)
    with pytest.raises(ValueError, match="it must be at most 10 m"):
        iso.Box(floor=floor).fits(limits={"floor": 350})
    assert float(floor.fits(limit=0.40)) == pytest.approx(0.05)


def test_level_changes_in_tables_are_named_and_negative_where_isolation_lowers(music_school):
    table = result_tables(music_school.result)["base_isolation"]
    names = [
        "predicted_level_change_db",
        "without_bypass_level_change_db",
        "single_degree_of_freedom_level_change_db",
    ]
    assert table.columns.tolist() == ["option", "frequency_hz", *names]
    springs = table[(table["option"] == "springs 4.5 Hz") & (table["frequency_hz"] == 63.0)]
    assert float(springs[names[0]].iloc[0]) < -15
