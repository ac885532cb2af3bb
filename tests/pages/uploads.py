"""Files as a browser sends them: (name, bytes, type), made in memory from the demo fields."""

import io
import json
import zipfile

from shapely.geometry import box, mapping

from zoneplan.demo import demo_fields

DEMOS = {demo.name: demo for demo in demo_fields()}
HOSTILE = "<img src=x onerror=alert(1)><script>alert(2)</script> **x** $x$ :red[y] [z](http://z)"


def upload(name, content):
    return (name, content, "application/octet-stream")


def boundary(demo):
    path = DEMOS[demo].boundary
    return upload(path.name, path.read_bytes())


def survey(demo):
    folder = DEMOS[demo].survey
    return upload(
        "survey.zip",
        zipped({str(it.relative_to(folder)): it.read_bytes() for it in files_in(folder)}),
    )


def machine(demo):
    return upload("machine.toml", DEMOS[demo].machine.read_bytes())


def files_in(folder):
    return sorted(it for it in folder.rglob("*") if it.is_file())


def zipped(files):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed.getvalue()


def features(*shaped):
    """GeoJSON of (shape, properties)."""
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": properties, "geometry": mapping(shape)}
                for shape, properties in shaped
            ],
        }
    ).encode()


# Two soils side by side on about 25 acres, and the field over both.
WEST, EAST = box(-93.004, 42, -93.002, 42.003), box(-93.002, 42, -93, 42.003)
SQUARE = box(-93.004, 42, -93, 42.003)
TWO_SOILS = upload(
    "soils.geojson",
    features((WEST, {"texture": "loam"}), (EAST, {"texture": "silty clay"})),
)


def square(**properties):
    return upload("square.geojson", features((SQUARE, properties)))
