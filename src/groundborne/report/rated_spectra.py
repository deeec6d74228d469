"""Spectra that criteria are rated of, as rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from groundborne.study.rated_spectrum import RatedSpectrum


def spectra_table(spectra: Sequence[tuple[str, RatedSpectrum]], options: list[str]) -> pd.DataFrame:
    """Rows of rated spectra.

    Parameters
    ----------
    spectra : sequence of tuple
        Key of room and criterion, and spectrum.
    options : list of str
        All of the study, whose numbers are in the keys.

    Returns
    -------
    DataFrame
        ``key, option, room, criterion, frequency_hz, level_db, level_low_db, level_high_db,
        weight_db, reference``.
    """
    rows = []
    for key, of in spectra:
        for option in of.level["option"].values.tolist():
            level, low, high = (a.sel(option=option) for a in (of.level, of.low, of.high))
            for at, band in enumerate(level["frequency"].values.tolist()):
                rows.append(
                    {
                        "key": f"{key}-O{options.index(option) + 1}-{band:g}Hz",
                        "option": option,
                        "room": of.room,
                        "criterion": of.criterion.label,
                        "frequency_hz": band,
                        "level_db": float(level[at]),
                        "level_low_db": float(low[at]),
                        "level_high_db": float(high[at]),
                        "weight_db": np.nan if of.gain is None else float(of.gain[at]),
                        "reference": of.reference,
                    }
                )
    return pd.DataFrame(rows)
