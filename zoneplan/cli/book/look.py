"""`zoneplan book list`, `show` and `history`: what there is, and what was done."""

from collections.abc import Collection
from typing import TYPE_CHECKING, Any

import click
from click import option

from zoneplan.cli.book import BOOK, STATES, WHOSE, count_of, opened, set_name, set_words
from zoneplan.cli.options import options
from zoneplan.cli.tell import columns, echo, echo_json

if TYPE_CHECKING:
    from zoneplan.book.database import Book
    from zoneplan.book.fields import BookField
    from zoneplan.book.history import Event


@click.command("list")
@BOOK
@options(WHOSE)
@option("--state", "states", multiple=True, type=click.Choice(STATES), help="Only in this state.")
@option("--needs-a-look", "needy", is_flag=True, help="Only what needs a look, the worst first.")
@option("--json", "as_json", is_flag=True, help="Print it for a program.")
@opened
def list_(
    book: "Book", states: tuple[str, ...], *, needy: bool, as_json: bool, **names: Any
) -> None:
    """List the fields of BOOK: acres, state, and what needs a look.

    \b
    Example:
      zoneplan book list season.book --needs-a-look
    """
    from zoneplan.book.fields import State
    from zoneplan.book.fields import fields as fields_of
    from zoneplan.book.look import by_need, in_common, needs_a_look

    listed = fields_of(book, state=[State(name) for name in states], **names)
    if needy:
        listed = [field for field in by_need(listed) if needs_a_look(field)]
    if as_json:
        echo_json({"fields": [_document(field) for field in listed]})
        return
    head = ("#", "grower", "farm", "field", "acres", "state", "plan", "needs a look")
    common = in_common(listed)
    rows = [head, *(_row(field, common) for field in listed)]
    echo(columns(rows, widest=48))
    acres = sum(field.acres for field in listed)
    echo(f"\n{count_of(listed)}, {acres:,.1f} acres.")
    if common:
        echo(f"Of every one of them: {'; '.join(common)}.")


@click.command()
@BOOK
@click.argument("field")
@option("--json", "as_json", is_flag=True, help="Print it for a program.")
@opened
def show(book: "Book", field: str, *, as_json: bool) -> None:
    """Show one FIELD: its state, what it is planned from, and its plan.

    FIELD is its name, "farm / field", "grower / farm / field", or its number: "#12".

    \b
    Example:
      zoneplan book show season.book "Home / North 40"
    """
    from zoneplan.book.fields import find_field
    from zoneplan.book.look import needs_a_look
    from zoneplan.book.plans import plan_document, plan_of
    from zoneplan.cli.tell import table

    one = find_field(book, field)
    if as_json:
        document = None if one.plan_id is None else plan_document(book, one.plan_id)
        echo_json({**_document(one), "plan": document})
        return
    echo(f"{one.path}, #{one.id}: {one.acres:,.1f} acres, season {one.season}")
    by = f", by {one.who} at {one.at}" if one.who else ""
    stood = f" (was {one.stood})" if one.stood != one.state else ""
    echo(f"State: {one.state}{stood}{by}{f': {one.note}' if one.note else ''}")
    for look in needs_a_look(one):
        echo(f"Needs a look: {look.words}")
    for line in (one.voided or {}).get("moved", ()):
        echo(f"  {line}")
    if one.fault:
        echo(f"Fault: {one.fault}")
    if one.plan_id is not None:
        echo(f"\nRevision {one.revision}\n{table(plan_of(book, one.plan_id))}")


@click.command("history")
@BOOK
@click.argument("field", required=False)
@option("--latest", type=click.IntRange(1), metavar="N", help="Only so many that came last.")
@option("--json", "as_json", is_flag=True, help="Print it for a program.")
@opened
def history_(book: "Book", field: str | None, latest: int | None, *, as_json: bool) -> None:
    """Tell what was done in BOOK, or to one FIELD: when, by whom. Nothing of it can be changed.

    \b
    Example:
      zoneplan book history season.book "North 40"
    """
    from zoneplan.book.fields import find_field
    from zoneplan.book.history import history

    field_id = None if field is None else find_field(book, field).id
    events = history(book, field_id, latest)
    if as_json:
        echo_json({"history": [vars(event) for event in events]})
        return
    for event in events:
        echo(_event(event))


def _document(field: "BookField") -> dict[str, Any]:
    """One field for a machine."""
    from zoneplan.book.look import needs_a_look

    looks = needs_a_look(field)
    return {
        "id": field.id,
        "grower": field.grower,
        "farm": field.farm,
        "field": field.name,
        "season": field.season,
        "acres": round(field.acres, 2),
        "state": str(field.state),
        "stood": str(field.stood),
        "needs_a_look": [look.why for look in looks],
        "why": [look.words for look in looks],
        "revision": field.revision,
        "by": field.who,
        "at": field.at,
        "note": field.note,
        "fault": field.fault,
        "totals": dict(field.totals),
    }


def _row(field: "BookField", common: Collection[str]) -> tuple[str, ...]:
    from zoneplan.book.look import needs_a_look

    return (
        str(field.id),
        field.grower,
        field.farm,
        field.name,
        f"{field.acres:,.1f}",
        field.state,
        "" if field.revision is None else str(field.revision),
        "; ".join(look.words for look in needs_a_look(field) if look.words not in common),
    )


def _event(event: "Event") -> str:
    where = " / ".join(part for part in (event.grower, event.farm, event.field) if part)
    about = "; ".join(_about(name, value) for name, value in event.what.items() if value)
    return "  ".join(part for part in (event.at, event.who, event.did, where, about) if part)


_DIGESTS = ("sha256", "plan", "reply")  # of which the first letters tell enough


def _about(name: str, value: Any) -> str:
    if name == "changes":  # of what is set
        return ", ".join(
            f"{set_name(what)} from {_brief(set_words(what, change['from']))} "
            f"to {_brief(set_words(what, change['to']))}"
            for what, change in value.items()
        )
    if name == "zones":  # that a landowner has a note on
        return "; ".join(f"zone {zone}: {_brief(note)}" for zone, note in value)
    return f"{name}: {value[:8] if name == 'sha256' else _brief(value)}"


def _brief(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {_brief(part)}" for name, part in value.items())
    if isinstance(value, list):
        return f"{_brief(value[0])}" + (f" and {len(value) - 1} more" if len(value) > 1 else "")
    text = " ".join(str(value).split())
    return text if len(text) <= 100 else f"{text[:97]}..."
