"""What comes of one odd input.

An answer; a sentence of ours that names what was changed, or what stands beside it and does not fit
to it any longer; or a defect: a raw error, a result that is no number, a vague sentence, no end.
"""

from __future__ import annotations

import os
import re
import resource
import signal
import tempfile
import traceback
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

import groundborne
from groundborne._checks import BandError

_PACKAGE = groundborne.__path__[0]
_PATIENCE = 120  # seconds, for a machine under load; what runs longer has hung
_MEMORY = 6 << 30

GOOD = ("answer", "sentence", "beside")
# What bands may add to a lower bound, and from where a metric needs them; documented.
_INFINITE = ("may_add", "needed")
DEFECTS = ("raw", "silent", "vague", "hung")


@dataclass(frozen=True)
class Trial:
    """One odd input.

    ``words`` are what was changed: file, key, column, row or argument. A refusal holds one of them,
    or a band, or one of the ``others`` that the change no longer fits to. ``wrong`` says what is
    wrong with an answer, or nothing.
    """

    what: str
    call: Callable[[], Any]
    words: tuple[str, ...]
    wrong: Callable[[Any], str] = lambda found: not_finite(found)
    others: tuple[str, ...] = ()
    quiet: bool = True  # warnings of the libraries below are defects too


@dataclass(frozen=True)
class Outcome:
    """What came of it, and what was said."""

    name: str
    said: str = ""


class RefusalError(ValueError):
    """Stands for a sentence that was printed and not raised."""


class Hung(BaseException):
    """Not an Exception, so that nothing on the way catches it."""


@dataclass
class Watch:
    """Stops what runs too long, and what wants all the memory."""

    seconds: int = _PATIENCE
    _old: Any = field(default=None, repr=False)

    def __enter__(self) -> None:
        def stop(*_: Any) -> None:
            raise Hung

        self._old = signal.signal(signal.SIGALRM, stop)
        signal.alarm(self.seconds)

    def __exit__(self, *_: object) -> None:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, self._old)


@contextmanager
def own_folder() -> Iterator[Path]:
    """Where inputs are laid, and where nothing written by mistake remains; memory is bounded."""
    here, limits = os.getcwd(), resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, limits[1]))
    try:
        with tempfile.TemporaryDirectory() as place:
            os.chdir(place)
            yield Path(place)
    finally:
        os.chdir(here)
        resource.setrlimit(resource.RLIMIT_AS, limits)


def judge(trial: Trial) -> Outcome:
    """Run one trial."""
    try:
        with Watch(), warnings.catch_warnings():
            warnings.simplefilter("error" if trial.quiet else "ignore")
            warnings.filterwarnings("ignore", category=UserWarning)  # ours, and those are words
            wrong = trial.wrong(trial.call())
    except Hung:
        return Outcome("hung")
    except ValueError as error:
        return Outcome(_sentence(error, trial), f"{type(error).__name__}: {error}")
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        return Outcome("raw", f"{type(error).__name__}: {error}; {_place(error)}")
    return Outcome("silent", wrong) if wrong else Outcome("answer")


def _sentence(error: ValueError, trial: Trial) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    # What numpy raises in compiled code seems to come from our line, but that raises nothing.
    ours = last.filename.startswith(_PACKAGE) and (last.line or "").startswith("raise")
    if not (ours or isinstance(error, RefusalError)):
        return "raw"
    said = str(error)
    leaked = re.search(r"np\.\w+\(|<xarray|<groundborne|<bound|object at 0x|\bdtype\(", said)
    if leaked or len(said) < 20:
        return "vague"
    if isinstance(error, BandError) and re.search(r"\d Hz", said):
        return "sentence"
    if any(_names(word, said) for word in trial.words):
        return "sentence"
    return "beside" if any(_names(word, said) for word in trial.others) else "vague"


def _names(word: str, said: str) -> bool:
    """Whether a word stands in a sentence, not as part of another word or number."""
    whole = rf"(?<![\w.]){re.escape(word)}(?![\w]|\.\d)"
    spoken = rf"(?<!\w){re.escape(word.replace('_', ' '))}(?!\w)"
    return bool(word.strip()) and bool(re.search(whole, said) or re.search(spoken, said))


def _place(error: BaseException) -> str:
    own = [f for f in traceback.extract_tb(error.__traceback__) if f.filename.startswith(_PACKAGE)]
    if not own:
        return "outside"
    return f"{Path(own[-1].filename).name}:{own[-1].lineno}"


def not_finite(found: Any, *, infinite: bool = False, nan: bool = False, depth: int = 0) -> str:
    """Where a result holds what is no number, or an infinite one; empty if nowhere.

    A field of a class may be infinite where infinity is its default, which means: no limit.
    """
    if isinstance(found, xr.Dataset):
        parts: list[tuple[str, Any, bool]] = [
            (str(k), v, infinite) for k, v in found.variables.items()
        ]
    elif isinstance(found, (float, complex, np.ndarray, np.generic, xr.DataArray, xr.Variable)):
        data = np.asarray(found)
        if data.dtype.kind not in "fc":
            return ""
        if np.isnan(data).any() and not nan:
            return "NaN"
        return "infinite" if np.isinf(data).any() and not infinite else ""
    elif depth > 6:
        return ""
    elif is_dataclass(found) and not isinstance(found, type):
        parts = [
            (f.name, getattr(found, f.name, None), infinite or _unlimited(f.default))
            for f in fields(found)
        ]
    elif isinstance(found, Mapping):
        parts = [(str(k), v, infinite) for k, v in found.items()]
    elif isinstance(found, (tuple, list)):
        parts = [(str(i), v, infinite) for i, v in enumerate(found)]
    else:
        return ""
    for name, part, free in parts:
        free = free or name in _INFINITE
        said = not_finite(part, infinite=free, nan=nan, depth=depth + 1)
        if said:
            return f"{name}: {said}"
    return ""


def _unlimited(default: Any) -> bool:
    return isinstance(default, float) and np.isinf(default)
