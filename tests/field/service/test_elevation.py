"""The client of the elevation service: what it asks, what it believes, and its faults."""

from dataclasses import replace
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from affine import Affine
from rasterio.io import MemoryFile
from shapely.geometry import box

from tests.field.service.conftest import NOON
from tests.helpers.public_service import Fault, hill_m, page
from zoneplan.errors import ServiceError
from zoneplan.field.raster.heights import MARGIN_M, read_elevation
from zoneplan.field.raster.terrain import read_terrain
from zoneplan.field.service import ground
from zoneplan.field.service.elevation import AROUND_M, HeightService, believed
from zoneplan.field.service.ground import tiles_of

TIFF = "image/tiff"
TOO_BIG = Fault(
    body=b'{"error": {"code": 400, "message": "Invalid or missing input parameters.", '
    b'"details": ["The requested image exceeds the size limit."]}}',
    kind=TIFF,
)
EXPORTING = Fault(500, b"Error exporting image", "text/html")


def asked(seen):
    return {name: value[0] for name, value in parse_qs(urlsplit(seen.path).query).items()}


METRES = Affine(1, 0, 491530, 0, -1, 4710803)  # a cell is one


def tiff(cells, crs="EPSG:26916", transform=METRES, count=1):
    rows, columns = cells.shape
    with MemoryFile() as file:
        with file.open(
            driver="GTiff", width=columns, height=rows, count=count, dtype="float32", crs=crs,
            transform=transform,
        ) as target:  # fmt: skip
            for band in range(1, count + 1):
                target.write(cells.astype("float32"), band)
        return Fault(body=file.read(), kind=TIFF)


def read(answer, field, folder):
    path = folder / answer.name
    path.write_bytes(answer.content)
    return read_elevation(path, field)


def test_it_asks_for_plain_heights_in_metres(heights, server, plot):
    heights.heights(plot)
    (seen,) = server.seen
    result = asked(seen)
    west, south, east, north = map(float, result.pop("bbox").split(","))
    across, down = map(int, result.pop("size").split(","))
    assert result == {
        "bboxSR": "26916",  # UTM 16 north, NAD 83, where the demo field lies
        "imageSR": "26916",
        "format": "tiff",
        "pixelType": "F32",
        "interpolation": "RSP_BilinearInterpolation",
        "noDataInterpretation": "esriNoDataMatchAny",
        "adjustAspectRatio": "false",
        "f": "image",
    }
    assert (east - west, north - south) == (across, down)  # of a metre, square
    span_m = plot.shape.bounds[2] - plot.shape.bounds[0]
    assert east - west >= span_m + 2 * MARGIN_M
    assert max(across, down) <= 2000
    assert seen.headers["user-agent"].startswith("zoneplan/")


def test_the_heights_are_those_of_the_hill(heights, plot, tmp_path):
    grid = read(heights.heights(plot), plot, tmp_path)
    cells = grid.values["elevation"]
    assert not np.isnan(cells).any()
    # 300 m, waves of 4 and 3 m, and a slope that has risen by 18 to 22 m here.
    assert 300 + 18 - 7 <= cells.min() < cells.max() <= 300 + 22 + 7


def test_a_plan_can_say_whose_heights_they_are_and_when_they_were_asked_for(
    heights, plot, tmp_path
):
    answer = heights.heights(plot)
    path = tmp_path / answer.name
    path.write_bytes(answer.content)
    layer = read_terrain(path, plot)
    (result,) = (note for note in layer.notes if note.code == "heights-asked")
    assert dict(result.values) == {
        "asked": "2026-11-28",
        "asked_of": heights.host,
        "cell_m": 1.0,
        "gaps": False,
    }
    assert "height-unit-unknown" not in [note.code for note in layer.notes]  # it says metres


