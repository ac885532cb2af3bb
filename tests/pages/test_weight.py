"""What goes over the line for a touch, counted in bytes: no clock is asked."""

import json
import subprocess
import sys
import threading

import pytest

from tests.pages.line import Line
from tests.pages.visit import ROOT, served

pytestmark = pytest.mark.slow

MOST = 30_000  # bytes of a touch that changes no plan


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with served(tmp_path_factory.mktemp("called") / "book") as address:
        yield address


@pytest.fixture
def line(address):
    line = Line(address)
    line.run()
    line.run()  # what it may know again it has
    yield line
    line.close()


def drawn(line):
    return json.loads(line.element("map").json_args)


def click(line, turn, /, **event):
    return line.touch("map", json_value=json.dumps({**event, "turn": turn}))


def test_a_touch_that_changes_no_plan_is_light_and_sends_no_shapes(line):
    touches = [
        *({"key": "zone", "string_value": option} for option in line.element("zone").options),
        *(
            {"key": "shown_moisture", "string_array_value": [moisture]}
            for moisture in ("dry", "wet", "moist")
        ),
        *({"key": "fill", "double_array_value": [fill]} for fill in (90.0, 70.0, 100.0)),
    ]
    assert len(touches) > 10
    for touch in touches:
        assert line.touch(**touch) < MOST
        assert drawn(line)["shapes"] == {}
        assert len(line.kinds) < 35  # the boxes of the side are not among them


def test_a_fill_draws_the_sheet_of_its_zone_alone_unless_a_check_is_of_it(line):
    line.touch("fill", double_array_value=[80.0])
    assert len(line.kinds) < 10
    line.touch("check", bool_value=True)
    line.touch("fill", double_array_value=[70.0])
    assert len(line.kinds) > 20
    line.touch("check", bool_value=False)
    line.touch("fill", double_array_value=[60.0])
    assert len(line.kinds) < 10


def test_a_click_on_the_map_chooses_a_zone_and_another_on_the_same_counts(line):
    assert click(line, 1, zone=5) < MOST
    assert drawn(line)["chosen"] == 5
    line.touch("zone", string_value=line.element("zone").options[1])
    assert drawn(line)["chosen"] == 2
    click(line, 2, zone=5)
    assert drawn(line)["chosen"] == 5
    assert line.element("zone").raw_value.startswith("5: ")


def test_the_box_of_a_zone_is_light_too_and_what_the_map_is_asked_for(line):
    assert line.touch("change", bool_value=True) < MOST
    for turn, zone in enumerate(range(1, 8), start=1):
        assert click(line, turn, zone=zone) < MOST
        assert drawn(line)["shapes"] == {}
    click(line, 10, zone=5)
    for key, words in (("own_why", "we dug"), ("own_initials", "AB")):
        assert line.touch(key, string_value=words) < MOST
    assert line.press("edge-join") < MOST
    assert drawn(line)["asks"]["near"] == [1, 2, 4]
    assert click(line, 11, join=7) < MOST  # no neighbour: nothing
    assert drawn(line)["asks"]["kind"] == "join"
    assert click(line, 12, back=True) < MOST
    assert drawn(line)["asks"] is None
    assert line.press("edge-split") < MOST
    assert click(line, 13, line=[[-93.5, 42.0], [-93.4, 42.0]]) < MOST  # elsewhere: told
    assert drawn(line)["asks"]["kind"] == "split"
    click(line, 14, back=True)
    line.touch("own_margin_5moist", double_value=120.0)
    line.press("own_put")  # the whole page comes: it is another plan
    assert len(line.kinds) > 20
    line.press("take-back-1")  # and so it does again
    for turn, zone in enumerate(range(1, 8), start=20):
        assert click(line, turn, zone=zone) < MOST


def test_shapes_come_again_where_the_browser_lacks_them(line):
    digest = drawn(line)["zones"]
    click(line, 1, zone=2)
    assert drawn(line)["shapes"] == {}
    click(line, 2, lacks=[digest])
    assert list(drawn(line)["shapes"]) == [digest]
    click(line, 3, zone=3)
    assert drawn(line)["shapes"] == {}


def test_a_layer_is_sent_once(line):
    layer = line.element("show").options[1]
    line.touch("show", string_value=layer)
    shown = drawn(line)["layer"]
    assert list(drawn(line)["shapes"]) == [shown]
    line.touch("show", string_value="zones")
    line.touch("show", string_value=layer)
    assert (drawn(line)["layer"], drawn(line)["shapes"]) == (shown, {})


def test_a_place_on_a_layer_chooses_the_zone_below(line):
    line.run()  # the whole page: shapes come along
    sent = drawn(line)
    place = next(zone["at"] for zone in sent["shapes"][sent["zones"]]["zones"] if zone["id"] == 4)
    line.touch("show", string_value=line.element("show").options[1])
    click(line, 1, place=place)
    assert drawn(line)["chosen"] == 4


def test_another_session_is_answered_while_one_plans(address, line):
    other = Line(address)
    other.run()
    fields, done = other.element("field").options[:3], []

    def plan():
        for field in 3 * fields:  # each takes several times as long as a touch
            other.touch("field", string_value=field)
            done.append(field)

    planning = threading.Thread(target=plan)
    planning.start()
    assert click(line, 9, zone=3) < MOST
    assert len(done) < 9
    planning.join()
    other.close()
    assert len(done) == 9


def test_the_first_page_loads_no_library_that_only_another_needs():
    """Folium is for drawing, the others for sheets, points and files that nobody has sent."""
    result = subprocess.run(
        [sys.executable, "-c", FIRST_PAGE, str(ROOT / "app.py")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert result.stdout.split() == ["shown"]


FIRST_PAGE = """
import sys
from streamlit.testing.v1 import AppTest
app = AppTest.from_file(sys.argv[1], default_timeout=60)
app.session_state["field"] = "bottom"
print("shown" if "Every zone" in str([it.value for it in app.run().get("html")]) else "nothing")
for name in ("folium", "streamlit_folium", "branca", "pypdf", "pykrige", "jsonschema", "altair"):
    if name in sys.modules:
        print(name)
"""
