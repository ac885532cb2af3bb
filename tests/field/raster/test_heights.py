"""Heights from rasters as people have them, and the ground they tell apart."""

import math

import numpy as np
import pytest
import rasterio
import rasterio.shutil
import shapely
from affine import Affine
from pyproj import Transformer
from shapely.affinity import translate
from shapely.geometry import box

from tests.field.ground import LOCAL, SQUARE, field_of
from tests.telling import sentences
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError
from zoneplan.field.raster.heights import elevation_notes, read_elevation, slope_frac
from zoneplan.field.raster.patches import LEAST_PATCH_M2
from zoneplan.field.raster.terrain import terrain_ground, wetness_index
from zoneplan.field.shapes import Field

AROUND = SQUARE.buffer(60, join_style="mitre")
FIELD = field_of(SQUARE)
SOUTH = Field("South", SQUARE, LOCAL.replace("lat_0=42 +lon_0=-93.5", "lat_0=-80 +lon_0=90"), 16)


def plane(x, y):
    """5 % towards the east."""
    return 300 - 0.05 * x + 0 * y


def valley(x, y):
    """Two sides of 3 % that meet along x = 200; the floor falls by 0.5 % southward."""
    return 300 + 0.03 * np.abs(x - 200) + 0.005 * y


def hills(x, y):
    return 300 + 0.01 * x + 4 * np.sin(x / 60) * np.cos(y / 80)


def write_dem(path, height, *, ground=AROUND, crs=LOCAL, cell=2.5, shift_m=0.0, **details):
    """Write heights, a formula of LOCAL metres, over some ground given in LOCAL."""
    there = Transformer.from_crs(LOCAL, crs, always_xy=True)
    west, south, east, north = there.transform_bounds(*ground.bounds)
    columns, rows = math.ceil((east - west) / cell), math.ceil((north - south) / cell)
    transform = Affine(cell, 0, west + shift_m, 0, -cell, north)
    east, north = transform @ np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    x, y = there.transform(east, north, direction="INVERSE")
    write_raster(path, height(x, y), transform, crs, **details)
    return path


def write_raster(
    path, values, transform, crs=None, *, bands=1, unit=None, nodata=None, dtype="float64"
):
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=bands,
        dtype=dtype,
        crs=crs,
        transform=transform,
        nodata=nodata,
    ) as raster:
        for band in range(1, bands + 1):
            raster.write(values.astype(dtype), band)
        if unit:
            raster.units = (unit,)
    return path


def centres(grid):
    """Where the middles of the cells lie, east and north."""
    rows, columns = grid.values["elevation"].shape
    return grid.transform @ np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)


def in_field(grid):
    """The cells with their middles in SQUARE."""
    return shapely.contains_xy(SQUARE, *centres(grid))


def terrain_of(grid, field):
    """The ground with what its sites say in columns."""
    ground = terrain_ground(grid, field)
    names = ("slope_frac", "gathers_water", "steep")
    return ground.assign(
        **{name: [getattr(site, name) for site in ground["site"]] for name in names}
    )


def assert_covers(ground, field):
    """No ground of the field left out, none said twice."""
    assert set(ground.geom_type) == {"Polygon"}
    assert ground.crs == field.crs
    assert ground.area.sum() == pytest.approx(ground.union_all().area)
    assert ground.union_all().covers(field.shape)


@pytest.mark.parametrize(
    ("crs", "cell"),
    [
        (LOCAL, 1.0),
        (LOCAL, 3.0),
        ("EPSG:26915", 1.0),
        ("EPSG:26915", 4.0),
        ("EPSG:5070", 2.0),
        ("EPSG:4326", 2e-5),
    ],
)
def test_a_plane_keeps_its_heights_and_tilt_from_any_system(tmp_path, crs, cell):
    # WORKED: the mean of a plane over a cell is its height in the middle.
    grid = read_elevation(write_dem(tmp_path / "dem.tif", plane, crs=crs, cell=cell), FIELD)
    assert grid.crs == FIELD.crs
    assert grid.transform.a == -grid.transform.e == 5.0
    inner = in_field(grid)
    assert grid.values["elevation"][inner] == pytest.approx(plane(*centres(grid))[inner], abs=0.001)
    assert slope_frac(grid.values["elevation"], 5.0)[inner] == pytest.approx(0.05, rel=0.001)


