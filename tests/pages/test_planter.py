"""The form for a planter of one's own, without a browser."""

import re
import tomllib
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from tests.pages.test_app import APP, opened, shown, turned_to
from tests.pages.test_start import drop, pressed, start, texts
from tests.pages.uploads import HOSTILE, boundary, machine, survey, upload
from zoneplan.field.crs import WGS_84, move
from zoneplan.pages.planter import EMPTY
from zoneplan.pages.planter_boxes import ABOUT, BOXES, GROUPS, MORE, TO_GIVE
from zoneplan.pages.planter_filling import begun, reader_at
from zoneplan.pages.state import FILL_IN
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.machine_file import KEYS, LISTS, SYSTEM_KEYS, new_machine_text, read_machine
from zoneplan.terms import Moisture, System
from zoneplan.units import KPA_PER_PSI, M_PER_IN, N_PER_LBF
from zoneplan.zones.edit import Override

STAMP = "invented weights: weigh your own"
OWNERS = {
    "name": "Ours",
    "rows": 8,
    "row_spacing": "30",
    "unit_weight": "171.5",
    "attachments": "12",
    "hopper": "1.6",
    **{f"notches.{number}.load": load for number, load in enumerate(("10", "25", "45", "70"))},
}
CHART = {
    f"system.chart.{row}.{column}": value
    for row, pair in enumerate(
        (("0", "0"), ("30", "20"), ("50", "90"), ("80", "200"), ("99", "300"))
    )
    for column, value in enumerate(pair)
}
BY_SYSTEM = {
    "springs": {f"system.positions.{row}": f"{90 * row}" for row in range(5)},
    "set-air": CHART,
    "closed-loop-air": CHART | {"system.sections": 4, "system.sensors": 2},
    "hydraulic": {"system.least": "-50", "system.most": "380"},
}


def form(app=None):
    return turned_to("planter", app or AppTest.from_file(APP, default_timeout=60).run())


def keyed(app, kind):
    """The boxes of a kind, by their places."""
    boxes = getattr(app, kind)
    return {str(one.key).rpartition(" ")[2]: one for one in boxes if "planter " in str(one.key)}


def box(app, way):
    boxes = [keyed(app, kind)[way] for kind in BOXED if way in keyed(app, kind)]
    assert len(boxes) == 1, way
    return boxes[0]


BOXED = ("text_input", "number_input", "selectbox", "checkbox")


def fill(app, entries):
    for way, value in entries.items():
        box(app, way).set_value(value)
    app.run()
    assert not app.exception
    return app


def beside(app):
    """What is said beside boxes."""
    return re.findall(r'zp-beside" role="status">(.*?)</p>', shown(app))


def use(app):
    return pressed(app, "planter-use")


def saved(app):
    (planter, *_) = app.session_state["desk"].planters
    return planter


def read(tmp_path, planter):
    path = tmp_path / planter.name
    path.write_bytes(planter.content)
    return read_machine(path)


def made(app):
    return app.session_state["known"][("run", app.session_state["desk"].now)].plan


def on(app, system):
    box(app, "kind").set_value(System(system))
    return app.run()


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_system_is_filled_in_saved_and_read_as_the_command_line_reads_it(tmp_path, system):
    app = on(form(), system)
    assert keyed(app, "text_input")["unit_weight"].value == ""
    app = fill(app, OWNERS | BY_SYSTEM[system])
    assert beside(app) == []
    app = use(app)
    planter = read(tmp_path, saved(app))
    assert saved(app).name == "Ours.toml"
    assert not planter.generic
    assert (planter.name, planter.rows) == ("Ours", 8)
    # WORKED: what was typed, in SI
    assert planter.row_spacing_m == pytest.approx(30 * M_PER_IN)
    assert planter.unit_weight_n == pytest.approx(171.5 * N_PER_LBF)
    assert [one.load_n / N_PER_LBF for one in planter.notches] == pytest.approx([10, 25, 45, 70])
    given, typical = planter.system, read_machine(system).system
    assert given.kind == system
    if system == "springs":
        wanted = [0, 90, 180, 270, 360]
        assert [one / N_PER_LBF for one in given.positions_n] == pytest.approx(wanted)
    elif system == "hydraulic":
        assert given.least_n == pytest.approx(-50 * N_PER_LBF)
        assert given.delay_s == typical.delay_s
    else:
        assert given.chart[3] == pytest.approx((80 * KPA_PER_PSI, 200 * N_PER_LBF))
        assert len(given.chart) == 5
    if system == "closed-loop-air":
        assert (given.sections, given.sensors) == (4, 2)


