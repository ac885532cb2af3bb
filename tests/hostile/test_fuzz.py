"""Whatever comes in at a door is read or refused in words, in bounded time: tried at random.

Run with: pytest -m hostile tests/hostile/test_fuzz.py
A long run: ZONEPLAN_FUZZ=20000 pytest -m hostile -n 0 tests/hostile/test_fuzz.py
"""

import dataclasses
import json
import os
import tempfile
from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.hostile import bundles, geojson, rasters, texts, vectors
from tests.hostile.doors import BUNDLES, FIELD, RASTERS, TEXTS, VECTORS
from zoneplan.errors import ZoneplanError
from zoneplan.field.layer import read_layer
from zoneplan.request import Request

pytestmark = pytest.mark.hostile

TIMES = int(os.environ.get("ZONEPLAN_FUZZ", "25"))
FUZZ = settings(
    max_examples=TIMES,
    deadline=None,
    derandomize="ZONEPLAN_FUZZ" not in os.environ,  # the same inputs in every short run
    suppress_health_check=[*HealthCheck],
    database=None,
)
_NUMBERS = st.one_of(
    st.integers(),
    st.integers(-(10**400), 10**400),
    st.floats(),
    st.sampled_from([0, -1, 1e308, -1e308, 1e-308, 2**31, 2**63, 90, 180]),
)
_TEXT = st.text(max_size=30)
_VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), _NUMBERS, _TEXT),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_TEXT, inner, max_size=4),
    max_leaves=12,
)


def tried(door, data: bytes, name: str) -> None:
    """Read it or refuse it: any other error is a fault of ours, and fails the test."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, name)
        path.write_bytes(data)
        tried_path(door, path)


def tried_path(door, path: Path) -> None:
    try:
        door(path)
    except ZoneplanError as error:
        words = str(error)
        assert 0 < len(words) < 10_000
        assert "Traceback" not in words


@st.composite
def mangled(draw, whole: bytes, most: int = 12) -> bytes:
    """A sound file in which some bytes were changed, cut out or put in."""
    data = bytearray(whole)
    for _ in range(draw(st.integers(1, most))):
        at = draw(st.integers(0, max(len(data) - 1, 0)))
        how = draw(st.sampled_from(["turn", "set", "cut", "put", "end", "again"]))
        if how == "turn" and data:
            data[at] ^= 1 << draw(st.integers(0, 7))
        elif how == "set":
            piece = draw(
                st.sampled_from(
                    [b"\x00" * 4, b"\xff" * 4, b"\xff\xff\xff\x7f", b"\x00\x00\x00\x80"]
                )
            )
            data[at : at + len(piece)] = piece
        elif how == "cut":
            del data[at : at + draw(st.integers(1, 40))]
        elif how == "put":
            data[at:at] = draw(st.binary(max_size=20))
        elif how == "end" and draw(st.integers(0, 9)) == 0:
            del data[at:]
        elif how == "again":
            data[at:at] = data[at : at + draw(st.integers(1, 60))]
    return bytes(data)


@lru_cache(maxsize=1)
def sound() -> dict[str, bytes]:
    """Sound files of each kind, by name."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        shp = vectors.shapefile(home)
        files = {file.name: file.read_bytes() for file in home.iterdir()}
        assert shp.name in files
        files["field.gpkg"] = vectors.geopackage(home).read_bytes()
        files["heights.tif"] = rasters._write(home / "heights.tif", compress="deflate").read_bytes()
        files["saved.zip"] = bundles.saved(bundles.ASKED, bundles._answer().plan)
    files["field.geojson"] = geojson.collection(geojson.feature(name="North", n=1)).encode()
    files["field.kml"] = geojson._kml(geojson._placemark(geojson._PLACES)).encode()
    files["answer.json"] = texts._one().encode()
    files["points.csv"] = (texts._CSV + texts._MANY).encode()
    files["heights.asc"] = (rasters._head() + rasters._ROWS).encode()
    files["machine.toml"] = texts.SPRINGS.encode()
    files["rules.toml"] = (texts._HEAD + texts._RULE.format(5)).encode()
    files["observation.toml"] = texts._OBSERVED.encode()
    files["field.zip"] = _zipped({"a/field.geojson": files["field.geojson"]})
    return files


def _zipped(files: dict[str, bytes]) -> bytes:
    from zoneplan.export.zone_files import zipped

    return zipped(files)


DOORS = {
    "field.geojson": VECTORS["boundary"],
    "field.kml": VECTORS["boundary"],
    "field.gpkg": VECTORS["boundary"],
    "field.zip": VECTORS["soil"],
    "answer.json": VECTORS["soil"],
    "points.csv": lambda path: read_layer(path, FIELD),
    "heights.tif": RASTERS["elevation"],
    "heights.asc": RASTERS["elevation"],
    "machine.toml": TEXTS["machine"],
    "rules.toml": TEXTS["rules"],
    "observation.toml": TEXTS["observation"],
    "saved.zip": BUNDLES["saved plan"],
}


@pytest.mark.parametrize("name", DOORS)
def test_mangled(name):
    @FUZZ
    @given(mangled(sound()[name]))
    def look(data):
        tried(DOORS[name], data, name)

    look()


@pytest.mark.parametrize("ending", [".shp", ".shx", ".dbf", ".prj"])
def test_a_mangled_part_of_a_shapefile(ending):
    parts = {
        name: content
        for name, content in sound().items()
        if name.partition(".")[2] in ("shp", "shx", "dbf", "prj")
    }

    @FUZZ
    @given(mangled(parts[f"field{ending}"], most=4))
    def look(data):
        with tempfile.TemporaryDirectory() as folder:
            for name, content in (parts | {f"field{ending}": data}).items():
                Path(folder, name).write_bytes(content)
            tried_path(VECTORS["boundary"], Path(folder, "field.shp"))

    look()


