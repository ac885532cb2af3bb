"""What a change would do, before it is made: which fields, how many acres, the largest moves.

The change is made in a transaction that is undone; what would be planned from it is planned, and
laid by as drafts, so that taking the change plans nothing twice.
"""

import math
import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import sqlalchemy as sa

from zoneplan.batch import Outcome, Progress
from zoneplan.book.database import Book
from zoneplan.book.fields import BY_HAND, BookField, State, listing
from zoneplan.book.packed_plan import PackedPlan
from zoneplan.book.planning import Ready, drafted, put_draft, ready_to_plan, run_ready
from zoneplan.book.plans import plan_of
from zoneplan.book.supply import Scope, scope_of_field
from zoneplan.book.tables import plans
from zoneplan.export.load_plan import load_plan
from zoneplan.plan.compare import Piece, compare
from zoneplan.plan.headline import NOISE_N
from zoneplan.plan.model import Instruction, Plan, Setting, Wait
from zoneplan.say.quantities import figure
from zoneplan.terms import Moisture
from zoneplan.units import HA_PER_ACRE

_ZONES_ALONE = "loads as they were, in zones drawn otherwise"
_HAIRLINE_HA = 0.02  # judged: less is where edges were drawn a little otherwise
Change = Callable[[sa.Connection, Scope], Any]  # what would be put into the book, for whom


class Told(StrEnum):
    """What a zone is told at one moisture."""

    NUMBER = "a number"
    WAIT = "wait"
    NOTHING = "no number"


@dataclass(frozen=True)
class Turn:
    """Ground of a field that would be told another kind of thing than it is."""

    moisture: Moisture
    before: Told
    after: Told
    zones: tuple[int, ...]  # of the plan that stands
    acres: float

    @property
    def words(self) -> str:
        """Say it.

        >>> Turn(Moisture.WET, Told.NUMBER, Told.WAIT, (1, 4), 32.04).words
        'wet: zones 1, 4 would wait, 32.0 acres'
        """
        many = "zones" if len(self.zones) > 1 else "zone"
        would = _WOULD[self.after] if self.before is not Told.WAIT else _WAIT_NO_MORE[self.after]
        return (
            f"{self.moisture}: {many} {', '.join(map(str, self.zones))} {would}, "
            f"{self.acres:,.1f} acres"
        )


_WOULD = {
    Told.NUMBER: "would have a number",
    Told.WAIT: "would wait",
    Told.NOTHING: "would have no number",
}
_WAIT_NO_MORE = {
    Told.NUMBER: "would wait no more",
    Told.NOTHING: "would have no number in place of a wait",
}


@dataclass(frozen=True)
class Move:
    """What a change would do to one field."""

    field: BookField
    largest_n: float  # of any load, at any moisture, where there is one before and after
    moved_acres: float  # where something moves, at the moisture where most of it does
    turns: tuple[Turn, ...]  # where numbers come or go, the largest first
    voids: State | None  # what was said of its plan, and would hold no more

    @property
    def words(self) -> str:
        """Say what comes and goes, and the largest move of a load."""
        loads = [figure(self.largest_n, "load", "us")] if self.largest_n > NOISE_N else []
        return "; ".join([*(turn.words for turn in self.turns), *loads]) or _ZONES_ALONE


@dataclass(frozen=True)
class Preview:
    """What a change would do to a book. Nothing of it is done."""

    moves: tuple[Move, ...]  # the largest first
    still: tuple[BookField, ...]  # planned otherwise, with the numbers that they have
    first: tuple[BookField, ...]  # that have no plan yet
    failed: tuple[tuple[BookField, str], ...]  # that could not be planned any more, and why
    untouched: int
    late: int  # of the untouched, out of date by an earlier change that is in the book

    @property
    def acres(self) -> float:
        """Of the fields whose numbers would be others."""
        return math.fsum(move.field.acres for move in self.moves)


def preview(
    book: Book,
    change: Change,
    scope: Callable[[sa.Connection], Scope],
    *,
    workers: int | None = None,
    on: str | None = None,
    watch: Callable[[Progress], None] = lambda _: None,
) -> Preview:
    """Plan what a change would touch, and hold it against the plans that stand.

    Parameters
    ----------
    change : callable
        Puts it into the book; what it does here is undone.
    scope : callable
        Finds for whom.
    workers, on, watch
        As `plan_all` has them.

    Raises
    ------
    ZoneplanError
        What the change itself raises, or a run.
    """
    with book.read() as connection:
        before = {field.id: field for field in listing(connection)}
    due: list[BookField] = []
    ready: list[Ready] = []
    lacking: list[tuple[BookField, Any]] = []
    try:
        with book.write() as connection:
            change(connection, scope(connection))
            after = listing(connection)
            due = [field for field in after if _touched(field, before.get(field.id))]
            ready, lacking = ready_to_plan(connection, due)
            raise _UndoneError
    except _UndoneError:
        pass
    touched = {field.id for field in due}
    failed = [(before[field.id], fault.words) for field, fault in lacking]
    collected = _Collected(book, {str(one.field.id): one for one in ready}, before, failed, watch)
    fresh = [one for one in ready if not collected.add_draft(one)]
    run_ready(book, fresh, workers=workers, on=on, done=collected.add)
    collected.moves.sort(key=lambda move: move.field.path)
    collected.moves.sort(key=_size, reverse=True)
    return Preview(
        tuple(collected.moves),
        tuple(collected.still),
        tuple(collected.first),
        tuple(failed),
        len(before) - len(due),
        sum(one.state is State.OUT_OF_DATE for one in before.values() if one.id not in touched),
    )


