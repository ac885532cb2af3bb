"""Zones drawn by hand: what they are called, who wins, and what is refused."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import LineString, box

from tests.field.ground import BOW_TIE, LOCAL, SQUARE, field_of, layer_of, write_geojson
from tests.helpers.frames import frame_of
from tests.telling import sentences
from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84
from zoneplan.field.drawn import read_drawn
from zoneplan.field.overlay import overlay

WEST, SOUTH = box(-20, -20, 200, 420), box(-20, -20, 420, 100)


def parts_ha(layer, shape=SQUARE):
    """Area of every drawn part in the field, after the overlay. [ha]"""
    soil = layer_of({"soil": box(-9, -9, 409, 409)})
    pieces = frame_of(overlay(field_of(shape), [soil], [layer]).pieces)
    assert pieces.area.sum() == pytest.approx(shape.area, rel=1e-9)
    areas_ha = {}
    for site, area_m2 in zip(pieces["site"], pieces.area, strict=True):
        name = site.part and site.part.name
        areas_ha[name] = areas_ha.get(name, 0.0) + area_m2 / 1e4
    return areas_ha


@pytest.mark.parametrize("column", ["name", "Zone", "LABEL"])
def test_names_are_found(tmp_path, column):
    path = write_geojson(tmp_path / "wet spots.geojson", [WEST], [{"id": 7, column: " the low "}])
    layer = read_drawn(path, field_of(SQUARE))
    assert (layer.name, layer.notes) == ("wet spots", ())
    assert parts_ha(layer) == pytest.approx({"the low": 8, None: 8}, abs=1e-3)


def test_what_has_no_name_is_numbered_as_it_lies(tmp_path):
    shapes = [box(0, 0, 100, 400), box(100, 0, 200, 400), box(200, 0, 300, 400)]
    path = write_geojson(tmp_path / "d.geojson", shapes, [{}, {"name": "b"}, {"name": ""}])
    assert parts_ha(read_drawn(path, field_of(SQUARE))) == pytest.approx(
        {"drawn 1": 4, "b": 4, "drawn 3": 4, None: 4}, abs=1e-3
    )


def test_the_first_of_two_that_overlap_wins_and_it_is_said(tmp_path):
    # WORKED: they share 200 x 100 m2 of the field.
    rows = [{"name": "low"}, {"name": "high"}]
    layer = read_drawn(write_geojson(tmp_path / "d.geojson", [WEST, SOUTH], rows), field_of(SQUARE))
    assert sentences(layer.notes) == (
        "low and high overlap on 2.00 ha: low comes first, and wins.",
    )
    assert parts_ha(layer) == pytest.approx({"low": 8, "high": 2, None: 6}, abs=1e-3)


def test_no_overlap_is_said_of_a_hairline_or_of_one_part(tmp_path):
    shapes = [box(0, 0, 200.05, 400), box(200, 0, 300, 400), box(250, 0, 400, 400)]
    rows = [{"name": "low"}, {"name": "high"}, {"name": "high"}]
    layer = read_drawn(write_geojson(tmp_path / "d.geojson", shapes, rows), field_of(SQUARE))
    assert layer.notes == ()
    assert parts_ha(layer) == pytest.approx({"low": 8, "high": 8}, abs=1e-2)


def test_what_lies_outside_is_left_out_and_said(tmp_path):
    shapes = [WEST, translate(WEST, 5000, 0), translate(BOW_TIE, 9000, 0)]
    layer = read_drawn(write_geojson(tmp_path / "d.geojson", shapes), field_of(SQUARE))
    assert sentences(layer.notes) == ("2 of 3 shapes lie outside the field.",)
    assert parts_ha(layer) == pytest.approx({"drawn 1": 8, None: 8}, abs=1e-3)


def test_a_system_that_is_not_stated_is_asked_for(tmp_path):
    path = tmp_path / "d.shp"
    gpd.GeoDataFrame({"name": ["low"]}, geometry=[WEST], crs=LOCAL).to_crs(WGS_84).to_file(path)
    path.with_suffix(".prj").unlink()
    with pytest.raises(LayerError) as fault:
        read_drawn(path, field_of(SQUARE))
    assert fault.value.parameters == ("crs",)
    layer = read_drawn(path, field_of(SQUARE), crs="EPSG:4326")
    assert parts_ha(layer) == pytest.approx({"low": 8, None: 8}, abs=1e-3)


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (translate(WEST, 5000, 0), "do not meet"),
        (BOW_TIE, "A polygon of d.geojson crosses itself"),
        (LineString([(0, 0), (400, 400)]), "LineString"),
    ],
)
def test_what_cannot_be_drawn_is_refused(tmp_path, shape, words):
    path = write_geojson(tmp_path / "d.geojson", [shape])
    with pytest.raises(LayerError, match=words):
        read_drawn(path, field_of(SQUARE))


def test_swapped_coordinates_show_in_the_message(tmp_path):
    path = tmp_path / "d.geojson"
    swapped = box(42, -93.5, 42.01, -93.49)
    gpd.GeoDataFrame(geometry=[swapped], crs=WGS_84).to_file(path, driver="GeoJSON")
    with pytest.raises(LayerError) as fault:
        read_drawn(path, field_of(SQUARE))
    for word in ["do not meet", "latitude 41.99", "latitude -93.5000", "misstated"]:
        assert word in str(fault.value)


def test_only_neighbours_are_looked_at_for_an_overlap(tmp_path, monkeypatch):
    # WORKED: of 400 squares each touches 8 at the most, and two overlap; each two would be 79,800.
    looked_at = []
    as_ever = shapely.intersection

    def counted(one, other, **how):
        looked_at.append(np.size(one))
        return as_ever(one, other, **how)

    monkeypatch.setattr(shapely, "intersection", counted)
    squares = [box(20 * x, 20 * y, 20 * x + 20, 20 * y + 20) for x in range(20) for y in range(20)]
    squares[0] = box(0, 0, 25, 20)
    layer = read_drawn(write_geojson(tmp_path / "zones.geojson", squares), field_of(SQUARE))
    assert max(looked_at) <= 4 * 400
    assert [note.code for note in layer.notes] == ["drawn-overlap"]
