"""Results as CSV tables that a spreadsheet opens without running anything."""

from __future__ import annotations

import pandas as pd
import xarray as xr

from groundborne.report.assessment import assessment_table
from groundborne.report.equipment import equipment_table
from groundborne.report.mount_table import mounts_table
from groundborne.report.option_table import options_table
from groundborne.report.resonance_table import resonances_table
from groundborne.study import Study
from groundborne.study.equipment import holds_equipment, without_equipment
from groundborne.tables import safe_cell

INVENTED_COLUMN = "data"
"""Last column of every table of a demonstration, which says so in each row."""


def report_tables(study: Study, result: xr.Dataset) -> dict[str, pd.DataFrame]:
    """Tables of a study and its result by file name, with keys for the rows that a report prints.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        Its result, without samples.

    Returns
    -------
    dict
        As :func:`result_tables`, and ``options``, ``resonances`` and, where an option has mounts
        under the building, ``mounts``. In ``assessment`` and
        ``equipment`` a key is the place, the number of the criterion and that of the option:
        ``R0.1-C1-O2``.
    """
    options = [o.name for o in study.options]
    found = result_tables(result)
    found["assessment"] = _keyed(
        found["assessment"], found["assessment"]["room"], options,
        [str(c) for c in result["criterion"].values.tolist()],
    )  # fmt: skip
    if "equipment" in found:
        own = found["equipment"]
        criteria = [str(c) for c in result["equipment_criterion"].values.tolist()]
        found["equipment"] = _keyed(own, own["equipment"] + "-" + own["axis"], options, criteria)
    found["options"] = options_table(study, result, found["assessment"], found.get("equipment"))
    found["resonances"] = resonances_table(study, result)
    mounts = mounts_table(study)
    if len(mounts):
        found["mounts"] = mounts
    return found


def _keyed(
    frame: pd.DataFrame, places: pd.Series, options: list[str], criteria: list[str]
) -> pd.DataFrame:
    each = zip(places, frame["criterion"], frame["option"], strict=True)
    keys = [f"{place}-C{criteria.index(c) + 1}-O{options.index(o) + 1}" for place, c, o in each]
    found = frame.copy()
    found.insert(0, "key", keys)
    return found


def marked(frames: dict[str, pd.DataFrame], *, invented: bool) -> dict[str, pd.DataFrame]:
    """Tables with a last column that says that their data are invented, where they are.

    A column, and not a line above the header, so that whatever reads a table still does.
    """
    if not invented:
        return frames
    return {name: f.assign(**{INVENTED_COLUMN: "invented"}) for name, f in frames.items()}


def result_tables(result: xr.Dataset) -> dict[str, pd.DataFrame]:
    """Tables of a result by file name, one value in each row.

    Parameters
    ----------
    result : Dataset
        Result of a study, without samples.

    Returns
    -------
    dict
        ``assessment``, ``room_spectra``, ``stage_changes``, ``base_isolation``, ``passbys``. What
        is named ``level_change_db`` is positive where it raises the level: an insertion loss of
        20 dB is −20. With equipment also ``equipment`` and ``equipment_spectra``.
    """
    isolation = result[["base_change", "base_change_without_bypass", "ideal_change"]]
    isolation = isolation.rename(
        base_change="predicted_level_change_db",
        base_change_without_bypass="without_bypass_level_change_db",
        ideal_change="single_degree_of_freedom_level_change_db",
    )
    own: dict[str, pd.DataFrame] = {}
    if holds_equipment(result):
        level = result[["equipment_level"]]
        own["equipment"] = equipment_table(result)
        own["equipment_spectra"] = _long(
            level.rename(equipment_level="energy_mean_level_db_re_1_nm_s"),
            ("option", "equipment", "frequency"),
        )
        result = without_equipment(result)
    return own | {
        "assessment": assessment_table(result),
        "room_spectra": _long(
            result[["mean_level"]].rename(mean_level="energy_mean_level_db_re_20_upa"),
            ("option", "room", "frequency"),
        ),
        "stage_changes": _long(
            result[["level_change"]].rename(level_change="level_change_db"),
            ("option", "room", "stage", "frequency"),
        ),
        "base_isolation": _long(
            isolation, ("option", *("part" for d in isolation.dims if d == "part"), "frequency")
        ),
        "passbys": _long(
            result[["sound_level"]].rename(sound_level="a_weighted_level_db_re_20_upa"),
            ("option", "room", "passby"),
        ),
    }


def _long(data: xr.Dataset, dims: tuple[str, ...]) -> pd.DataFrame:
    bare = data.reset_coords(drop=True)
    # A floor that may have one of several frequencies brings a dim of its own.
    others = [str(d) for d in bare.dims if d not in dims]
    frame = bare.to_dataframe(dim_order=[*dims[:-1], *others, dims[-1]]).reset_index()
    return frame.rename(columns={"frequency": "frequency_hz"})


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Table as UTF-8 CSV with text cells neutralised.

    The byte order mark tells spreadsheets the encoding.
    """
    safe = frame.rename(columns=safe_cell)
    for name in safe.columns:
        if not pd.api.types.is_numeric_dtype(safe[name]):
            # A map over the few different texts, not over every row.
            texts = {text: safe_cell(text) for text in safe[name].unique()}
            safe[name] = safe[name].map(texts)
    text = safe.to_csv(index=False, float_format="%.6g", lineterminator="\n")
    return text.encode("utf-8-sig")
