"""A folder that is written whole or not at all, and never over somebody else's files."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path as FilePath

from groundborne._arguments import checked
from groundborne._checks import StudyError

MARKER = ".groundborne"
"""File that lists what a report wrote, with the SHA-256 of each file."""

_FORMAT = "groundborne report 1"


@checked
def check_folder(folder: str | FilePath) -> FilePath:
    """Refuse a folder that a report must not be written to.

    Parameters
    ----------
    folder : str or Path
        May be missing, empty, or hold an earlier report and nothing else.

    Returns
    -------
    Path
        The folder, resolved.

    Raises
    ------
    StudyError
        It is a file or would lie in one, it is the folder being worked in, or it holds anything
        but an unchanged earlier report.

    Examples
    --------
    >>> import tempfile
    >>> check_folder(FilePath(tempfile.mkdtemp()) / "new").name
    'new'
    """
    try:
        target = FilePath(folder).resolve()
    except (OSError, ValueError, RuntimeError) as error:
        raise StudyError(f"report: {str(folder)!r} cannot be a folder ({error})") from None
    for above in target.parents:
        if above.exists() and not above.is_dir():
            raise StudyError(
                f"report: {above} is a file, so {target} cannot be made; name a folder"
            )
    if not target.exists():
        return target
    if not target.is_dir():
        raise StudyError(f"report: {target} is a file; name a folder")
    if FilePath.cwd().is_relative_to(target):
        raise StudyError(
            f"report: {target} is the folder being worked in and cannot be replaced as a whole; "
            "name a new folder"
        )
    _refuse_strangers(target)
    return target


def _refuse_strangers(target: FilePath) -> None:
    present = sorted(
        p.relative_to(target).as_posix()
        for p in target.rglob("*")
        if p.is_symlink() or not p.is_dir()
    )
    if not present:
        return
    remedy = "name a new or an empty folder"
    if MARKER not in present:
        raise StudyError(
            f"report: {target} holds {present[0]!r}, which is not from an earlier report; {remedy}"
        )
    ours = _read_marker(target / MARKER)
    if ours is None:
        raise StudyError(f"report: {target} holds a {MARKER} file that cannot be read; {remedy}")
    for name in present:
        if name == MARKER:
            continue
        if name not in ours:
            raise StudyError(
                f"report: {target} holds {name!r}, which is not from an earlier report; {remedy}"
            )
        if (target / name).is_symlink() or _digest(target / name) != ours[name]:
            raise StudyError(
                f"report: {name!r} in {target} was changed since it was written; move it, or "
                f"{remedy}"
            )


def _read_marker(file: FilePath) -> dict[str, str] | None:
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(data, dict) or data.get("format") != _FORMAT:
        return None
    files = data.get("files")
    return files if isinstance(files, dict) else None


def _digest(file: FilePath) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write_marker(folder: FilePath) -> None:
    """List every file of a finished report."""
    files = {
        p.relative_to(folder).as_posix(): _digest(p)
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }
    text = json.dumps({"format": _FORMAT, "files": files}, indent=1)
    (folder / MARKER).write_text(text + "\n", encoding="utf-8")


@contextmanager
def whole_folder(folder: str | FilePath) -> Iterator[FilePath]:
    """Yield a folder beside the target, and put it in the target's place if nothing fails.

    Raises
    ------
    StudyError
        As for :func:`check_folder`, before anything is written and again before it is replaced.
    """
    target = check_folder(folder)
    mark = uuid.uuid4().hex[:12]
    partial = target.with_name(f".{target.name}-{mark}.partial")
    missing = [p for p in target.parents if not p.exists()]
    partial.mkdir(parents=True)
    try:
        yield partial
        write_marker(partial)
        check_folder(target)
        _replace(target, partial, target.with_name(f".{target.name}-{mark}.old"))
    finally:
        shutil.rmtree(partial, ignore_errors=True)
        for made in missing:  # nearest first; what holds the report stays
            with suppress(OSError):
                made.rmdir()


def _replace(target: FilePath, partial: FilePath, old: FilePath) -> None:
    if not target.exists():
        os.rename(partial, target)
        return
    os.rename(target, old)
    try:
        os.rename(partial, target)
    except BaseException:
        os.rename(old, target)
        raise
    shutil.rmtree(old, ignore_errors=True)
