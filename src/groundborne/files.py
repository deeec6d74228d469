"""The disk: plain files of a sane size are read, and files are written whole or not at all.

Whatever the package writes goes through :func:`write_files` (or, for a folder, through
:mod:`groundborne.drafts`): first under a name of its own beside the target, to the disk, and only
then under the name that was asked for, in one step. Killed at any instant, or on a full disk, the
target holds what it held before or all of what is new. On file systems without hard links a new
file takes its name a moment before its content: killed between the two, it is empty.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path as FilePath

from groundborne._checks import StudyError
from groundborne.drafts import Draft

MEGABYTE = 2**20
LARGEST_TABLE = 64 * MEGABYTE
"""Largest study file or table that is read [bytes]; a day of passbys takes under a hundredth."""

_FULL = (errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC))
_BARRED = (errno.EACCES, errno.EPERM, errno.EROFS)


# --- reading -------------------------------------------------------------------------------------


def require_plain(
    path: str | FilePath, *, error: type[ValueError], wanted: str, most: int | None = None
) -> FilePath:
    """Refuse what is no plain file, or larger than what is asked for can be.

    Parameters
    ----------
    path : str or Path
        May be a link to a file. A device or a pipe could hang the reader or fill the memory.
    error : type of ValueError
        What to raise.
    wanted : str
        What is wanted, for the sentence: ``"a CSV file"``.
    most : int, optional
        Largest size [bytes].

    Returns
    -------
    Path
        The path.

    Raises
    ------
    ValueError
        As `error`: there is no such file, it is a folder, a device, a pipe or a socket, it cannot
        be looked at, or it is too large.

    Examples
    --------
    >>> require_plain("nowhere.csv", error=ValueError, wanted="a CSV file")
    Traceback (most recent call last):
    ...
    ValueError: nowhere.csv: there is no such file
    """
    file = FilePath(path)
    try:
        about = file.stat()
    except (FileNotFoundError, NotADirectoryError):
        shown = str(file) if str(file).isprintable() else repr(str(file))
        raise error(f"{shown}: there is no such file") from None
    except (OSError, ValueError) as problem:
        raise error(f"{str(file)!r}: cannot be read ({problem})") from None
    if stat.S_ISDIR(about.st_mode):
        raise error(f"{file}: this is a folder; {wanted} is needed")
    if not stat.S_ISREG(about.st_mode):
        raise error(f"{file}: this is a device, a pipe or a socket; {wanted} is needed")
    if most is not None and about.st_size > most:
        raise error(f"{file}: the file holds {size_text(about.st_size)}; {_at_most(wanted, most)}")
    return file


def read_plain(
    path: str | FilePath, *, error: type[ValueError], wanted: str, most: int = LARGEST_TABLE
) -> bytes:
    """Content of a plain file of at most a stated size.

    Parameters
    ----------
    path, error, wanted
        As for :func:`require_plain`.
    most : int
        Largest size [bytes].

    Returns
    -------
    bytes
        The whole content.

    Raises
    ------
    ValueError
        As `error`: as for :func:`require_plain`, or it cannot be read.
    """
    file = require_plain(path, error=error, wanted=wanted, most=most)
    try:
        with file.open("rb") as stream:
            content = stream.read(most + 1)
    except OSError as problem:
        raise error(f"{file}: cannot be read ({problem.strerror or problem})") from None
    if len(content) > most:  # some files of the system say that they are empty
        raise error(f"{file}: the file is larger than it says; {_at_most(wanted, most)}")
    return content


def _at_most(wanted: str, most: int) -> str:
    return f"{wanted} of at most {size_text(most)} is read"


def size_text(size: float) -> str:
    """Size in words.

    Examples
    --------
    >>> size_text(812), size_text(3.2e6)
    ('812 bytes', '3.1 MB')
    """
    if size < 10_000:
        return f"{size:.0f} bytes"
    return f"{size / MEGABYTE:.1f} MB" if size < 1e4 * MEGABYTE else f"{size / 2**30:.0f} GB"


# --- writing -------------------------------------------------------------------------------------


def write_files(
    contents: Mapping[FilePath, bytes],
    *,
    where: str,
    overwrite: bool = False,
    error: type[ValueError] = StudyError,
) -> None:
    """Write files whole or not at all.

    Parameters
    ----------
    contents : mapping of Path to bytes
        Content by file, in the order in which they take their places. Each is whole at every
        instant; if one cannot take its place, those that took theirs are removed again.
    where : str
        Who writes, for the sentences.
    overwrite : bool
        Whether files that are there are replaced; until then they stay as they are.
    error : type of ValueError
        What to raise.

    Raises
    ------
    ValueError
        As `error`: the folder is not there or must not be written to, a file is there already, or
        the disk is full. What was there is then as it was.

    Examples
    --------
    >>> import tempfile
    >>> file = FilePath(tempfile.mkdtemp()) / "a.txt"
    >>> write_files({file: b"1"}, where="example")
    >>> write_files({file: b"2"}, where="example")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: example: ...a.txt is there already; name a new file
    """
    size = sum(len(content) for content in contents.values())
    for file in contents:
        _refuse_target(file, where, overwrite, error)
    drafts: list[Draft] = []
    placed: list[FilePath] = []
    file = next(iter(contents))
    try:
        for file, content in contents.items():
            drafts.append(Draft(file))
            drafts[-1].write(content)
        for draft, file in zip(drafts, contents, strict=True):
            draft.place(file, replace=overwrite)
            placed.append(file)
    except BaseException as problem:
        if not overwrite:
            for one in placed:
                with suppress(OSError):
                    one.unlink()
        if isinstance(problem, FileExistsError):
            raise error(f"{where}: {file} is there already; name a new file") from None
        if isinstance(problem, OSError):
            raise error(why_not(where, file, problem, size)) from None
        raise
    finally:
        for draft in drafts:
            draft.remove()


def _refuse_target(file: FilePath, where: str, overwrite: bool, error: type[ValueError]) -> None:
    try:
        if not file.parent.is_dir():
            raise error(f"{where}: there is no folder {file.parent}; make it first")
        mode = file.lstat().st_mode
    except FileNotFoundError:
        return
    except (OSError, ValueError) as problem:
        if isinstance(problem, error):
            raise
        raise error(f"{where}: {str(file)!r} cannot be written ({problem})") from None
    if not overwrite:
        raise error(f"{where}: {file} is there already; name a new file")
    if not stat.S_ISREG(mode):
        kind = "a link" if stat.S_ISLNK(mode) else "no plain file"
        raise error(f"{where}: {file} is {kind} and is not replaced; name the file itself")
    if not os.access(file, os.W_OK):
        raise error(f"{where}: {file} is protected against writing and is not replaced")


def why_not(where: str, path: FilePath, problem: OSError, size: int) -> str:
    """Sentence for what the disk refused.

    Parameters
    ----------
    where : str
        Who writes.
    path : Path
        What was to be written.
    problem : OSError
        What the system says.
    size : int
        How much is to be written [bytes].

    Returns
    -------
    str
        Path, reason, and on a full disk how much room is needed and how much there is.
    """
    reason = problem.strerror or str(problem) or type(problem).__name__
    if problem.errno in _FULL:
        try:
            free = f" and {size_text(shutil.disk_usage(path.parent).free)} are free"
        except OSError:
            free = ""
        return (
            f"{where}: {path} was not written: {reason}; {size_text(size)} are needed{free}: make "
            "room or name another place"
        )
    if problem.errno in _BARRED:
        return f"{where}: {path} cannot be written: {reason}; name a place you may write to"
    return f"{where}: {path} cannot be written ({reason})"
