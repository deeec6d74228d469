"""Files that appear whole or not at all: drafts, their place, and who may write in a folder."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path as FilePath
from typing import Any

try:
    import fcntl
except ImportError:  # where there is none, an open file cannot be removed either
    _locks: Any = None
else:
    _locks = fcntl

_AT_ONCE = 2**20
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


class Draft:
    """A file under a name of its own, beside the file that it will become.

    Parameters
    ----------
    target : Path
        What it will become. Drafts of it that a killed run left are removed.
    """

    def __init__(self, target: FilePath) -> None:
        # Of the name only a digest: a long name with anything added could be too long.
        start = f".groundborne-{hashlib.sha256(os.fsencode(target.name)).hexdigest()[:8]}-"
        for left in target.parent.glob(f"{start}*.partial"):
            _remove_abandoned(left)
        self.file = target.with_name(f"{start}{secrets.token_hex(6)}.partial")
        self._open: int | None = os.open(self.file, _NEW, 0o666)
        _lock(self._open)

    def write(self, content: bytes) -> None:
        """Write all of the content, to the disk."""
        if self._open is None:
            raise OSError(errno.EBADF, "the draft is closed")
        _pour(self._open, content)

    def place(self, target: FilePath, *, replace: bool) -> None:
        """Give it its name; as :func:`take_place`."""
        if os.name == "nt":
            self._close()  # an open file keeps its name there
        take_place(self.file, target, replace=replace)

    def _close(self) -> None:
        if self._open is not None:
            os.close(self._open)
            self._open = None

    def remove(self) -> None:
        """Take the draft away, if it is still there."""
        self._close()
        with suppress(OSError):
            os.unlink(self.file)


def take_place(draft: FilePath, target: FilePath, *, replace: bool) -> None:
    """Give a draft its name, in one step, unless the name is taken and not to be replaced.

    Raises
    ------
    FileExistsError
        Another file has the name.
    OSError
        The disk refuses.
    """
    if replace:
        with suppress(FileNotFoundError):
            os.chmod(draft, stat.S_IMODE(target.stat().st_mode))
        os.replace(draft, target)
    else:
        _take_free(draft, target)
    sync_folder(target.parent)


def _take_free(draft: FilePath, target: FilePath) -> None:
    try:
        os.link(draft, target)
    except FileExistsError:
        raise
    except OSError:  # no hard links here: take the name, then fill it
        os.close(os.open(target, _NEW, 0o666))
        try:
            os.replace(draft, target)
        except BaseException:
            os.unlink(target)
            raise


def second_name(source: FilePath, name: FilePath) -> None:
    """Give a file a second name that nobody looks for, or where there are no links a copy."""
    try:
        os.link(source, name)
    except OSError:
        write_new(name, source.read_bytes())


def write_new(file: FilePath, content: bytes) -> None:
    """Write a file that is not there yet, to the disk; of use only where nobody looks for it.

    Raises
    ------
    OSError
        It is there, or the disk refuses.
    """
    handle = os.open(file, _NEW, 0o666)
    try:
        _pour(handle, content)
    finally:
        os.close(handle)


def _pour(handle: int, content: bytes) -> None:
    rest = memoryview(content)
    while rest:
        rest = rest[os.write(handle, rest[:_AT_ONCE]) :]
    os.fsync(handle)


def sync_folder(folder: FilePath) -> None:
    """Bring the names in a folder to the disk, where folders can be opened."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _lock(handle: int) -> bool:
    """Lock an open file until it is closed, or its process ends; whether it was free."""
    if _locks is None:
        return True
    try:
        _locks.flock(handle, _locks.LOCK_EX | _locks.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # no locks on this file system
        return True
    return True


def _remove_abandoned(file: FilePath) -> None:
    """Remove a draft unless somebody is writing it."""
    with suppress(OSError):
        handle = os.open(file, os.O_WRONLY)
        try:
            free = _lock(handle)
        finally:
            os.close(handle)
        if free:
            os.unlink(file)


class Alone:
    """One writer at a time in a folder, where folders can be locked.

    Parameters
    ----------
    folder : Path
        Folder that is there.
    """

    def __init__(self, folder: FilePath) -> None:
        self._folder = folder
        self._open: int | None = None

    def __enter__(self) -> bool:
        """Whether nobody else is writing; the lock ends with the process, however it ends."""
        if _locks is None:
            return True
        self._open = os.open(self._folder, os.O_RDONLY)
        return _lock(self._open)

    def __exit__(self, *_: object) -> None:
        """Let others write."""
        if self._open is not None:
            os.close(self._open)
