"""Many fields on one survey: each planned to its document, in one process."""

from pathlib import Path

import numpy as np
import shapely

from tests.bench.measure import Case
from tests.bench.row import Row
from tests.helpers import county
from zoneplan.batch import Task, run_all
from zoneplan.batch.folder import fields_in
from zoneplan.field.crs import WGS_84, local_crs, move
from zoneplan.field.shapes import NOWHERE
from zoneplan.field.survey.read import Survey
from zoneplan.plan.requirement import Conditions, basis_of, plannable, requirement_of
from zoneplan.request import Request
from zoneplan.run import read_setup
from zoneplan.sources import Sources
from zoneplan.terms import Moisture, Tillage


def _written(fields: int, folder: Path) -> None:
    county.made(folder, fields)


def _many(fields: int, folder: Path) -> Case:
    listed, _ = fields_in(folder / "fields.geojson")
    sources = Sources("springs", soils=(folder / "survey",))
    tasks = [
        Task(field.folder, Request(name=field.name), sources, field.outline) for field in listed
    ]

    def work() -> None:
        outcomes = []
        run_all(tasks, workers=0, done=outcomes.append)
        assert [outcome.fault for outcome in outcomes] == [None] * fields

    return Case(work, _ideal_core(listed, folder / "survey"))


def _ideal_core(listed, survey):
    """One join for all fields, and one decision a distinct soil and moisture; nothing else."""
    layer = Survey(survey).around()
    outlines = shapely.from_wkb([field.outline for field in listed])
    soils, facts = layer.ground.geometry.to_numpy(), layer.ground["facts"].to_numpy()
    metric = local_crs(shapely.box(*shapely.total_bounds(outlines)))
    setup = read_setup(Sources("springs"))
    machine = setup.machine
    day = Conditions(Tillage.TILLED, machine.speed_mps, machine.depth_m, 0.0)
    basis = basis_of(machine, setup.rules, day)

    def core():
        fields = move(outlines, WGS_84, metric)
        shapes = move(soils, layer.ground.crs, metric)
        field, soil = shapely.STRtree(shapes).query(fields, predicate="intersects")
        areas = shapely.area(shapely.intersection(fields[field], shapes[soil]))
        return np.bincount(field, areas), [
            requirement_of.__wrapped__(basis, known, NOWHERE, moisture)
            for known in set(facts[soil])
            if plannable(known)
            for moisture in Moisture
        ]

    return core


ROWS = (
    Row(
        name="fields of a county",
        against="one join for all and one decision a soil",
        today="about 1,000",
        goal=20.0,
        sizes=(25, 100),
        unit="fields",
        case=_many,
        files=_written,
        most_times=3,
    ),
)