def test_the_sum_and_the_balance_follow_the_hand():
    app = form()
    assert "Typical numbers stand in" in shown(app)
    app = fill(app, {"unit_weight": "200", "attachments": "50", "hopper": "2"})
    text = shown(app)
    # WORKED: 200 + 50 + 2 bu of 56 lb = 362 lb, and a tenth of the seed at refill: 261.2 lb
    total = re.search(r'<th scope="row">Together</th>(.*?)</tr>', text)[1]
    assert re.findall("<td>(.*?)</td>", total) == ["362 lb", "261 lb"]
    (alt,) = re.findall(r'<img [^>]*alt="(Hopper full[^"]*)"', text)
    assert alt.startswith("Hopper full, row unit 250 lb and seed 112 lb press down; opener load ")
    assert "At refill, row unit 250 lb and seed 11 lb press down; " in alt
    app = fill(app, {"refill": 50.0, "unit_weight": "60"})
    assert "At refill, row unit 110 lb, seed 56 lb and downforce 100 lb press down; " in shown(app)


def test_of_either_side_of_the_balance_the_numbers_add_up():
    app = on(form(), "hydraulic")
    (alt,) = re.findall(r'<img [^>]*alt="(Hopper full[^"]*)"', shown(app))
    for side in alt.split(". "):
        down, up = (sum(_signed(half)) for half in side.split("press down;"))
        assert down == pytest.approx(up, abs=2)  # of rounding


def _signed(phrase):
    return [
        -int(load) if "less" in name else int(load)
        for name, load in re.findall(r"([a-z ]+?) (\d+) lb", phrase)
    ]


def test_several_faults_are_told_each_beside_its_box_and_nothing_is_taken():
    app = on(form(), "set-air")
    wrong = {"unit_weight": "9999", "row_spacing": "wide", "refill": 120.0}
    app = fill(app, OWNERS | CHART | wrong | {"system.chart.2.1": "5"})
    text = beside(app)
    assert len(text) == 4
    assert "&quot;9999 lb&quot; cannot be. It lies from 12 to 2,200 lb." in text
    assert any("&#x27;wide&#x27; is not a length" in one for one in text)
    assert "Load 3 does not rise above the one before it." in text
    assert "120 % cannot be. It lies from 0 to 100 %." in text
    app = use(app)
    assert app.session_state["desk"].planters == ()
    assert "4 places are still to be filled in or put right" in shown(app)
    assert next(one for one in app.get("download_button")).proto.disabled


def test_what_is_empty_is_told_once_a_person_says_that_it_is_whole():
    app = fill(form(), {key: value for key, value in OWNERS.items() if key != "unit_weight"})
    assert beside(app) == []
    app = use(app)
    assert beside(app) == [TO_GIVE] * 6  # the row unit, and five spring positions
    app = fill(app, {"unit_weight": "80 kg"} | BY_SYSTEM["springs"])
    assert beside(app) == []
    app = use(app)
    assert b'unit_weight = "80 kg"' in saved(app).content


def test_rows_of_a_list_come_and_go():
    app = fill(form(), OWNERS | BY_SYSTEM["springs"])
    outs = [
        one
        for one in app.button
        if str(one.key).startswith("out-") and "positions.1" in str(one.key)
    ]
    app = pressed(app, outs[0].key)
    assert [keyed(app, "text_input")[f"system.positions.{row}"].value for row in range(4)] == [
        "0",
        "180",
        "270",
        "360",
    ]
    (more,) = [
        one for one in app.button if str(one.key).startswith("more-") and "notches" in str(one.key)
    ]
    app = pressed(app, more.key)
    app = fill(app, {"notches.4.name": "1", "notches.4.load": "90"})
    assert beside(app) == ["The name &quot;1&quot; is there more than once."]
    app = fill(app, {"notches.4.name": "5"})
    written = tomllib.loads(saved(use(app)).content.decode())
    assert written["system"]["positions"] == ["0 lb", "180 lb", "270 lb", "360 lb"]
    assert written["notches"][4] == {"name": "5", "load": "90 lb"}


def test_another_system_and_back_loses_nothing():
    app = fill(form(), OWNERS | BY_SYSTEM["springs"])
    app = on(app, "hydraulic")
    assert box(app, "unit_weight").value == "171.5"
    app = fill(app, BY_SYSTEM["hydraulic"])
    app = on(app, "springs")
    assert box(app, "system.positions.2").value == "180"
    app = on(app, "hydraulic")
    assert box(app, "system.most").value == "380"


