"""Plan the fields of a book: only what changed, many at once, each kept as soon as it is done."""

import zlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import shapely
import sqlalchemy as sa

from zoneplan.batch import Fault, Outcome, Progress, Task, run_all
from zoneplan.book.database import Book, now
from zoneplan.book.fields import BookField, State, boundaries_in, field_in, listing, of_names
from zoneplan.book.history import record
from zoneplan.book.inputs import PLANTER, Inputs, season_of, supplies
from zoneplan.book.packed_plan import PackedPlan, packed
from zoneplan.book.plans import keep_plan, put_state
from zoneplan.book.soil import laid_out
from zoneplan.book.tables import drafts, planters, rule_sets, states
from zoneplan.errors import SavedError, quoted
from zoneplan.export.load_plan import load_plan
from zoneplan.plan.model import Plan
from zoneplan.request import Request
from zoneplan.sources import Sources, Upload

_LACKS = {
    "planter": "It has no planter.\nA plan is for a planter. Add one to the book.",
    "set planter": "Its planter is to be {planter}, and the book has none of that name for it.\n"
    "Add its file for this grower, or set another planter.",
    "soil": "No soil layer of the book lies on it.\nA plan follows the soil, and we won't guess it."
    "\nAdd one to the book that does.",
}


@dataclass(frozen=True)
class Report:
    """What a run came to."""

    planned: tuple[BookField, ...]
    up_to_date: int
    failed: tuple[tuple[BookField, Fault], ...]
    passed_over: tuple[BookField, ...]  # with the fault that they had, from the same inputs
    moved: tuple[tuple[BookField, tuple[str, ...]], ...]  # whose numbers are others now
    voided: tuple[tuple[BookField, State], ...]  # what had been said of them, and holds no more


@dataclass(frozen=True)
class Ready:
    """One field with all that its plan is made from: plain values, but for its soil."""

    field: BookField
    inputs: Inputs
    request: Request
    machine: Upload | str
    rules: tuple[Upload, ...]
    outline: bytes

    def task(self, layers: dict[str, Path]) -> Task:
        """Make the task, with the soil layers where they are laid out."""
        soils = tuple(layers[row.sha256] for row in self.inputs.soils)
        sources = Sources(self.machine, soils=soils, rules=self.rules)
        return Task(str(self.field.id), self.request, sources, self.outline, finish=packed)


def plan_all(
    book: Book,
    *,
    who: str,
    grower: str | None = None,
    farm: str | None = None,
    field: str | None = None,
    workers: int | None = None,
    on: str | None = None,
    again: bool = False,
    watch: Callable[[Progress], None] = lambda _: None,
) -> Report:
    """Plan every field that has no plan, or whose inputs have changed since.

    However it ends, what was done is in the book: a second run goes on where this one stood.

    Parameters
    ----------
    grower, farm, field : str, optional
        Only theirs; names as the book has them.
    workers : int, optional
        How many processes; as many as there are processors, unless given.
    on : str, optional
        Address of a cluster that plans in place of this machine.
    again : bool
        Plan all of them, changed or not, those with a fault too.
    watch : callable
        Told after each field.

    Raises
    ------
    BookError, ZoneplanError
        When the book cannot be written, or no worker can be started.
    """
    with book.read() as connection:
        season_id, _ = season_of(connection)
        chosen = of_names(listing(connection), grower=grower, farm=farm, name=field)
        due, passed_over = _due(chosen, again=again)
        ready, failed = ready_to_plan(connection, due)
    by_key = {str(one.field.id): one for one in ready}
    keeper = _Keeper(book, who, season_id, by_key, len(due), watch)
    for late, fault in failed:
        keeper.fault(late, fault)
    fresh = [one for one in ready if again or not keeper.take_draft(one)]
    run_ready(book, fresh, workers=workers, on=on, done=keeper.keep)
    return Report(
        tuple(keeper.planned),
        len(chosen) - len(due) - len(passed_over),
        tuple(keeper.failed),
        tuple(passed_over),
        tuple(keeper.moved),
        tuple(keeper.voided),
    )


def run_ready(
    book: Book,
    ready: Sequence[Ready],
    *,
    workers: int | None,
    on: str | None,
    done: Callable[[Outcome], None],
) -> None:
    """Plan fields, those on one survey after each other, so that a worker reads it once."""
    if not ready:
        return
    layers = {row.sha256: row for one in ready for row in one.inputs.soils}
    order = sorted(ready, key=_place)
    with laid_out(book, layers.values()) as paths:
        run_all((one.task(paths) for one in order), workers=workers, on=on, done=done)


def ready_to_plan(
    connection: sa.Connection, due: Collection[BookField]
) -> tuple[list[Ready], list[tuple[BookField, Fault]]]:
    """Gather what fields are planned from; those that lack something have a fault."""
    supply = supplies(connection)

    @lru_cache(None)
    def upload(table: sa.Table, number: int) -> Upload:
        asked = sa.select(table.c.name, table.c.content).where(table.c.id == number)
        row = connection.execute(asked).one()
        return Upload(f"{row.name}.toml", row.content)

    outlines = boundaries_in(connection)
    ready, failed = [], []
    for field in due:
        inputs = supply.inputs_of(field.ground)
        name = quoted(inputs.asked.get(PLANTER))
        lacks = "\n".join(_LACKS[what].format(planter=name) for what in inputs.missing)
        try:
            request = inputs.request()
        except SavedError as error:
            lacks = str(error)
        if lacks:
            failed.append((field, Fault("not-ready", lacks)))
            continue
        planter = inputs.planter
        assert planter is not None
        machine = planter if isinstance(planter, str) else upload(planters, planter.id)
        rules = tuple(upload(rule_sets, row.id) for row in inputs.rules)
        outline = shapely.to_wkb(outlines[field.id][1])
        ready.append(Ready(field, inputs, request, machine, rules, outline))
    return ready, failed


