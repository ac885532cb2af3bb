"""Every way through the app, without a browser."""

import json
import re
import tempfile
from html import escape
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import LineString, box
from streamlit.testing.v1 import AppTest

from tests.pages.uploads import (
    DEMOS,
    EAST,
    HOSTILE,
    SQUARE,
    TWO_SOILS,
    WEST,
    boundary,
    features,
    hill,
    machine,
    square,
    survey,
    table,
    tif,
    upload,
    zipped,
)
from zoneplan.demo import plan_demo
from zoneplan.pages.frame import FIELD_NEEDED, MACHINE_NEEDED
from zoneplan.pages.map import TILES
from zoneplan.pages.state import MACHINE_FILE, OWN_FIELD

APP = Path(__file__).parents[2] / "app.py"


@pytest.fixture(autouse=True)
def _nothing_deprecated(caplog):
    yield
    assert [message for message in caplog.messages if "deprecat" in message.lower()] == []


def opened(field="level", **chosen):
    app = AppTest.from_file(APP, default_timeout=30)
    for key, value in {"field": field, **chosen}.items():
        app.session_state[key] = value
    return app.run()


def own(boundary, *soils, **chosen):
    """Open the app and send files of one's own."""
    return send(opened(OWN_FIELD, **chosen), boundary, *soils)


def send(app, boundary, *soils):
    app.file_uploader(key="boundary").set_value(boundary)
    app.file_uploader(key="soils").set_value(list(soils))
    return app.run()


def turned_to(page, app):
    """Turn to another page of the app."""
    return app.switch_page(f"zoneplan/pages/{page}.py").run()


def shown(app):
    """All that the page says itself. An exception or a word from Streamlit fails the test."""
    assert not app.exception
    assert not app.warning
    assert not app.error
    return "\n".join(element.value for element in app.get("html") if "<style>" not in element.value)


def without_found(text):
    """All but the block that only files of one's own have."""
    rest, blocks = re.subn(r'<section class="zp-found".*?</section>\n', "", text)
    assert blocks == 1
    return rest


def summary_of(app):
    """What the block says, without its marks."""
    (block,) = re.findall(r'<section class="zp-found".*?</section>', shown(app))
    return re.sub(r"<[^>]+>", "|", block)


def fault(app):
    text = shown(app)
    assert text.startswith('<div class="zp-fault" role="alert">')
    return text


def asked_beside(app, key):
    """What is asked where an error is told, and the example for it."""
    box = app.text_input(key=f"typed-{key}")
    return box.label, box.placeholder


def drawn(app):
    """What is sent to the map component."""
    (component,) = app.get("component_instance")
    return json.loads(component.proto.json_args)


def zones_of(heads):
    """The zones that the rows of the table name: "1, 4 to 6"."""
    for part in ", ".join(heads).split(", "):
        first, *last = map(int, part.split(" to "))
        yield from range(first, (last or [first])[0] + 1)


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_field_shows_every_zone_and_so_do_its_files_when_uploaded(name):
    app = opened(name)
    plan = plan_demo(DEMOS[name])
    text = shown(app)
    assert f"<h1>{plan.field.name}</h1>" in text
    (table,) = re.findall(r'<table class="zp-zones"><caption>Every zone.*?</table>', text)
    heads = re.findall(r'<th scope="row">(.*?)</th>', table)
    assert len(heads) == plan.treatments
    assert sorted(zones_of(heads)) == [zoned.zone.id for zoned in plan.settings]
    assert app.selectbox(key="zone").options == [
        f"{zoned.zone.id}: {zoned.zone.facts.texture or zoned.zone.facts.ground}"
        for zoned in plan.settings
    ]
    app = own(boundary(name), survey(name), machine=MACHINE_FILE)
    assert escape(MACHINE_NEEDED) in shown(app)
    app.file_uploader(key="machine_file").set_value(machine(name)).run()
    assert without_found(shown(app)) == text


def test_a_chosen_zone_brings_its_own_reasons():
    app = opened("creek")
    plan = plan_demo(DEMOS["creek"])
    rules = set()
    for setting in plan.settings[:4]:
        app.selectbox(key="zone").set_value(setting.zone.id).run()
        text = shown(app)
        assert f"<h2>Zone {setting.zone.id}: " in text
        moisture = setting.moistures["moist"]
        for reason in (*moisture.reasons, *moisture.closing_reasons):
            assert f"{reason.rule}, {reason.confidence}" in text
            rules.add(reason.rule)
    assert len(rules) > 5


def test_another_moisture_changes_numbers_and_map():
    app = opened()
    before = dict.fromkeys(("dry", "moist", "wet"))
    for moisture in before:
        app.button_group(key="shown_moisture").set_value(moisture).run()
        assert f"Every zone, {moisture}" in shown(app)
        before[moisture] = (shown(app), json.dumps(drawn(app)["looks"]))
    assert len(set(before.values())) == 3


