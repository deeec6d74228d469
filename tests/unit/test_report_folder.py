"""The folder of a report: the earlier one or the new one is there, whatever happens, and found."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest
from failing_disk import calls, forked, full_from, killed_at

from groundborne._checks import StudyError
from groundborne.drafts import Alone
from groundborne.report import check_folder, folder
from groundborne.report.folder import MARKER, READY, write_folder

forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes cannot be forked here")

OLD = {"report.html": b"old", "result.nc": b"old" * 9, "figures/a.png": b"A", "figures/b.png": b"B"}
NEW = {
    "report.html": b"new",
    "result.nc": b"new" * 9,
    "figures/a.png": b"A",
    "figures/c.png": b"C",
    "tables/t.csv": b"1,2\n",
}
FOREIGN = {".DS_Store": b"\x00", "Thumbs.db": b"t", ".~lock.t.csv#": b"", "figures/mine.png": b"m"}


@pytest.fixture(autouse=True)
def no_waiting(monkeypatch):
    """Waiting for the disk takes most of the time, and none of these tests cuts the power."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


def content(target: Path) -> dict[str, bytes]:
    return {
        p.relative_to(target).as_posix(): p.read_bytes() for p in target.rglob("*") if p.is_file()
    }


def put(target: Path, files: dict[str, bytes]) -> None:
    for name, data in files.items():
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        (target / name).write_bytes(data)


def names(path: Path) -> list[str]:
    return sorted(p.name for p in path.iterdir())


def whole(place: Path) -> dict[str, bytes] | None:
    """The report in a folder, if all that its list names is there as it was written."""
    if not (place / MARKER).is_file():
        return None
    listed = json.loads((place / MARKER).read_text())["files"]
    found = {n: d for n, d in content(place).items() if n in listed}
    ok = all(folder._digest(place / n) == d for n, d in listed.items() if n in found)
    return found if ok and set(found) == set(listed) else None


def found_in(target: Path) -> list[dict[str, bytes]]:
    """Whole reports that somebody who looks into the folder finds, the one in place first."""
    places = [target, *sorted(target.glob(f"{READY}*"))]
    return [report for report in map(whole, places) if report is not None]


def test_a_new_an_empty_and_an_earlier_folder_are_written(tmp_path):
    target = tmp_path / "out"
    write_folder(target, OLD)
    assert content(target).keys() == {*OLD, MARKER}
    write_folder(target, NEW)
    assert found_in(target) == [NEW]
    assert content(target).keys() == {*NEW, MARKER}
    empty = tmp_path / "empty"
    empty.mkdir()
    before = empty.stat().st_ino
    write_folder(empty, NEW)
    assert empty.stat().st_ino == before  # it is still the user's folder
    assert names(tmp_path) == ["empty", "out"]
    deep = tmp_path / "a" / "b" / "c"
    write_folder(deep, NEW)
    assert found_in(deep) == [NEW]


def test_what_no_report_wrote_stays_and_blocks_nothing(tmp_path):
    put(tmp_path, FOREIGN)
    for contents in (OLD, NEW, {"report.html": b"last"}):
        write_folder(tmp_path, contents)
        assert content(tmp_path).keys() == {*contents, *FOREIGN, MARKER}
        assert {n: d for n, d in content(tmp_path).items() if n in FOREIGN} == FOREIGN


def test_names_that_are_taken_are_refused_before_anything_is_written(tmp_path):
    put(tmp_path, {"figures/c.png": b"mine"})
    with pytest.raises(StudyError, match="is not from an earlier report; move it"):
        write_folder(tmp_path, NEW)
    assert content(tmp_path) == {"figures/c.png": b"mine"}
    (tmp_path / "report.html").write_bytes(b"mine")
    with pytest.raises(StudyError, match=r"'report.html' in .* is not from an earlier report"):
        check_folder(tmp_path)


def test_a_file_of_the_report_that_was_edited_is_kept(tmp_path):
    write_folder(tmp_path, OLD)
    (tmp_path / "figures" / "b.png").write_bytes(b"edited")  # not written again
    write_folder(tmp_path, NEW)
    assert content(tmp_path)["figures/b.png"] == b"edited"
    (tmp_path / "report.html").write_bytes(b"edited")
    with pytest.raises(StudyError, match=r"'report.html' in .* was changed since it"):
        check_folder(tmp_path)
    with pytest.raises(StudyError, match="was changed since"):
        write_folder(tmp_path, OLD)
    assert content(tmp_path)["report.html"] == b"edited"


