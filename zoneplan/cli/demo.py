"""`zoneplan demo`: plan the demo fields, or a book of many."""

from pathlib import Path

import click

from zoneplan.cli import loading
from zoneplan.cli.tell import digest, echo, echo_json, say, table


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("zoneplan-demo"),
    show_default=True,
    metavar="DIR",
    help="Folder for the results, one inside for each field.",
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print one summary for programs on standard output, and nothing else there.",
)
@click.option(
    "--book",
    "as_book",
    is_flag=True,
    help="Make a book of sixty fields of twelve invented growers instead, and plan them all.",
)
def demo(out: Path, *, as_json: bool, as_book: bool) -> None:
    """Plan the three invented demo fields and say where the results are.

    Writes for each what `zoneplan plan` writes: sheets to print, and files of its zones.

    \b
    Example:
      zoneplan demo
      zoneplan demo --book
    """
    if as_book:
        _book(out / "demo.book", as_json=as_json)
        return
    with loading():
        from zoneplan.demo import demo_fields, plan_demo
        from zoneplan.export.bundle import check_folder, write_plan

    check_folder(out)
    digests = []
    for one in demo_fields():
        say(f"Planning {one.name} ...")
        if message := check_folder(out / one.name):
            echo(message, err=True)
        plan = plan_demo(one)
        files = write_plan(plan, out / one.name)
        digests.append(digest(plan, files))
        if not as_json:
            echo(table(plan) + "\n")
    if as_json:
        echo_json({"fields": digests})
    else:
        echo(f"The demo plans are in {out.resolve()}: start with summary.pdf in each folder.")


def _book(path: Path, *, as_json: bool) -> None:
    from zoneplan.book.demo_book import new_demo_book, plan_demo_book
    from zoneplan.book.fields import fields
    from zoneplan.book.look import needs_a_look

    path.parent.mkdir(parents=True, exist_ok=True)
    with new_demo_book(path) as book:
        say("Planning 60 fields ...")
        plan_demo_book(
            book, watch=lambda so_far: say(f"{so_far.planned} planned, {so_far.left} left")
        )
        listed = fields(book)
    looks = sum(bool(needs_a_look(field)) for field in listed)
    growers = len({field.grower for field in listed})
    if as_json:
        echo_json({"book": str(path), "growers": growers, "fields": len(listed)})
        return
    shown = path.resolve()
    echo(
        f"The demo book is {shown}: {len(listed)} fields of {growers} growers, {looks} need a look."
        f"\nSee them:      zoneplan book list {path} --needs-a-look"
        f"\nOn a screen:   zoneplan app --book {path}"
        f"\nHand out:      zoneplan book hand-out {path} --out {path.parent / 'hand-out'}"
    )