def test_the_map_stays_when_a_zone_is_chosen_or_clicked():
    app = opened()
    first = drawn(app)
    assert first["web"] is None
    app.selectbox(key="zone").set_value(2).run()
    second = drawn(app)
    assert first["zones"] == second["zones"]
    assert (first["chosen"], second["chosen"]) == (1, 2)
    app.toggle(key="web_map").set_value(True).run()
    assert drawn(app)["web"]["url"] == TILES


def test_day_and_planter_change_the_plan():
    app = opened()
    first = shown(app)
    app.number_input(key="speed_mps").set_value(6)
    app.number_input(key="depth_m").set_value(2.25)
    app.number_input(key="residue_frac").set_value(60)
    app.selectbox(key="tillage").set_value("no-till")
    app.selectbox(key="machine").set_value("springs")
    text = shown(app.run())
    for fact in ("no-till", "6 mph", "2.25 in deep", "60 % residue"):
        assert f"<li>{fact}</li>" in text
        assert f"<li>{fact}</li>" not in first
    assert "One spring position for the whole field, moist" in text


def test_what_is_missing_is_asked_for():
    app = opened()
    app.selectbox(key="field").set_value(OWN_FIELD).run()
    assert FIELD_NEEDED in shown(app)
    app.file_uploader(key="boundary").set_value(square()).run()
    assert FIELD_NEEDED in shown(app)
    app.file_uploader(key="soils").set_value([TWO_SOILS]).run()
    assert "Every zone, moist" in shown(app)


def test_where_two_soil_layers_overlap_the_first_wins():
    clay = upload("clay.geojson", features((WEST.union(EAST), {"texture": "clay"})))
    app = own(square(), clay, TWO_SOILS)
    assert app.selectbox(key="zone").options == ["1: clay"]
    app.file_uploader(key="soils").set_value([TWO_SOILS, clay]).run()
    assert sorted(option[3:] for option in app.selectbox(key="zone").options) == [
        "loam",
        "silty clay",
    ]


def test_an_error_is_told_in_full_and_nothing_typed_is_lost():
    app = opened(OWN_FIELD)
    app.number_input(key="speed_mps").set_value(6.5)
    app.selectbox(key="tillage").set_value("strip-till")
    send(app, upload("empty.geojson", features()), TWO_SOILS)
    words = fault(app)
    assert "<p>empty.geojson holds no area" in words
    assert "A boundary is a polygon" in words
    assert "Export the field" in words
    assert app.number_input(key="speed_mps").value == 6.5
    assert app.selectbox(key="tillage").value == "strip-till"
    assert [file.name for file in app.file_uploader(key="soils").value] == ["soils.geojson"]
    app.file_uploader(key="boundary").set_value(square()).run()
    assert "<li>6.5 mph</li>" in shown(app)


def test_one_of_several_features_is_picked():
    two = upload("two.geojson", features((WEST, {"owner": "Ada"}), (EAST, {"owner": "Bo"})))
    app = own(two, TWO_SOILS)
    words = fault(app)
    assert "owner=Ada" in words
    assert "--" not in words  # said in the page's words, not the command line's
    assert "Choose it on the map" in [link.label for link in app.get("page_link")]
    app.text_input(key="pick").set_value("owner=bo").run()
    assert app.selectbox(key="zone").options == ["1: silty clay"]


def test_a_layer_without_a_coordinate_system_can_be_given_one(tmp_path):
    gpd.GeoDataFrame(geometry=[WEST.union(EAST)], crs="EPSG:4326").to_file(tmp_path / "bare.shp")
    bare = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.suffix != ".prj"}
    app = own(upload("bare.zip", zipped(bare)), TWO_SOILS)
    assert "no coordinate system" in fault(app)
    assert asked_beside(app, "crs") == ("Coordinate system", "EPSG:4326")
    app.text_input(key="crs").set_value("EPSG:4326").run()
    assert "<h1>bare</h1>" in shown(app)


def test_columns_that_are_not_found_can_be_named():
    odd = upload("odd.geojson", features((WEST.union(EAST), {"a": 40, "b": 40, "c": 20, "d": 2.5})))
    app = own(square(), odd)
    assert fault(app)
    assert asked_beside(app, "columns_sand")[0] == "Sand column"
    for part, column in {"sand": "a", "silt": "b", "clay": "c", "organic": "d"}.items():
        app.text_input(key=f"columns_{part}").set_value(column)
    app.run()
    assert app.selectbox(key="zone").options == ["1: loam"]
    assert "<dt>Organic matter</dt><dd>2.5 %</dd>" in shown(app)


