"""The form for one's own weights, without a browser."""

from tests.pages.test_app import opened, shown
from tests.pages.uploads import HOSTILE
from zoneplan.units import N_PER_LBF

STAMP = "invented weights: weigh your own"
OWN = {
    "name": "Ours",
    "unit": "171.5",
    "attachments": "12",
    "hopper": "1.6",
    "notches": "10, 25, 45, 70",
    "system": "0, 90, 210",
}


def generic(system="springs"):
    app = opened("level")
    return app.selectbox(key="machine").set_value(system).run()


def box(app, key):
    return next(it for it in app.text_input if str(it.key).endswith(f" {key}"))


def fill(app, **given):
    for key, value in given.items():
        box(app, key).set_value(value)
    return app.button(key="own-weights").click().run()


def test_the_stamp_is_there_until_all_weights_are_in():
    app = generic()
    assert STAMP in shown(app)
    some = {key: value for key, value in OWN.items() if key not in ("unit", "system")}
    said = shown(fill(app, **some))
    assert (
        "Still to give: Row unit, hopper empty, lb; Downforce at each spring position, lb." in said
    )
    assert STAMP in said
    app = fill(app, **OWN)
    said = shown(app)
    assert STAMP not in said
    assert "<li>Ours</li>" in said
    (machine,) = app.session_state["desk"].files["machine"]
    assert machine.name == "Ours.toml"
    assert b'unit_weight = "171.5 lb"' in machine.content
    app.button(key="undo").click().run()
    assert STAMP in shown(app)


def test_a_planter_of_ones_own_has_no_stamp_and_its_weights_are_filled_in():
    app = opened("level")
    assert STAMP not in shown(app)
    made = app.session_state["known"][("run", app.session_state["desk"].now)]
    weight_lb = made.plan.machine.unit_weight_n / N_PER_LBF
    assert float(box(app, "unit").value) == round(weight_lb, 1)


def test_what_is_no_number_is_told_and_nothing_is_changed():
    app = generic("set-air")
    assert "is no chart" in shown(fill(app, **OWN | {"system": "0: 0, 30 psi"}))
    chart = OWN | {"system": "0: 0, 30: 24"}
    assert "is not 4 numbers" in shown(fill(app, **chart | {"notches": "10, 25"}))
    said = shown(fill(app, **chart | {"unit": "9999"}))
    assert "unit_weight" in said
    assert STAMP in said


def test_html_in_a_name_is_only_letters():
    app = fill(generic(), **OWN | {"name": HOSTILE})
    assert STAMP not in shown(app)
    assert "<script" not in shown(app)
    assert "<img src=x" not in shown(app)
