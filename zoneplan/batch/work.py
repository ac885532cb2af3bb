"""Do one task, in whatever process: from a field to its document, or to the fault of it."""

import time
import traceback
from functools import lru_cache
from pathlib import Path

import shapely
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.batch import Fault, Outcome, Task, totals_of
from zoneplan.errors import LayerError, ZoneplanError
from zoneplan.export.bundle import bundle_files, refuse_differences, write_plan
from zoneplan.export.document import plan_bytes, plan_document
from zoneplan.field.layer import ReadOptions, Shared, shared_layer
from zoneplan.field.outline import field_of
from zoneplan.run import Run, Setup, plan_ground, read_layers_over, read_setup, run
from zoneplan.sources import Sources

_MOST_SETUPS = 16  # planters with their rules that are remembered
_MOST_LAYERS = 4  # surveys and the like


def work(task: Task, *, here: bool = True) -> Outcome:
    """Plan a field, and write its files where the task asks for any.

    A fault is given, not raised: it is the field's own, and the next one is none the worse.

    Parameters
    ----------
    task : Task
        The field.
    here : bool
        Whether its folder is on this machine; else its files come with the outcome.
    """
    began_s, began_cpu_s = time.perf_counter(), time.process_time()

    def outcome(**came: object) -> Outcome:
        return Outcome(
            key=task.key,
            seconds=time.perf_counter() - began_s,
            cpu_s=time.process_time() - began_cpu_s,
            peak_mb=_peak_mb(),
            **came,  # type: ignore[arg-type]
        )

    try:
        plan = run_of(task).plan
        if task.finish is not None:
            return outcome(finished=task.finish(plan, task.request))
        files = None
        if task.out is None:
            document = plan_bytes(plan)
        elif here:
            paths = write_plan(plan, task.out, task.options)
            document = paths["plan.json"].read_bytes()
        else:
            files = bundle_files(plan, task.options)
            refuse_differences(files, plan, task.options)
            document = files["plan.json"]
        totals = totals_of(plan_document(plan), task.request.moisture)
        return outcome(document=document, files=files, totals=totals)
    except ZoneplanError as error:
        return outcome(fault=fault_of(error))
    except Exception as error:
        trace = "".join(traceback.format_exception(error))
        return outcome(fault=Fault("our-fault", _ours(error), trace=trace))


def fault_of(error: ZoneplanError) -> Fault:
    """Lay an error out so that it can be kept."""
    code = error.code or type(error).__name__
    return Fault(code, str(error), tuple(error.parameters), error.example)


def run_of(task: Task) -> Run:
    """Plan the field of a task.

    Raises
    ------
    ZoneplanError
        Anything the user can put right.
    """
    if task.outline is None:
        return run(task.request, task.sources)
    request, sources = task.request, task.sources
    setup = _setup(Sources(sources.machine, rules=sources.rules, checks=sources.checks))
    field = field_of(shape_of(task.outline), request.name or task.key, "the boundary")
    ground = read_layers_over(field, request, sources, setup.machine, known=_layer)
    return plan_ground(request, setup, field, ground)


def shape_of(outline: bytes) -> Polygon | MultiPolygon:
    """Read the outline of a task.

    Raises
    ------
    LayerError
        When it is damaged, or no polygon.
    """
    try:
        shape = shapely.from_wkb(outline)
    except shapely.GEOSException as error:
        raise LayerError(
            f"The outline cannot be understood: {error}.\nIt is damaged. Bring the field in again."
        ) from error
    if not isinstance(shape, Polygon | MultiPolygon) or shape.is_empty:
        raise LayerError(
            f"The outline is a {shape.geom_type}, which encloses no ground.\n"
            "A field is a polygon. Bring it in again."
        )
    return shape


@lru_cache(_MOST_SETUPS)
def _setup(sources: Sources) -> Setup:
    return read_setup(sources)


def _layer(path: Path, options: ReadOptions) -> Shared | None:
    """Give a layer that every field shares, read once as long as it is of use."""
    return _read_once(path, options.crs, tuple(options.columns.items()))


@lru_cache(_MOST_LAYERS)
def _read_once(path: Path, crs: str | None, columns: tuple[tuple[str, str], ...]) -> Shared | None:
    return shared_layer(path, ReadOptions(crs=crs, columns=dict(columns)))


def _ours(error: Exception) -> str:
    return (
        f"A fault of zoneplan, not yours: {type(error).__name__}: {error}.\n"
        "This field has no plan; the others are none the worse.\n"
        "Send the trace that is kept beside it to those who gave you zoneplan."
    )


def _peak_mb() -> float:
    try:
        import resource  # noqa: PLC0415 there is none on Windows
    except ImportError:
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
