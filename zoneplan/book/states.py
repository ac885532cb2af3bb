"""What people say of a plan: reviewed, agreed, sent. It holds for the numbers that they saw."""

from zoneplan.book.database import Book, now
from zoneplan.book.fields import BY_HAND, BookField, State, find_field, listing
from zoneplan.book.history import record
from zoneplan.book.inputs import season_of
from zoneplan.book.plans import put_state
from zoneplan.errors import BookError


def record_state(
    book: Book,
    field: BookField | str,
    state: State,
    *,
    who: str,
    note: str = "",
    revision: int | None = None,
) -> BookField:
    """Say that a field's plan was reviewed, agreed to, or sent.

    Parameters
    ----------
    book : Book
        The book.
    field : BookField or str
        The field, as it was listed when someone looked at it: nothing that another has said
        meanwhile is written over. Or its name, where nobody looked.
    state : State
        One of `BY_HAND`.
    who, note : str
        Who says so, and what he says besides.
    revision : int, optional
        Of the plan that he saw, as it is printed on his sheets.

    Returns
    -------
    BookField
        As it is listed now.

    Raises
    ------
    BookError
        When there is no plan, it is out of date or another than the one he saw, or someone has
        changed its state meanwhile.
    """
    if state not in BY_HAND:
        raise BookError(f"A plan is said to be {', '.join(BY_HAND)}, and not: {state}.")
    seen = find_field(book, field) if isinstance(field, str) else field
    with book.write() as connection:
        season_id, _ = season_of(connection)
        there = next(iter(listing(connection, field_id=seen.id)), None)
        if there is None:
            raise BookError(f"{seen.path} is planted no more.\nIts history stays as it is.")
        _refuse(there, seen, state, revision, looked=not isinstance(field, str))
        put_state(
            connection,
            there.id,
            season_id,
            state=state,
            who=who,
            at=now(),
            note=note or None,
            voided=None,
        )
        record(
            connection,
            state,
            who=who,
            field_id=there.id,
            season_id=season_id,
            revision=there.revision,
            note=note,
            before=there.stood,
        )
        return listing(connection, field_id=there.id)[0]


def _refuse(
    there: BookField, seen: BookField, state: State, revision: int | None, *, looked: bool
) -> None:
    if there.revision is None:
        raise BookError(f"{there.path} has no plan yet.\nPlan it first.", code="book-to-plan")
    if revision is not None and revision != there.revision:
        raise BookError(
            f"{there.path}: revision {revision} was looked at, and {there.revision} holds now.\n"
            f"What was said of other numbers does not hold for these.\n"
            f"Look at revision {there.revision}, and say it of that."
        )
    if there.state is State.OUT_OF_DATE:
        raise BookError(
            f"{there.path} is out of date: what it is planned from has changed since.\n"
            f"Nobody should call such a plan {state}.\nPlan it again first.",
            code="book-to-plan",
        )
    if looked and there.version != seen.version:
        raise BookError(
            f"{there.path} has changed since you looked: it is {there.state}"
            + (f", by {there.who} at {there.at}" if there.who else "")
            + f", and was {seen.state}.\nNothing of that was written over. Look again, then say it."
        )