@FUZZ
@given(
    st.dictionaries(st.sampled_from(["type", "crs", "features", "name", "bbox", "links"]), _VALUES),
    _VALUES,
    _VALUES,
)
def test_geojson_of_any_values(collection, geometry, properties):
    whole = {
        "type": "FeatureCollection",
        "features": [{"type": "Feature", "geometry": geometry, "properties": properties}],
    }
    tried(
        VECTORS["boundary"],
        json.dumps(whole | collection).encode("utf-8", "surrogatepass"),
        "field.geojson",
    )


@FUZZ
@given(st.lists(st.lists(_NUMBERS, max_size=4), max_size=8), st.booleans())
def test_a_boundary_of_any_numbers(ring, closed):
    collection = geojson.collection(geojson.feature(ring + ring[:1] if closed else ring))
    tried(VECTORS["boundary"], collection.encode(), "field.geojson")
    tried(VECTORS["drawn"], collection.encode(), "drawn.geojson")
    tried(VECTORS["tracks"], collection.encode(), "tracks.geojson")


@FUZZ
@given(
    st.lists(
        st.tuples(st.floats(-93.501, -93.499), st.floats(41.999, 42.001)), min_size=3, max_size=8
    )
)
def test_a_boundary_of_any_places_near_the_field(ring):
    collection = geojson.collection(geojson.feature([*ring, ring[0]]))
    for door in ("boundary", "drawn", "tracks"):
        tried(VECTORS[door], collection.encode(), "field.geojson")


@FUZZ
@given(st.dictionaries(st.sampled_from(texts._NAMES), _VALUES), _VALUES)
def test_an_answer_of_any_values(changed, table):
    tried(VECTORS["soil"], texts._one(**changed).encode("utf-8", "surrogatepass"), "answer.json")
    tried(
        VECTORS["soil"],
        json.dumps({"Table": table}).encode("utf-8", "surrogatepass"),
        "answer.json",
    )


def _toml(value) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, float):
        return str(value)  # inf, -inf and nan are TOML too
    return '""' if value is None else json.dumps(value)


@FUZZ
@given(st.sampled_from([*texts._KEYS, "swing", "disc_diameter", "test_weight", "x"]), _VALUES)
def test_a_machine_of_any_values(key, value):
    text = texts._but(key, _toml(value))
    tried(TEXTS["machine"], text.encode("utf-8", "surrogatepass"), "machine.toml")


@FUZZ
@given(
    st.sampled_from(["add", "when", "per", "most", "id", "title", "source", "confidence"]), _VALUES
)
def test_rules_of_any_values(key, value):
    text = f"{texts._HEAD}[[adjust]]\nid = 'x'\n{key} = {_toml(value)}\n".replace(
        "id = 'x'\nid", "id"
    )
    tried(TEXTS["rules"], text.encode("utf-8", "surrogatepass"), "rules.toml")


@FUZZ
@given(
    st.sampled_from(["zone", "moisture", "fill", "setting", "margin", "notch", "gauge"]), _VALUES
)
def test_an_observation_of_any_values(key, value):
    lines = [line for line in texts._OBSERVED.splitlines() if not line.startswith(f"{key} ")]
    text = "\n".join([*lines, f"{key} = {_toml(value)}"])
    tried(TEXTS["observation"], text.encode("utf-8", "surrogatepass"), "observation.toml")


@FUZZ
@given(
    st.text(alphabet='0123456789.,;\t"-eE nalonitudcysx\n', max_size=200), st.binary(max_size=60)
)
def test_a_table_of_any_letters(text, more):
    head = texts._CSV.encode()
    door = DOORS["points.csv"]
    tried(door, head + text.encode() + more, "points.csv")
    tried(door, text.encode(), "points.csv")


@FUZZ
@given(st.sampled_from([*DOORS, "x.shp", "x.gdb", "x.json"]), st.binary(max_size=400))
def test_any_bytes_at_any_door(name, data):
    tried(DOORS.get(name, VECTORS["soil"]), data, name)


@FUZZ
@given(
    st.booleans(),
    st.dictionaries(
        st.sampled_from(
            [
                "ground",
                "machine",
                "tillage",
                "speed_mph",
                "speed_mps",
                "least_acres",
                "boundary",
                "soils",
                "columns",
                "observations",
                "edits",
                "drawn",
                "rules",
                "sides",
                "headland",
            ]
        ),
        _VALUES,
        min_size=1,
    ),
)
def test_a_saved_plan_that_asks_anything(first, changed):
    files = dict(bundles._saved())
    work = json.loads(files["work.json"])
    if first:  # of its forms
        work |= {"schema": "zoneplan-work/1", "asked": {"ground": "creek", **changed}}
    else:
        work["request"] |= changed
        work["sources"] |= changed
    files["work.json"] = json.dumps(work).encode("utf-8", "surrogatepass")
    tried(BUNDLES["saved plan"], _zipped(files), "saved.zip")


_NAMES = st.sampled_from([field.name for field in dataclasses.fields(Request)])


@FUZZ
@given(st.dictionaries(_NAMES, _VALUES, min_size=1), st.booleans())
def test_a_request_that_asks_anything(changed, inside):
    request = {"schema": "zoneplan-work/2", "request": changed} if inside else changed
    content = json.dumps(request).encode("utf-8", "surrogatepass")
    tried(TEXTS["request"], content, "request.json")
