"""Whether the fast tests notice small changes of the code: ``python tests/mutation/mutants.py``.

Of every module in ``MODULES`` a seeded choice of changes is made, one at a time, in a copy of the
package: operators, comparisons, signs, constants, least and largest, sum and mean, conditions, and
checks left out. Each must make a test fail. Exit code 1 tells that more than a tenth survived.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import os
import shutil
import signal
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[2]
FIRST = "properties/test_closed_forms.py"
MODULES: dict[str, tuple[str, ...]] = {
    "structure/column_line.py": (FIRST, "unit/test_structure_column_line.py"),
    "structure/element.py": (FIRST, "unit/test_elements.py"),
    "isolation/mount.py": (FIRST, "unit/test_elements.py"),
    "isolation/base.py": (FIRST, "unit/test_elements.py"),
    "twoport.py": (FIRST, "unit/test_twoport.py"),
    "receiver/room.py": (FIRST, "unit/test_elements.py", "unit/test_isolated_rooms.py"),
    "propagation/ground.py": (FIRST, "unit/test_elements.py"),
    "waveform/filterbank/bank.py": (
        FIRST, "properties/test_filterbank.py", "unit/test_events.py",
        "published/test_iec61260_1.py",
    ),
}  # fmt: skip
"""Modules, and the fast tests that concern them; their own examples are run before."""

_SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip
_TURNED = {ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE}
_NAMES = {
    "min": "max", "max": "min", "sum": "mean", "mean": "sum", "all": "any", "any": "all",
    "real": "imag", "sin": "cos", "cos": "sin", "minimum": "maximum", "maximum": "minimum",
}  # fmt: skip


def mutants(source: str) -> Iterator[tuple[str, str]]:
    """Every changed source, with what was changed."""
    tree = ast.parse(source)
    for place in list(_places(tree)):
        parent, name, index = place
        for new, what in _changes(_get(parent, name, index)):
            old = _get(parent, name, index)
            _set(parent, name, index, new)
            line = getattr(old, "lineno", getattr(parent, "lineno", 0))
            before = ast.get_source_segment(source, old) or ast.get_source_segment(source, parent)
            yield f"line {line}: {what}: {' '.join((before or '').split())[:70]}", ast.unparse(tree)
            _set(parent, name, index, old)


def _places(node: ast.AST) -> Iterator[tuple[ast.AST, str, int | None]]:
    """Nodes that may be changed; not annotations, decorators, docstrings and messages."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "msg"):
            continue
        if isinstance(node, ast.Raise) or (isinstance(node, ast.Assign) and _is_data(node)):
            continue
        for index, part in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(part, ast.AST):
                yield node, name, index
                yield from _places(part)


def _is_data(node: ast.Assign) -> bool:
    """Citations hold words only."""
    call = node.value
    return isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Citation"


def _changes(node: ast.AST) -> Iterator[tuple[ast.AST, str]]:
    kind = type(node)
    if kind in _SWAPS:
        yield _SWAPS[kind](), f"{kind.__name__} to {_SWAPS[kind].__name__}"
    if kind in _TURNED:
        yield _TURNED[kind](), f"{kind.__name__} turned"
    if isinstance(node, ast.Constant) and isinstance(node.value, (bool, int, float, complex)):
        value = node.value
        new = value + 1 if value in (0, 1) else value * 2
        new = not value if isinstance(value, bool) else new
        yield ast.Constant(new), f"{value} to {new}"
    elif isinstance(node, ast.UnaryOp):
        yield node.operand, f"without {type(node.op).__name__}"
    elif isinstance(node, ast.Attribute) and node.attr in _NAMES:
        changed = copy.copy(node)
        changed.attr = _NAMES[node.attr]
        yield changed, f"{node.attr} to {changed.attr}"
    elif isinstance(node, ast.Name) and node.id in _NAMES:
        yield ast.Name(_NAMES[node.id], node.ctx), f"{node.id} to {_NAMES[node.id]}"
    elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        yield ast.Pass(), "check left out"
    elif isinstance(node, ast.If) and any(isinstance(n, ast.Raise) for n in node.body):
        yield ast.If(ast.Constant(False), node.body, node.orelse), "refusal left out"


def _get(parent: ast.AST, name: str, index: int | None) -> ast.AST:
    value = getattr(parent, name)
    found: ast.AST = value if index is None else value[index]
    return found


def _set(parent: ast.AST, name: str, index: int | None, new: ast.AST) -> None:
    if index is None:
        setattr(parent, name, new)
    else:
        getattr(parent, name)[index] = new


def survives(package: Path, module: str, tests: tuple[str, ...], seconds: int) -> str:
    """Outcome of the tests in a process of its own: killed, late (killed too), or survived."""
    child = os.fork()
    if child == 0:
        signal.alarm(seconds)
        os.chdir(ROOT)
        hidden = os.open(os.devnull, os.O_WRONLY)
        os.dup2(hidden, 1)
        os.dup2(hidden, 2)
        sys.path.insert(0, str(package))
        code = 1
        try:
            import pytest

            files = [str(package / "groundborne" / module), *(f"tests/{t}" for t in tests)]
            code = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", *files]))
        finally:
            os._exit(code)
    status = os.waitpid(child, 0)[1]
    if os.WIFSIGNALED(status):
        return "late"
    return "survived" if os.WEXITSTATUS(status) == 0 else "killed"


def main() -> int:
    """Make, test and count the changes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=28, help="changes of each module")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=int, default=300, help="longest run of the tests")
    parser.add_argument("--module", choices=MODULES, help="one module only")
    parser.add_argument("--show", metavar="TEXT", help="all changes whose words hold a text")
    given = parser.parse_args()
    for name in ("matplotlib", "numpy", "pandas", "pytest", "scipy.signal", "xarray"):
        importlib.import_module(name)  # once, not in every process

    counts: Counter[tuple[str, str]] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        package = Path(folder)
        shutil.copytree(ROOT / "src" / "groundborne", package / "groundborne")
        for module, tests in MODULES.items():
            if given.module and module != given.module:
                continue
            file = package / "groundborne" / module
            source = file.read_text(encoding="utf-8")
            if survives(package, module, tests, given.seconds) != "survived":
                sys.exit(f"{module}: its tests fail without any change")
            found = list(mutants(source))
            if given.show:
                chosen = [m for m in found if given.show in m[0]]
            else:
                chosen = Random(f"{given.seed}/{module}").sample(found, min(given.each, len(found)))
            for what, changed in chosen:
                file.write_text(changed, encoding="utf-8")
                outcome = survives(package, module, tests, given.seconds)
                counts[module, outcome] += 1
                if outcome == "survived" or given.show:
                    print(f"{outcome} | {module} | {what}", flush=True)
            file.write_text(source, encoding="utf-8")
            print(f"{module}: {counts[module, 'survived']} of {len(chosen)}", flush=True)
    alive = sum(n for (_, outcome), n in counts.items() if outcome == "survived")
    print(f"{alive} of {sum(counts.values())} changes survived")
    return int(alive > 0.1 * sum(counts.values()))


if __name__ == "__main__":
    sys.exit(main())