SAND, SILT, CLAY = tif("sand.tif", 40, 10), tif("silt.tif", 40, 40), tif("clay.tif", 20, 50)


def test_rasters_sent_together_are_one_layer():
    app = own(square(), SAND, SILT, CLAY)
    assert sorted(option[3:] for option in app.selectbox(key="zone").options) == [
        "loam",
        "silty clay",
    ]
    # In alphabetical order, as of a folder.
    assert summary_of(app).count("clay and 2 more: coarse raster, ") == 1
    sandy = upload("map.geojson", features((SQUARE, {"texture": "sand"})))
    # A map of the field goes before coarse rasters, in whatever order they were sent.
    for soils in ((SAND, sandy, SILT, CLAY), (sandy, SAND, SILT, CLAY)):
        app = own(square(), *soils)
        assert app.selectbox(key="zone").options == ["1: sand"]


def test_a_raster_that_is_damaged_or_unclear_is_not_passed_over():
    words = fault(own(square(), SAND, SILT, upload("clay.tif", CLAY[1][:60])))
    assert "clay.tif cannot be read as a GeoTIFF" in words
    app = own(square(), SAND, SILT, CLAY, CLAY)
    words = fault(app)
    assert "could each be clay" in words
    assert asked_beside(app, "bands") == ("Raster bands", "clay=FILE:NUMBER")
    assert "--" not in words


def test_bands_of_rasters_can_be_named():
    app = own(square(), SAND, SILT, CLAY, upload("clay2.tif", CLAY[1]))
    assert "could each be clay" in fault(app)
    app.text_input(key="bands").set_value("clay=clay2.tif, sand=sand.tif, silt=silt.tif").run()
    assert sorted(option[3:] for option in app.selectbox(key="zone").options) == [
        "loam",
        "silty clay",
    ]
    app.text_input(key="bands").set_value("clay").run()
    assert "clay names no band: write it as in clay=2" in fault(app)


def test_the_unit_of_rasters_can_be_named():
    app = own(square(), SILT, CLAY)
    assert "sand is not given" in fault(app)
    app.button(key="answer-raster_unit-percent").click().run()
    assert sorted(option[3:] for option in app.selectbox(key="zone").options) == [
        "loam",
        "silty clay",
    ]
    app.selectbox(key="zone").set_value(2).run()  # and it is not forgotten
    assert app.selectbox(key="raster_unit").value == "percent"
    assert "<h2>Zone 2: " in shown(app)


def test_a_conductivity_log_is_read_by_samples_and_its_columns_can_be_named():
    log = table("log.csv", "p,q,r", lambda across: f"{10 + 20 * across:.3f}")
    lab = table(
        "lab.csv",
        "lon,lat,sand,silt,clay",
        lambda across: f"{60 - 40 * across:.1f},{30:.1f},{10 + 40 * across:.1f}",
        every=5,
    )
    app = own(square(), log)
    assert fault(app)
    assert asked_beside(app, "columns_x")[0] == "X column"
    assert asked_beside(app, "columns_y")[0] == "Y column"
    app.text_input(key="columns_x").set_value("p")
    app.text_input(key="columns_y").set_value("q")
    app.text_input(key="crs").set_value("EPSG:4326").run()
    assert asked_beside(app, "columns_conductivity")[0] == "Conductivity column"
    app.text_input(key="columns_conductivity").set_value("r").run()
    words = fault(app)
    assert "log: conductivity alone does not say what soil lies where." in words
    assert "Add texture samples" in words
    app.file_uploader(key="samples").set_value(lab).run()
    assert "log: conductivity through samples, " in summary_of(app)
    assert sorted(option[3:] for option in app.selectbox(key="zone").options)[0] == "clay"


def test_where_ground_lies_is_taken_and_told():
    line = LineString([(-93.002, 42), (-93.002, 42.003)])
    tracks = upload("tracks.geojson", features((line, {})))
    drawn = upload(
        "drawn.geojson", features((box(-93.004, 42, -93.003, 42.0012), {"name": "Knoll"}))
    )
    app = own(square(), TWO_SOILS)
    assert "headland" not in summary_of(app)
    for key, sent in {"tracks": tracks, "zones": drawn, "elevation": hill()}.items():
        app.file_uploader(key=key).set_value(sent)
    app.number_input(key="headland_passes").set_value(2).run()
    app.multiselect(key="headland_sides").set_value(["north", "south"]).run()
    summary = summary_of(app)
    for sentence in (
        "drawn: zones or edges, 1 piece",
        "tracks: wheel tracks, 1 piece",
        "|headland, 2 pieces",
        "heights: lie of the land, ",
        "along the sides that face north, south",
    ):
        assert sentence in summary


