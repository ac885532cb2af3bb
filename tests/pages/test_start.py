"""The page to begin on: files of any kind in one place, and questions where one is open."""

import json
import tempfile
import zipfile
from io import BytesIO

import pytest
from shapely.geometry import box, mapping
from streamlit.testing.v1 import AppTest

from tests.pages.test_app import APP, CLAY, SILT, own, turned_to
from tests.pages.uploads import (
    TWO_SOILS,
    boundary,
    features,
    machine,
    square,
    survey,
    upload,
    zipped,
)
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.pages.start import DROP
from zoneplan.request import RASTER_UNITS, Drawn
from zoneplan.rules.read import STOCK


def start():
    return AppTest.from_file(APP, default_timeout=60).run()


def drop(app, *files):
    (chooser,) = [one for one in app.file_uploader if one.label == DROP]
    chooser.set_value(list(files)).run()
    assert not app.exception
    return app


def taken(app):
    """What each file is taken for, by its name."""
    return {
        one.label.removeprefix("What ").removesuffix(" is"): one.value
        for one in app.selectbox
        if str(one.key).startswith("role-")
    }


def texts(app):
    return " ".join(one.proto.body for one in app.get("html") if "<style>" not in one.proto.body)


def pressed(app, key):
    app.button(key=key).click().run()
    assert not app.exception
    return app


@pytest.mark.parametrize("demo", demo_fields(), ids=lambda demo: demo.name)
def test_one_click_leads_to_a_demo(demo):
    app = pressed(start(), f"demo-{demo.name}")
    assert plan_demo(demo).field.name in texts(app)
    assert app.session_state["field"] == demo.name


def test_all_files_at_once_and_one_click_give_the_plan():
    app = drop(start(), machine("level"), survey("level"), boundary("level"))
    assert taken(app) == {
        "machine.toml": "machine",
        "survey.zip": "soils",
        "boundary.kml": "boundary",
    }
    assert "73.3 acres" in texts(app)
    assert "Soil layers cover" in texts(app)
    app = pressed(app, "plan-it")
    assert "Third Pancake Farm, eight rows, springs" in texts(app)
    assert app.session_state["field"] == "files of my own"
    assert "Zone 1" in texts(app)


def test_what_is_missing_is_said():
    app = drop(start(), boundary("level"))
    assert "Still to give: a soil layer, a planter." in texts(app)
    app = drop(app, survey("level"))
    assert "Still to give: a planter." in texts(app)
    app.selectbox(key="start-machine").set_value("springs").run()
    app = pressed(app, "plan-it")
    assert "Level eighty" in texts(app)


def test_a_file_taken_for_another_is_put_where_a_person_says():
    app = drop(start(), upload("mine.geojson", features((box(-93.6, 42, -93.59, 42.01), {}))))
    assert taken(app) == {"mine.geojson": "boundary"}
    (chooser,) = [one for one in app.selectbox if str(one.key).startswith("role-")]
    chooser.set_value("zones").run()
    assert taken(app) == {"mine.geojson": "zones"}
    (chooser,) = [one for one in app.selectbox if str(one.key).startswith("role-")]
    chooser.set_value("left out").run()
    assert taken(app) == {}


def test_parts_of_a_shapefile_are_taken_together_and_a_missing_one_is_named(tmp_path):
    import geopandas as gpd

    gpd.GeoDataFrame(geometry=[box(0, 0, 400, 400)], crs=32615).to_file(tmp_path / "home.shp")
    parts = [
        upload(path.name, path.read_bytes())
        for path in sorted(tmp_path.iterdir())
        if path.suffix != ".cpg"
    ]
    assert taken(drop(start(), *parts)) == {"home.zip": "boundary"}
    without = [part for part in parts if not part[0].endswith(".shx")]
    app = drop(start(), *without)
    assert taken(app) == {}
    assert "home.shx is missing" in texts(app)
    app = drop(app, *(part for part in parts if part not in without))  # it comes later
    assert taken(app) == {"home.zip": "boundary"}
    assert "is missing" not in texts(app)


def test_files_that_were_sent_at_the_side_are_listed_here_too():
    app = turned_to("start", own(square(name="Home"), TWO_SOILS))
    assert taken(app) == {"square.geojson": "boundary", "soils.geojson": "soils"}
    assert "Home: " in texts(app)
    chooser = next(one for one in app.selectbox if one.value == "soils")
    chooser.set_value("left out").run()
    assert taken(app) == {"square.geojson": "boundary"}  # and it stays out


