"""A disk that fails at any one call, and a process that is killed there."""

from __future__ import annotations

import errno
import os
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

CALLS = ("open", "write", "fsync", "link", "replace", "rename", "mkdir", "unlink", "rmdir", "chmod")
TAKES_ROOM = ("open", "write", "fsync", "link", "mkdir")

KILLED = 9


@contextmanager
def at_calls(act: Callable[[int, str, tuple[Any, ...]], None]) -> Iterator[list[str]]:
    """Let `act` see the number, name and arguments of every call that reaches the disk."""
    seen: list[str] = []
    real = {name: getattr(os, name) for name in CALLS}

    def wrapped(name: str) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            seen.append(name)
            act(len(seen), name, args)
            return real[name](*args, **more)

        return call

    for name in CALLS:
        setattr(os, name, wrapped(name))
    try:
        yield seen
    finally:
        for name, function in real.items():
            setattr(os, name, function)


def calls(work: Callable[[], object]) -> int:
    """How many calls reach the disk when all goes well."""
    with at_calls(lambda *_: None) as seen:
        work()
    return len(seen)


@contextmanager
def full_from(first: int, *, once: bool = False) -> Iterator[None]:
    """A disk on which there is no more room from one call on, or which fails at that call only."""

    def act(number: int, name: str, args: tuple[Any, ...]) -> None:
        fails = number == first if once else number >= first and name in TAKES_ROOM
        reads = name == "open" and not args[1] & (os.O_WRONLY | os.O_RDWR)
        if fails and not reads:
            raise OSError(errno.ENOSPC, "No space left on device")

    with at_calls(act):
        yield


def forked(work: Callable[[], object]) -> int:
    """Exit code of work done in a process of its own; below 0 for a signal."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of forks beside threads
        child = os.fork()
    if child == 0:
        try:
            work()
        except BaseException:
            os._exit(1)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed_at(work: Callable[[], object], call: int) -> bool:
    """Do work in a process that ends at a call, half-way through it if it writes."""

    def act(number: int, name: str, args: tuple[Any, ...]) -> None:
        if number == call:
            if name == "write":
                real_write(args[0], args[1][: len(args[1]) // 2])
            os._exit(KILLED)

    real_write = os.write

    def dying() -> None:
        with at_calls(act):
            work()

    return forked(dying) == KILLED
