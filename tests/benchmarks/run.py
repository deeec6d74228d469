"""Run every benchmark of this folder: ``python tests/benchmarks/run.py``.

Ratios are of one run on one machine and never fail a build.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path


def main() -> None:
    """Run the ``main`` of every ``bench_*.py`` in turn."""
    for file in sorted(Path(__file__).parent.glob("bench_*.py")):
        spec = importlib.util.spec_from_file_location(file.stem, file)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        module.main()
        print()


if __name__ == "__main__":
    main()
