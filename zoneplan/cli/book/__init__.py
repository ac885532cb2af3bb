"""`zoneplan book`: many growers' fields in one book, from their outlines to what is handed out."""

import click

from zoneplan.cli.book import bring_in, hand_over, look, plan


@click.group()
def book() -> None:
    """Keep many growers' fields in one book: plan them all, review, hand out.

    BOOK is a file, or the address of a PostgreSQL database: postgresql://user@host/database
    """


for _command in (
    bring_in.new,
    bring_in.add,
    bring_in.set_,
    bring_in.remove,
    plan.plan_,
    plan.preview_,
    look.list_,
    look.show,
    look.history_,
    hand_over.review,
    hand_over.hand_out,
    hand_over.replies,
    hand_over.backup_,
    hand_over.restore_,
    hand_over.export_,
):
    book.add_command(_command)
