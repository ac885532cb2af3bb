"""Everything that a hand-out says: every file opened by another reader, down to zips in zips."""

import io
import json
import sqlite3
import zipfile
from contextlib import closing
from pathlib import PurePosixPath
from tempfile import NamedTemporaryFile
from xml.etree import ElementTree

import geopandas as gpd
import shapefile
import shapely
from pypdf import PdfReader

from tests.export.plans import small_plan
from zoneplan.book.put_out import FieldPlan, HandOut


class Opened:
    """What was read: the words of every file, and every place on earth that a file names."""

    def __init__(self):
        self.words = {}
        self.places = {}

    def open(self, name, content):
        """Open a file by its ending; one that nobody here can read is a fault of the test."""
        read = getattr(self, f"_{PurePosixPath(name).suffix[1:].lower()}")
        self.words[name] = name
        read(name, content)

    def _say(self, name, words):
        self.words[name] += f"\n{words}"

    def _zip(self, name, content):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = {member: archive.read(member) for member in archive.namelist()}
        stems = {member.rpartition(".")[0] for member in members if member.endswith(".shp")}
        for stem in stems:
            parts = {end: io.BytesIO(members[f"{stem}.{end}"]) for end in ("shp", "shx", "dbf")}
            with shapefile.Reader(**parts, encoding="utf-8") as layer:
                rows = [list(record.record) for record in layer.iterShapeRecords()]
                self._say(name, json.dumps([rows, [*members]], ensure_ascii=False, default=str))
                self.places[name] = [
                    point for shape in layer.iterShapes() for point in shape.points
                ]
        for member, inside in members.items():
            if member.rpartition(".")[0] not in stems:
                self.open(f"{name}/{member}", inside)

    def _pdf(self, name, content):
        reader = PdfReader(io.BytesIO(content))
        marks = json.dumps([str(item) for item in _flat(reader.outline)])
        pages = "\n".join(
            page.extract_text().replace("\u200b", "").replace("\u00a0", " ")
            for page in reader.pages
        )
        self._say(name, f"{marks}\n{dict(reader.metadata or {})}\n{pages}")

    def _xml(self, name, content):
        root = ElementTree.fromstring(content)
        self._say(name, content.decode("utf-8"))
        self.places[name] = [
            (float(point.get("D")), float(point.get("C"))) for point in root.iter("PNT")
        ]

    def _geojson(self, name, content):
        self._say(name, content.decode("utf-8"))
        shapes = [
            shapely.from_geojson(json.dumps(feature["geometry"]))
            for feature in json.loads(content)["features"]
        ]
        self.places[name] = shapely.get_coordinates(shapes).tolist()

    def _gpkg(self, name, content):
        with NamedTemporaryFile(suffix=".gpkg") as file:
            file.write(content)
            file.flush()
            self.places[name] = shapely.get_coordinates(
                gpd.read_file(file.name, layer="zones").geometry
            ).tolist()
            with closing(sqlite3.connect(file.name)) as database:
                cells = [
                    row
                    for (table,) in database.execute(
                        "SELECT name FROM sqlite_master WHERE type='table'"
                    ).fetchall()
                    for row in database.execute(f'SELECT * FROM "{table}"')
                ]
        self._say(name, str(cells))

    def _json(self, name, content):
        self._say(name, content.decode("utf-8"))
        document = json.loads(content)
        if "field" in document and "crs" in document["field"]:
            crs = dict(
                part[1:].split("=") for part in document["field"]["crs"].split() if "=" in part
            )
            self.places[name] = [(float(crs["lon_0"]), float(crs["lat_0"]))]

    def _csv(self, name, content):
        self._say(name, content.decode("utf-8"))

    _html = _csv


def _flat(outline):
    for item in outline:
        if isinstance(item, list):
            yield from _flat(item)
        else:
            yield item["/Title"]


def opened(folder):
    """Open every file below a folder."""
    everything = Opened()
    for path in sorted(file for file in folder.rglob("*") if file.is_file()):
        everything.open(path.relative_to(folder).as_posix(), path.read_bytes())
    return everything


def at(longitude, latitude, name="North forty", plan=None):
    """The small plan, elsewhere on earth."""
    from dataclasses import replace

    plan = plan or small_plan()
    crs = f"+proj=laea +lat_0={latitude} +lon_0={longitude} +datum=WGS84 +units=m"
    return replace(plan, field=replace(plan.field, crs=crs, name=name))


def field_plan(farm, field, longitude, latitude, revision=1, digest="0a" * 32):
    """A field of a grower, at a place of its own."""
    return FieldPlan(farm, field, revision, digest, at(longitude, latitude))


def given(grower, *fields, season="2027", prepared_by="Neverwas Growers Co-op"):
    """What a grower gets."""
    return HandOut(grower, season, prepared_by, tuple(fields))
