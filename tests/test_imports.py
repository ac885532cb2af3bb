"""A library is loaded when it is first needed: counted in modules, so that no clock is asked."""

import subprocess
import sys
from pathlib import Path

import pytest

from zoneplan.field.child import run as run_in_child

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "demo_fields"
CREEK = DEMO / "creek"
# What a plan of a survey needs none of.
FAR = {"exactextract", "pyarrow", "pykrige", "rasterio", "scipy", "streamlit", "tomlkit"}


def loaded(code: str, *arguments: object) -> set[str]:
    """Run code in a process of its own, and name the modules that it ends with."""
    end = "\nimport sys; print('\\n' + ' '.join(sys.modules))"
    result = subprocess.run(
        [sys.executable, "-c", code + end, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(result.stdout.splitlines()[-1].split())


def run(*arguments: object) -> set[str]:
    code = "import sys; from zoneplan.cli import main; main(sys.argv[1:], standalone_mode=False)"
    return loaded(code, *arguments)


def test_help_loads_the_parser_alone():
    modules = run("--help")
    assert "click" in modules
    assert {module for module in modules if module.startswith("zoneplan")} == {
        "zoneplan",
        "zoneplan.cli",
    }


@pytest.mark.parametrize("words", [("plan",), ("open",), ("check",), ("demo",), ("rules", "show")])
def test_help_of_a_command_loads_no_map(words):
    assert not run(*words, "--help") & {"numpy", "pandas", "shapely", "geopandas", *FAR}


def test_a_plan_of_a_survey_loads_no_reader_of_points_or_rasters(tmp_path):
    modules = run(
        "plan",
        CREEK / "boundary.geojson",
        *("--soil", CREEK / "survey", "--machine", CREEK / "machine.toml", "--out", tmp_path),
    )
    assert "geopandas" in modules  # and this test can see it
    assert not modules & FAR
    assert not {
        module
        for module in modules
        if module.startswith(("zoneplan.field.points", "zoneplan.field.raster", "zoneplan.pages"))
    }


APP = """
import sys
import zoneplan.pages.door
from streamlit.testing.v1 import AppTest
app = AppTest.from_file(sys.argv[1], default_timeout=120).run()
for key in sys.argv[2:]:
    app.button(key=key).click().run()
assert not app.exception
"""


@pytest.mark.slow
@pytest.mark.parametrize("pressed", [(), ("demo-creek",)], ids=["start", "field"])
def test_the_app_without_a_book_loads_no_database(pressed):
    modules = loaded(APP, ROOT / "app.py", *pressed)
    assert ("zoneplan.pages.map" if pressed else "zoneplan.pages.intake") in modules
    assert not {"alembic", "sqlalchemy"} & modules
    assert not {name for name in modules if name.startswith("zoneplan.book")}


def test_the_child_that_opens_files_loads_what_opens_them_alone():
    names = {*run_in_child(30, modules_there)}
    assert "pyogrio" in names
    assert not names & {"geopandas", "pandas", "pyarrow", "pyproj", "shapely", "scipy", "streamlit"}


def modules_there() -> list[str]:
    """Name the modules of this process, but for those that stand barred in it."""
    return [name for name, module in sys.modules.items() if module is not None]
