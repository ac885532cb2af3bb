"""A change of tables that stops half way: for tests alone, beside the real ones."""

import os
import signal

import sqlalchemy as sa
from alembic import op

revision = "t0002"
down_revision = "b0001"
branch_labels = None
depends_on = None

KILLED = "ZONEPLAN_TEST_KILLED"  # whether the process is killed, or the change merely fails


def upgrade() -> None:
    """Do half of it."""
    op.create_table("counted", sa.Column("fields", sa.Integer(), nullable=False))
    op.execute("UPDATE fields SET name = name || ' half'")
    if KILLED in os.environ:
        os.kill(os.getpid(), signal.SIGKILL)
    raise RuntimeError("half way")
