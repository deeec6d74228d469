"""Write the ratings of the demonstration studies anew: ``python tests/regression/renew.py``.

Run it when a rating changes on purpose, look at the difference of ``studies.csv``, and say in the
change log why it moved.
"""

from __future__ import annotations

import csv
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path as FilePath

from groundborne import ValidityWarning, read_study

HERE = FilePath(__file__).parent
DATA = HERE.parents[1] / "data"
TABLE = HERE / "studies.csv"
STUDIES = ("music_school", "tower", "assembly_hall")
HEADER = ("study", "option", "room", "criterion", "rating")
NOTE = (
    "# Our own numbers, only to notice change; they verify nothing.",
    "# Written by renew.py from the invented studies in data/.",
)


def ratings(name: str) -> Iterator[tuple[str, str, str, str, float]]:
    """Rating of every room, option and criterion that applies to the room."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        result = read_study(DATA / name / "study.toml").evaluate(band_levels=False)
    table = result["rating"].transpose("option", "room", "criterion")
    applies = result["applies"].transpose("room", "criterion").values
    for i, option in enumerate(table["option"].values.tolist()):
        for j, room in enumerate(table["room"].values.tolist()):
            for k, criterion in enumerate(table["criterion"].values.tolist()):
                if applies[j, k]:
                    yield name, option, room, criterion, float(table.values[i, j, k])


def main() -> int:
    """Write the table."""
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"{line}\n" for line in NOTE)
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(HEADER)
        for name in STUDIES:
            writer.writerows((*keys, f"{value:.3f}") for *keys, value in ratings(name))
    return 0


if __name__ == "__main__":
    sys.exit(main())