@pytest.mark.parametrize(
    "marker",
    [
        b"",
        b"{}",
        b"[]",
        b'{"format": "groundborne report 1"}',
        b"\x00",
        b'{"format": "groundborne report 1", "files": {"../a": ""}}',
        b'{"format": "groundborne report 1", "files": {"/etc/passwd": ""}}',
        b'{"format": "groundborne report 1", "files": [1]}',
    ],
)
def test_a_list_that_is_not_ours_is_refused(tmp_path, marker):
    put(tmp_path, {MARKER: marker, "a": b"1"})
    with pytest.raises(StudyError, match="cannot be read; name a new or an empty folder"):
        check_folder(tmp_path)
    assert content(tmp_path) == {MARKER: marker, "a": b"1"}


def test_other_places_are_refused(tmp_path, monkeypatch):
    file = tmp_path / "file"
    file.write_text("x")
    with pytest.raises(StudyError, match="is a file; name a folder"):
        check_folder(file)
    with pytest.raises(StudyError, match=r"is a file, so .* cannot be made"):
        check_folder(file / "b")
    assert check_folder(tmp_path / "a" / "b") == tmp_path / "a" / "b"
    assert names(tmp_path) == ["file"]
    with pytest.raises(StudyError, match="cannot be a folder"):
        check_folder("a\x00b")
    monkeypatch.chdir(tmp_path)
    write_folder(".", NEW)  # the folder itself is not replaced
    assert found_in(tmp_path) == [NEW]


def test_links_are_not_written_through(tmp_path):
    target, elsewhere = tmp_path / "out", tmp_path / "elsewhere"
    write_folder(target, OLD)
    put(elsewhere, {"report.html": b"old"})
    (target / "report.html").unlink()
    (target / "report.html").symlink_to(elsewhere / "report.html")
    with pytest.raises(StudyError, match="was changed since"):
        write_folder(target, NEW)
    (target / "report.html").unlink()
    (target / "tables").symlink_to(elsewhere)
    with pytest.raises(StudyError, match=r"'tables' in .* is a link or a file where a folder is"):
        write_folder(target, NEW)
    assert content(elsewhere) == {"report.html": b"old"}


def test_a_file_that_arrives_during_the_run_is_kept(tmp_path, monkeypatch):
    """Between the last look and the moment it would be replaced."""
    write_folder(tmp_path, OLD)
    real = folder._put_in_place

    def slow(target, ready, new):
        put(tmp_path, {"notes.txt": b"mine", "figures/c.png": b"mine"})
        real(target, ready, new)

    monkeypatch.setattr(folder, "_put_in_place", slow)
    with pytest.raises(StudyError, match=r"'figures/c.png' in .* report is whole in .*new-re"):
        write_folder(tmp_path, NEW)
    monkeypatch.undo()
    assert content(tmp_path)["figures/c.png"] == b"mine"
    assert found_in(tmp_path)[-1] == NEW
    with pytest.raises(StudyError, match=r"figures/c.png"):
        check_folder(tmp_path, names=NEW)
    (tmp_path / "figures" / "c.png").unlink()
    write_folder(tmp_path, OLD)
    assert found_in(tmp_path) == [OLD]
    assert content(tmp_path).keys() == {*OLD, MARKER, "notes.txt"}


def test_two_runs_do_not_write_into_one_folder(tmp_path):
    pytest.importorskip("fcntl")
    write_folder(tmp_path, OLD)
    with Alone(tmp_path) as alone:
        assert alone
        with pytest.raises(StudyError, match=r"another run is writing into .*; wait for it"):
            write_folder(tmp_path, NEW)
    write_folder(tmp_path, NEW)
    assert found_in(tmp_path) == [NEW]


