"""Notes of a result as their readers see them."""

from __future__ import annotations

import xarray as xr

from groundborne.study import notes_of, sentence


def sentences_of(result: xr.Dataset) -> list[str]:
    """Sentences of all notes of a result, in their order."""
    return [sentence(note) for note in notes_of(result)]
