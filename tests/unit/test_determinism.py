"""The same input gives the same bytes: whatever the hash seed, time zone, locale and clock."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest
import scipy.optimize

import groundborne
from groundborne import sizing

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = Path(groundborne.__file__).parent

WORK = """
import hashlib, locale, sys, tempfile, warnings
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
with suppress(locale.Error):
    locale.setlocale(locale.LC_ALL, "")
warnings.simplefilter("ignore")
import groundborne as gb
from groundborne import sizing
from groundborne.report import document, schedule, tables, assessment_text
from groundborne.report.facts import Facts
from groundborne.report.html_page import page
from groundborne.study.result import result_bytes

data = Path(sys.argv[1])
done = {}
for name in ("music_school", "tower"):
    study = gb.read_study(data / name / "study.toml")
    study = study.with_options(study.options[:4])
    result = study.evaluate()
    for table, frame in tables.result_tables(result).items():
        done[f"{name} {table}"] = tables.csv_bytes(frame)
    done[f"{name} assessment"] = assessment_text(result).encode()
    done[f"{name} result"] = result_bytes(result)
    facts = Facts(study=study, result=result)
    done[f"{name} document"] = page(document.document_of(facts, [], alone=True), {}).encode()
loads = sizing.read_loads(data / "tower" / "columns.csv", revision="A")
springs = sizing.read_components(data / "components" / "springs.csv")
load = sizing.combine(loads)
rules = sizing.PackRules(natural_frequency=(3.9, 4.1), most=16)
free = sizing.choose_packs(load, springs, rules=rules)
used = free.count.sum("column")
short = sizing.PackRules(
    natural_frequency=(3.9, 4.1), most=16, stock=(used.where(used > 0, drop=True) - 3).clip(0))
for name, packs in (("free", free), ("short", sizing.choose_packs(load, springs, rules=short))):
    made = sizing.make_schedule(packs)
    for kind in ("csv", "xlsx") if find_spec("xlsxwriter") else ("csv",):
        with tempfile.TemporaryDirectory() as folder:
            *_, file = schedule.write_schedule(made, f"{folder}/packs.{kind}")
            done[f"{kind} {name}"] = file.read_bytes()
at = loads.data[["x", "y"]].isel(column=slice(0, 14))
plan = sizing.ColumnPlan(x=at["x"], y=at["y"], neighbour_distance=6.1)
order = sizing.order_of_release(
    plan.x * 0 + 2e-3 + 1e-5 * plan.x, plan=plan,
    limits=sizing.MovementLimits(differential=1e-3, tilt=1e-4),
    work=sizing.ReleaseWork(at_once=3, steps=60, increment=0.5e-3))
done["release"] = order["released"].values.tobytes()
for name, content in done.items():
    print(hashlib.sha256(content).hexdigest(), len(content), name)
"""
PLACES = (
    {"PYTHONHASHSEED": "1", "TZ": "UTC", "LC_ALL": "C.UTF-8", "OMP_NUM_THREADS": "1"},
    {
        "PYTHONHASHSEED": "20261",
        "TZ": "Pacific/Kiritimati",
        "LC_ALL": "de_DE.UTF-8",
        "LANG": "de_DE.UTF-8",
        "OMP_NUM_THREADS": "2",
        "OPENBLAS_NUM_THREADS": "2",
    },
)


def test_tables_results_documents_and_schedules_are_the_same_everywhere() -> None:
    running = [
        subprocess.Popen(
            [sys.executable, "-c", WORK, str(ROOT / "data")],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(PACKAGE.parent), "MPLBACKEND": "Agg", **place},
        )
        for place in PLACES
    ]
    here, there = (process.communicate()[0].splitlines() for process in running)
    assert [process.returncode for process in running] == [0, 0]
    assert len(here) >= 18
    assert here == there


CLOCKS = {"time", "datetime", "random", "secrets", "uuid"}
# A time that is given, not asked for; a random seed that is given; names of drafts.
ALLOWED = {
    "report/docx_look.py": {"datetime"},
    "report/sheets.py": {"datetime"},
    "report/folder.py": {"secrets"},
    "drafts.py": {"secrets"},
}


def test_no_module_asks_a_clock_or_for_chance() -> None:
    found = {}
    for file in PACKAGE.rglob("*.py"):
        names = set()
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                names.add(node.module.split(".")[0])
            elif isinstance(node, ast.Attribute) and node.attr in ("now", "today", "utcnow"):
                of = node.value
                owner = of.attr if isinstance(of, ast.Attribute) else getattr(of, "id", "")
                names |= {node.attr} if owner in ("datetime", "date", "Timestamp") else set()
            elif isinstance(node, ast.Constant) and node.value == "time_limit":
                names.add("time_limit")
        if names := names & (CLOCKS | {"now", "today", "utcnow", "time_limit"}):
            found[file.relative_to(PACKAGE).as_posix()] = names
    assert found == ALLOWED


@pytest.mark.parametrize("limits", [{"stock": 3}, {"most_types": 5}])
def test_the_solver_is_given_work_and_not_time(monkeypatch, limits) -> None:
    given = []
    real = scipy.optimize.milp

    def watched(*args, options, **more):
        given.append(dict(options))
        return real(*args, options=options, **more)

    monkeypatch.setattr(scipy.optimize, "milp", watched)
    loads = sizing.read_loads(ROOT / "data" / "tower" / "columns.csv", revision="A")
    springs = sizing.read_components(ROOT / "data" / "components" / "springs.csv")
    rules = {"natural_frequency": (3.9, 4.1), "most": 16}
    load = sizing.combine(loads)
    if "stock" in limits:
        used = sizing.choose_packs(load, springs, rules=sizing.PackRules(**rules)).count
        used = used.sum("column")
        limits = {"stock": (used.where(used > 0, drop=True) - limits["stock"]).clip(0)}
    sizing.choose_packs(load, springs, rules=sizing.PackRules(**rules, **limits))
    assert given
    assert all("time_limit" not in options and options["node_limit"] > 0 for options in given)
