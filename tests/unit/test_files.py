"""Files: read only if plain, written whole or not at all, on a full disk and when killed."""

from __future__ import annotations

import os
import signal
import threading
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from failing_disk import calls, forked, full_from, killed_at

import groundborne as gb
from groundborne import sizing
from groundborne._checks import StudyError, TableError
from groundborne.drafts import Draft
from groundborne.files import read_plain, write_files
from groundborne.levels import stamp
from groundborne.report import write_schedule
from groundborne.source import Passbys, write_passbys

try:
    import resource
except ImportError:
    resource = None

forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes cannot be forked here")


def passbys(number: int = 40, level: float = 61.5) -> Passbys:
    names = [f"P{i}" for i in range(number)]
    values = np.full((number, 3), level)
    found = xr.DataArray(values, coords={"passby": names, "frequency": [50.0, 63.0, 80.0]})
    return Passbys(
        stamp(
            found,
            quantity="velocity",
            reference="1 nm/s",
            long_name="level",
            time_weighting="S max",
        )
    )


def schedule():
    springs = sizing.read_components(
        Path(__file__).parents[2] / "data" / "components" / "springs.csv"
    )
    load = xr.DataArray(
        [[2.0e6, 2.0e5]],
        dims=("case", "column"),
        coords={"case": ["quasi-permanent"], "column": ["A1", "A2"]},
        attrs={"units": "N", "revision": "P1"},
    )
    rules = sizing.PackRules(natural_frequency=(3.4, 3.6))
    return sizing.make_schedule(sizing.choose_packs(load, springs, rules=rules))


RESULT = xr.Dataset({"margin": ("room", np.arange(50.0))})
SCHEDULE = schedule()

# Who writes a file, whether it may replace one, and under which names.
WRITERS = {
    "passbys": (lambda f: write_passbys(passbys(), f / "a.csv"), ["a.csv"]),
    "result": (lambda f: gb.save_result(RESULT, f / "a.nc"), ["a.nc"]),
    "result, compressed": (
        lambda f: gb.save_result(RESULT, f / "a.nc", engine="netcdf4"),
        ["a.nc"],
    ),
    "schedule": (lambda f: write_schedule(SCHEDULE, f / "a.csv"), ["a.csv"]),
    "workbook": (lambda f: write_schedule(SCHEDULE, f / "a.xlsx"), ["a.csv", "a.xlsx"]),
}
REPLACERS = {
    "passbys": (lambda f: write_passbys(passbys(), f / "a.csv", overwrite=True), "a.csv"),
    "result": (lambda f: gb.save_result(RESULT, f / "a.nc", overwrite=True), "a.nc"),
}
OLD = b"what was there before\n" * 400


@pytest.fixture(params=WRITERS)
def writer(request):
    pytest.importorskip("xlsxwriter")
    pytest.importorskip("netCDF4")
    return WRITERS[request.param]


@pytest.fixture(params=REPLACERS)
def replacer(request):
    return REPLACERS[request.param]