@pytest.mark.parametrize(
    ("size_m", "cell_m", "tiles"), [(400, 1, 1), (2000, 1, 4), (4000, 2, 4), (9900, 3, 4)]
)
def test_a_tile_has_two_thousand_cells_at_the_most(plot, size_m, cell_m, tiles):
    field = replace(plot, shape=box(0, 0, size_m, size_m))
    laid = tiles_of(field, AROUND_M)
    assert (laid[0].cell_m, len(laid)) == (cell_m, tiles)
    assert max(max(layer.size) for layer in laid) <= 2000
    area_m2 = sum((layer.east - layer.west) * (layer.north - layer.south) for layer in laid)
    around = (
        (max(layer.east for layer in laid) - min(layer.west for layer in laid))
        * (max(layer.north for layer in laid) - min(layer.south for layer in laid))
    )  # fmt: skip
    assert area_m2 == around  # no gap, no overlap


def test_tiles_lie_together_as_one(heights, plot, tmp_path, monkeypatch):
    whole = read(heights.heights(plot), plot, tmp_path)
    monkeypatch.setattr(ground, "MOST_CELLS", 500)
    parts = read(heights.heights(plot), plot, tmp_path)
    # Stored as 32-bit numbers: 300 m to 0.03 mm.
    assert parts.values["elevation"] == pytest.approx(whole.values["elevation"], abs=1e-3)


@pytest.mark.parametrize("fault", [TOO_BIG, EXPORTING, page("Gateway Timeout", 504)])
def test_a_tile_that_is_too_much_is_asked_for_in_quarters(heights, server, plot, tmp_path, fault):
    whole = read(heights.heights(plot), plot, tmp_path)
    other = replace(plot, shape=plot.shape.buffer(3))
    server.seen.clear()
    server.faults = [fault] * (4 if fault.status == 504 else 1)  # 504 may pass by itself
    quarters = read(heights.heights(other), plot, tmp_path)
    assert len(server.seen) == len([fault] * (4 if fault.status == 504 else 1)) + 4
    assert quarters.values["elevation"] == pytest.approx(whole.values["elevation"], abs=1e-3)


def test_where_a_tile_lies_is_read_from_the_tile(heights, server, plot, tmp_path):
    """A server may move the box to make its own cells square: 1.5 m here, and wider."""
    transform = Affine(1.5, 0, 491400, 0, -1.5, 4710950)
    columns, rows = np.meshgrid(np.arange(1100) + 0.5, np.arange(1100) + 0.5)
    server.faults = [tiff(hill_m(*(transform * (columns, rows))), transform=transform)]
    moved = read(heights.heights(plot), plot, tmp_path)
    true = read(heights.heights(replace(plot, shape=plot.shape.buffer(3))), plot, tmp_path)
    # Means over 5 m of heights 1 m and 1.5 m apart; the hill is steepest at 4 in 150.
    assert moved.values["elevation"] == pytest.approx(true.values["elevation"], abs=0.05)


# ---- what is no height -------------------------------------------------------------------------


@pytest.mark.parametrize("code", [-3.4028234663852886e38, -9999, -32768, np.nan, np.inf, 32767, 0])
def test_codes_for_none_are_no_heights(code):
    cells = believed(np.array([[300.0, code], [301.0, 302.0]]))
    assert np.isnan(cells).tolist() == [[False, True], [False, False]]


def test_low_ground_is_ground():
    assert believed(np.array([-85.0, -0.5, 0.3])).tolist() == [-85.0, -0.5, 0.3]


def test_a_gap_beside_the_field_is_told(heights, server, plot, tmp_path):
    server.height_m = lambda x, y: np.where(x < x.min() + 100, np.nan, hill_m(x, y))
    answer = heights.heights(plot)
    assert answer.gaps
    path = tmp_path / answer.name
    path.write_bytes(answer.content)
    (result,) = (note for note in read_terrain(path, plot).notes if note.code == "heights-asked")
    assert result["gaps"]


