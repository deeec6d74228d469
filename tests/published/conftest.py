"""Shows how many printed values were checked, from which sources, and how far off the worst is."""

from __future__ import annotations

import pytest
from published_files import read_all

WORST = pytest.StashKey[dict[str, tuple[float, float]]]()


@pytest.fixture(scope="session")
def worst(request: pytest.FixtureRequest) -> dict[str, tuple[float, float]]:
    """By file: largest deviation, and largest deviation over its tolerance."""
    return request.config.stash.setdefault(WORST, {})


def pytest_terminal_summary(terminalreporter, exitstatus, config):
    found = config.stash.get(WORST, {})
    if not found:
        return
    files = read_all()
    rows = sum(len(rows) for _, rows in files)
    values = sum(len(row.expected) for _, rows in files for row in rows)
    terminalreporter.section("published values")
    terminalreporter.write_line(f"{rows} rows ({values} values) from {len(files)} sources")
    for origin, its_rows in files:
        if origin.file in found:
            share = found[origin.file][1]
            terminalreporter.write_line(
                f"  {origin.file}: {len(its_rows)} rows [{origin.mark}], worst deviation "
                f"{100 * share:.0f} % of its tolerance"
            )
