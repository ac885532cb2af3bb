"""Rasters of sand, silt and clay: what is found, what is unknown, what is refused."""

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from rasterio.crs import CRS
from shapely.geometry import box

from tests.field.ground import LOCAL, SQUARE, field_of
from tests.helpers.frames import frame_of
from tests.telling import sentences
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.overlay import overlay
from zoneplan.field.raster.grid import bands_of, is_raster, read_band
from zoneplan.field.raster.texture import read_rasters
from zoneplan.say.sentences import sentence

FIELD = field_of(SQUARE)  # 400 x 400 m: four by four cells
CELLS = Affine(100, 0, 0, 0, -100, 400)
LOAM = {"sand": 40, "silt": 40, "clay": 20}
CLAY = {"sand": 20, "silt": 30, "clay": 50}


def write_tif(path, bands, transform=CELLS, crs=LOCAL, nodata=None, units=(), scale=1.0, **kind):
    """Write a band for each name, north row first; a name that is a number is left out."""
    arrays = [
        np.broadcast_to(band, (4, 4)) if np.ndim(band) < 2 else band for band in bands.values()
    ]
    rows, columns = np.shape(arrays[0])
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=rows,
        count=len(arrays),
        dtype=kind.get("dtype", "float32"),
        crs=CRS.from_user_input(crs) if crs else None,
        transform=transform,
        nodata=nodata,
    ) as target:
        for number, (name, band) in enumerate(zip(bands, arrays, strict=True), start=1):
            target.write(np.asarray(band, dtype=target.dtypes[0]), number)
            if not name.isdigit():
                target.set_band_description(number, name)
        if units:
            target.units = units
        target.scales = [scale] * len(arrays)
    return path


@pytest.fixture
def soil(tmp_path):
    """Write soil.tif."""
    return lambda bands, **how: write_tif(tmp_path / "soil.tif", bands, **how)


def in_corner(value, there):
    """One value, and another in the four cells of the north-east."""
    cells = np.full((4, 4), float(value))
    cells[:2, 2:] = there
    return cells


def with_corner(soil, **there):
    return {part: in_corner(value, there.get(part, value)) for part, value in soil.items()}


def facts_of(layer):
    return list(layer.ground["facts"])


def loam(facts):
    return (facts.sand_frac, facts.silt_frac, facts.clay_frac) == pytest.approx((0.4, 0.4, 0.2))


def test_a_file_with_a_band_for_each(soil):
    layer = read_rasters([soil({part: in_corner(LOAM[part], CLAY[part]) for part in LOAM})], FIELD)
    assert (layer.name, layer.kind) == ("soil", "coarse raster")
    assert sentences(layer.notes) == ("Sand, silt and clay are read as percent.",)
    one, other = sorted(facts_of(layer), key=lambda facts: facts.clay_frac)
    assert loam(one)
    assert (one.texture, other.texture) == ("loam", "clay")
    assert (other.clay_frac, other.rated_share, other.organic_pct) == (
        pytest.approx(0.5),
        1.0,
        None,
    )
    laid = overlay(FIELD, [layer])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert uncovered_ha == 0
    assert sorted(pieces.area / 1e4) == pytest.approx([4, 12])


def test_a_file_for_each_found_by_its_name(tmp_path):
    names = {"sol_CLAY_0-20.tif": 20, "SandPct.tif": 40, "sandhill_silt.tif": 40}
    paths = [write_tif(tmp_path / name, {"1": value}) for name, value in names.items()]
    layer = read_rasters(paths, FIELD)
    assert loam(facts_of(layer)[0])
    assert layer.name == "sol_CLAY_0-20 and 2 more"


@pytest.mark.parametrize(
    ("whole", "named", "words"),
    [(100, "percent", "percent"), (1000, "g/kg", "g/kg"), (1, "fraction", "fractions of 1")],
)
def test_units_found_or_told(soil, whole, named, words):
    path = soil({part: value * whole / 100 for part, value in LOAM.items()})
    for unit in (None, named):
        layer = read_rasters([path], FIELD, unit=unit)
        assert loam(facts_of(layer)[0])
        assert sentences(layer.notes) == (f"Sand, silt and clay are read as {words}.",)


