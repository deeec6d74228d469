"""Result files: nothing is lost, nothing is overwritten, nothing half-written is left behind."""

from __future__ import annotations

import importlib.util
import os
import stat

import numpy as np
import pytest
import xarray as xr

from groundborne import read_result, save_result
from groundborne._checks import StudyError

ENGINES = [
    "scipy",
    pytest.param(
        "netcdf4",
        marks=pytest.mark.skipif(
            importlib.util.find_spec("netCDF4") is None, reason="netCDF4 is not installed"
        ),
    ),
]
AWKWARD = [
    "<script>alert(1)</script>",
    "=1+1",
    '@SUM(A1:A9)"',
    "'single' and \"double\"",
    "µ, ß, 漢字, é",
    "\N{MUSICAL SYMBOL G CLEF} \N{GRINNING FACE}",
    "back\\slash/slash",
    "  blanks around  ",
    "tab\tand\nline",
    "{{ braces }} %s {0}",
    "NaN",
    "-",
    "a" * 300,
    "e\u0301 (combined)",
    "שלום",
]


def _back(result, path, engine):
    save_result(result, path, engine=engine)
    return read_result(path, engine=engine)


def _same(back, result):
    xr.testing.assert_identical(back, result)
    for name, variable in result.variables.items():
        if variable.dtype.kind not in "OU":
            assert back[name].dtype == variable.dtype, name
    assert back.sizes == result.sizes


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("study", ["music_school", "tower", "assembly_hall"])
def test_a_result_comes_back_as_it_was(study, engine, tmp_path, request):
    result = request.getfixturevalue(study).result
    back = _back(result, tmp_path / "result.nc", engine)
    _same(back, result)
    assert back["valid"].dtype == bool
    assert back.attrs["notes"] == result.attrs["notes"]
    assert back.encoding == {}
    assert os.listdir(tmp_path) == ["result.nc"]
    # The file can go: the result lives in memory.
    (tmp_path / "result.nc").unlink()
    assert np.isfinite(back["sound_level"]).all()


@pytest.mark.parametrize("engine", ENGINES)
def test_awkward_names_survive(music_school, tmp_path, engine):
    result = music_school.result.assign_coords(room=AWKWARD)
    result = result.assign_coords(room_name=("room", AWKWARD[::-1]))
    result.attrs["title"] = AWKWARD[5] + AWKWARD[0]
    back = _back(result, tmp_path / "result.nc", engine)
    assert back["room"].values.tolist() == AWKWARD
    assert back["room_name"].values.tolist() == AWKWARD[::-1]
    assert back.attrs == result.attrs
    xr.testing.assert_identical(back, result)


@pytest.mark.parametrize("engine", ENGINES)
def test_empty_texts_survive(music_school, tmp_path, engine):
    result = music_school.result.assign_coords(
        track=("passby", [""] * music_school.result.sizes["passby"])
    )
    result.attrs["description"] = ""
    _same(_back(result, tmp_path / "result.nc", engine), result)


@pytest.mark.parametrize("engine", ENGINES)
def test_infinite_limits_and_signs_of_zero_survive(tower, tmp_path, engine):
    result = tower.result
    assert np.isinf(result["limit"]).any()
    back = _back(result, tmp_path / "result.nc", engine)
    for name in ("limit", "margin", "level_change", "sound_level"):
        assert back[name].values.tobytes() == result[name].values.tobytes(), name


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("values", [np.arange(8), np.arange(8) + 2**40], ids=["small", "large"])
def test_whole_numbers_stay_what_they_were_or_are_refused(music_school, tmp_path, engine, values):
    result = music_school.result.assign_coords(number=("option", values))
    try:
        back = _back(result, tmp_path / "result.nc", engine)
    except ValueError:
        assert os.listdir(tmp_path) == []
        return
    _same(back, result)


@pytest.mark.parametrize("engine", ENGINES)
def test_nothing_is_overwritten(music_school, tmp_path, engine):
    file = tmp_path / "result.nc"
    file.write_text("somebody's work")
    with pytest.raises(StudyError, match=r"result\.nc is there already; name a new file"):
        save_result(music_school.result, file, engine=engine)
    assert file.read_text() == "somebody's work"
    folder = tmp_path / "folder.nc"
    folder.mkdir()
    with pytest.raises(StudyError, match=r"folder\.nc is there already; name a new file"):
        save_result(music_school.result, folder, engine=engine)
    folder.rmdir()
    with pytest.raises(StudyError, match=r"'r\.xlsx' must end in \.nc"):
        save_result(music_school.result, tmp_path / "r.xlsx", engine=engine)
    assert [f.name for f in tmp_path.iterdir()] == ["result.nc"]
    assert os.listdir(tmp_path) == ["result.nc"]


def test_a_folder_must_be_there(music_school, tmp_path):
    with pytest.raises(StudyError, match=r"save_result: there is no folder .*none"):
        save_result(music_school.result, tmp_path / "none" / "result.nc")


@pytest.mark.parametrize("engine", ENGINES)
def test_nothing_is_left_behind_on_failure(music_school, tmp_path, engine, monkeypatch):
    broken = music_school.result.assign_attrs(bad=object())
    with pytest.raises(TypeError):
        save_result(broken, tmp_path / "result.nc", engine=engine)
    assert os.listdir(tmp_path) == []

    def full(*arguments):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(StudyError, match=r"result\.nc was not written: No space left.* are needed"):
        save_result(music_school.result, tmp_path / "result.nc", engine=engine)
    assert os.listdir(tmp_path) == []


def test_a_colleague_may_read_the_file(music_school, tmp_path):
    plain = tmp_path / "plain.txt"
    plain.write_text("x")
    file = tmp_path / "result.nc"
    save_result(music_school.result, file)
    assert stat.S_IMODE(file.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("content", [b"", b"room,size\n", b"CDF\x01", b"\x89HDF\r\n\x1a\n", None])
def test_what_is_no_result_is_refused(music_school, tmp_path, engine, content):
    file = tmp_path / "result.nc"
    if content is None:
        save_result(music_school.result, tmp_path / "whole.nc", engine=engine)
        whole = (tmp_path / "whole.nc").read_bytes()
        content = whole[: len(whole) // 3]
    file.write_bytes(content)
    with pytest.raises(StudyError, match=r"read_result: result\.nc is not a NetCDF file of this"):
        read_result(file, engine=engine)


def test_places_that_hold_no_result(tmp_path):
    with pytest.raises(StudyError, match=r"read_result: there is no file .*none\.nc"):
        read_result(tmp_path / "none.nc")
    with pytest.raises(StudyError, match="this is a folder; a NetCDF file is needed"):
        read_result(tmp_path)


def test_an_unknown_engine_is_refused(music_school, tmp_path):
    with pytest.raises(ValueError, match="engine"):
        save_result(music_school.result, tmp_path / "result.nc", engine="excel")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("kinds", ["{'option': 1}", "[1]", '{"nowhere": "int8"}', '{"a": "odd"}'])
def test_a_damaged_list_of_whole_numbers_is_named(tmp_path, kinds):
    stored = xr.Dataset({"a": ("x", [1.0, 2.0])}, attrs={"whole_numbers": kinds})
    stored.to_netcdf(tmp_path / "damaged.nc", engine="scipy")
    with pytest.raises(StudyError, match=r"damaged\.nc: its attribute .* the file is damaged"):
        read_result(tmp_path / "damaged.nc")
