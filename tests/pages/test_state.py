import pytest
from shapely import equals_exact

from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.pages.state import OWN_MACHINE, Asked, Upload, plan_asked, save


def asked(**changes):
    told = {
        "ground": "level",
        "machine": OWN_MACHINE,
        "tillage": "tilled",
        "speed_mph": None,
        "depth_in": None,
        "residue_pct": 0,
    }
    return Asked(**(told | changes))


def test_a_demo_field_is_planned_as_on_the_command_line():
    found, expected = plan_asked(asked()), plan_demo(DEMOS["level"])
    assert found.conditions == expected.conditions
    assert found.machine == expected.machine
    assert [it.moistures for it in found.settings] == [it.moistures for it in expected.settings]
    assert equals_exact(found.field.shape, expected.field.shape)


def test_what_is_typed_goes_in_as_si():
    conditions = plan_asked(asked(speed_mph=5, depth_in=2, residue_pct=30)).conditions
    # WORKED: 5 x 0.44704 m/s; 2 x 0.0254 m; 30 / 100
    assert conditions.speed_mps == pytest.approx(2.2352)
    assert conditions.depth_m == pytest.approx(0.0508)
    assert conditions.residue_frac == pytest.approx(0.3)


# What a browser may call a file, and the name we keep.
NAMES = {
    "boundary.geojson": "boundary.geojson",
    "North 40 (2).zip": "North 40 (2).zip",
    "Crêt-du-Noyer.kml": "Crêt-du-Noyer.kml",
    "../../etc/passwd": "passwd",
    "..\\..\\windows\\system.ini": "system.ini",
    "/etc/cron.d/job.zip": "job.zip",
    "C:\\temp\\a.zip": "a.zip",
    "..": "upload.",
    "": "upload",
    "a\x00b.zip": "a_b.zip",
    "<b>*x*.zip": "_b__x_.zip",
    "é" * 300 + ".zip": "é" * 60 + ".zip",
    "a." + "b" * 300: "a." + "b" * 60,
}


@pytest.mark.parametrize(("name", "kept"), NAMES.items(), ids=range(len(NAMES)))
def test_an_upload_stays_in_its_folder(tmp_path, name, kept):
    path = save(Upload(name, b"content"), tmp_path / "scratch")
    assert path.name == kept
    assert path.parent == tmp_path / "scratch"
    assert path.resolve().parent == (tmp_path / "scratch").resolve()
    assert path.read_bytes() == b"content"
    assert len(list(tmp_path.rglob("*"))) == 2  # the folder and the file: nothing beside them