def test_bands_told_by_number_and_file(tmp_path):
    three = write_tif(tmp_path / "three.tif", {"1": 20, "2": 7, "3": 40})
    layer = read_rasters([three], FIELD, bands={"clay": "1", "sand": "3"})
    assert loam(facts_of(layer)[0])
    one = write_tif(tmp_path / "leem.tif", {"1": 40})
    bands = {"clay": "three.tif:1", "silt": "leem.tif", "sand": "three.tif:3"}
    layer = read_rasters([three, one], FIELD, bands=bands)
    assert loam(facts_of(layer)[0])


def test_two_of_the_three_leave_the_third(soil):
    layer = read_rasters([soil({"clay": 20, "sand": 40})], FIELD)
    assert loam(facts_of(layer)[0])
    assert sentences(layer.notes) == (
        "Sand and clay are read as percent.",
        "Silt is not given: what sand and clay leave of 100 % is taken.",
    )


def test_silt_and_clay_alone_may_be_a_loam_or_a_sand(soil):
    path = soil({"silt": 40, "clay": 20})
    with pytest.raises(LayerError, match="silt and clay add up to 60, and sand is not given"):
        read_rasters([path], FIELD)
    assert loam(facts_of(read_rasters([path], FIELD, unit="percent"))[0])
    # WORKED: 40 + 20 of 1000 leave 94 % sand.
    (facts,) = facts_of(read_rasters([path], FIELD, unit="g/kg"))
    assert (facts.sand_frac, facts.texture) == (pytest.approx(0.94), "sand")


# What stands in the four cells of the north-east, a quarter of the field, and what is said.
UNKNOWN = {
    "zeros": (
        {"sand": 0, "silt": 0, "clay": 0},
        "sand, silt and clay are all 0 in 4 cells, 25 % of the field: not known there",
    ),
    "declared": (
        {"sand": -99, "silt": -99, "clay": -99},
        "sand, silt and clay have no value in 4 cells, 25 % of the field: not known there",
    ),
    "not a number": (
        {"sand": np.nan, "silt": np.inf, "clay": np.nan},
        "sand, silt and clay have no value in 4 cells, 25 % of the field: not known there",
    ),
    "one missing": (
        {"clay": -99},
        "some but not all of sand, silt and clay have a value in 4 cells, 25 % of the field: "
        "not known there",
    ),
    "full bytes": (
        {"sand": 255, "silt": 255, "clay": 255},
        "sand, silt and clay do not add up to 100 % in 4 cells, 25 % of the field: not known there",
    ),
}


@pytest.mark.parametrize("case", UNKNOWN)
def test_no_data_in_all_its_disguises(soil, case):
    there, words = UNKNOWN[case]
    layer = read_rasters([soil(with_corner(LOAM, **there), nodata=-99)], FIELD)
    known = "Sand, silt and clay are read as percent."
    assert sentences(layer.notes) == (known, sentence(words))
    (facts,) = facts_of(layer)
    assert loam(facts)
    laid = overlay(FIELD, [layer])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert uncovered_ha == pytest.approx(4, abs=1e-6)
    assert pieces.area.sum() == pytest.approx(FIELD.shape.area)


def test_what_is_unknown_here_is_for_the_next_layer(tmp_path, soil):
    zeros = read_rasters([soil(with_corner(LOAM, sand=0, silt=0, clay=0))], FIELD)
    below = read_rasters([write_tif(tmp_path / "below.tif", CLAY)], FIELD)
    laid = overlay(FIELD, [zeros, below])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    areas_ha = dict(zip(pieces["layer"], pieces.area / 1e4, strict=True))
    assert areas_ha == pytest.approx({"soil": 12, "below": 4})
    assert uncovered_ha == 0


def test_cells_outside_the_field_are_not_looked_at(soil):
    west = field_of(box(0, 0, 200, 400))
    layer = read_rasters([soil(with_corner(LOAM, sand=-9999, silt=0, clay=9999))], west)
    assert sentences(layer.notes) == ("Sand, silt and clay are read as percent.",)