@pytest.mark.parametrize("hole", [np.nan, 0.0, -9999.0])
def test_a_hole_in_the_field_is_told_and_not_filled(heights, server, plot, hole):
    def holed(x, y):
        middle = (abs(x - x.mean()) < 50) & (abs(y - y.mean()) < 50)
        return np.where(middle, hole, hill_m(x, y))

    server.height_m = holed
    with pytest.raises(ServiceError, match=r"no heights on .* % of Plot") as caught:
        heights.heights(plot)
    assert caught.value.code == "service-no-ground"


# ---- faults ------------------------------------------------------------------------------------

GROUND = hill_m(*np.meshgrid(np.arange(50.0), np.arange(50.0)))
FAULTS = {
    "a fault in JSON, called a picture": (
        Fault(body=b'{"error": {"code": 499, "message": "Token Required"}}', kind=TIFF),
        "service-refuses",
        "Token Required",
    ),
    "a picture": (Fault(body=b"\x89PNG\r\n\x1a\n", kind=TIFF), "service-down", "something else"),
    "a page": (page("Down"), "service-down", "a page"),
    "a page at 502": (page("Bad Gateway", 502), "service-down", "status 502"),
    "nothing": (Fault(kind=TIFF), "service-down", "status 200"),
    "half a file": (
        Fault(share=0.5),
        "service-cut-off",
        "damaged or cut",
    ),
    "another system": (tiff(GROUND, "EPSG:3857"), "service-strange", "EPSG:3857"),
    "no system": (tiff(GROUND, None), "service-strange", "not told"),
    "two bands": (tiff(GROUND, count=2), "service-strange", "2 bands"),
    "another place": (
        tiff(GROUND, transform=Affine(1, 0, 300000, 0, -1, 4000000)),
        "service-strange",
        "another place",
    ),
    "a corner of it": (
        tiff(GROUND, transform=Affine(1, 0, 491950, 0, -1, 4710400)),
        "service-no-ground",
        "no heights on",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_told_for_what_it_is(heights, server, plot, name):
    fault, code, words = FAULTS[name]
    server.always = fault
    with pytest.raises(ServiceError, match=words) as caught:
        heights.heights(plot)
    assert caught.value.code == code
    assert "heights of your own" in str(caught.value)


@pytest.mark.parametrize("name", ["a page", "half a file", "another system"])
def test_nothing_of_a_fault_is_kept(heights, server, plot, cache, name):
    server.always = FAULTS[name][0]
    with pytest.raises(ServiceError):
        heights.heights(plot)
    assert cache.entries() == []


def test_what_stays_too_much_is_told_after_a_bounded_number_of_questions(heights, server, plot):
    server.always = TOO_BIG
    with pytest.raises(ServiceError, match="exceeds the size limit"):
        heights.heights(plot)
    assert len(server.seen) <= 5


# ---- the cache ---------------------------------------------------------------------------------


def test_the_same_ground_is_asked_for_once(client, server, plot):
    first = client(HeightService).heights(plot)
    later = client(HeightService, now=NOON + timedelta(days=30)).heights(plot)
    assert len(server.seen) == 1
    assert later.content == first.content
    assert later.asked == first.asked


def test_refresh_and_age_ask_again(client, server, plot):
    client(HeightService).heights(plot)
    client(HeightService, refresh=True).heights(plot)
    client(HeightService, now=NOON + timedelta(days=400)).heights(plot)
    assert len(server.seen) == 3


def test_offline_nothing_is_asked(client, server, plot):
    with pytest.raises(ServiceError, match="not in the cache"):
        client(HeightService, offline=True).heights(plot)
    assert server.seen == []
    first = client(HeightService).heights(plot)
    offline = client(HeightService, offline=True, now=NOON + timedelta(days=900))
    assert offline.heights(plot).content == first.content


def test_a_fault_of_json_that_goes_deep_is_no_crash(heights, server, plot):
    server.always = Fault(body=b'{"error": ' * 3000, kind=TIFF)
    with pytest.raises(ServiceError, match="something else in place of heights"):
        heights.heights(plot)
