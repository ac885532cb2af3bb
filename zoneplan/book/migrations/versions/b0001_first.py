"""The first tables.

What is written here stays as it was: whatever comes later comes in a later migration.
"""

import sqlalchemy as sa
from alembic import op

revision = "b0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables, what keeps the history as it is, and what finds fields by place."""
    _tables()
    for statement in _SQLITE if op.get_context().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(sa.text(statement))


_NO_CHANGE = "The history of a book is never changed: what was done is added to it."
_SQLITE = (
    f"""CREATE TRIGGER history_keeps_update BEFORE UPDATE ON history
    BEGIN SELECT RAISE(ABORT, '{_NO_CHANGE}'); END""",
    f"""CREATE TRIGGER history_keeps_delete BEFORE DELETE ON history
    BEGIN SELECT RAISE(ABORT, '{_NO_CHANGE}'); END""",
    """CREATE TRIGGER history_keeps_replace BEFORE INSERT ON history
    WHEN EXISTS (SELECT 1 FROM history WHERE id = new.id)
    BEGIN SELECT RAISE(ABORT, 'The history of a book is never changed.'); END""",
    "CREATE VIRTUAL TABLE boundary_boxes USING rtree(id, west, east, south, north)",
    """CREATE TRIGGER boundary_boxes_follow AFTER INSERT ON boundaries BEGIN
    INSERT INTO boundary_boxes VALUES (new.id, new.west, new.east, new.south, new.north); END""",
)
_POSTGRESQL = (
    f"""CREATE FUNCTION history_keeps() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN RAISE EXCEPTION '{_NO_CHANGE}'; END $$""",
    """CREATE TRIGGER history_keeps_rows BEFORE UPDATE OR DELETE ON history
    FOR EACH ROW EXECUTE FUNCTION history_keeps()""",
    """CREATE TRIGGER history_keeps_all BEFORE TRUNCATE ON history
    FOR EACH STATEMENT EXECUTE FUNCTION history_keeps()""",
    "CREATE EXTENSION IF NOT EXISTS postgis",
    """ALTER TABLE boundaries ADD COLUMN geometry geometry(Geometry, 4326)
    GENERATED ALWAYS AS (ST_GeomFromWKB(shape, 4326)) STORED""",
    "CREATE INDEX ix_boundaries_geometry ON boundaries USING gist (geometry)",
)