@pytest.mark.parametrize("once", [True, False], ids=["one call fails", "no more room"])
@pytest.mark.parametrize("earlier", [True, False], ids=["over an earlier report", "new"])
def test_a_full_disk_leaves_the_earlier_report_or_the_new_one(tmp_path, once, earlier):
    start = tmp_path / "start"
    if earlier:
        write_folder(start, OLD)
        put(start, FOREIGN)
    failed, number = 0, 0
    while number < 200:
        number += 1
        target = tmp_path / f"out{number}"
        if earlier:
            shutil.copytree(start, target)
        sentence = ""
        with full_from(number, once=once):
            try:
                write_folder(target, NEW)
            except StudyError as error:
                sentence = str(error)
        if not sentence:
            assert found_in(target)[0] == NEW
            if not once:
                break
            continue
        failed += 1
        assert "No space left on device; " in sentence
        assert "is whole in" in sentence or " bytes are needed and" in sentence
        if target.exists():
            reports = found_in(target)
            assert NEW in reports if "is whole in" in sentence else reports == [OLD]
        else:
            assert not earlier
        write_folder(target, NEW)
        assert content(target).keys() == {*NEW, MARKER, *(FOREIGN if earlier else ())}
        shutil.rmtree(target)
    assert failed > 10


@forks
@pytest.mark.parametrize("links", [True, False], ids=["with hard links", "without"])
@pytest.mark.parametrize("earlier", [True, False], ids=["over an earlier report", "new"])
def test_killed_at_any_call_a_report_is_found_and_the_next_run_finishes(
    tmp_path, earlier, links, monkeypatch
):
    if not links:
        monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(PermissionError("none")))
    start = tmp_path / "start"
    if earlier:
        write_folder(start, OLD)
        put(start, FOREIGN)
    target = tmp_path / "all"
    if earlier:
        shutil.copytree(start, target)
    total = calls(lambda: write_folder(target, NEW))
    seen = []
    for number in range(1, total + 1):
        target = tmp_path / f"out{number}"
        if earlier:
            shutil.copytree(start, target)
        assert killed_at(lambda target=target: write_folder(target, NEW), number)
        reports = found_in(target) if target.exists() else []
        if earlier:
            assert OLD in reports or NEW in reports
            there = content(target)
            assert {n: d for n, d in there.items() if n in FOREIGN} == FOREIGN
        seen.append("new" if NEW in reports else "old" if OLD in reports else "none")
        # What the next run says is no other than before the kill, and it leaves nothing behind.
        last = {**OLD, "report.html": b"next"} if number % 2 else NEW
        write_folder(target, last)
        assert content(target).keys() == {*last, MARKER, *(FOREIGN if earlier else ())}
        assert found_in(target) == [last]
        shutil.rmtree(target)
    # Once the new one is there it stays.
    assert seen == sorted(seen, key=lambda s: s == "new")
    assert {"old" if earlier else "none", "new"} == set(seen)


@forks
def test_killed_twice_the_report_is_still_found(tmp_path):
    write_folder(tmp_path / "start", OLD)
    for first in range(1, 90, 13):
        for second in range(2, 90, 17):
            target = tmp_path / f"out{first}-{second}"
            shutil.copytree(tmp_path / "start", target)
            killed_at(lambda target=target: write_folder(target, NEW), first)
            killed_at(lambda target=target: write_folder(target, NEW), second)
            assert [r for r in found_in(target) if r in (OLD, NEW)]
            write_folder(target, NEW)
            assert content(target).keys() == {*NEW, MARKER}
            shutil.rmtree(target)


def test_a_half_finished_report_that_was_changed_is_not_put_in_place(tmp_path):
    write_folder(tmp_path, NEW)
    ready = tmp_path / f"{READY}0123456789ab"
    shutil.copytree(tmp_path, ready)
    marker = json.loads((ready / MARKER).read_text())
    (ready / MARKER).write_text(json.dumps({**marker, "run": "another"}))
    (ready / "report.html").write_bytes(b"edited")
    with pytest.raises(StudyError, match=r"'report.html' in it is gone or changed; move"):
        write_folder(tmp_path, NEW)
    assert (ready / "report.html").read_bytes() == b"edited"
    (ready / MARKER).unlink()
    write_folder(tmp_path, NEW)  # a folder of that name that is not ours
    assert (ready / "report.html").read_bytes() == b"edited"


def test_forks_tell_how_they_ended():
    def fails():
        raise RuntimeError("on purpose")

    assert forked(lambda: None) == 0
    assert forked(fails) == 1