def test_si_asks_in_si_and_what_was_typed_before_stays_as_it_was():
    app = fill(form(), OWNERS | BY_SYSTEM["springs"])
    app.segmented_control(key="units").set_value("si").run()
    # WORKED: 171.5 lb = 762.87 N; 30 in = 76.2 cm
    assert box(app, "unit_weight").label == "Row unit, hopper empty, N"
    assert box(app, "unit_weight").value == "762.87"
    assert box(app, "row_spacing").value == "76.2"
    assert " lb" not in shown(app)
    app = fill(app, {"attachments": "50"})
    app.segmented_control(key="units").set_value("us").run()
    assert box(app, "unit_weight").value == "171.5"
    assert box(app, "attachments").value == "11.24"
    content = saved(use(app)).content
    assert b'unit_weight = "171.5 lb"' in content
    assert b'attachments = "50 N"' in content


def test_a_limit_is_told_in_the_units_of_the_box():
    app = form()
    app.segmented_control(key="units").set_value("si").run()
    app = fill(app, {"unit_weight": "20000"})
    assert beside(app) == ["&quot;20000 N&quot; cannot be. It lies from 50 to 10,000 N."]


def test_from_a_file_its_comments_and_values_stay():
    app = form(drop(start(), machine("level"), survey("level"), boundary("level")))
    before = app.session_state["desk"].files["machine"][0].content.decode()
    assert box(app, "unit_weight").value != ""
    same = begun(before)
    assert same.text() == before
    app = fill(app, {"unit_weight": "199"})
    after = saved(use(app)).content.decode()
    lines = before.splitlines()
    moved = [pair for pair in zip(lines, after.splitlines(), strict=True) if pair[0] != pair[1]]
    assert len(moved) == 1
    assert moved[0][1].startswith('unit_weight = "199 lb"')


def test_a_file_with_faults_can_be_put_right_here():
    faulty = new_machine_text("springs").replace('"180 lb"', '"9999 lb"').replace("generic", "#")
    app = form(drop(start(), upload("mine.toml", faulty.encode())))
    assert "The file of mine has 1 fault" in shown(app)
    assert len(beside(app)) == 1
    app = fill(app, {"unit_weight": "180"})
    assert beside(app) == []


def test_from_the_start_page_to_a_plan_with_ones_own_planter():
    app = drop(start(), boundary("level"), survey("level"))
    links = [one.proto.label for one in app.get("page_link")]
    assert FILL_IN in links
    app = fill(form(app), OWNERS | BY_SYSTEM["springs"])
    app = use(app)
    assert "Level eighty" in texts(app)
    assert "Ours is kept for your next field" in texts(app)
    assert "<li>Ours</li>" in texts(app)
    assert STAMP not in texts(app)


def test_a_planter_is_kept_for_the_next_field():
    app = use(fill(form(), OWNERS | BY_SYSTEM["springs"]))
    app = turned_to("field", pressed(app, "demo-creek"))
    chooser = app.selectbox(key="machine")
    assert "Ours" in chooser.options
    app = chooser.set_value(saved(app)).run()
    assert "<li>Ours</li>" in texts(app)
    app.selectbox(key="field").set_value("bottom").run()
    assert app.selectbox(key="machine").value == saved(app)
    assert "<li>Ours</li>" in texts(app)
    app = form(app)
    assert app.selectbox(key="planter-from").options == ["Ours", EMPTY]
    assert box(app, "unit_weight").value == "171.5"


def test_a_change_of_planter_leaves_speed_and_depth_and_asks():
    app = opened("level")
    speed_mps, depth_m = made(app).conditions.speed_mps, made(app).conditions.depth_m
    app = fill(form(app), {"speed": "7.5", "depth": "1.5"})
    app = turned_to("field", use(app))
    assert (made(app).conditions.speed_mps, made(app).conditions.depth_m) == (speed_mps, depth_m)
    assert "As before the planter was changed: speed" in texts(app)
    assert "itself says 7.5 mph and 1.5 in" in texts(app)
    app = pressed(app, "day-own")
    assert made(app).conditions.speed_mps == pytest.approx(7.5 * 0.44704)
    assert "As before the planter was changed" not in texts(app)
    app = pressed(app, "undo")
    assert made(app).conditions.speed_mps == speed_mps


