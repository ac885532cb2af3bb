"""The totals of a run of the corpus."""

from collections import Counter

KINDS = (
    "refused in words",
    "planned rightly",
    "traceback",
    "hang",
    "foreign request",
    "file written outside",
)


def pytest_terminal_summary(terminalreporter):
    seen = Counter(
        value
        for reports in terminalreporter.stats.values()
        for report in reports
        if getattr(report, "when", None) == "call"
        for name, value in report.user_properties
        if name == "hostile"
    )
    if seen:
        terminalreporter.section("hostile inputs")
        terminalreporter.line(f"{sum(seen.values())} inputs")
        for kind in KINDS:
            terminalreporter.line(f"{kind}: {seen[kind]}")
