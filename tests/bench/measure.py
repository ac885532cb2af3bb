"""What work costs: CPU time beside a primitive's, and memory at its peak.

Times of a busy machine mean little; the ratio of two that were measured turn by turn holds.
"""

import gc
import os
import platform
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

MB = 1e6
LIBRARIES = ("numpy", "pandas", "shapely", "geopandas", "pyogrio", "rasterio", "scipy", "typst")


@dataclass(frozen=True)
class Case:
    """Work of one size, and the primitive that it is held against. Both can be done again."""

    work: Callable[[], Any]
    primitive: Callable[[], Any]


@dataclass(frozen=True)
class Measured:
    """What one size took."""

    work_s: float  # median CPU time, children included
    primitive_s: float
    ratio: float
    least_ratio: float  # of the least times: what a busy machine adds falls away


@dataclass
class Costs:
    """CPU times of work and of its primitive, measured turn by turn. [s]."""

    work_s: list[float] = field(default_factory=list)
    primitive_s: list[float] = field(default_factory=list)

    @property
    def least_ratio(self) -> float:
        """Of the least times. Other work only ever adds to a time, so more turns can but help."""
        return min(self.work_s) / min(self.primitive_s)

    def measure(self, case: Case, times: int) -> None:
        """Do both some times more; what others left in this process is not looked through."""
        gc.collect()
        gc.freeze()
        try:
            for _ in range(times):
                self.work_s.append(_cost_s(case.work))
                self.primitive_s.append(_cost_s(case.primitive))
        finally:
            gc.unfreeze()


def cpu_s() -> float:
    """CPU time of this process, of its children and of those that it has ended. [s]."""
    ended = os.times()
    alive = sum(time.clock_gettime(_clock_of(child)) for child in children())
    return time.process_time() + ended.children_user + ended.children_system + alive


def children() -> list[int]:
    """The processes that this one has started and that still run."""
    lists = Path("/proc/self/task").glob("*/children")
    return [int(child) for one in lists for child in one.read_text().split()]


def _clock_of(process: int) -> int:
    """The clock that counts a process's CPU time, as clock_getcpuclockid(3) makes it."""
    return (~process << 3) | 2


def measured(case: Case, times: int = 7) -> Measured:
    """Do both once unmeasured, then turn by turn."""
    case.work()
    case.primitive()
    costs = Costs()
    costs.measure(case, times)
    work_s, primitive_s = median(costs.work_s), median(costs.primitive_s)
    return Measured(work_s, primitive_s, work_s / primitive_s, costs.least_ratio)


def _cost_s(work: Callable[[], Any]) -> float:
    """CPU time of one go; what takes no time at all is done until it can be told."""
    count, start_s = 0, cpu_s()
    while True:
        work()
        count += 1
        taken_s = cpu_s() - start_s
        if taken_s > 0.02:
            return taken_s / count


def growth(sizes: list[int], times_s: list[float]) -> float | None:
    """The power of the size that the time grows with, by least squares of the logarithms."""
    if len(sizes) < 2:
        return None
    return float(np.polyfit(np.log(sizes), np.log(times_s), 1)[0])


def peak_mb(work: Callable[[], Any]) -> float:
    """Most memory that work takes above what this process and its children had before. [MB]."""
    everyone = ["self", *map(str, children())]
    for one in everyone:
        Path("/proc", one, "clear_refs").write_text("5")  # forget the peak so far
    before = {one: _memory(one)["VmRSS"] for one in everyone}
    work()
    after = ["self", *map(str, children())]
    return sum(_memory(one)["VmHWM"] - before.get(one, 0.0) for one in after)


def _memory(process: str) -> dict[str, float]:
    lines = Path("/proc", process, "status").read_text().splitlines()
    pairs = (line.split()[:2] for line in lines if line.startswith("Vm"))
    return {name.rstrip(":"): float(kb) * 1024 / MB for name, kb in pairs}


def machine() -> dict[str, Any]:
    """Where it was measured, and with what."""
    return {
        "processors": os.cpu_count(),
        "architecture": platform.machine(),
        "system": platform.system(),
        "python": platform.python_version(),
        **{name: version(name) for name in LIBRARIES},
    }
