"""Make the three demo fields and the demo county: python demo_fields/make.py [FOLDER].

Everything is invented: the co-op, its growers, farms and townships, the outlines of the
fields, the soil map, and every soil number. How:

- The outlines and the soil map are drawn by hand in fields.py, in metres, and smoothed.
  They are then laid on the open water of a large lake, at the latitude of the corn belt,
  so that nobody's real ground is shown.
- The soils, with names that no survey uses, are written by hand in soils.toml.
  survey_files.py lays them out as a USDA soil survey download; the survey area's symbol
  begins with a state that does not exist.
- The planters, machine.toml in each field's folder, are written by hand where they stand.

- county.py lays the three sections side by side, mirrored, and cuts sixty fields of twelve
  growers from them, for a book to begin with.

Run again, it writes the same bytes. The three outlines come in three file formats, so
that every door is used:

creek   A rolling field with a waterway: loam, foot slopes of clay loam, silty clay loam
        along the drainage, a pothole, a stony knob, an eroded shoulder with a dense
        layer. Twelve rows, air at a pressure that the operator sets.
bottom  A river bottom in two parts, either side of a ditch, round a farmstead. A sandy
        ridge whose organic matter nobody measured, muck with open water in an old river
        bend, heavy clay. The survey ends short of the south edge. Hydraulic, each row.
level   Silt loam nearly throughout. Eight rows, springs.
"""

import io
import json
import sys
import tomllib
import zipfile
from pathlib import Path

import shapely
from county import CORNER, county
from drawing import coverage, to_degrees
from fields import DemoField, bottom, creek, level
from shapely.geometry import MultiPolygon, Polygon, mapping
from survey_files import shapefile, survey_files

HERE = Path(__file__).parent
NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can say


def geojson(field: DemoField) -> dict[str, bytes]:
    """Write the boundary as GeoJSON (RFC 7946: outlines run anticlockwise)."""
    feature = {
        "type": "Feature",
        "properties": field.labels,
        "geometry": mapping(shapely.orient_polygons(boundary(field))),
    }
    collection = {"type": "FeatureCollection", "features": [feature]}
    return {"boundary.geojson": (json.dumps(collection, indent=1) + "\n").encode()}


def zipped_shapefile(field: DemoField) -> dict[str, bytes]:
    """Write the boundary as a shapefile in a zip, stored plainly and undated."""
    columns = {name.upper(): [label] for name, label in field.labels.items()}
    files = shapefile([boundary(field)], columns)
    named = {f"boundary{ending}": content for ending, content in files.items()}
    return {"boundary.zip": zipped(named, zipfile.ZIP_STORED)}


def kml(field: DemoField) -> dict[str, bytes]:
    """Write the boundary as KML, which knows one outline and no system but WGS 84."""
    labels = {key: text for key, text in field.labels.items() if key != "name"}
    data = "".join(
        f'   <Data name="{key}"><value>{text}</value></Data>\n' for key, text in labels.items()
    )
    corners = " ".join(f"{x},{y}" for x, y in boundary(field).exterior.coords)
    return {
        "boundary.kml": (
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            '<kml xmlns="http://www.opengis.net/kml/2.2">\n <Document>\n  <Placemark>\n'
            f"   <name>{field.name}</name>\n   <ExtendedData>\n{data}   </ExtendedData>\n"
            f"   <Polygon><outerBoundaryIs><LinearRing><coordinates>{corners}</coordinates>"
            "</LinearRing></outerBoundaryIs></Polygon>\n"
            "  </Placemark>\n </Document>\n</kml>\n"
        ).encode()
    }


def boundary(field: DemoField) -> Polygon | MultiPolygon:
    """Give the field's outline in WGS 84."""
    return to_degrees(field.outline, field.corner)


FIELDS = {
    "creek": (creek, geojson),
    "bottom": (bottom, zipped_shapefile),
    "level": (level, kml),
}


def county_files(soils: dict) -> dict[str, bytes]:
    """Give the county's fields in one file, and its survey in a zip."""
    ground, fields = county()
    features = [
        {
            "type": "Feature",
            "properties": {"grower": field.grower, "farm": field.farm, "field": field.name},
            "geometry": mapping(shapely.orient_polygons(to_degrees(field.outline, CORNER))),
        }
        for field in fields
    ]
    lines = ",\n".join(map(json.dumps, features))
    head = '{"type": "FeatureCollection", "features": [\n'
    tiles = [(symbol, to_degrees(shape, CORNER)) for symbol, shape in ground]
    return {
        "fields.geojson": f"{head}{lines}\n]}}\n".encode(),
        "survey.zip": zipped(survey_files(tiles, soils), zipfile.ZIP_DEFLATED),
    }


def zipped(files: dict[str, bytes], method: int) -> bytes:
    """Pack files into an undated zip."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, NO_DATE), content, method)
    return packed.getvalue()


def field_files(name: str, soils: dict) -> dict[str, bytes]:
    """Give a field's boundary and its survey."""
    draw, write_boundary = FIELDS[name]
    field = draw()
    tiles = [
        (symbol, to_degrees(shape, field.corner))
        for symbol, shape in coverage(field.surveyed, field.painted)
    ]
    survey = survey_files(tiles, soils)
    return write_boundary(field) | {f"survey/{path}": data for path, data in survey.items()}


def make(folder: Path) -> None:
    """Write every field's boundary and survey into its own folder, and the county's into one."""
    soils = tomllib.loads((HERE / "soils.toml").read_text(encoding="utf-8"))
    made = {"county": county_files(soils)} | {name: field_files(name, soils) for name in FIELDS}
    for name, files in made.items():
        for path, content in files.items():
            target = folder / name / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