def test_a_small_misfit_is_scaled_and_said(soil):
    layer = read_rasters([soil({"sand": 41, "silt": 41, "clay": 20})], FIELD)
    assert facts_of(layer)[0].clay_frac == pytest.approx(20 / 102)
    assert sentences(layer.notes)[1] == "Sand, silt and clay miss 100 % by up to 2; scaled to 100."


def test_other_cells_are_averaged_onto_those_of_clay(tmp_path):
    # WORKED: sand lies half a cell further east, so each cell of clay is half on one of its
    # columns and half on the next: 40 and 44 make 42. The first has only its east half.
    clay = write_tif(tmp_path / "clay.tif", {"1": 20})
    columns = np.tile([40.0, 40, 44, 44], (4, 1))
    sand = write_tif(tmp_path / "sand.tif", {"1": columns}, Affine(100, 0, 50, 0, -100, 400))
    layer = read_rasters([sand, clay], FIELD)
    pieces = frame_of(overlay(FIELD, [layer]).pieces)
    at = [
        pieces[pieces.contains(shapely.Point(x, 210))]["facts"].iloc[0] for x in range(50, 400, 100)
    ]
    assert [facts.sand_frac for facts in at] == pytest.approx([0.40, 0.40, 0.42, 0.44], abs=1e-6)
    assert (
        "Sand has other cells than clay: its areal mean over each of those is taken."
        in sentences(layer.notes)
    )


def test_finer_cells_of_another_system_are_averaged_too(tmp_path):
    # WORKED: in UTM, 10 m cells, half of them 30 and half 50, mixed: 40 over each cell of clay.
    clay = write_tif(tmp_path / "clay.tif", {"1": 20})
    west, _, _, north = move(SQUARE.buffer(50), LOCAL, "EPSG:26915").bounds
    mixed = np.where(np.indices((52, 52)).sum(axis=0) % 2, 30.0, 50.0)
    utm = Affine(10, 0, west, 0, -10, north)
    sand = write_tif(tmp_path / "sand.tif", {"1": mixed}, utm, "EPSG:26915")
    (facts,) = facts_of(read_rasters([sand, clay], FIELD))
    assert facts.sand_frac == pytest.approx(0.4, abs=0.002)


def test_cells_in_degrees(soil):
    west, south, east, north = move(SQUARE.buffer(20), LOCAL, WGS_84).bounds
    degrees = Affine((east - west) / 4, 0, west, 0, (south - north) / 4, north)
    layer = read_rasters([soil(with_corner(LOAM, **CLAY), transform=degrees, crs=WGS_84)], FIELD)
    laid = overlay(FIELD, [layer])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert uncovered_ha == 0
    assert sorted(pieces.area / 1e4) == pytest.approx([4, 12], abs=0.05)


def test_the_south_row_first(soil):
    upside_down = {part: cells[::-1] for part, cells in with_corner(LOAM, **CLAY).items()}
    layer = read_rasters([soil(upside_down, transform=Affine(100, 0, 0, 0, 100, 0))], FIELD)
    clay = next(row for row in layer.ground.itertuples() if row.facts.texture == "clay")
    assert clay.geometry.equals(box(200, 200, 400, 400))


def test_scaled_whole_numbers(soil):
    scaled = {part: value * 10 for part, value in LOAM.items()}
    (facts,) = facts_of(
        read_rasters([soil(scaled, scale=0.1, dtype="int16")], FIELD, unit="percent")
    )
    assert loam(facts)


def test_a_raster_that_covers_half(soil):
    layer = read_rasters([soil(LOAM, transform=Affine(100, 0, -200, 0, -100, 400))], FIELD)
    assert overlay(FIELD, [layer]).uncovered_ha == pytest.approx(8, abs=1e-6)


def test_a_system_that_is_told(soil):
    path = soil(LOAM, crs=None)
    assert loam(facts_of(read_rasters([path], FIELD, crs=LOCAL))[0])


