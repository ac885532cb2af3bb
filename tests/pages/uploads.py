"""Files as a browser sends them: (name, bytes, type), made in memory from the demo fields."""

import io
import json
import zipfile

import numpy as np
from rasterio.io import MemoryFile
from rasterio.transform import from_bounds
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
        zipped({str(file.relative_to(folder)): file.read_bytes() for file in files_in(folder)}),
    )


def machine(demo):
    return upload("machine.toml", DEMOS[demo].machine.read_bytes())


def files_in(folder):
    return sorted(path for path in folder.rglob("*") if path.is_file())


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


def tif(name, west, east):
    """A raster over the square: one value in its western half, another in its eastern."""
    values = np.repeat([[west] * 6 + [east] * 6], 9, axis=0).astype("float32")
    return upload(name, raster(values))


def hill():
    """Heights that fall from the north-west, 6 m to the south and 1 m to the east."""
    return upload("heights.tif", raster(np.add.outer(np.linspace(6, 0, 45), np.linspace(1, 0, 60))))


def raster(values):
    rows, columns = values.shape
    with MemoryFile() as file:
        with file.open(
            driver="GTiff",
            width=columns,
            height=rows,
            count=1,
            dtype="float32",
            crs="EPSG:4326",
            transform=from_bounds(*SQUARE.bounds, columns, rows),
        ) as target:
            target.write(values.astype("float32"), 1)
        return file.read()


def table(name, heads, says, every=12):
    """A CSV of points spread over the square: what is said of each, 0 to 1 from the west."""
    west, south, east, north = SQUARE.bounds
    lines = [heads]
    for across in np.linspace(0.02, 0.98, every):
        for up in np.linspace(0.02, 0.98, every):
            east_deg, north_deg = west + across * (east - west), south + up * (north - south)
            lines.append(f"{east_deg:.7f},{north_deg:.7f},{says(across)}")
    return upload(name, "\n".join(lines).encode())
