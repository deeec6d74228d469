"""Run notebooks afresh and keep their outputs: ``python tests/notebooks/renew_notebooks.py [NAME ...]``.

Pictures whose curves, texts and axes are those of the committed ones are kept as they are. Cells
that read a measured set are kept where the set is not there. Without names all notebooks are run,
and the figure of the README is drawn.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import nbformat
from execution import FOLDER, MEASURED, MEASURED_SETS, NOTEBOOKS, differences, execute
from readme_figure import draw


def renew(file: Path) -> int:
    """Run one notebook and write it; the number of cells whose outputs are other ones."""
    committed = nbformat.read(file, as_version=4)
    fresh = execute(committed)
    measured = MEASURED_SETS.is_dir()
    changed = {t.split(":")[0] for t in differences(committed, fresh, measured=measured)}
    for old, new in zip(committed.cells, fresh.cells, strict=True):
        missing = MEASURED in old.metadata.get("tags", []) and not measured
        if new.cell_type == "code" and (missing or f"cell {new.id}" not in changed):
            new.outputs = old.outputs
    fresh.metadata.pop("widgets", None)
    nbformat.write(fresh, file)
    return len(changed)


def main(names: list[str]) -> None:
    """Renew the notebooks named, or all."""
    known = {f.stem: f for f in NOTEBOOKS}
    for name in names:
        if name not in known:
            sys.exit(f"renew.py: there is no notebook {name!r}; there are {', '.join(known)}")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the notebook client's own event-loop housekeeping
        for name in names or known:
            print(f"{name}: {renew(known[name])} cells changed", flush=True)
    if not names:
        draw(FOLDER / "figures" / "options.png")
        print("options.png")


if __name__ == "__main__":
    main(sys.argv[1:])