ORGANIC = {  # band, its unit in the file, its value, and what that makes in percent
    "percent": ("OM", "%", 2.5, 2.5),
    "g/kg": ("organic matter", "g/kg", 25, 2.5),
    "carbon": ("soil organic carbon", "g/kg", 20, 3.448),  # WORKED: 2.0 % x 1.724
    "in the name": ("SOC dgkg", "", 200, 3.448),
}


@pytest.mark.parametrize("case", ORGANIC)
def test_organic_matter(soil, case):
    name, unit, value, percent = ORGANIC[case]
    layer = read_rasters([soil({**LOAM, name: value}, units=("%", "%", "%", unit))], FIELD)
    assert facts_of(layer)[0].organic_pct == pytest.approx(percent)
    words = "carbon, read as" if percent > 3 else "matter is read as"
    assert f"rganic {words}" in sentences(layer.notes)[1]


def test_organic_matter_of_0_is_unknown(soil):
    bands = {**LOAM, "om_pct": in_corner(2.5, 0)}
    layer = read_rasters([soil(bands)], FIELD)
    assert sorted(facts_of(layer), key=str)[0].organic_pct == 2.5
    assert {facts.organic_pct for facts in facts_of(layer)} == {2.5, None}
    assert "Organic matter is 0 in 4 cells, 25 % of the field: not known there." in sentences(
        layer.notes
    )


def test_a_band_that_says_nothing_is_left_out_and_named(soil):
    layer = read_rasters([soil({**LOAM, "spread": 3})], FIELD)
    assert (
        sentences(layer.notes)[1]
        == "soil.tif:4 (spread) is left out: it does not say what it holds."
    )


