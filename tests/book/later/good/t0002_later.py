"""A change of tables as a later zoneplan may need it: for tests alone, beside the real ones.

It makes `fields` anew with a column more, fills that from what the book holds, and adds a table.
"""

import sqlalchemy as sa
from alembic import op

revision = "t0002"
down_revision = "b0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Give every field the name of its grower, and count them."""
    with op.batch_alter_table("fields", recreate="auto") as table:
        table.add_column(sa.Column("whose", sa.Text(), nullable=True))
        table.alter_column("name", type_=sa.String(400), existing_type=sa.Text())
    op.execute(
        "UPDATE fields SET whose = (SELECT growers.name FROM farms JOIN growers "
        "ON growers.id = farms.grower_id WHERE farms.id = fields.farm_id)"
    )
    op.create_table("counted", sa.Column("fields", sa.Integer(), nullable=False))
    op.execute("INSERT INTO counted SELECT count(*) FROM fields")