def test_fine_heights_are_averaged_and_not_sampled(tmp_path):
    # WORKED: furrows of 1 m, 20 cm up and 20 cm down. Of five in a cell one is left over:
    # 4 cm. Sampled they would be out by 20.
    def furrows(x, y):
        return 300 + 0.2 * np.where(np.floor(x) % 2 == 0, 1, -1) + 0 * y

    grid = read_elevation(write_dem(tmp_path / "dem.tif", furrows, cell=1.0), FIELD)
    off_m = np.abs(grid.values["elevation"][in_field(grid)] - 300)
    assert off_m.max() == pytest.approx(0.04, abs=0.005)


def test_cells_stay_where_they_are_when_the_boundary_is_redrawn(tmp_path):
    path = write_dem(tmp_path / "dem.tif", hills)
    before, after = (
        read_elevation(path, field_of(shape)) for shape in (SQUARE, box(1.3, 2.1, 380, 390))
    )
    column, row = ~before.transform @ (after.transform @ (0, 0))
    assert (column, row) == (0, 2)
    rows, columns = after.values["elevation"].shape
    same = before.values["elevation"][2 : 2 + rows, :columns]
    assert after.values["elevation"] == pytest.approx(same, abs=1e-6, nan_ok=True)


@pytest.mark.parametrize(("cell", "working"), [(4.0, 5.0), (10.0, 10.0), (30.4, 30.0)])
def test_coarse_heights_keep_their_cell(tmp_path, cell, working):
    grid = read_elevation(write_dem(tmp_path / "dem.tif", plane, cell=cell), FIELD)
    assert grid.transform.a == working
    middle = tuple(size // 2 for size in grid.values["elevation"].shape)
    assert slope_frac(grid.values["elevation"], working)[middle] == pytest.approx(0.05, rel=0.01)


@pytest.mark.parametrize(
    ("crs", "unit", "metres", "noted"),
    [
        ("EPSG:26915", None, 1.0, False),
        ("EPSG:26915", "m", 1.0, True),
        ("EPSG:26915", "US survey foot", 0.3048, True),
        ("EPSG:26915+5703", None, 1.0, True),
        ("EPSG:26915+6360", None, 0.3048, True),  # vertical axis in US survey feet
        ("EPSG:3418", None, 1.0, False),  # feet across, and not a word of feet up
    ],
)
def test_heights_are_in_feet_only_where_the_file_says_so(tmp_path, crs, unit, metres, noted):
    cell = 10.0 if crs == "EPSG:3418" else 3.0
    path = write_dem(tmp_path / "dem.tif", plane, crs=crs, cell=cell, unit=unit)
    assert_in_unit(path, metres, noted)


def test_a_band_without_a_unit_has_that_of_the_vertical_axis(tmp_path):
    path = write_dem(tmp_path / "dem.tif", plane, crs="EPSG:26915+6360", cell=3.0)
    rasterio.shutil.copy(path, tmp_path / "dem.asc", driver="AAIGrid")
    (tmp_path / "dem.asc.aux.xml").unlink()
    with rasterio.open(tmp_path / "dem.asc") as raster:
        assert raster.units == (None,)
    assert_in_unit(tmp_path / "dem.asc", 0.3048, noted=True)


def test_a_unit_can_come_with_the_system_that_the_user_names(tmp_path):
    path = write_dem(tmp_path / "dem.tif", plane, crs="EPSG:26915", cell=3.0)
    with rasterio.open(path) as raster:
        values, transform = raster.read(1), raster.transform
    bare = write_raster(tmp_path / "bare.tif", values, transform)
    grid = read_elevation(bare, FIELD, crs="EPSG:26915+6360")
    assert grid.values["elevation"][in_field(grid)].mean() == pytest.approx(0.3048 * 290, rel=1e-4)
    assert len(elevation_notes(bare, grid, FIELD, crs="EPSG:26915+6360")) == 1


@pytest.mark.parametrize(("scale", "noted"), [(1.0, True), (0.01, False)])
def test_heights_in_coarse_steps_are_told(tmp_path, scale, noted):
    path = write_dem(tmp_path / "dem.tif", lambda x, y: plane(x, y) / scale, dtype="int16")
    with rasterio.open(path, "r+") as raster:
        raster.scales = (scale,)
    grid = read_elevation(path, FIELD)
    assert grid.values["elevation"][in_field(grid)].mean() == pytest.approx(290, abs=0.6 * scale)
    # WORKED: a metre over the 10 m that a slope looks at.
    text = "dem.tif has heights in steps of 100 cm; slopes under 10 % are lost in them."
    assert (text in sentences(elevation_notes(path, grid, FIELD))) is noted


def assert_in_unit(path, metres, noted):
    grid = read_elevation(path, FIELD)
    middle = tuple(size // 2 for size in grid.values["elevation"].shape)
    x, y = (axis[middle] for axis in centres(grid))
    assert grid.values["elevation"][middle] == pytest.approx(metres * plane(x, y), rel=1e-4)
    text = f"{path.name} does not say the unit of its heights; taken as metres."
    assert (text in sentences(elevation_notes(path, grid, FIELD))) is not noted


def test_stored_steps_are_scaled(tmp_path):
    # WORKED: decimetres above 200 m, as stored: 1000 stands for 300 m.
    path = write_dem(tmp_path / "dem.tif", lambda x, y: 10 * (plane(x, y) - 200))
    with rasterio.open(path, "r+") as raster:
        raster.scales, raster.offsets = (0.1,), (200.0,)
    grid = read_elevation(path, FIELD)
    inner = in_field(grid)
    assert grid.values["elevation"][inner] == pytest.approx(plane(*centres(grid))[inner])


def test_water_from_outside_counts_as_far_as_the_heights_reach(tmp_path):
    wide = write_dem(tmp_path / "wide.tif", valley, ground=box(-300, -300, 700, 700))
    tight = write_dem(tmp_path / "tight.tif", valley, ground=SQUARE)
    grids = [read_elevation(path, FIELD) for path in (wide, tight)]
    # The floor at the north side of the field: 250 m of valley above it, or none.
    at = ~grids[0].transform @ (202, 390)
    index = [wetness_index(grid.values["elevation"], 5.0)[int(at[1]), int(at[0])] for grid in grids]
    assert index[0] > index[1] + 1
    assert sentences(elevation_notes(wide, grids[0], FIELD))[0] == (
        "wide.tif: heights reach 250 m beyond the field on every side; "
        "water from further away is not counted."
    )
    assert sentences(elevation_notes(tight, grids[1], FIELD))[0] == (
        "tight.tif: heights end at the field's edge; water from outside is not counted."
    )


def test_unknown_heights_around_the_field_do_no_harm(tmp_path):
    def cut(x, y):
        return np.where(shapely.contains_xy(SQUARE.buffer(3), x, y), plane(x, y), -9999.0)

    grid = read_elevation(write_dem(tmp_path / "dem.tif", cut, nodata=-9999), FIELD)
    assert np.nanmin(grid.values["elevation"]) > 270
    ground = terrain_of(grid, FIELD)
    assert_covers(ground, FIELD)
    assert ground["slope_frac"].tolist() == pytest.approx([0.05], rel=0.01)


@pytest.mark.parametrize("tilt", [0.0, 0.001, 0.05])
def test_an_even_slope_is_all_alike(tmp_path, tilt):
    path = write_dem(tmp_path / "dem.tif", lambda x, y: 300 + tilt * x + 0 * y)
    ground = terrain_of(read_elevation(path, FIELD), FIELD)
    assert_covers(ground, FIELD)
    assert ground["slope_frac"].tolist() == pytest.approx([tilt], abs=1e-6)
    assert not ground[["gathers_water", "steep"]].to_numpy().any()


def test_the_error_of_heights_makes_no_wet_ground_on_level_fields(tmp_path):
    def level(x, y):
        return 300 + np.random.default_rng(1).normal(0, 0.05, np.broadcast(x, y).shape)

    ground = terrain_of(read_elevation(write_dem(tmp_path / "dem.tif", level), FIELD), FIELD)
    assert_covers(ground, FIELD)
    assert not ground[["gathers_water", "steep"]].to_numpy().any()


def test_water_gathers_along_the_valley(tmp_path):
    ground = terrain_of(read_elevation(write_dem(tmp_path / "dem.tif", valley), FIELD), FIELD)
    assert_covers(ground, FIELD)
    wet = ground[ground["gathers_water"]]
    assert len(wet) == 1
    # A strip along x = 200, from end to end of the field.
    west, south, east, north = wet.geometry.iloc[0].bounds
    assert (south, north) == (0, 400)
    assert 180 <= west < 200 < east <= 220
    assert not ground["steep"].any()


def test_half_a_field_is_steep(tmp_path):
    # WORKED: 8 % east of x = 200, 2 % west of it. The cells that see both have a mean of 5 %.
    def bent(x, y):
        return 300 - np.where(x < 200, 0.02, 0.08) * (x - 200) + 0 * y

    ground = terrain_of(read_elevation(write_dem(tmp_path / "dem.tif", bent), FIELD), FIELD)
    assert_covers(ground, FIELD)
    steep = ground[ground["steep"]]
    assert steep.intersection(FIELD.shape).area.sum() == pytest.approx(8e4, abs=5 * 400)
    assert steep["slope_frac"].tolist() == pytest.approx([0.08], abs=0.001)
    assert not (ground["gathers_water"] & ground["steep"]).any()


def test_a_steep_valley_sheds_its_water(tmp_path):
    def steep_valley(x, y):
        return valley(x, y) + 0.08 * y

    path = write_dem(tmp_path / "dem.tif", steep_valley)
    ground = terrain_of(read_elevation(path, FIELD), FIELD)
    assert ground["steep"].tolist() == [True]
    assert ground["gathers_water"].tolist() == [False]


def test_a_dead_furrow_is_no_wet_ground(tmp_path):
    # Down a slope of 2 %, 10 cm deep and a cell wide: wet by itself, but no planter's width.
    def furrowed(x, y):
        return 300 - 0.02 * y - 0.1 * ((x >= 200) & (x < 205))

    grid = read_elevation(write_dem(tmp_path / "dem.tif", furrowed, cell=1.0), FIELD)
    index = wetness_index(grid.values["elevation"], 5.0)[in_field(grid)]
    assert (index > index.mean() + 1.5).sum() * 25 > LEAST_PATCH_M2
    assert not terrain_of(grid, FIELD)["gathers_water"].any()


def test_small_patches_are_left_out(tmp_path):
    # A mound 15 m across with sides of 20 %: at most 15 cells see it.
    def mound(x, y):
        return plane(x, y) / 5 + 0.2 * np.maximum(7.5 - np.hypot(x - 102.5, y - 102.5), 0)

    grid = read_elevation(write_dem(tmp_path / "dem.tif", mound), FIELD)
    steep_cells = (slope_frac(grid.values["elevation"], 5.0) >= 0.06).sum()
    assert 0 < steep_cells * 25 < LEAST_PATCH_M2
    assert not terrain_of(grid, FIELD)["steep"].any()


def test_a_millimetre_moves_next_to_nothing(tmp_path):
    still = terrain_of(read_elevation(write_dem(tmp_path / "a.tif", hills), FIELD), FIELD)
    again = terrain_of(read_elevation(tmp_path / "a.tif", FIELD), FIELD)
    assert still.geometry.equals(again.geometry)
    assert still.drop(columns="geometry").equals(again.drop(columns="geometry"))
    assert still["gathers_water"].any()
    assert still["steep"].any()

    write_dem(tmp_path / "b.tif", hills, shift_m=0.001)
    moved_field = field_of(translate(SQUARE, 0.001, 0.001))
    for path, field in ((tmp_path / "b.tif", FIELD), (tmp_path / "a.tif", moved_field)):
        moved = terrain_of(read_elevation(path, field), field)
        for kind in ("gathers_water", "steep"):
            before, after = (
                ground[ground[kind]].union_all().intersection(SQUARE) for ground in (still, moved)
            )
            assert before.symmetric_difference(after).area <= 50  # two cells of 6,400


def test_a_thin_strip_has_ground_too(tmp_path):
    strip = field_of(box(0, 0.1, 400, 2.1))  # thinner than a cell, and clear of all middles
    ground = terrain_of(read_elevation(write_dem(tmp_path / "dem.tif", plane), strip), strip)
    assert_covers(ground, strip)


def refused(path, field=FIELD, crs=None):
    with pytest.raises(LayerError) as error:
        read_elevation(path, field, crs)
    return advised(error.value)


def test_a_raster_without_a_place_is_refused_with_all_its_faults(tmp_path):
    path = write_raster(tmp_path / "dem.tif", np.ones((9, 9)), Affine(2, 1, 0, 1, -2, 0), bands=3)
    message = refused(path)
    assert "dem.tif has 3 faults" in message
    assert "It holds 3 bands; heights are one" in message
    assert "It is rotated" in message
    assert "It has no coordinate system" in message
    assert "--layer-crs EPSG:4326" in message


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_a_picture_is_refused(tmp_path):
    path = write_raster(tmp_path / "dem.tif", np.ones((9, 9)), Affine.identity())
    assert "does not say where on the ground its cells lie" in refused(path, crs=LOCAL)


def test_a_building_site_s_own_system_is_refused(tmp_path):
    site = 'LOCAL_CS["site",UNIT["metre",1]]'
    path = write_raster(tmp_path / "dem.tif", np.ones((9, 9)), Affine.scale(2, -2), site)
    assert "Its coordinate system is not tied to the earth: site" in refused(path)


def test_a_system_can_be_said_where_the_file_states_none(tmp_path):
    path = write_dem(tmp_path / "dem.tif", plane)
    with rasterio.open(path) as raster:
        values, transform = raster.read(1), raster.transform
    bare = write_raster(tmp_path / "bare.tif", values, transform)
    grid = read_elevation(bare, FIELD, crs=LOCAL)
    assert np.array_equal(
        grid.values["elevation"], read_elevation(path, FIELD).values["elevation"], equal_nan=True
    )
    assert "nowhere is not a coordinate system we know" in refused(bare, crs="nowhere")


def test_heights_of_another_place_are_refused(tmp_path):
    far = box(2000, 0, 2400, 400)
    message = refused(write_dem(tmp_path / "dem.tif", plane, ground=far, crs="EPSG:26915"))
    assert "The boundary and the raster do not meet" in message
    assert "Square: longitude -93.50" in message
    assert "dem.tif: longitude -93.4" in message
    assert "1.6 km away" in message
    assert "do not meet" in refused(write_dem(tmp_path / "dem.tif", plane, crs="EPSG:26915"), SOUTH)


def test_a_misstated_system_is_refused(tmp_path):
    path = write_dem(tmp_path / "dem.tif", plane, crs="EPSG:26915")
    with rasterio.open(path, "r+") as raster:
        raster.crs = "EPSG:25832"
    assert "do not meet" in refused(path)


def test_a_gap_in_the_field_is_refused(tmp_path):
    # WORKED: a gap of 40 m x 50 m in 16 ha is 1.25 %.
    def holed(x, y):
        return np.where((x > 100) & (x < 140) & (y > 100) & (y < 150), -32768.0, plane(x, y))

    message = refused(write_dem(tmp_path / "dem.tif", holed, cell=1.0, nodata=-32768))
    assert "dem.tif has no heights on 1.2 % of Square" in message


def test_a_gap_of_nan_is_a_gap_though_the_file_does_not_declare_it(tmp_path):
    def holed(x, y):
        return np.where(x < 200, np.nan, plane(x, y))

    assert "has no heights on 50.0 % of Square" in refused(write_dem(tmp_path / "dem.tif", holed))


def test_half_a_field_without_heights_is_refused(tmp_path):
    west = box(-60, -60, 200, 460)
    assert "has no heights on 50.0 % of Square" in refused(
        write_dem(tmp_path / "dem.tif", plane, ground=west)
    )


def test_a_code_that_is_not_declared_is_found(tmp_path):
    def coded(x, y):
        return np.where(x > 450, -9999.0, plane(x, y))

    message = refused(write_dem(tmp_path / "dem.tif", coded))
    assert "dem.tif has values from -9,999 to" in message
    assert "a code for no data that the file does not declare" in message


def test_values_too_steep_for_ground_are_refused(tmp_path):
    path = write_dem(tmp_path / "dem.tif", lambda x, y: 1000 + 10 * (plane(x, y) - 300))
    assert "By dem.tif the field would slope 50 % on average" in refused(path)


def test_a_unit_that_is_no_height_is_refused(tmp_path):
    path = write_dem(tmp_path / "dem.tif", plane, unit="percent")
    assert 'dem.tif says that its values are in "percent"' in refused(path)


def test_cells_too_coarse_are_refused(tmp_path):
    message = refused(write_dem(tmp_path / "dem.tif", plane, cell=90.0))
    assert "dem.tif has cells 90 m wide" in message


def test_a_field_of_a_cell_needs_heights_around(tmp_path):
    spot = box(0, 0, 10, 10)
    path = write_dem(tmp_path / "dem.tif", plane, ground=spot)
    assert "too few heights for a slope" in refused(path, field_of(spot))


def test_files_that_are_no_rasters_are_refused(tmp_path):
    assert "There is no file" in refused(tmp_path / "none.tif")
    text = tmp_path / "text.tif"
    text.write_text("x, y, z\n1, 2, 3\n")
    assert "text.tif cannot be read as a raster" in refused(text)
    cut_off = write_dem(tmp_path / "cut.tif", plane)
    cut_off.write_bytes(cut_off.read_bytes()[:50_000])
    assert "cut.tif cannot be read as a raster" in refused(cut_off)
