"""Tables of measured levels, deflections and gaps: what is read, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import BandError, LevelError, TableError
from groundborne.bands import third_octaves
from groundborne.commissioning import (
    MeasurementError,
    check_gaps,
    compare_levels,
    judge_measured,
    labelled,
    read_deflections,
    read_gaps,
    read_room_levels,
)
from groundborne.csv_columns import STATISTICS
from groundborne.levels import TIME_WEIGHTINGS, energy_mean
from groundborne.rating import Criterion
from groundborne.study.starter import write_starter
from groundborne.uncertainty import Spread
from groundborne.usual_ranges import UnusualValueWarning

HEAD = "room,passby,kind,statistic,train_type,position,40 Hz,50 Hz,63 Hz"
ROWS = [
    "R1,P1,passby,S max,metro,a,45,50,47",
    "R1,P2,passby,S max,tram,a,44,51,46",
    "R1,P1,passby,S max,metro,b,47,48,47",
    "R1,P2,passby,S max,tram,b,46,49,44",
    "R1,B1,background,leq,,a,20,20,42",
    "R1,B1,background,leq,,b,20,20,20",
    "R2,P2,passby,S max,tram,,34,41,36",
    "R2,P1,passby,S max,metro,,35,40,37",
    "R2,B1,background,leq,,,20,33,20",
    "R2,B2,background,leq,,,20,33,20",
    "R2,B1,background,S max,,,24,36,24",
]


def written(folder: Path, rows: list[str] = ROWS, head: str = HEAD) -> Path:
    file = folder / "night.csv"
    file.write_text("\n".join(["# invented", head, *rows]) + "\n", encoding="utf-8")
    return file


def read(file: Path, **more: object) -> xr.DataArray:
    given = {"quantity": "sound pressure", "reference": "20 µPa", "provenance": "night 1"} | more
    return read_room_levels(file, **given)


def changed(old: str, new: str) -> list[str]:
    assert sum(old in row for row in ROWS) >= 1
    return [row.replace(old, new) for row in ROWS]


def test_positions_are_averaged_and_background_is_taken_off(tmp_path: Path) -> None:
    level = read(written(tmp_path), state="after release")
    assert level.dims == ("room", "passby", "frequency")
    assert level["room"].values.tolist() == ["R1", "R2"]
    assert level["passby"].values.tolist() == ["P1", "P2"]
    assert level["train_type"].values.tolist() == ["metro", "tram"]
    assert level.attrs["state"] == "after release"
    assert level.attrs["time_weighting"] == "S max"
    assert level.attrs["positions"] == 1
    mean = energy_mean(xr.DataArray([45.0, 47.0], dims="x"), "x").item()
    assert level.sel(room="R1", passby="P1", frequency=40.0).item() == pytest.approx(mean, abs=1e-9)
    # 47 against 42 at one of two positions: no more than a limit, also of the mean.
    limits = level["upper_limit"]
    assert limits.dims == level.dims
    assert limits.sel(room="R1").values.tolist() == [[False, False, True]] * 2
    # 40 against 33 would count; against the largest of the background on the same statistic not.
    assert limits.sel(room="R2", frequency=50.0).values.tolist() == [True, True]
    assert level.sel(room="R2", passby="P1", frequency=50.0).item() == 40.0


def test_statistics_are_those_of_levels() -> None:
    assert STATISTICS == TIME_WEIGHTINGS


def test_levels_that_are_read_are_compared_and_judged(tmp_path: Path) -> None:
    rows = [r.replace(",metro,", ",,").replace(",tram,", ",,") for r in ROWS]
    level = read(written(tmp_path, rows))
    predicted = (level.drop_vars(["upper_limit", "background_error"]) - 3.0).assign_attrs(
        level.attrs
    )
    result = xr.Dataset({"band_level": predicted.expand_dims(option=["as built"])})
    found = compare_levels(
        level, result, option="as built", spreads=[Spread(name="path", of_sound=6.0)],
        error=MeasurementError(positions=level.attrs["positions"]),
    )  # fmt: skip
    np.testing.assert_allclose(found["difference"].values, 3.0)
    limit = Criterion(metric="NR", limit=60.0, statistic="energy mean", time_weighting="S max")
    answers = judge_measured(level, criteria={"R1": [limit], "R2": [limit]})["answer"]
    assert set(answers.values.ravel().tolist()) <= {"met", "not shown", "within the uncertainty"}


def test_a_dose_is_judged_by_the_duration_of_passbys(tmp_path: Path) -> None:
    """The study that `new` writes asks for VDV; a table of floors with durations answers it."""
    rows = [f"B1,P{at},passby,S max,metro,7,{70 + at % 3},{71 + at % 2},66" for at in range(6)]
    head = "room,passby,kind,statistic,train_type,duration_s,10 Hz,12.5 Hz,16 Hz"
    file = written(tmp_path, [*rows, "B1,B1,background,leq,,,30,30,30"], head)
    level = read(file, quantity="velocity", reference="1 nm/s")
    assert "positions" not in level.attrs  # none are named: the rows may be means already
    assert level["duration_s"].values.tolist() == [7.0] * 6
    study = gb.read_study(write_starter(tmp_path / "house")[0])
    bands = third_octaves(5, 80)
    whole = level.isel(frequency=0, drop=True) + 0.0 * bands - 3 * abs(bands - 12.5) ** 0.5
    whole = labelled(whole.assign_attrs(level.attrs), provenance="night 1")
    found = judge_measured(
        whole.transpose("room", "passby", "frequency"), criteria=study.room_criteria,
        periods=study.periods, error=MeasurementError(positions=3),
    )  # fmt: skip
    assert found["criterion"].values.tolist() == ["VDV, night"]
    assert 0.0 < found["rating"].item() < 0.2
    assert found["answer"].item() == "met"
    with pytest.raises(TableError, match="row 4, column 'duration_s': the cell is empty"):
        read(written(tmp_path, [rows[0], rows[1].replace(",7,", ",,"), rows[2]], head),
             quantity="velocity", reference="1 nm/s")  # fmt: skip
    other = [r.replace("B1,", "B2,", 1).replace(",7,", ",8,") for r in rows]
    with pytest.raises(TableError, match="row 9, column 'duration_s': passby 'P0' is '8', and '7'"):
        read(written(tmp_path, [*rows, *other], head), quantity="velocity", reference="1 nm/s")


def raised(by: float) -> list[str]:
    return [",".join([*r.split(",")[:6], *(str(float(v) + by) for v in r.split(",")[6:])])
            for r in ROWS]  # fmt: skip


def test_floors_read_as_rooms_are_named(tmp_path: Path) -> None:
    """95 dB are usual of a floor, and of no room; 40 dB the other way round."""
    floors = written(tmp_path, raised(50.0))
    with pytest.warns(UnusualValueWarning, match="room 'R1': .* read as sound pressure"):
        read(floors)
    with pytest.warns(UnusualValueWarning, match="room 'R2': .* read as velocity re 1 nm/s"):
        read(written(tmp_path), quantity="velocity", reference="1 nm/s")


def test_velocity_is_read_at_its_reference(tmp_path: Path) -> None:
    rows = raised(20.0)
    file = written(tmp_path, rows)
    nano, coarse = (read(file, quantity="velocity", reference=r) for r in ("1 nm/s", "10 nm/s"))
    assert float((coarse - nano).min()) == pytest.approx(20.0)
    assert coarse.attrs["reference"] == "1 nm/s"


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        (changed("R2,P1,passby,S max", "R2,P1,passby,F max"),
         r"night\.csv, row 10, column 'statistic': 'F max', where row 3 has 'S max'; passbys are"),
        (changed("R2,P1,passby,S max", "R2,P1,passby,Smax"), "row 10.*'Smax' is none of 'S max'"),
        (changed("R1,P2,passby", "R1,P1,passby"),
         "row 4: passby 'P1' of room 'R1' was given in row 3 already"),
        (changed("R2,P1,passby", "R2,P7,passby"), "room 'R1', position 'a' has no passby 'P7'"),
        ([r for r in ROWS if not r.startswith("R1,B1,background,leq,,b")],
         "room 'R1', position 'b' has no background on the statistic leq"),
        (changed("R2,P1,passby,S max,metro", "R2,P1,passby,S max,freight"),
         "row 10, column 'train_type': passby 'P1' is 'freight', and 'metro' in row 3"),
        (changed("leq,,,20,33,20", "leq,,,60,63,60"),
         "in room 'R2' the trains lie .* below the background in half of all bands; are the kinds"),
        (changed(",passby,", ",background,"), "no row is a passby"),
        ([*ROWS, "R9,B1,background,leq,,,20,20,20"],
         "row 14: background of room 'R9', which has no passby"),
        (changed("R1,B1,background,leq,,b", "R1,B1,background,leq,,c"),
         "row 8: background of room 'R1', position 'c', which has no passby"),
        (changed("45,50,47", "45,,47"), "row 3, column '50 Hz': the cell is empty"),
        (changed("45,50,47", "45,5e3,47"), "are these levels"),
        (changed("R1,P1,passby,S max,metro,a", ",P1,passby,S max,metro,a"), "column 'room': the"),
    ],
)  # fmt: skip
def test_bad_tables_are_refused(tmp_path: Path, rows: list[str], sentence: str) -> None:
    with pytest.raises(TableError, match=sentence):
        read(written(tmp_path, rows))


def test_values_that_are_no_levels_are_refused(tmp_path: Path) -> None:
    """Pascals, or metres for each second, where decibels are needed."""
    rows = [",".join([*r.split(",")[:6], *(f"{2e-5 * 10 ** (float(v) / 20):.3g}"
                                         for v in r.split(",")[6:])]) for r in ROWS]  # fmt: skip
    with pytest.raises(ValueError, match="are these levels in dB, or linear values"):
        read(written(tmp_path, rows))
    with pytest.raises(ValueError, match="are these levels in dB, or linear values"):
        read(written(tmp_path, rows), quantity="velocity", reference="1 nm/s")


def test_bad_arguments_and_headers_are_refused(tmp_path: Path) -> None:
    file = written(tmp_path)
    with pytest.raises(TableError, match=r"night\.csv: room is 'R9'; known are 'R1', 'R2'"):
        read(file, rooms=["R9"])
    assert read(file, rooms=["R2"])["room"].values.tolist() == ["R2"]
    with pytest.raises(LevelError):
        read(file, reference="1 nm/s")
    with pytest.raises(ValueError, match="quantity is 'acceleration'"):
        read(file, quantity="acceleration", reference="1 µm/s²")
    with pytest.raises(ValueError, match="provenance is empty"):
        read(file, provenance=" ")
    with pytest.raises(BandError, match="50"):
        read(written(tmp_path, ROWS, HEAD.replace("50 Hz", "55 Hz")))
    with pytest.raises(TableError, match="column of ignore_columns is 'dBA'; known are 'room'"):
        read(written(tmp_path), ignore_columns=["dBA"])
    with pytest.raises(TableError, match="column 'kind' is missing"):
        read(written(tmp_path, ROWS, HEAD.replace("kind", "kinds")))


def test_deflections_and_gaps(tmp_path: Path) -> None:
    file = tmp_path / "deflections.csv"
    file.write_text("column,deflection_mm,load_kn\nA1,19.5,900\nB1,20.4,950\n")
    found = read_deflections(file)
    np.testing.assert_allclose(found["deflection"], [0.0195, 0.0204])
    np.testing.assert_allclose(found["load"], [9e5, 9.5e5])
    file.write_text("column,deflection_mm\nA1,0.0195\nB1,0.0204\n")
    with pytest.warns(UnusualValueWarning, match=r"looks like m"):
        read_deflections(file)
    file.write_text("column,deflection_mm\nA1,19.5\nA1,-3\n")
    with pytest.raises(TableError) as said:
        read_deflections(file)
    assert "row 3, column 'column': 'A1' was given in row 2 already" in str(said.value)
    assert "row 3, column 'deflection_mm': -3 is out of bounds" in str(said.value)
    file = tmp_path / "gaps.csv"
    file.write_text("point,gap_mm,least_mm,most_mm,where\nP1,10,8,15,door\nP2,0,8,15,\n")
    gaps = read_gaps(file)
    judged = check_gaps(gaps["gap"], least=gaps["least"], most=gaps["most"])
    assert judged["answer"].values.tolist() == ["met", "not met"]
    assert judged["closed"].values.tolist() == [False, True]
    file.write_text("point,gap_mm,least_mm,most_mm\nP1,10,8,8\n")
    with pytest.raises(TableError, match=r"gaps\.csv, row 2, column 'most_mm': 8 is no more than"):
        read_gaps(file)