def test_a_system_that_fits_is_a_button(tmp_path):
    import geopandas as gpd

    demo = next(demo for demo in demo_fields() if demo.name == "creek")
    home = gpd.read_file(demo.boundary)
    utm = home.to_crs(home.estimate_utm_crs())
    utm.to_file(tmp_path / "home.shp")
    parts = [
        upload(path.name, path.read_bytes())
        for path in sorted(tmp_path.iterdir())
        if path.suffix in (".shp", ".shx", ".dbf")
    ]
    soil = [(home.union_all().buffer(0.01), {"texture": "loam"})]
    app = drop(start(), upload("soil.geojson", features(*soil)), *parts)
    code = f"EPSG:{utm.crs.to_epsg()}"
    app = pressed(app, f"use-{code}")
    assert f"{demo_acres(demo)} acres" in texts(app)


def test_what_a_raster_is_in_is_asked_with_a_button_for_each_answer():
    app = drop(start(), square(name="Home"), machine("level"), SILT, CLAY)
    assert "sand is not given" in texts(app)
    asked = [one.label for one in app.button if str(one.key).startswith("answer-raster_unit-")]
    assert asked == [*RASTER_UNITS]
    assert not [one for one in app.button if one.key == "plan-it"]
    app = pressed(app, "answer-raster_unit-percent")
    assert app.session_state["raster_unit"] == "percent"
    assert "sand is not given" not in texts(app)
    assert [one for one in app.button if one.key == "plan-it"]


def demo_acres(demo):
    return f"{plan_demo(demo).field.area_ha * 2.4710538:,.1f}"


def test_the_area_a_survey_was_asked_for_is_offered_as_the_outline(tmp_path):
    import geopandas as gpd

    name, content, kind = survey("level")
    demo = next(demo for demo in demo_fields() if demo.name == "level")
    gpd.read_file(demo.boundary)[["geometry"]].to_file(tmp_path / "aoi_a_aoi.shp")
    packed = BytesIO(content)
    with zipfile.ZipFile(packed, "a") as archive:
        for path in tmp_path.iterdir():
            archive.write(path, f"spatial/{path.name}")
    app = drop(start(), (name, packed.getvalue(), kind), machine("level"))
    (offer,) = [one for one in app.button if str(one.key).startswith("area-")]
    app = pressed(app, offer.key)
    assert "73.3 acres" in texts(app)


def test_another_field_lets_go_what_was_changed_on_the_one_before():
    app = drop(start(), boundary("level"), survey("level"), machine("level"))
    desk = app.session_state["desk"]
    knoll = json.dumps(mapping(box(-87.0, 42.5, -86.99, 42.51)))
    desk.drawn = (Drawn("zone", "knoll", knoll),)
    taken_before = taken(app)
    chooser = next(one for one in app.selectbox if one.value == "boundary")
    chooser.set_value("left out").run()
    drop(app, boundary("creek"))
    assert taken(app) != taken_before
    assert "On the field before there are: 1 change by hand." in texts(app)
    app = pressed(app, "swap-other")
    assert app.session_state["desk"].drawn == ()


@pytest.mark.parametrize(
    ("file", "role"),
    [
        (upload("a.toml", STOCK[0].read_bytes()), "rules"),
        (upload("log.csv", b"x,y,ec\n1,2,3\n"), "soils"),
        (upload("lines.geojson", b""), None),
        (upload("picture.png", b"\x89PNG\r\n\x1a\n"), None),
        (upload("bad.zip", b"PK\x03\x04 cut off"), None),
        (upload("bad.toml", b"= \xff"), None),
        (upload("notes.zip", zipped({"notes.txt": b"hello"})), None),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else str(value),
)
def test_a_file_goes_where_it_belongs_or_says_why_not(file, role):
    app = drop(start(), file)
    assert list(taken(app).values()) == ([role] if role else [])
    assert ("zp-fault" in texts(app)) == (role is None)


def test_a_folder_for_temporary_files_that_is_full_or_gone_is_told(monkeypatch, tmp_path):
    app = drop(start(), square(name="Home"))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    drop(app, TWO_SOILS)
    assert texts(app).count("has no room, or takes no files") == 2  # to draw it, and to look at it
    monkeypatch.undo()
    assert "soils.geojson" in taken(
        drop(app, TWO_SOILS)
    )  # that it was in the way is not remembered
