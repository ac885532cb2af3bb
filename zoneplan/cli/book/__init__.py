"""`zoneplan book`: many growers' fields in one book, from their outlines to what is handed out."""

import click

from zoneplan.cli.book import bring_in, hand_over, look, plan


class _InOrder(click.Group):
    """Commands as a season goes, not by letter."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name them in the order in which they were added."""
        del ctx
        return [*self.commands]


@click.group(cls=_InOrder)
def book() -> None:
    """Keep many growers' fields in one book: plan them all, review, hand out.

    BOOK is a file, or the address of a PostgreSQL database: postgresql://user@host/database

    \b
    A season, from one file to what growers get:
      zoneplan book new season.book
      zoneplan book add fields season.book fields.zip --grower OWNER --farm FARM --field NAME
      zoneplan book add soil season.book survey.zip
      zoneplan book add planter season.book our-planter.toml
      zoneplan book plan season.book
      zoneplan book list season.book --needs-a-look
      zoneplan book hand-out season.book --out hand-outs
    """


for _command in (
    bring_in.new,
    bring_in.add,
    bring_in.set_,
    plan.plan_,
    look.list_,
    look.show,
    hand_over.review,
    hand_over.hand_out,
    hand_over.replies,
    plan.preview_,
    bring_in.remove,
    look.history_,
    hand_over.backup_,
    hand_over.restore_,
    hand_over.export_,
):
    book.add_command(_command)
