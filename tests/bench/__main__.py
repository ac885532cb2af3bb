"""Measure the rows of the table and write it: python -m tests.bench [NAME ...].

With names only rows that have one of them in theirs are measured; the others stay as they were
measured last. What comes out is in results.json, and between two marks in DEVELOPERS.md.

A ratio is not quite the same on every machine: results.json has for each size the lowest and the
highest that was ever recorded, and a test holds the next run against the highest. A recording
widens them; with --forget they start anew, which is how a gain becomes the new measure.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.bench.measure import growth, machine, measured, peak_mb
from tests.bench.row import Row
from tests.bench.rows import ROWS

RESULTS = Path(__file__).with_name("results.json")
PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
MARKS = ("<!-- bench -->\n", "<!-- /bench -->")


def main() -> None:
    """Measure what is asked for, and write it down."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    parser.add_argument("names", nargs="*", help="words of the names of rows; else all")
    parser.add_argument("--sizes", type=int, help="only the first so many sizes of each row")
    parser.add_argument("--dry", action="store_true", help="print, and write nothing")
    parser.add_argument("--forget", action="store_true", help="of what was recorded before")
    parser.add_argument("--peak", nargs=3, metavar=("ROW", "SIZE", "HOME"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.peak:
        name, size, home = asked.peak
        row = next(row for row in ROWS if row.name == name)
        row.opened(row.sizes[0], Path(home)).work()  # what is loaded once is no part of it
        print(peak_mb(row.opened(int(size), Path(home)).work))
        return
    results: dict[str, Any] = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
    for row in ROWS:
        if asked.names and not any(name in row.name for name in asked.names):
            continue
        with tempfile.TemporaryDirectory() as home:
            result = _result(row, asked.sizes, Path(home))
        before = {} if asked.forget else results.get("rows", {}).get(row.name, {})
        results.setdefault("rows", {})[row.name] = with_range(result, before)
        print(_line(row, result), flush=True)
        results["machine"] = machine()
        if not asked.dry:
            RESULTS.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    if not asked.dry:
        _write_table(results["rows"])


def _result(row: Row, most_sizes: int | None, home: Path) -> dict[str, Any]:
    sizes = row.sizes[:most_sizes]
    by_size = {size: measured(row.opened(size, home), row.most_times) for size in sizes}
    peaks = {size: _peak_mb(row, size, home) for size in sizes} if row.goal_mb else {}
    return {
        "sizes": {str(size): asdict(one) for size, one in by_size.items()},
        "growth": growth(list(sizes), [one.work_s for one in by_size.values()]),
        "peak_mb": {str(size): peak for size, peak in peaks.items()},
    }


def with_range(result: dict[str, Any], before: dict[str, Any]) -> dict[str, Any]:
    """Beside each ratio that was measured now, the lowest and the highest on record."""
    for size, one in result["sizes"].items():
        known = [one["least_ratio"], *ratios_on_record(before.get("sizes", {}).get(size, {}))]
        one |= {"lowest_ratio": min(known), "highest_ratio": max(known)}
    return result


def ratios_on_record(one: dict[str, Any]) -> list[float]:
    """The ratios of the least times that are on record of one size."""
    names = ("lowest_ratio", "least_ratio", "highest_ratio")
    return [one[name] for name in names if name in one]


def _peak_mb(row: Row, size: int, home: Path) -> float:
    """The peak in a process of its own, that has done the smallest size and nothing else."""
    row.written(row.sizes[0], home)
    row.written(size, home)
    command = [sys.executable, "-m", "tests.bench", "--peak", row.name, str(size), str(home)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def _line(row: Row, result: dict[str, Any]) -> str:
    ratios = " / ".join(_short(one["ratio"]) for one in result["sizes"].values())
    times = " / ".join(_short(1000 * one["work_s"]) for one in result["sizes"].values())
    peaks = " / ".join(_short(peak) for peak in result["peak_mb"].values())
    sizes = " / ".join(f"{int(size):,}" for size in result["sizes"])
    grown = result["growth"]
    return (
        f"| {row.name}, {sizes} {row.unit} | {row.against} | {row.today} | ≤ {row.goal:g}"
        f"{f'; ≤ {row.goal_mb:g} MB' if row.goal_mb else ''} | {ratios} | {times} "
        f"| {peaks or '–'} | {'–' if grown is None else f'{grown:.2f}'} |"
    )


def _short(number: float) -> str:
    return f"{number:.0f}" if number >= 20 else f"{number:.2g}"


def _write_table(results: dict[str, Any]) -> None:
    head = (
        "| what | against | before | goal | ratio | CPU [ms] | peak [MB] | growth |\n"
        "|---|---|---|---|---|---|---|---|\n"
    )
    lines = [_line(row, results[row.name]) for row in ROWS if row.name in results]
    text = PAGE.read_text("utf-8")
    before, start, rest = text.partition(MARKS[0])
    _, end, after = rest.partition(MARKS[1])
    if not (start and end):
        raise SystemExit(f"{PAGE.name} has no {MARKS[0].strip()} and {MARKS[1]} to write between.")
    PAGE.write_text(before + start + head + "\n".join(lines) + "\n" + end + after, "utf-8")


if __name__ == "__main__":
    main()