@pytest.fixture(autouse=True)
def no_waiting(monkeypatch):
    """Waiting for the disk takes most of the time, and none of these tests cuts the power."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


def content(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def fresh(tmp_path: Path, number: object) -> Path:
    folder = tmp_path / str(number)
    folder.mkdir()
    return folder


def same(one: bytes, other: bytes) -> bool:
    """The head of a NetCDF 4 file holds the time of writing."""
    start = 200 if one[:4] == b"\x89HDF" else 0
    return len(one) == len(other) and one[start:] == other[start:]


def said(work) -> str:
    """Sentence of what refused, or nothing."""
    try:
        work()
    except ValueError as error:
        return str(error)
    return ""


# --- a full disk ---------------------------------------------------------------------------------


@pytest.mark.parametrize("once", [True, False], ids=["one call fails", "no more room"])
def test_a_full_disk_leaves_nothing_or_all(writer, tmp_path, once):
    write, names = writer
    first = fresh(tmp_path, "whole")
    total = calls(lambda: write(first))
    whole = content(first)
    assert sorted(whole) == names
    failed = 0
    for number in range(1, total + 1):
        folder = fresh(tmp_path, number)
        with full_from(number, once=once):
            sentence = said(lambda folder=folder: write(folder))
        found = content(folder)
        if sentence:
            failed += 1
            assert "No space left on device; " in sentence
            assert " are needed" in sentence
            assert str(folder) in sentence
            assert not [n for n in found if not n.endswith(".partial")]
        else:
            assert all(same(found[n], whole[n]) for n in names)
    assert failed >= 3  # to make, to fill and to keep a draft


def test_a_full_disk_leaves_what_was_there(replacer, tmp_path):
    write, name = replacer
    failed = 0
    for number in range(1, 40):
        folder = fresh(tmp_path, number)
        (folder / name).write_bytes(OLD)
        with full_from(number):
            sentence = said(lambda folder=folder: write(folder))
        if sentence:
            failed += 1
            assert "No space left on device" in sentence
            assert content(folder) == {name: OLD}
    assert failed >= 3


@forks
@pytest.mark.skipif(resource is None, reason="sizes of files cannot be limited here")
@pytest.mark.parametrize("share", np.linspace(0, 0.98, 40).round(3))
def test_a_process_killed_by_its_disk_leaves_what_was_there(tmp_path, share):
    """The system ends the process at the very byte that goes beyond a limit."""
    file = write_passbys(passbys(), tmp_path / "a.csv")
    size = file.stat().st_size
    file.write_bytes(OLD)

    def beyond_the_limit():
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(share * size),) * 2)
        write_passbys(passbys(), file, overwrite=True)

    assert forked(beyond_the_limit) == -signal.SIGXFSZ
    assert file.read_bytes() == OLD


@forks
@pytest.mark.skipif(resource is None, reason="sizes of files cannot be limited here")
def test_a_limit_of_the_size_of_files_is_told(replacer, tmp_path):
    write, name = replacer
    (tmp_path / name).write_bytes(OLD)

    def told():
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
        with pytest.raises(ValueError, match=f"{name} was not written: File too large; .* needed"):
            write(tmp_path)

    assert forked(told) == 0
    assert content(tmp_path) == {name: OLD}


# --- killed --------------------------------------------------------------------------------------


@forks
def test_killed_at_any_call_a_new_file_is_whole_or_not_there(writer, tmp_path):
    write, names = writer
    first = fresh(tmp_path, "whole")
    total = calls(lambda: write(first))
    whole = content(first)
    for number in range(1, total + 1):
        folder = fresh(tmp_path, number)
        assert killed_at(lambda folder=folder: write(folder), number)
        for name, there in content(folder).items():
            if not name.endswith(".partial"):
                assert same(there, whole[name])
        for name in names:
            (folder / name).unlink(missing_ok=True)
        write(folder)
        assert sorted(content(folder)) == names  # what the killed run left is gone


@forks
def test_killed_at_any_call_an_old_file_is_there_or_the_new_one(replacer, tmp_path):
    write, name = replacer
    write(fresh(tmp_path, "whole"))
    new = content(tmp_path / "whole")[name]
    found = []
    for number in range(1, 40):
        folder = fresh(tmp_path, number)
        (folder / name).write_bytes(OLD)
        if not killed_at(lambda folder=folder: write(folder), number):
            break
        found.append((folder / name).read_bytes())
        write(folder)
        assert content(folder) == {name: new}
    assert set(found) == {OLD, new}
    assert found == sorted(found, key=lambda c: c == new)


@forks
def test_without_hard_links_a_file_of_somebody_else_is_never_touched(tmp_path, monkeypatch):
    """A name is taken before it is filled; a kill between the two leaves it empty, and no worse."""
    monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(PermissionError("no links")))
    for number in range(1, 20):
        folder = fresh(tmp_path, number)
        if not killed_at(
            lambda folder=folder: write_files({folder / "a": OLD}, where="test"), number
        ):
            break
        there = (folder / "a").read_bytes() if (folder / "a").exists() else None
        assert there in (None, b"", OLD)
    (tmp_path / "b").write_bytes(OLD)
    with pytest.raises(StudyError, match="b is there already; name a new file"):
        write_files({tmp_path / "b": b"new"}, where="test")
    assert (tmp_path / "b").read_bytes() == OLD


# --- what is there -------------------------------------------------------------------------------


def test_a_file_made_meanwhile_is_kept(tmp_path, monkeypatch):
    real = Draft.write

    def slow(self, content):
        real(self, content)
        (tmp_path / "a").write_bytes(b"theirs")

    monkeypatch.setattr(Draft, "write", slow)
    with pytest.raises(StudyError, match="a is there already"):
        write_files({tmp_path / "a": b"ours"}, where="test")
    assert content(tmp_path) == {"a": b"theirs"}


def test_of_several_files_none_stays_if_one_is_refused(tmp_path, monkeypatch):
    real = Draft.write

    def slow(self, content):
        real(self, content)
        (tmp_path / "b").write_bytes(b"theirs")

    monkeypatch.setattr(Draft, "write", slow)
    with pytest.raises(StudyError, match="b is there already"):
        write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"}, where="test")
    assert content(tmp_path) == {"b": b"theirs"}


def test_links_folders_and_odd_places_are_not_written_through(tmp_path):
    (tmp_path / "own").write_bytes(OLD)
    (tmp_path / "link").symlink_to(tmp_path / "own")
    (tmp_path / "folder").mkdir()
    for name, words in (("link", "is a link"), ("folder", "is no plain file")):
        with pytest.raises(TableError, match=f"{words} and is not replaced"):
            write_files({tmp_path / name: b""}, where="t", overwrite=True, error=TableError)
    with pytest.raises(TableError, match="give overwrite=True"):
        write_passbys(passbys(), tmp_path / "link")
    with pytest.raises(TableError, match="is a link and is not replaced; name the file itself"):
        write_passbys(passbys(), tmp_path / "link", overwrite=True)
    with pytest.raises(StudyError, match="there is no folder"):
        write_files({tmp_path / "none" / "a": b""}, where="test")
    with pytest.raises(StudyError, match=r"cannot be written \(.*null"):
        write_files({tmp_path / "a\x00b": b""}, where="test")
    assert (tmp_path / "own").read_bytes() == OLD


def test_a_replaced_file_keeps_its_permissions(tmp_path):
    file = write_passbys(passbys(), tmp_path / "a.csv")
    file.chmod(0o640)
    write_passbys(passbys(), file, overwrite=True)
    assert file.stat().st_mode & 0o777 == 0o640


def test_a_draft_that_is_being_written_is_left_to_its_writer(tmp_path):
    pytest.importorskip("fcntl")
    mine = Draft(tmp_path / "a")
    mine.write(b"mine")
    write_files({tmp_path / "a": b"theirs"}, where="test")
    assert mine.file.exists()
    with pytest.raises(FileExistsError):
        mine.place(tmp_path / "a", replace=False)
    mine.remove()
    assert content(tmp_path) == {"a": b"theirs"}


def test_names_as_long_as_the_system_allows(tmp_path):
    name = "a" * 251 + ".csv"
    write_files({tmp_path / name: b"1"}, where="test")
    assert content(tmp_path) == {name: b"1"}


# --- reading -------------------------------------------------------------------------------------


def test_devices_pipes_and_large_files_are_not_read(tmp_path):
    ask = {"error": TableError, "wanted": "a CSV file"}
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(TableError, match="pipe or a socket; a CSV file is needed"):
            read_plain(tmp_path / "pipe", **ask)
    if Path("/dev/zero").exists():
        with pytest.raises(TableError, match="this is a device"):
            read_plain("/dev/zero", **ask)
    large = tmp_path / "large.csv"
    with large.open("wb") as stream:
        stream.truncate(65 * 2**20)
    with pytest.raises(TableError, match=r"holds 65\.0 MB; a CSV file of at most 64\.0 MB is read"):
        read_plain(large, **ask)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names here")
@pytest.mark.parametrize(
    "read",
    [
        lambda f: gb.read_study(f),
        lambda f: sizing.read_loads(f, revision="A"),
        lambda f: gb.records.read_wav(f, channels=[]),
        lambda f: gb.records.read_miniseed(f, channels={}),
        lambda f: gb.records.read_uff(f, channels={}),
        lambda f: gb.read_result(f),
    ],
    ids=["study", "table", "wav", "miniseed", "uff", "result"],
)
def test_no_reader_waits_at_a_pipe(tmp_path, read):
    os.mkfifo(tmp_path / "pipe")
    found = []

    def attempt():
        try:
            read(tmp_path / "pipe")
        except ValueError as error:
            found.append(str(error))

    # A thread, as a reader that waits would wait for ever.
    thread = threading.Thread(target=attempt, daemon=True)
    thread.start()
    thread.join(20)
    assert not thread.is_alive()
    assert "this is a device, a pipe or a socket" in found[0]