@pytest.mark.parametrize("key", ["samples", "elevation", "tracks", "zones"])
def test_a_wrong_file_further_down_is_an_error_too(key):
    app = opened(OWN_FIELD)
    log = table("log.csv", "lon,lat,ec", lambda across: f"{10 + 20 * across:.3f}", every=6)
    app.file_uploader(key=key).set_value(upload("wrong.tif", b"\x89PNG\r\n\x1a\n"))
    words = fault(send(app, square(), TWO_SOILS, log))
    assert "wrong.tif" in words
    assert tempfile.gettempdir() not in words


def test_a_headland_is_for_demo_fields_too():
    app = opened("level")
    before = shown(app)
    app.number_input(key="headland_passes").set_value(1).run()
    assert "1 pass of" in shown(app)
    assert shown(app) != before
    assert "zp-found" not in shown(app)


def test_what_was_found_is_shown_before_the_plan():
    hole = SQUARE.difference(box(-93.0035, 42.001, -93.003, 42.002))
    west = upload("west.geojson", features((WEST, {"texture": "loam"})))
    app = own(upload("f.geojson", features((hole, {"name": "North <40>"}))), west)
    text = shown(app)
    assert text.index("What was found") < text.index("Every zone")
    summary = summary_of(app)
    assert "North &lt;40&gt;" in summary
    assert "1 piece, 1 hole" in summary
    assert "WGS 84" in summary
    assert "° N" in summary
    # WORKED: the half of the square less a hole of 1/8 of its width by 1/3 of its height, of
    # the square less that hole: (1/2 - 1/24) / (1 - 1/24) = 48 %
    assert "48 %, " in summary
    assert "west: polygons, 1 piece, WGS 84" in summary


# Every door that a file comes in by, with something else behind it.
WRONG = {
    "a picture": upload("square.geojson", b"\x89PNG\r\n\x1a\n"),
    "nothing": upload("square.geojson", b""),
    "an unknown ending": upload("square.dwg", b"{}"),
    "half a zip": upload("square.zip", boundary("bottom")[1][:200]),
    "a zip that climbs out": upload("square.zip", zipped({"../../out.geojson": b"{}"})),
    "no ending": upload("..", b"{}"),
}


@pytest.mark.parametrize("sent", WRONG.values(), ids=WRONG)
def test_a_wrong_file_is_an_error_that_shows_no_folder_of_ours(sent):
    app = opened(OWN_FIELD)
    for files in ((sent, TWO_SOILS), (square(), sent)):
        words = fault(send(app, *files))
        assert tempfile.gettempdir() not in words
        assert "zoneplan-" not in words


def test_a_wrong_machine_file_tells_every_fault():
    app = own(square(), TWO_SOILS, machine=MACHINE_FILE)
    broken = upload("machine.toml", b'name = "x"\nrows = "many"\n')
    app.file_uploader(key="machine_file").set_value(broken).run()
    assert "machine.toml has" in fault(app)


def test_names_that_hold_html_are_only_letters():
    hostile = upload(
        "soils.geojson",
        features((WEST, {"texture": "loam", "name": HOSTILE}), (EAST, {"texture": "clay"})),
    )
    notches = machine("level")[1].decode().replace("name = ", f'name = "{HOSTILE}" #', 1)
    app = own(square(name=HOSTILE), hostile, machine=MACHINE_FILE)
    app.file_uploader(key="machine_file").set_value(upload("m.toml", notches.encode())).run()
    text = shown(app)
    assert text.count("&lt;script&gt;alert(2)&lt;/script&gt; **x** $x$") >= 3
    assert "<script" not in text
    assert "<img src=x" not in text
    assert "onerror" not in json.dumps(drawn(app)["looks"])


CHECK = b"""zone = 1
moisture = "moist"
fill = 0.6
setting = "200 lb"
margin = "90 lb"
notch = "2"
"""


def test_a_hand_check_is_taken_and_can_be_let_go():
    app = opened("level")
    before = shown(app)
    app.file_uploader(key="checks").set_value([upload("check.toml", CHECK)]).run()
    text = shown(app)
    assert "Hand check (" in text
    assert text != before
    app.button(key="undo").click().run()
    assert shown(app) == before
    app.file_uploader(key="checks-1").set_value([upload("check.toml", b"zone = 99")]).run()
    assert "check.toml" in fault(app)


def test_the_day_is_asked_for_whole():
    app = opened("level")
    app.checkbox(key="tiled").check().run()
    app.selectbox(key="moisture").set_value("wet").run()
    request = app.session_state["desk"].now.request
    assert (request.tiled, request.moisture) == (True, "wet")