def take(
    book: Book,
    change: Change,
    scope: Callable[[sa.Connection], Scope],
    some: Collection[BookField] | None = None,
) -> None:
    """Make a change: for all that it is for, or for some fields alone. All of it or nothing."""
    with book.write() as connection:
        if some is None:
            change(connection, scope(connection))
        else:
            for field in some:
                change(connection, scope_of_field(field))


class _UndoneError(Exception):
    """Ends a transaction whose changes are not to stay."""


def _touched(field: BookField, before: BookField | None) -> bool:
    return before is not None and field.inputs_sha256 != before.inputs_sha256


def _size(move: Move) -> tuple[bool, float, float, float]:
    turned_acres = max((turn.acres for turn in move.turns), default=0.0)
    return move.voids is not None, turned_acres, move.largest_n, move.moved_acres


class _Collected:
    """What comes of a preview, field by field."""

    def __init__(
        self,
        book: Book,
        ready: dict[str, Ready],
        before: dict[int, BookField],
        failed: list[tuple[BookField, str]],
        watch: Callable[[Progress], None],
    ) -> None:
        self._book, self._ready, self._before = book, ready, before
        self._failed, self._watch = failed, watch
        self._count = len(ready) + len(failed)
        self.moves: list[Move] = []
        self.still: list[BookField] = []
        self.first: list[BookField] = []

    def add(self, outcome: Outcome) -> None:
        one = self._ready[outcome.key]
        if outcome.fault is not None:
            self._failed.append((self._before[one.field.id], outcome.fault.words))
        else:
            put_draft(self._book, one, outcome.finished)
            self._sort_in(one, outcome.finished)
        self._tell()

    def add_draft(self, one: Ready) -> bool:
        """Take what an earlier preview planned of the same inputs, if one did."""
        result = drafted(self._book, one)
        if result is not None:
            self._sort_in(one, result)
            self._tell()
        return result is not None

    def _tell(self) -> None:
        done = len(self.moves) + len(self.still) + len(self.first)
        failed = len(self._failed)
        self._watch(Progress(done, failed, self._count - done - failed))

    def _sort_in(self, one: Ready, result: PackedPlan) -> None:
        field = self._before[one.field.id]
        if field.plan_id is None:
            self.first.append(field)
            return
        asked = sa.select(plans.c.numbers_sha256).where(plans.c.id == field.plan_id)
        with self._book.read() as connection:
            numbers = connection.execute(asked).scalar()
        if numbers == result.numbers_sha256:
            self.still.append(field)
            return
        plan = load_plan(zlib.decompress(result.whole)).plan
        self.moves.append(_move(field, plan_of(self._book, field.plan_id), plan))


def _move(field: BookField, before: Plan, after: Plan) -> Move:
    largest_n, moved_ha = 0.0, 0.0
    turns: list[Turn] = []
    for moisture in Moisture:
        pieces = compare(before, after, moisture).pieces
        moved = [piece for piece in pieces if piece.gap_n > NOISE_N]
        moved_ha = max(moved_ha, math.fsum(piece.area_ha for piece in moved))
        largest_n = max([largest_n, *(piece.gap_n for piece in pieces if piece.gap_n < math.inf)])
        turns += _turns(moisture, [piece for piece in moved if piece.gap_n == math.inf])
    turns.sort(key=lambda turn: -turn.acres)
    return Move(
        field,
        largest_n,
        moved_ha / HA_PER_ACRE,
        tuple(turns),
        field.stood if field.stood in BY_HAND else None,
    )


def _turns(moisture: Moisture, pieces: Sequence[Piece]) -> Iterator[Turn]:
    kinds: dict[tuple[Told, Told], list[Piece]] = {}
    for piece in pieces:
        kinds.setdefault((_told(piece.one), _told(piece.other)), []).append(piece)
    for (before, after), alike in kinds.items():
        area_ha = math.fsum(piece.area_ha for piece in alike)
        zones = tuple(sorted({piece.zones[0] for piece in alike if piece.area_ha > _HAIRLINE_HA}))
        if zones:
            yield Turn(moisture, before, after, zones, area_ha / HA_PER_ACRE)


def _told(instruction: Instruction) -> Told:
    if isinstance(instruction, Setting):
        return Told.NUMBER
    return Told.WAIT if isinstance(instruction, Wait) else Told.NOTHING
