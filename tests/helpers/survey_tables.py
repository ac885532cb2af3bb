"""A soil database that answers T-SQL: the tables of survey downloads, in SQLite.

A query is parsed as T-SQL and run as it is written. Methods of the geometry type become
functions on shapes; what the real service refuses is refused here too.
"""

import csv
import re
import sqlite3
from functools import lru_cache

import geopandas as gpd
import shapely
import sqlglot
from sqlglot import exp
from sqlglot.errors import SqlglotError

TABLES = ("legend", "mapunit", "component", "chorizon", "chfrags")
KEYS = {"mapunit": "mukey", "component": "cokey", "chorizon": "chkey", "chfrags": "chfragskey"}
FUNCTIONS = {
    "STGEOMFROMTEXT": lambda text, code: _checked(text, code),  # noqa: PLW0108 it comes below
    "MAKEVALID": lambda text: _written(shapely.make_valid(_shape(text))),
    "STINTERSECTS": lambda one, other: int(_shape(one).intersects(_shape(other))),
    "STINTERSECTION": lambda one, other: _written(_shape(one).intersection(_shape(other))),
    "STASTEXT": lambda text: text,
    "STNUMPOINTS": lambda text: int(shapely.get_num_coordinates(_shape(text))),
}
ARGUMENTS = {"STGEOMFROMTEXT": 2, "STINTERSECTS": 2, "STINTERSECTION": 2}


class RefusedError(Exception):
    """The words in which the service refuses a query."""


class SurveyTables:
    """What the service holds.

    `downloads` are folders with `spatial` and `tabular`; `refreshed` is of all their areas.
    """

    def __init__(self, downloads, refreshed="2025-09-04 17:25:44", version="31"):
        self.database = sqlite3.connect(":memory:", check_same_thread=False)
        self.polygons = 0
        for name, work in FUNCTIONS.items():
            self.database.create_function(name, ARGUMENTS.get(name, 1), work, deterministic=True)
        self.database.execute(
            "CREATE TABLE mupolygon (areasymbol, spatialversion, musym, nationalmusym, mukey,"
            " muareaacres, mupolygongeo, mupolygonkey)"
        )
        self.database.execute("CREATE TABLE sacatalog (areasymbol, areaname, saversion, saverest)")
        for folder in downloads:
            self._load(folder)
        for area, name in self.database.execute(
            "SELECT areasymbol, areaname FROM legend"
        ).fetchall():
            row = (area, name, version, refreshed)
            self.database.execute("INSERT INTO sacatalog VALUES (?, ?, ?, ?)", row)

    def refresh(self, day):
        """Let a year's refresh come."""
        self.database.execute("UPDATE sacatalog SET saverest = ?", (f"{day} 17:25:44",))

    def run(self, query):
        """Names of columns, and rows in text; raises RefusedError in the service's words."""
        try:
            (tree,) = sqlglot.parse(query, read="tsql")
        except (SqlglotError, ValueError) as error:
            raise RefusedError("Invalid query: Incorrect syntax.") from error
        if not isinstance(tree, exp.Select):
            raise RefusedError("Invalid query: only SELECT is allowed.")
        for table in tree.find_all(exp.Table):
            if table.name.lower() not in {*TABLES, "mupolygon", "sacatalog"}:
                raise RefusedError(f"Invalid query: Invalid object name '{table.name}'.")
        try:
            cursor = self.database.execute(tree.transform(_plain).sql(dialect="sqlite"))
            rows = cursor.fetchall()
        except sqlite3.OperationalError as error:
            words = str(error)
            column = re.search(r"no such column: \w+\.(\w+)", words)
            words = f"Invalid column name '{column[1]}'." if column else words
            raise RefusedError(f"Invalid query: {words}") from error
        return [each[0] for each in cursor.description], [
            [_cell(each) for each in row] for row in rows
        ]

    def _load(self, folder):
        tabular = folder / "tabular"
        stems = {row[0]: row[4] for row in _rows(tabular / "mstab.txt")}
        heads = {}
        for row in _rows(tabular / "mstabcol.txt"):
            heads.setdefault(row[0], {})[int(row[1])] = row[2]
        for table in TABLES:
            columns = [heads[table][number] for number in sorted(heads[table])]
            named = ", ".join(f'"{name}"' for name in columns)
            key = f", UNIQUE ({KEYS.get(table, 'areasymbol')})"
            self.database.execute(f"CREATE TABLE IF NOT EXISTS {table} ({named}{key})")
            marks = ", ".join("?" * len(columns))
            self.database.executemany(
                f"INSERT OR IGNORE INTO {table} VALUES ({marks})",
                ([each or None for each in row] for row in _rows(tabular / f"{stems[table]}.txt")),
            )
        (path,) = (folder / "spatial").glob("soilmu_a_*.shp")
        frame = gpd.read_file(path).to_crs("EPSG:4326")
        frame.columns = [str(name).lower() for name in frame.columns]
        symbol = self.database.execute("SELECT areasymbol FROM legend").fetchone()[0]
        for row in frame.itertuples():
            self.polygons += 1
            values = (
                getattr(row, "areasymbol", symbol), "5", row.musym, None, str(row.mukey), None,
                _written(row.geometry), str(500000 + self.polygons),
            )  # fmt: skip
            self.database.execute("INSERT INTO mupolygon VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)


def _plain(node):
    """A method of the geometry type as a function."""
    if isinstance(node, exp.ScopeResolution):
        return node.expression.transform(_plain)
    if isinstance(node, exp.Dot):
        owner, part = node.this.transform(_plain), node.expression
        if isinstance(part, exp.Anonymous):
            given = [expression.transform(_plain) for expression in part.expressions]
            return exp.Anonymous(this=part.name.upper(), expressions=[owner, *given])
        return exp.column(part.name, table=owner.name)
    return node


def _rows(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return [row for row in csv.reader(file, delimiter="|") if row]


@lru_cache(maxsize=512)
def _shape(text):
    return shapely.from_wkt(text)


def _checked(text, code):
    if code != 4326 or not re.fullmatch(r"(MULTI)?POLYGON \([-0-9., ()e]+\)", text):
        raise ValueError("24200: The specified input does not represent a valid geometry")
    return text


def _written(shape):
    return shapely.to_wkt(shape, rounding_precision=15)


def _cell(value):
    """Every value is a text or null, numbers too."""
    return None if value is None else str(value)