def _tables() -> None:
    op.create_table(
        "about",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_about")),
    )
    op.create_table(
        "contents",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("part", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", "part", name=op.f("pk_contents")),
    )
    op.create_table(
        "growers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_growers")),
        sa.UniqueConstraint("name", name=op.f("uq_growers_name")),
    )
    op.create_table(
        "planters",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("ended_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planters")),
    )
    op.create_table(
        "rule_sets",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("ended_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rule_sets")),
    )
    op.create_table(
        "seasons",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_seasons")),
        sa.UniqueConstraint("name", name=op.f("uq_seasons_name")),
    )
    op.create_table(
        "soils",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("vintage", sa.Text(), nullable=True),
        sa.Column("west", sa.Double(), nullable=True),
        sa.Column("south", sa.Double(), nullable=True),
        sa.Column("east", sa.Double(), nullable=True),
        sa.Column("north", sa.Double(), nullable=True),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("ended_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_soils")),
    )
    op.create_table(
        "conditions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(
            ["season_id"], ["seasons.id"], name=op.f("fk_conditions_season_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_conditions")),
        sa.UniqueConstraint("season_id", "scope", name=op.f("uq_conditions_season_id")),
    )
    op.create_table(
        "farms",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("grower_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["grower_id"], ["growers.id"], name=op.f("fk_farms_grower_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_farms")),
        sa.UniqueConstraint("grower_id", "name", name=op.f("uq_farms_grower_id")),
    )
    op.create_table(
        "fields",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("gone_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["farm_id"], ["farms.id"], name=op.f("fk_fields_farm_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fields")),
        sa.UniqueConstraint("farm_id", "name", name=op.f("uq_fields_farm_id")),
    )
    op.create_table(
        "boundaries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("shape", sa.LargeBinary(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("area_ha", sa.Double(), nullable=False),
        sa.Column("west", sa.Double(), nullable=False),
        sa.Column("south", sa.Double(), nullable=False),
        sa.Column("east", sa.Double(), nullable=False),
        sa.Column("north", sa.Double(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["field_id"], ["fields.id"], name=op.f("fk_boundaries_field_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_boundaries")),
        sa.UniqueConstraint("field_id", "version", name=op.f("uq_boundaries_field_id")),
    )
    op.create_table(
        "drafts",
        sa.Column("field_id", sa.Integer(), nullable=False),
        sa.Column("inputs_sha256", sa.String(length=64), nullable=False),
        sa.Column("whole", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["field_id"], ["fields.id"], name=op.f("fk_drafts_field_id")),
        sa.PrimaryKeyConstraint("field_id", "inputs_sha256", name=op.f("pk_drafts")),
    )
    op.create_table(
        "history",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("grower_id", sa.Integer(), nullable=True),
        sa.Column("field_id", sa.Integer(), nullable=True),
        sa.Column("season_id", sa.Integer(), nullable=True),
        sa.Column("did", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["field_id"], ["fields.id"], name=op.f("fk_history_field_id")),
        sa.ForeignKeyConstraint(["grower_id"], ["growers.id"], name=op.f("fk_history_grower_id")),
        sa.ForeignKeyConstraint(["season_id"], ["seasons.id"], name=op.f("fk_history_season_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_history_field_id"), "history", ["field_id"], unique=False)
    op.create_table(
        "plans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field_id", sa.Integer(), nullable=False),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("boundary_id", sa.Integer(), nullable=False),
        sa.Column("inputs_sha256", sa.String(length=64), nullable=False),
        sa.Column("numbers_sha256", sa.String(length=64), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.Column("whole", sa.LargeBinary(), nullable=True),
        sa.Column("totals", sa.Text(), nullable=False),
        sa.Column("made_with", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(
            ["boundary_id"], ["boundaries.id"], name=op.f("fk_plans_boundary_id")
        ),
        sa.ForeignKeyConstraint(["field_id"], ["fields.id"], name=op.f("fk_plans_field_id")),
        sa.ForeignKeyConstraint(["season_id"], ["seasons.id"], name=op.f("fk_plans_season_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plans")),
    )
    op.create_index(op.f("ix_plans_field_id"), "plans", ["field_id"], unique=False)
    op.create_table(
        "states",
        sa.Column("field_id", sa.Integer(), nullable=False),
        sa.Column("season_id", sa.Integer(), nullable=False),
        sa.Column("plan_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("numbers_sha256", sa.String(length=64), nullable=True),
        sa.Column("who", sa.Text(), nullable=True),
        sa.Column("at", sa.String(length=32), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("voided", sa.Text(), nullable=True),
        sa.Column("fault", sa.Text(), nullable=True),
        sa.Column("fault_sha256", sa.String(length=64), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["field_id"], ["fields.id"], name=op.f("fk_states_field_id")),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_states_plan_id")),
        sa.ForeignKeyConstraint(["season_id"], ["seasons.id"], name=op.f("fk_states_season_id")),
        sa.PrimaryKeyConstraint("field_id", "season_id", name=op.f("pk_states")),
    )
    op.create_table(
        "zones",
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("area_ha", sa.Double(), nullable=False),
        sa.Column("margin_dry_n", sa.Double(), nullable=True),
        sa.Column("margin_moist_n", sa.Double(), nullable=True),
        sa.Column("margin_wet_n", sa.Double(), nullable=True),
        sa.Column("shape", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["plan_id"], ["plans.id"], name=op.f("fk_zones_plan_id")),
        sa.PrimaryKeyConstraint("plan_id", "number", name=op.f("pk_zones")),
    )