def test_another_planter_from_the_list_leaves_speed_and_depth_too():
    app = opened("creek")
    before = made(app).conditions
    slow = new_machine_text("springs").replace('"5 mph"', '"3.5 mph"').replace("generic =", "# ")
    app.selectbox(key="machine").set_value("a machine file").run()
    app.file_uploader(key="machine_file").set_value(upload("slow.toml", slow.encode())).run()
    assert made(app).machine.system.kind == "springs"
    assert made(app).conditions == before
    assert "itself says 3.5 mph" in texts(app)
    app = pressed(app, "day-kept")
    assert "itself says" not in texts(app)
    assert made(app).conditions == before


def test_a_depth_that_the_discs_do_not_reach_is_told_and_not_changed():
    app = opened("level", depth_m=3.5)
    app = turned_to("field", use(fill(form(app), {"disc_diameter": "6", "depth": "1.5"})))
    text = texts(app)
    assert "The plan is 3.5 in deep, and these opener discs plant to less than 3 in." in text
    assert app.number_input(key="depth_m").value == 3.5


def test_html_in_a_name_is_only_letters():
    app = use(fill(form(), OWNERS | BY_SYSTEM["springs"] | {"name": HOSTILE}))
    app.session_state["field"] = "level"
    for page in ("field", "planter", "start"):
        app = turned_to(page, app)
        assert not app.exception
        assert "<script" not in texts(app)
        assert "<img src=x" not in texts(app)


def test_every_key_of_a_machine_file_has_a_box_and_a_word_on_how_it_is_found():
    asked = {key for keys in GROUPS.values() for key in keys} | {*MORE}
    assert asked == {*KEYS} - {"system", "generic"}
    for key in asked | {key for keys in SYSTEM_KEYS.values() for key in keys}:
        parts = LISTS.get(key)
        if parts is None:
            assert BOXES[key].how
            assert reader_at((key,))
        else:
            assert ABOUT[key]
            for part in parts if isinstance(parts, dict) else [None]:
                assert BOXES[key if part is None else f"{key}.{part}"].label


def test_a_list_that_its_owner_emptied_is_asked_for():
    app = fill(form(), OWNERS)
    for row in reversed(range(5)):
        (out,) = [
            one
            for one in app.button
            if str(one.key).startswith("out-") and f"positions.{row}" in str(one.key)
        ]
        app = pressed(app, out.key)
    app = use(app)
    assert beside(app) == [TO_GIVE]
    assert app.session_state["desk"].planters == ()


def test_what_may_stay_empty_has_nothing_invented_in_its_place():
    app = form(opened("creek"))
    assert box(app, "test_weight").value != ""
    app = fill(app, {"test_weight": "", "disc_diameter": ""})
    assert box(app, "test_weight").placeholder == ""
    content = tomllib.loads(saved(use(app)).content.decode())
    assert not {"test_weight", "disc_diameter"} & {*content}


def test_a_file_with_more_than_anybody_reads_is_not_begun_from():
    notches = "\n".join(f'[[notches]]\nname = "{n}"\nload = "{n} lb"' for n in range(100))
    long = f"rows = 12.0\nfull = nan\n{notches}\n"
    app = form(drop(start(), upload("mine.toml", long.encode())))
    assert "notches: 100 are there, and the form takes 40." in shown(app)
    assert len(app.text_input) < 60


def test_nobody_who_only_looks_is_kept_and_who_types_is():
    app = form()
    assert "work" not in app.query_params
    app = fill(app, {"unit_weight": "199"})
    app.run()
    assert "work" in app.query_params


def test_a_planter_that_cannot_do_what_was_changed_by_hand_is_asked_about_on_the_field_page():
    """A notch that it does not have was set by hand: nothing is laid over it unasked."""
    app = opened("level")
    plan = made(app)
    where = plan.settings[0].zone.shape.representative_point()
    desk = app.session_state["desk"]
    spot = move(where, plan.field.crs, WGS_84)
    notch = plan.machine.notches[-1].name
    edit = Override(
        (spot.x, spot.y), "closing", Moisture.MOIST, notch, "dug", "AB", date(2027, 4, 1)
    )
    desk.edits = (edit,)
    app = app.run()
    app = form(app)
    outs = [
        one
        for one in app.button
        if str(one.key).startswith("out-") and f"notches.{len(plan.machine.notches) - 1}" in one.key
    ]
    app = pressed(app, outs[0].key)
    app = turned_to("field", use(app))
    assert "Another planter came" in texts(app)
