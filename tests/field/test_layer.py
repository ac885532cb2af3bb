"""The one door: what it tells apart, and what it will not pass over in silence."""

from dataclasses import replace

import numpy as np
import pytest
from affine import Affine
from shapely.geometry import box

from tests.field.ground import write_geojson
from tests.field.nrcs import write_survey
from tests.field.raster.test_texture import write_tif
from zoneplan.errors import LayerError
from zoneplan.field.layer import ReadOptions, read_layers
from zoneplan.field.outline import read_field


@pytest.fixture
def field(tmp_path):
    return read_field(write_geojson(tmp_path / "field.geojson", [box(0, 0, 200, 200)], [{}]))


def log_of(field, path):
    """Conductivity on a grid of 20 m, rising to the east, in the field's own system."""
    west, south, east, north = field.shape.bounds
    places = [(x, y) for x in np.arange(west, east, 20) for y in np.arange(south, north, 20)]
    rows = [f"{x},{y},{10 + (x - west) / 20}" for x, y in places]
    path.write_text("\n".join(["x,y,ec", *rows]), encoding="utf-8")
    return path


def test_conductivity_alone_is_no_soil(tmp_path, field):
    log = log_of(field, tmp_path / "log.csv")
    with pytest.raises(LayerError, match="conductivity alone does not say what soil lies where"):
        read_layers([log], field, ReadOptions(crs=field.crs))


def test_samples_without_a_log_are_not_left_out_in_silence(tmp_path, field):
    soil = write_geojson(tmp_path / "soil.geojson", [box(0, 0, 200, 200)], [{"texture": "loam"}])
    samples = tmp_path / "samples.csv"
    samples.write_text("x,y,sand,silt,clay\n0,0,40,40,20\n", encoding="utf-8")
    with pytest.raises(LayerError, match="there is no log"):
        read_layers([soil], field, ReadOptions(samples=samples))


def test_edges_ride_beside_soil(tmp_path, field):
    soil = write_geojson(tmp_path / "soil.geojson", [box(0, 0, 200, 200)], [{"texture": "loam"}])
    log = log_of(field, tmp_path / "log.csv")
    soils, edges = read_layers([soil, log], field, ReadOptions(crs=field.crs))
    assert ([layer.name for layer in soils], [layer.name for layer in edges]) == (["soil"], ["log"])


CELLS = Affine(50, 0, 0, 0, -50, 200)


def rasters(folder, **parts):
    return [write_tif(folder / f"{name}.tif", {"1": value}, CELLS) for name, value in parts.items()]


def test_lone_rasters_are_one_layer(tmp_path, field):
    soil = write_geojson(tmp_path / "soil.geojson", [box(0, 0, 200, 200)], [{"texture": "clay"}])
    sand, silt, clay = rasters(tmp_path, sand=40, silt=40, clay=20)
    soils, _ = read_layers([sand, soil, silt, clay], field)
    assert [soil.kind for soil in soils] == ["polygons", "coarse raster"]
    assert {soil.texture for soil in soils[1].ground["facts"]} == {"loam"}


def test_two_lone_rasters_of_sand_are_not_guessed_between(tmp_path, field):
    with pytest.raises(LayerError, match="could each be sand"):
        read_layers(rasters(tmp_path, sand_a=40, sand_b=41, clay=20), field)


def test_rasters_that_do_not_say_what_they_hold_go_by_what_a_person_says(tmp_path, field):
    one, two = rasters(tmp_path, one=40, two=20)
    options = ReadOptions(bands={"sand": "one.tif", "clay": "two.tif"})
    [soil], _ = read_layers([one, two], field, options)
    assert {each.texture for each in soil.ground["facts"]} == {"loam"}


@pytest.mark.parametrize("in_a_folder", [True, False])
def test_a_raster_of_conductivity_is_a_layer_by_itself(tmp_path, field, in_a_folder):
    paths = rasters(tmp_path, sand=40, clay=20)
    ec = write_tif(tmp_path / "ec_0_25cm.tif", {"1": np.tile(np.arange(4.0), (4, 1))}, CELLS)
    if in_a_folder:
        (tmp_path / "all").mkdir()
        paths = [each.rename(tmp_path / "all" / each.name) for each in (*paths, ec)]
    given = [tmp_path / "all"] if in_a_folder else [*paths, ec]
    [soil], [edges] = read_layers(given, field)
    assert (soil.kind, edges.name) == ("coarse raster", "ec_0_25cm")
    assert {each.texture for each in soil.ground["facts"]} == {"loam"}


def test_a_raster_of_conductivity_may_be_read_by_samples(tmp_path, field):
    # Clay has nothing to do with it: the samples are the soil, and nobody is stopped.
    ec = write_tif(tmp_path / "ec.tif", {"1": np.tile(np.arange(4.0), (4, 1))}, CELLS)
    west, south, *_ = field.shape.bounds
    places = [(west + 10 + 20 * i, south + 10 + 20 * j) for i in range(10) for j in range(10)]
    rows = [f"{x},{y},40,40,20" for x, y in places]
    samples = tmp_path / "lab.csv"
    samples.write_text("\n".join(["x,y,sand,silt,clay", *rows]), encoding="utf-8")
    [soil], edges = read_layers([ec], field, ReadOptions(samples=samples, crs=field.crs))
    assert (soil.name, soil.kind, edges) == ("lab", "samples", [])


def lab_of(field, path):
    """Loam at 100 places of the field, in its own system."""
    west, south, *_ = field.shape.bounds
    places = [(west + 10 + 20 * i, south + 10 + 20 * j) for i in range(10) for j in range(10)]
    rows = [f"{x},{y},40,40,20" for x, y in places]
    path.write_text("\n".join(["x,y,sand,silt,clay", *rows]), encoding="utf-8")
    return path


def test_the_fittest_layer_comes_first_whatever_the_order(tmp_path, field):
    survey = write_survey(tmp_path / "survey", polygons={box(0, 0, 200, 200): "1"})
    samples = lab_of(field, tmp_path / "lab.csv")
    sand, clay = rasters(tmp_path, sand=30, clay=30)  # cells of 50 m: of a country's map
    options = ReadOptions(crs=field.crs)
    soils, _ = read_layers([sand, survey, clay, samples], field, options)
    assert [soil.kind for soil in soils] == ["samples", "soil survey", "coarse raster"]
    as_given = replace(options, as_given=True)
    soils, _ = read_layers([sand, survey, clay, samples], field, as_given)
    assert [soil.kind for soil in soils] == ["coarse raster", "soil survey", "samples"]


def test_what_a_person_drew_wins_over_samples(tmp_path, field):
    drawn = write_geojson(tmp_path / "drawn.geojson", [box(0, 0, 200, 200)], [{"texture": "clay"}])
    samples = lab_of(field, tmp_path / "lab.csv")
    options = ReadOptions(crs=field.crs, first=drawn)
    soils, _ = read_layers([samples, drawn], field, options)
    assert [soil.name for soil in soils] == ["drawn", "lab"]