REFUSED = {
    "clay alone": ({"clay": 20}, {}, ["there is only clay: two are needed"]),
    "no words": (
        {"1": 40, "2": 40},
        {},
        ["soil.tif does not say what it holds", "soil.tif:1, soil.tif:2", "--band"],
    ),
    "twice": (
        {**LOAM, "clay 2": 20},
        {},
        ["soil.tif:3 (clay), soil.tif:4 (clay 2) could each be clay"],
    ),
    "no such band": (
        LOAM,
        {"bands": {"clay": "9", "sand": "1"}},
        ['There is no band "9" for clay'],
    ),
    "no such part": (LOAM, {"bands": {"lutum": "1"}}, ['"lutum" is none of clay, sand, silt']),
    "no such unit": (LOAM, {"unit": "ppm"}, ["ppm is no unit", "fraction, percent, g/kg"]),
    "told wrongly": (
        {"sand": 650, "silt": 200, "clay": 150},
        {"unit": "percent"},
        [
            "Read as percent, they should make 100",
            "In 100 % of the field",
            "sand 650, silt 200 and clay 150",
        ],
    ),
    "two too much": (
        {"sand": 650, "clay": 150},
        {"unit": "percent"},
        ["should make at most 100", "sand 650 and clay 150"],
    ),
    "not of one soil": (
        {"sand": 40, "silt": 70, "clay": 20},
        {},
        ["in one cell sand 40, silt 70 and clay 20"],
    ),
    "mixed units": (
        {"sand": 400, "silt": 400, "clay": 20},
        {},
        ["that all are in one unit", "--raster-unit"],
    ),
    "negative": (
        with_corner(LOAM, clay=-9999, sand=-1),
        {},
        [
            "soil.tif has 2 faults",
            "sand is -1 in 4 cells",
            "clay is -9999 in 4 cells",
            "no-data value",
        ],
    ),
    "zeros all over": (
        {"sand": 0, "silt": 0, "clay": 0},
        {},
        ["nothing is known of the field", "all 0 in 16 cells"],
    ),
    "organic unit": (
        {**LOAM, "om": 2.5},
        {},
        ["soil.tif:4 (om)", "does not say in which unit", "--raster-unit"],
    ),
    "organic past all": (
        {**LOAM, "om": 250},
        {"unit": "percent"},
        ["250 % of the soil when read as percent"],
    ),
    "organic twice": ({**LOAM, "om": 2, "soc": 1}, {}, ["only one is wanted"]),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_trusted_is_refused(soil, case):
    bands, how, words = REFUSED[case]
    with pytest.raises(LayerError) as fault:
        read_rasters([soil(bands)], FIELD, **how)
    for word in words:
        assert word in advised(fault.value)


MISPLACED = {
    "no system": (
        {"crs": None},
        ["soil.tif has 1 fault", "no coordinate system", "wrong guess", "--layer-crs"],
    ),
    "rotated": ({"transform": Affine(90, 20, 0, 20, -90, 400)}, ["It is rotated"]),
    "nowhere": (
        {"crs": None, "transform": Affine.identity()},
        ["soil.tif has 2 faults", "no coordinate system", "where on the ground its cells lie"],
    ),
    "elsewhere": (  # WORKED: 3,000 m from edge to edge
        {"transform": Affine(100, 0, 3400, 0, -100, 400)},
        ["do not meet", "Square: longitude -93.50", "soil.tif: longitude -93.4", "3.0 km away"],
    ),
    "beside": ({"transform": Affine(100, 0, 400, 0, -100, 400)}, ["do not meet", "0.0 km away"]),
    "metres as degrees": (
        {"transform": Affine(100, 0, 458000, 0, -100, 4650000), "crs": WGS_84},
        ["do not meet", "latitude 4649600", "these are no degrees"],
    ),
}


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("case", MISPLACED)
def test_where_it_lies_must_be_known(soil, case):
    how, words = MISPLACED[case]
    path = soil(LOAM, **how)
    with pytest.raises(LayerError) as fault:
        read_rasters([path], FIELD)
    for word in words:
        assert word in advised(fault.value)


@pytest.mark.parametrize("size", [100, 2000])
def test_a_file_that_is_cut_off(soil, size):
    path = soil({part: np.full((50, 50), value) for part, value in LOAM.items()})
    path.write_bytes(path.read_bytes()[:size])
    with pytest.raises(LayerError, match=r"soil\.tif cannot be read as a GeoTIFF"):
        read_rasters([path], FIELD)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(LayerError, match=r"There is no file .*none\.tif"):
        read_rasters([tmp_path / "none.tif"], FIELD)


def test_a_raster_is_told_by_its_content(tmp_path, soil):
    path = soil(LOAM)
    assert is_raster(path.rename(tmp_path / "soil.dat"))
    (tmp_path / "text.tif").write_text("sand, silt, clay")
    assert not is_raster(tmp_path / "text.tif")
    assert not is_raster(tmp_path)
    assert not is_raster(tmp_path / "none.tif")


def test_one_band_by_itself(tmp_path):
    path = write_tif(tmp_path / "ec.tif", {"1": in_corner(12, 30)}, units=("mS/m",))
    (band,) = bands_of(path)
    assert (band.text, band.unit, band.alone) == ("ec", "mS/m", True)
    grid = read_band(band, field_of(box(150, 50, 250, 150)), "ec")
    # WORKED: columns 1 and 2, rows 2 and 3.
    assert grid.values["ec"].shape == (2, 2)
    assert grid.transform == Affine(100, 0, 100, 0, -100, 200)


def test_a_patch_that_the_planter_cannot_follow_counts_in_the_ground_around_it(soil):
    # WORKED: cells of 25 m, 625 m2; one of 256 is clay.
    cells = {part: np.full((16, 16), float(value)) for part, value in LOAM.items()}
    for part, value in CLAY.items():
        cells[part][5, 5] = value
    path = soil(cells, transform=Affine(25, 0, 0, 0, -25, 400))
    assert len(facts_of(read_rasters([path], FIELD))) == 2  # it is not too small for every planter
    layer = read_rasters([path], FIELD, least_patch_m2=900.0)
    (facts,) = facts_of(layer)
    assert facts.clay_frac == pytest.approx((255 * 0.2 + 0.5) / 256)
    assert layer.ground.area.sum() == pytest.approx(160_000)
    assert len(facts_of(read_rasters([path], FIELD, least_patch_m2=600.0))) == 2
