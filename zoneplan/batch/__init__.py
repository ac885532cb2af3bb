"""Many fields: the same pass for each, in processes of their own; a fault stays with its field."""

import os
from collections.abc import Callable, Iterable

from zoneplan.batch.cluster import each_on
from zoneplan.batch.pool import each
from zoneplan.batch.task import Fault, Outcome, Progress, Task, Totals, totals_of
from zoneplan.batch.work import work

__all__ = ["Fault", "Outcome", "Progress", "Task", "Totals", "run_all", "totals_of"]


def run_all(
    tasks: Iterable[Task],
    *,
    workers: int | None = None,
    on: str | None = None,
    done: Callable[[Outcome], None],
) -> None:
    """Plan every task, each by itself, and hand over what comes of each as it comes.

    Parameters
    ----------
    tasks : iterable of Task
        With keys unlike each other. Those that are done need not be among them.
    workers : int, optional
        How many processes at once; as many as there are processors, unless given. 0: in this one,
        one after another.
    on : str, optional
        Address of a Dask cluster that plans in place of this machine: it gets the files that the
        tasks name, and gives back what is to be written, which is written here.
    done : callable
        Called here with each outcome, one at a time, in the order in which they come. What it has
        kept is kept, however this ends. What it raises stops all, as Ctrl-C does.

    Raises
    ------
    ZoneplanError
        When no worker can be started, or the cluster does not answer.
    """
    if on is not None:
        for outcome in each_on(on, tasks):
            done(outcome)
        return
    if workers == 0:
        for task in tasks:
            done(work(task))
        return
    for outcome in each(work, tasks, workers or os.cpu_count() or 1):
        done(outcome)
