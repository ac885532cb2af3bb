"""The tables of a book: the same on SQLite and on PostgreSQL.

Plain values, so that any tool reads them: times are ISO 8601 in UTC, shapes are well-known binary
in WGS 84 degrees, documents are JSON packed with zlib, and `scope` says for whom something holds:
"all", "grower 3", "farm 5" or "field 9".
"""

import sqlalchemy as sa

NAMES = {  # so that later migrations can name what they drop, on SQLite too
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ix": "ix_%(column_0_label)s",
}
TABLES = sa.MetaData(naming_convention=NAMES)
_DIGEST = sa.String(64)  # SHA-256, in hexadecimal
_TIME = sa.String(32)
_OTHERS = {"boundary_id": "boundaries"}


def _key() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _to(column: str, *, index: bool = False, nullable: bool = False) -> sa.Column[int]:
    """Point to another table, as "field_id" does to fields."""
    table = _OTHERS.get(column, f"{column.removesuffix('_id')}s")
    return sa.Column(
        column, sa.Integer, sa.ForeignKey(f"{table}.id"), index=index, nullable=nullable
    )


def _text(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=nullable)


def _digest(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, _DIGEST, nullable=nullable)


def _at(name: str = "at", *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, _TIME, nullable=nullable)


def _box(*, nullable: bool = False) -> list[sa.Column[float]]:
    """The degrees that something lies between."""
    sides = ("west", "south", "east", "north")
    return [sa.Column(side, sa.Double, nullable=nullable) for side in sides]


about = sa.Table(  # the book itself: its season, what made it
    "about", TABLES, sa.Column("name", sa.String(40), primary_key=True), _text("value")
)
growers = sa.Table(
    "growers", TABLES, _key(), sa.Column("name", sa.Text, nullable=False, unique=True)
)
farms = sa.Table(
    "farms",
    TABLES,
    _key(),
    _to("grower_id"),
    _text("name"),
    sa.UniqueConstraint("grower_id", "name"),
)
fields = sa.Table(
    "fields",
    TABLES,
    _key(),
    _to("farm_id"),
    _text("name"),
    sa.Column("version", sa.Integer, nullable=False),  # of its boundary, that holds now
    _at("gone_at", nullable=True),  # since when nobody plants it
    sa.UniqueConstraint("farm_id", "name"),
)
boundaries = sa.Table(
    "boundaries",
    TABLES,
    _key(),
    _to("field_id"),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("shape", sa.LargeBinary, nullable=False),
    _digest("sha256"),
    sa.Column("area_ha", sa.Double, nullable=False),
    *_box(),
    _text("source"),  # the file that it came from
    _at(),
    sa.UniqueConstraint("field_id", "version"),
)
seasons = sa.Table(
    "seasons", TABLES, _key(), sa.Column("name", sa.Text, nullable=False, unique=True)
)
contents = sa.Table(  # of files, by what is in them, in parts that any memory holds
    "contents",
    TABLES,
    sa.Column("sha256", _DIGEST, primary_key=True),
    sa.Column("part", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("packed", sa.LargeBinary, nullable=False),
)
soils = sa.Table(
    "soils",
    TABLES,
    _key(),
    _text("scope"),
    _text("name"),
    _digest("sha256"),
    sa.Column("size_bytes", sa.BigInteger, nullable=False),
    _text("kind"),
    _text("vintage", nullable=True),  # of a survey, as it says itself
    *_box(nullable=True),  # where nobody knows, it may lie on every field
    _at(),
    _at("ended_at", nullable=True),
)


def _files(name: str) -> sa.Table:
    """What is in small files, and for whom it holds, since when and until when."""
    return sa.Table(
        name,
        TABLES,
        _key(),
        _text("scope"),
        _text("name"),
        _digest("sha256"),
        sa.Column("content", sa.LargeBinary, nullable=False),
        _at(),
        _at("ended_at", nullable=True),
    )


planters, rule_sets = _files("planters"), _files("rule_sets")
conditions = sa.Table(
    "conditions",
    TABLES,
    _key(),
    _to("season_id"),
    _text("scope"),
    _text("asked"),  # JSON: what a request holds there, and "planter"; in SI
    sa.Column("version", sa.Integer, nullable=False),
    _at(),
    sa.UniqueConstraint("season_id", "scope"),
)
plans = sa.Table(
    "plans",
    TABLES,
    _key(),
    _to("field_id", index=True),
    _to("season_id"),
    sa.Column("revision", sa.Integer, nullable=False),  # rises when a number changes
    _to("boundary_id"),
    _digest("inputs_sha256"),
    _digest("numbers_sha256"),
    _text("request"),
    sa.Column("document", sa.LargeBinary, nullable=False),  # plan.json: the truth
    sa.Column("whole", sa.LargeBinary, nullable=True),  # with shapes and rules, for this release
    _text("totals"),  # a cache, as JSON
    _text("made_with"),
    _at(),
)
zones = sa.Table(  # a cache for maps and queries
    "zones",
    TABLES,
    sa.Column("plan_id", sa.Integer, sa.ForeignKey("plans.id"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    _text("name", nullable=True),
    sa.Column("area_ha", sa.Double, nullable=False),
    sa.Column("margin_dry_n", sa.Double),
    sa.Column("margin_moist_n", sa.Double),
    sa.Column("margin_wet_n", sa.Double),
    sa.Column("shape", sa.LargeBinary, nullable=False),
)
states = sa.Table(  # how far a field is in a season
    "states",
    TABLES,
    sa.Column("field_id", sa.Integer, sa.ForeignKey("fields.id"), primary_key=True),
    sa.Column("season_id", sa.Integer, sa.ForeignKey("seasons.id"), primary_key=True),
    _to("plan_id", nullable=True),  # the one that holds
    _text("state"),
    _digest("numbers_sha256", nullable=True),  # that were reviewed, agreed or sent
    _text("who", nullable=True),
    _at(nullable=True),
    _text("note", nullable=True),
    _text("voided", nullable=True),  # JSON: an agreement that no longer holds, and what moved
    _text("fault", nullable=True),  # why it could not be planned
    _digest("fault_sha256", nullable=True),  # from these inputs
    sa.Column("version", sa.Integer, nullable=False),
)
drafts = sa.Table(  # plans of what may be: those of a preview, by what they are made from
    "drafts",
    TABLES,
    sa.Column("field_id", sa.Integer, sa.ForeignKey("fields.id"), primary_key=True),
    sa.Column("inputs_sha256", _DIGEST, primary_key=True),
    sa.Column("whole", sa.LargeBinary, nullable=False),
    _at(),
)
history = sa.Table(  # what was done, for ever: no statement changes it
    "history",
    TABLES,
    sa.Column("id", sa.Integer, primary_key=True),
    _at(),
    _text("who"),
    sa.Column("grower_id", sa.Integer, sa.ForeignKey("growers.id"), nullable=True),
    sa.Column("field_id", sa.Integer, sa.ForeignKey("fields.id"), nullable=True, index=True),
    sa.Column("season_id", sa.Integer, sa.ForeignKey("seasons.id"), nullable=True),
    _text("did"),
    _text("what"),  # JSON
    sqlite_autoincrement=True,  # a number is never given twice
)
