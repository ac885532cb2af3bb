"""The demo fields: what is committed is what the script makes, and all of it reads."""

import subprocess
import sys
import tomllib
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from pyproj import Geod

from tests.telling import sentences
from zoneplan.demo import demo_fields
from zoneplan.field.layer import read_layer
from zoneplan.field.outline import read_field
from zoneplan.field.overlay import overlay
from zoneplan.rowunit.machine_file import read_machine

FOLDER = Path(__file__).parent.parent / "demo_fields"
DEMOS = {demo.name: demo for demo in demo_fields()}
COUNTY = FOLDER / "county"
HAND_MADE = "machine.toml"  # the rest of a field's folder is made by the script


def committed(name):
    return DEMOS[name].machine.parent


def files_in(folder):
    return {
        path.relative_to(folder): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != HAND_MADE
    }


def facts_of(name):
    """What the survey says of each map unit, by its symbol."""
    ground = read_layer(DEMOS[name].survey).ground
    return {facts.named.split()[0]: facts for facts in ground.facts}


def the_map(name):
    return gpd.read_file(next(DEMOS[name].survey.glob("spatial/soilmu_a_*.shp")))


@pytest.mark.slow
def test_the_script_makes_the_very_bytes_that_are_committed(tmp_path):
    subprocess.run([sys.executable, FOLDER / "make.py", tmp_path], check=True)
    for name in ("bottom", "creek", "level"):
        assert files_in(tmp_path / name) == files_in(committed(name))
    assert files_in(tmp_path / "county") == {
        name: content for name, content in files_in(COUNTY).items() if name.suffix != ".toml"
    }


def test_the_county_has_sixty_fields_of_twelve_growers_that_nobody_else_claims():
    fields = gpd.read_file(COUNTY / "fields.geojson")
    assert len(fields) == 60
    assert fields["grower"].nunique() == 12
    assert not fields.duplicated(["grower", "farm", "field"]).any()
    metres = fields.to_crs("EPSG:5070").geometry
    assert metres.is_valid.all()
    assert metres.area.sum() == pytest.approx(metres.union_all().area, rel=1e-9)
    # WORKED: a section of 800 m has 64 ha, a half 32; lanes, ditches and yards take some
    assert metres.area.between(15e4, 64e4).all()
    assert sum(path.stat().st_size for path in COUNTY.iterdir()) < 500_000


def test_the_countys_survey_lies_under_every_field():
    ground = read_layer(COUNTY / "survey.zip").ground
    surveyed = shapely.union_all(ground.geometry.to_numpy()).buffer(1e-7)
    fields = gpd.read_file(COUNTY / "fields.geojson").to_crs(ground.crs)
    assert fields.geometry.map(surveyed.covers).all()


def test_every_grower_of_the_county_has_a_planter():
    growers = tomllib.loads((COUNTY / "growers.toml").read_text())["grower"]
    fields = gpd.read_file(COUNTY / "fields.geojson")
    assert [grower["name"] for grower in growers] == sorted(set(fields["grower"]))
    own = {grower["planter"] for grower in growers if not grower["planter"].startswith("generic ")}
    assert own == {path.stem for path in COUNTY.glob("*.toml")} - {"growers"}
    systems = {read_machine(COUNTY / f"{each}.toml").system.kind for each in own}
    assert systems == {"springs", "set-air", "closed-loop-air", "hydraulic"}


def test_three_fields_come_with_zoneplan_and_weigh_little():
    assert list(DEMOS) == ["bottom", "creek", "level"]
    fields = [path for name in DEMOS for path in (FOLDER / name).rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in fields) < 150_000


# Ours: how fields.py draws them. The parts that a field has, and the holes in each.
PARTS = {"bottom": [1, 0], "creek": [0], "level": [0]}


@pytest.mark.parametrize("name", PARTS)
def test_the_boundary_reads_without_mending(name):
    field = read_field(DEMOS[name].boundary)
    parts = sorted(shapely.get_parts(field.shape), key=lambda part: -part.area)
    assert [len(part.interiors) for part in parts] == PARTS[name]
    assert 15 < field.area_ha < 65
    assert field.notes == ()


def test_the_farmstead_in_the_river_bottom_has_the_area_it_was_drawn_with():
    # WORKED: corners (150, 588) (264, 590) (263, 652) (238, 693) (149, 691) in metres.
    # Cross products of neighbours, x1 y2 - x2 y1:
    # -66732 + 16958 + 27083 + 61201 - 16038 = 22472; half of it is 11236 m2.
    shape = gpd.read_file(DEMOS["bottom"].boundary).geometry.iloc[0]
    (hole,) = [hole for part in shape.geoms for hole in part.interiors]
    area_m2, _ = Geod(ellps="WGS84").geometry_area_perimeter(shapely.Polygon(hole))
    assert abs(area_m2) == pytest.approx(11236, abs=0.1)


