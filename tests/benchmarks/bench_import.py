"""Import time of the package against that of xarray alone, in fresh interpreters.

Both from bytecode, as installed packages run: the first import of each, which may compile, is not
counted.
"""

from __future__ import annotations

import os
import subprocess
import sys

REPEATS = 7
_CODE = "import time; t = time.perf_counter(); import {}; print(time.perf_counter() - t)"


def _seconds(module: str) -> float:
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    command = [sys.executable, "-c", _CODE.format(module)]
    run = subprocess.run(command, capture_output=True, text=True, check=True, env=env)
    return float(run.stdout)


def main() -> None:
    """Print the least of several times for each, taken in turn."""
    _seconds("xarray"), _seconds("groundborne")
    pairs = [(_seconds("xarray"), _seconds("groundborne")) for _ in range(REPEATS)]
    plain, ours = (min(t) for t in zip(*pairs, strict=True))
    print("import time")
    print(
        f"  xarray {plain:.3f} s, groundborne {ours:.3f} s: ratio {ours / plain:.2f} (wanted 1.2)"
    )


if __name__ == "__main__":
    main()
