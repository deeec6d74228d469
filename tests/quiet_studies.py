"""Studies read and evaluated without the warnings that tests of other things would stop at."""

from __future__ import annotations

import warnings

import pytest

import groundborne as gb
from groundborne._checks import StudyFileError


def read(path, **more):
    """A study whose numbers may be unusual."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        return gb.read_study(path, **more)


def evaluated(study):
    """Its result, also outside the range of a source."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.evaluate(band_levels=False)


def levels_of(study):
    """Its levels alone."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.levels(band_levels=False)


def errors_of(path, **more):
    """The sentences with which a study is refused."""
    with pytest.raises(StudyFileError) as caught:
        read(path, **more)
    assert str(caught.value) == "\n".join(caught.value.errors)
    return list(caught.value.errors)