def drafted(book: Book, one: Ready) -> PackedPlan | None:
    """Give the plan that a preview made of a field from the same inputs, if one did."""
    asked = sa.select(drafts.c.whole).where(_of_draft(one))
    with book.read() as connection:
        whole = connection.execute(asked).scalar()
    if whole is None:
        return None
    try:
        plan: Plan = load_plan(zlib.decompress(whole)).plan
    except (SavedError, zlib.error):
        return None  # another release made it
    return packed(plan, one.request)


def put_draft(book: Book, one: Ready, result: PackedPlan) -> None:
    """Lay by the plan that a preview made of a field."""
    made_from = {"field_id": one.field.id, "inputs_sha256": one.inputs.sha256}
    with book.write() as connection:
        connection.execute(sa.delete(drafts).where(_of_draft(one)))
        draft = sa.insert(drafts).values(**made_from, whole=result.whole, at=now())
        connection.execute(draft)


def _of_draft(one: Ready) -> sa.ColumnElement[bool]:
    return (drafts.c.field_id == one.field.id) & (drafts.c.inputs_sha256 == one.inputs.sha256)


def _due(chosen: Sequence[BookField], *, again: bool) -> tuple[list[BookField], list[BookField]]:
    """Which fields are to be planned, and which had a fault from the very same inputs."""
    due = [field for field in chosen if again or field.state in (State.TO_PLAN, State.OUT_OF_DATE)]
    passed_over = [field for field in due if field.fault and not again]
    waiting = {field.id for field in passed_over}
    return [field for field in due if field.id not in waiting], passed_over


def _place(one: Ready) -> tuple[Any, ...]:
    west, south, *_ = one.inputs.ground.box
    return [row.sha256 for row in one.inputs.soils], round(south, 1), west


class _Keeper:
    """Puts what comes into the book, one field a transaction."""

    def __init__(
        self,
        book: Book,
        who: str,
        season_id: int,  # that the fields were gathered in: another may turn the book meanwhile
        ready: Mapping[str, Ready],
        count: int,  # of all that are due
        watch: Callable[[Progress], None],
    ) -> None:
        self._book, self._who, self._season_id = book, who, season_id
        self._ready, self._count, self._watch = ready, count, watch
        self.planned: list[BookField] = []
        self.failed: list[tuple[BookField, Fault]] = []
        self.moved: list[tuple[BookField, tuple[str, ...]]] = []
        self.voided: list[tuple[BookField, State]] = []

    def keep(self, outcome: Outcome) -> None:
        """Keep a plan, or the fault of its field."""
        one = self._ready[outcome.key]
        if outcome.fault is not None:
            self.fault(one.field, outcome.fault)
        else:
            self._plan(one, outcome.finished)

    def take_draft(self, one: Ready) -> bool:
        """Keep the plan that a preview made of the same inputs, if one did."""
        result = drafted(self._book, one)
        if result is not None:
            self._plan(one, result)
        return result is not None

    def fault(self, field: BookField, fault: Fault) -> None:
        """Keep why a field has no plan, beside the field."""
        words = fault.words if not fault.trace else f"{fault.words}\n{fault.trace}"
        with self._book.write() as connection:
            known = {"fault": words, "fault_sha256": field.inputs_sha256}
            put_state(connection, field.id, self._season_id, **known)
            record(
                connection,
                "fault",
                who=self._who,
                field_id=field.id,
                season_id=self._season_id,
                code=fault.code,
                words=fault.words,
            )
        self.failed.append((field, fault))
        self._tell()

    def _plan(self, one: Ready, result: PackedPlan) -> None:
        with self._book.write() as connection:
            connection.execute(sa.delete(drafts).where(drafts.c.field_id == one.field.id))
            if _overtaken(connection, one, self._season_id):
                return
            outcome = keep_plan(
                connection,
                one.inputs.ground,
                self._season_id,
                one.inputs.sha256,
                result,
                request=one.request,
                who=self._who,
            )
        self.planned.append(one.field)
        if outcome.moved:
            self.moved.append((one.field, outcome.moved))
        if outcome.voided:
            self.voided.append((one.field, outcome.voided))
        self._tell()

    def _tell(self) -> None:
        planned, failed = len(self.planned), len(self.failed)
        self._watch(Progress(planned, failed, self._count - planned - failed))


def _overtaken(connection: sa.Connection, one: Ready, season_id: int) -> bool:
    """Whether another has planned the field meanwhile, from what holds now, and this is older."""
    place = (states.c.field_id == one.field.id) & (states.c.season_id == season_id)
    version = connection.execute(sa.select(states.c.version).where(place)).scalar() or 0
    if version == one.field.version:
        return False
    there = field_in(connection, one.field.id)
    if there is None:
        return True
    return there.inputs_sha256 != one.inputs.sha256 and there.state not in (
        State.TO_PLAN,
        State.OUT_OF_DATE,
    )
