"""Shows how many printed values were checked, from which sources, and how far off the worst is."""

from __future__ import annotations

from published_files import read_all


def pytest_terminal_summary(terminalreporter, exitstatus, config):
    # Properties travel with the reports, so that the summary is the same with several workers.
    worst: dict[str, float] = {}
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, []):
            for name, value in getattr(report, "user_properties", ()):
                if name == "published":
                    worst[value[0]] = max(worst.get(value[0], 0.0), value[1])
    if not worst:
        return
    files = read_all()
    rows = sum(len(rows) for _, rows in files)
    values = sum(len(row.expected) for _, rows in files for row in rows)
    terminalreporter.section("published values")
    terminalreporter.write_line(f"{rows} rows ({values} values) from {len(files)} sources")
    for origin, its_rows in files:
        if origin.file in worst:
            terminalreporter.write_line(
                f"  {origin.file}: {len(its_rows)} rows [{origin.mark}], worst deviation "
                f"{100 * worst[origin.file]:.0f} % of its tolerance"
            )
