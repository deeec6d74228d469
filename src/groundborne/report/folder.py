"""A folder for a report: put together out of sight, put in place file by file, found after a kill.

A run writes all files, and a list of them with their SHA-256, into a hidden folder inside the
target. When that is whole on the disk it takes the visible name ``new-report-…``; from then on it
is the report, and its files get their places one by one, each in one step. Killed before, the
earlier report is in place as it was; killed after, the new one is whole in ``new-report-…``, and
the next run finishes what was begun. Files that no report wrote stay where they are.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path as FilePath

from groundborne._arguments import checked
from groundborne._checks import StudyError
from groundborne.drafts import Alone, second_name, sync_folder, take_place, write_new
from groundborne.files import why_not

MARKER = ".groundborne"
"""File that lists what a report wrote, with the SHA-256 of each file."""

READY = "new-report-"
"""Begin of the name of a folder with a whole report that is being put in place."""

_FORMAT = "groundborne report 1"
_HIDDEN = re.compile(r"\.groundborne-[0-9a-f]{12}\.partial")
_WHOLE = re.compile(re.escape(READY) + r"[0-9a-f]{12}")
_EMPTY = hashlib.sha256().hexdigest()
"""Of a name that was taken and not filled yet."""
ALWAYS = ("report.html", "result.nc")
"""Files of every report."""
_DEEPEST = 12
"""Parts of the name of a file of a report: inputs may lie in folders of their own."""
_REMEDY = "name a new or an empty folder"


@checked
def check_folder(folder: str | FilePath, *, names: Iterable[str] = ALWAYS) -> FilePath:
    """Refuse a folder that a report cannot be written to; nothing is changed.

    Parameters
    ----------
    folder : str or Path
        May be missing or hold anything. An earlier report in it will be replaced; other files stay.
    names : iterable of str
        Files that are to be written, relative to the folder.

    Returns
    -------
    Path
        The folder, resolved.

    Raises
    ------
    StudyError
        It is a file or would lie in one, it must not be written to, or one of the names is taken
        by a file that is not of an earlier report or was changed since.

    Examples
    --------
    >>> check_folder(FilePath(tempfile.mkdtemp()) / "new").name
    'new'
    """
    try:
        target = FilePath(folder).resolve()
        there = next(p for p in (target, *target.parents) if p.exists() or p.is_symlink())
    except (OSError, ValueError, RuntimeError) as error:
        raise StudyError(f"report: {str(folder)!r} cannot be a folder ({error})") from None
    if not there.is_dir():
        what = "" if there == target else f", so {target} cannot be made"
        raise StudyError(f"report: {there} is a file{what}; name a folder")
    try:
        # A file without a name where there can be one: what permissions promise is not tried.
        tempfile.TemporaryFile(dir=there).close()
    except OSError as error:
        raise StudyError(why_not("report", target, error, 0)) from None
    if target.is_dir():
        ours = _known(target)
        for name in names:
            _require_ours(target, name, ours.get(name, ()))
    return target


def write_folder(folder: str | FilePath, contents: Mapping[str, bytes]) -> FilePath:
    """Write the files of a report, whole or not at all.

    Parameters
    ----------
    folder : str or Path
        As for :func:`check_folder`.
    contents : mapping of str to bytes
        Content by name, relative to the folder, with ``/`` between its parts.

    Returns
    -------
    Path
        The folder, resolved.

    Raises
    ------
    StudyError
        As for :func:`check_folder`, another run is writing there, or the disk is full. The earlier
        report is then in place, or the new one whole in a folder that the sentence names.

    Examples
    --------
    >>> target = write_folder(tempfile.mkdtemp(), {"a.txt": b"1", "tables/b.csv": b"2"})
    >>> sorted(p.name for p in target.iterdir())
    ['.groundborne', 'a.txt', 'tables']
    """
    target = check_folder(folder, names=contents)
    size = sum(len(content) for content in contents.values())
    missing = [p for p in (target, *target.parents) if not p.exists()]
    try:
        target.mkdir(parents=True, exist_ok=True)
        with Alone(target) as alone:
            if not alone:
                raise StudyError(
                    f"report: another run is writing into {target}; wait for it or name another "
                    "folder"
                )
            _finish(target)
            check_folder(target, names=contents)
            _put_in_place(target, *_put_together(target, contents))
    except OSError as error:
        raise StudyError(why_not("report", target, error, size)) from None
    finally:
        for made in missing:  # nearest first; what holds a report stays
            with suppress(OSError):
                made.rmdir()
    return target


def _put_together(
    target: FilePath, contents: Mapping[str, bytes]
) -> tuple[FilePath, dict[str, str]]:
    """Folder with the whole report, on the disk, and what is in it."""
    mark = secrets.token_hex(6)
    hidden, ready = target / f".groundborne-{mark}.partial", target / f"{READY}{mark}"
    listed = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    text = json.dumps({"format": _FORMAT, "run": mark, "files": listed}, indent=1) + "\n"
    hidden.mkdir()
    try:
        for name, content in {**contents, MARKER: text.encode("utf-8")}.items():
            (hidden / name).parent.mkdir(parents=True, exist_ok=True)
            write_new(hidden / name, content)
        for folder in [*_folders(hidden, contents), hidden]:
            sync_folder(folder)
        os.rename(hidden, ready)
    except BaseException:
        shutil.rmtree(hidden, ignore_errors=True)
        raise
    sync_folder(target)
    return ready, listed


def _put_in_place(target: FilePath, ready: FilePath, new: Mapping[str, str]) -> None:
    """Put every file of a whole report in its place, then drop what the earlier one leaves over.

    Any part of it may have been done before.
    """
    old = _earlier(target)
    try:
        for name, digest in new.items():
            # Again: somebody may have put a file there since.
            _require_ours(target, name, [d for d in (old.get(name), digest, _EMPTY) if d])
            place = target / name
            place.parent.mkdir(parents=True, exist_ok=True)
            if not place.exists() or _digest(place) != digest:
                _give(ready / name, place, ready, replace=place.exists())
        for name, digest in old.items():
            if name not in new and (target / name).is_file() and _digest(target / name) == digest:
                (target / name).unlink()
                for parent in _folders(target, [name]):
                    with suppress(OSError):  # something else is in it
                        parent.rmdir()
        _give(ready / MARKER, target / MARKER, ready, replace=True)
    except (OSError, StudyError) as error:
        why = str(error) if isinstance(error, StudyError) else why_not("report", target, error, 0)
        raise StudyError(
            f"{why}. The new report is whole in {ready}; the next run puts it in its place"
        ) from None
    _drop(ready, new)


def _give(source: FilePath, place: FilePath, ready: FilePath, *, replace: bool) -> None:
    """Put a file in its place, in one step, and keep the source."""
    draft = ready / f".groundborne-{secrets.token_hex(6)}.partial"
    try:
        second_name(source, draft)
        take_place(draft, place, replace=replace)
    except FileExistsError:
        raise StudyError(
            f"report: {place.name!r} in {place.parent} arrived meanwhile; move it"
        ) from None
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def _drop(ready: FilePath, files: Mapping[str, str]) -> None:
    """Remove a folder whose report is in place; what else somebody put in it stays."""
    with suppress(OSError):
        for path in [*(ready / name for name in files), *ready.glob(".groundborne-*.partial")]:
            path.unlink(missing_ok=True)
        for folder in _folders(ready, files):
            if folder.is_dir():
                folder.rmdir()
        # Last, as it says that the folder is ours.
        (ready / MARKER).unlink(missing_ok=True)
        ready.rmdir()


def _finish(target: FilePath) -> None:
    """Finish what a killed run began, and remove what it never finished."""
    for path in sorted(target.iterdir()):
        if _HIDDEN.fullmatch(path.name) and path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        elif _WHOLE.fullmatch(path.name) and path.is_dir() and not path.is_symlink():
            files = _read_marker(path / MARKER)
            if files is None:
                continue  # not ours
            if _same(path / MARKER, target / MARKER):
                _drop(path, files)
                continue
            for name, digest in files.items():
                if not (path / name).is_file() or _digest(path / name) != digest:
                    raise StudyError(
                        f"report: {path} is a report that was not put in place, and {name!r} in it "
                        f"is gone or changed; move the folder, or {_REMEDY}"
                    )
            _put_in_place(target, path, files)


def _folders(target: FilePath, names: Iterable[str]) -> list[FilePath]:
    """Folders below a folder that hold files by these names, the innermost first."""
    found = {target / parent for name in names for parent in FilePath(name).parents[:-1]}
    return sorted(found, key=lambda f: len(f.parts), reverse=True)


def _same(one: FilePath, other: FilePath) -> bool:
    return other.is_file() and one.read_bytes() == other.read_bytes()


def _earlier(target: FilePath) -> dict[str, str]:
    """Files of the earlier report with their digests; none where there is no report."""
    marker = target / MARKER
    if not marker.exists() and not marker.is_symlink():
        return {}
    files = _read_marker(marker)
    if files is None:
        raise StudyError(f"report: {target} holds a {MARKER} file that cannot be read; {_REMEDY}")
    return files


def _known(target: FilePath) -> dict[str, list[str]]:
    """Digests by name: of the earlier report, and of one that is half in place."""
    begun = [p for p in target.glob(f"{READY}*") if _WHOLE.fullmatch(p.name)]
    known = {name: [digest] for name, digest in _earlier(target).items()}
    for path in begun:
        for name, digest in (_read_marker(path / MARKER) or {}).items():
            known.setdefault(name, []).extend([digest, _EMPTY])
    return known


def _require_ours(target: FilePath, name: str, digests: Sequence[str]) -> None:
    """Refuse a place that a file has taken which no report wrote, or that was changed since."""
    place = target / name
    for folder in _folders(target, [name]):
        if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
            raise StudyError(
                f"report: {folder.name!r} in {folder.parent} is a link or a file where a folder is "
                f"needed; move it, or {_REMEDY}"
            )
    if not place.exists() and not place.is_symlink():
        return
    if place.is_symlink() or not place.is_file() or _digest(place) not in digests:
        was = "was changed since it was written" if digests else "is not from an earlier report"
        raise StudyError(f"report: {name!r} in {target} {was}; move it, or {_REMEDY}")


def listed_files(folder: FilePath) -> dict[str, str]:
    """Digests of the files that a report wrote into a folder; none where the list is gone."""
    return _read_marker(folder / MARKER) or {}


def _read_marker(file: FilePath) -> dict[str, str] | None:
    """Names and digests; None unless it is one of ours."""
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        files = data["files"]
        names = [FilePath(name).parts for name in files]
    except (OSError, ValueError, RecursionError, KeyError, TypeError):
        return None
    inside = all(parts and ".." not in parts and len(parts) <= _DEEPEST for parts in names)
    if data.get("format") != _FORMAT or not isinstance(files, dict) or not inside:
        return None
    if any(FilePath(name).is_absolute() for name in files):
        return None
    return files


def _digest(file: FilePath) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
