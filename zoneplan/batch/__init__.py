"""Many fields: the same pass for each, in processes of their own; a fault stays with its field."""

from zoneplan.batch.run_all import run_all
from zoneplan.batch.task import Fault, Outcome, Task, Totals, totals_of

__all__ = ["Fault", "Outcome", "Task", "Totals", "run_all", "totals_of"]