@pytest.mark.parametrize("name", DEMOS)
def test_the_soil_map_is_a_coverage(name):
    tiles = the_map(name)
    assert tiles.crs == "EPSG:4326"
    assert tiles.is_valid.all()
    assert shapely.coverage_is_valid(tiles.geometry.to_numpy())


@pytest.mark.parametrize("name", ["creek", "level"])
def test_the_survey_covers_the_field(name):
    demo = DEMOS[name]
    uncovered_ha = overlay(read_field(demo.boundary), [read_layer(demo.survey)]).uncovered_ha
    assert uncovered_ha == 0


def test_the_survey_ends_short_of_the_south_edge_of_the_river_bottom():
    # WORKED: the field begins at y = 10 m, the survey at y = 96 m: 86 m. The field runs from
    # x = 10 m to the bank, which lies between its corner points: x = 415 to 450 m there.
    # 86 x 405 = 3.48 ha; 86 x 440 = 3.78 ha.
    demo = DEMOS["bottom"]
    uncovered_ha = overlay(read_field(demo.boundary), [read_layer(demo.survey)]).uncovered_ha
    assert 3.48 < uncovered_ha < 3.78


def test_a_complex_weighs_its_two_soils_by_their_shares():
    # WORKED, map unit 17C, 0 to 10 cm: Whatnot 60 % (sand 42, clay 21, no stones),
    # Kerfuffle 35 % (sand 66, clay 11, stones 19), Whimwham 5 % without any horizon.
    # sand (42 x 60 + 66 x 35) / 95 = 4830 / 95 = 50.842; clay (21 x 60 + 11 x 35) / 95
    # = 1645 / 95 = 17.316; stones 19 x 35 / 95 = 7.0; rated 95 %.
    facts = facts_of("creek")["17C"]
    assert facts.sand_frac == pytest.approx(0.50842, abs=1e-5)
    assert facts.clay_frac == pytest.approx(0.17316, abs=1e-5)
    assert facts.fragments_frac == pytest.approx(0.07)
    assert facts.rated_share == pytest.approx(0.95)
    assert facts.texture == "loam"


def test_a_dense_layer_is_weighed_by_its_depth_in_the_seed_zone():
    # WORKED, map unit 27C2: Oddment 90 %, 6 cm at 1.58 and 4 cm at 1.74: 1.644 g/cm3;
    # Whatnot 10 %, 1.35. (1.644 x 90 + 1.35 x 10) / 100 = 1.6146.
    assert facts_of("creek")["27C2"].density_mg_m3 == pytest.approx(1.6146)


def test_the_fields_hold_what_a_reader_must_be_told_of():
    # Ours: soils.toml.
    creek, bottom = facts_of("creek"), facts_of("bottom")
    assert creek["15C"].fragments_frac > 0.15
    assert bottom["45A"].organic_pct is None
    assert bottom["51"].ground == "organic"
    assert bottom["W"].ground == "water"
    assert "3 cm of organic cover" in " ".join(sentences(bottom["47"].notes))
    assert bottom["42"].rated_share == pytest.approx(0.92)  # WORKED: 100 less 8 % riverwash


# Ours: machine.toml in each folder. Each field has another system.
SYSTEMS = {"bottom": "hydraulic", "creek": "set-air", "level": "springs"}


@pytest.mark.parametrize("name", SYSTEMS)
def test_the_planter_reads(name):
    assert read_machine(DEMOS[name].machine).system.kind == SYSTEMS[name]


# From memory: the letters that the US mail has for states, districts, territories, forces.
MAIL_CODES = (
    "AL AK AZ AR CA CO CT DE FL GA HI ID IL IN IA KS KY LA ME MD MA MI MN MS MO MT NE NV NH NJ NM "
    "NY NC ND OH OK OR PA RI SC SD TN TX UT VT VA WA WV WI WY DC AS GU MP PR VI FM MH PW AA AE AP"
)


@pytest.mark.parametrize("name", DEMOS)
def test_no_real_place_is_meant(name):
    tiles = the_map(name)
    assert not any(symbol[:2] in MAIL_CODES for symbol in tiles.AREASYMBOL)
    legend = (DEMOS[name].survey / "tabular/legend.txt").read_text(encoding="utf-8")
    assert "(invented)" in legend
    # From memory: the lake is water from 87.6 to 86.4 degrees west at this latitude.
    west, south, east, north = tiles.total_bounds
    assert -87.6 < west < east < -86.4
    assert 42.4 < south < north < 42.7
