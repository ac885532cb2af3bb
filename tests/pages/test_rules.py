"""The page of rules: what it shows, and a rule changed, kept, put back, sent and taken home."""

import re

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from tests.pages.test_app import APP, shown, turned_to
from tests.pages.uploads import HOSTILE, upload
from zoneplan.pages.rulebook.form import boxes, numbers_of
from zoneplan.rules.read import STOCK, read_rules
from zoneplan.rules.write import as_written

RULES = read_rules()
STOCK_BYTES = [path.read_bytes() for path in STOCK]
COOP = b"""
decides = "closing"
unit = "lbf"
revised = 2026-12-01
drop = ["closing-spiked"]
[[adjust]]
id = "knolls"
title = "Knolls"
add = 5
why = "They dry first."
confidence = "judged"
source = [{ cite = "judgement" }]
"""


@pytest.fixture(autouse=True)
def _stock_rules_stay():
    yield
    assert [path.read_bytes() for path in STOCK] == STOCK_BYTES


def on_rules():
    app = AppTest.from_file(APP, default_timeout=30)
    app.session_state["field"] = "level"
    return turned_to("rules", app)


def box(app, kind, name):
    """A box of the form that is open; its key ends with its name."""
    (found,) = (it for it in getattr(app, kind) if str(it.key).endswith(f" {name}"))
    return found


def pick(app, *rule):
    return app.selectbox(key="rule").set_value(rule).run()


def fill(app, why="We dug.", name="North farm", initials="AB", **numbers):
    """Fill in the form that is open, and press the button."""
    for number, value in numbers.items():
        box(app, "number_input", number).set_value(value)
    box(app, "text_area", "why").set_value(why)
    app.text_input(key="rules-name").set_value(name)
    app.text_input(key="rules-initials").set_value(initials)
    return app.button(key="rules-keep").click().run()


def send(app, *files):
    chooser = next(it for it in app.file_uploader if str(it.key).startswith("rules-upload"))
    return chooser.set_value(list(files)).run()


def press(app, label):
    (found,) = (it for it in app.button if it.label == label)
    return found.click().run()


def rows(app, said=None):
    """Ids of the rules in the tables."""
    return re.findall(r'<th scope="row">[^<]*<small>\w+, ([^<]*)</small>', said or shown(app))


def moved(app):
    """The table of what moved, without its marks."""
    (found,) = re.findall(r'<section class="zp-rules-moved".*?</section>', shown(app)) or [""]
    return re.sub(r"<[^>]+>", "|", found)


def mine(app):
    return app.session_state["desk"].rules


def test_every_rule_stands_in_the_table_with_its_checks():
    said = shown(on_rules())
    every = RULES.every
    assert rows(None, said) == [rule.id for rule in every]
    assert "Every soil, moisture and tillage (45 in all) has exactly one base rule" in said
    assert said.count("keeps the wheels down") >= 15  # what every base aim implies
    assert f"<li>{len(every)} rules</li><li>all of them stock</li>" in said
    assert "<mark>" not in said


def test_the_table_can_be_narrowed_to_what_is_looked_for():
    app = on_rules()
    app.toggle(key="rules-acting").set_value(True).run()
    acting = rows(app)
    assert 0 < len(acting) < 50
    app.button_group(key="rules-kinds").set_value(["base"]).run()
    bases = rows(app)
    assert set(bases) < set(acting)
    app.text_input(key="rules-words").set_value("FINE clay").run()
    assert set(rows(app)) < set(bases)
    app.text_input(key="rules-words").set_value("no rule says this").run()
    assert rows(app) == []
    assert f"0 of {len(RULES.aim.rules)} rules" in shown(app)


def test_a_changed_rule_is_kept_shown_and_put_back():
    app = on_rules()
    untouched = shown(app)
    pick(app, "aim", "aim-medium-dry")
    assert box(app, "number_input", "aim").value == 120
    fill(app, aim=150.0)
    said = shown(app)
    assert "<mark>North farm aim.toml</mark>" in said
    assert "150 lb, in place of: 120 lb" in said
    assert re.search(r"judgement of AB, \d{4}-\d\d-\d\d; in North farm aim.toml", said)
    assert "1 of them not stock" in said
    told = moved(app)
    assert re.search(r"\(\+(20|25|30) lb\)", told)  # WORKED: 150 for 120, at most
    assert "→" in told
    assert "as before" in told
    # The form shows what the rule says now, and the plan is made by it.
    assert box(app, "number_input", "aim").value == 150
    app = press(app, "Put the stock rule back")
    assert mine(app) == ()
    assert re.search(r"\(−(20|25|30) lb\)", moved(app))
    app.selectbox(key="rule").set_value(None).run()
    assert re.sub(r'<section class="zp-rules-moved".*?</section>\n', "", shown(app)) == untouched


def test_the_field_is_planned_by_ones_own_rules_and_says_so():
    app = pick(on_rules(), "closing", "closing-medium-moist")
    fill(app, aim=50.0)
    said = shown(turned_to("plan", app))
    assert "closing-medium-moist (North farm closing.toml)" in said


def test_a_change_can_be_undone_and_done_again():
    app = pick(on_rules(), "aim", "aim-medium-dry")
    fill(app, aim=150.0)
    app.button(key="undo").click().run()
    assert mine(app) == ()
    assert moved(app) == ""
    assert box(app, "number_input", "aim").value == 120
    app.button(key="redo").click().run()
    assert len(mine(app)) == 1
    assert box(app, "number_input", "aim").value == 150


def test_what_moved_is_told_until_something_else_is_asked():
    app = pick(on_rules(), "aim", "aim-medium-dry")
    fill(app, aim=150.0)
    assert moved(app)
    app.selectbox(key="tillage").set_value("no-till").run()
    assert moved(app) == ""


def test_a_change_that_moves_nothing_says_so():
    app = pick(on_rules(), "closing", "closing-spiked")
    fill(app, add=-12.0)
    assert "The last change of rules moved no zone's numbers." in moved(app)


def test_all_faults_are_told_at_once_and_nothing_is_changed_or_lost():
    app = pick(on_rules(), "closing", "closing-fine-wet")
    fill(app, aim=120.0, why=" ", name="", initials="CD")
    said = shown(app)
    assert 'role="alert"' in said
    for words in (
        "has 2 faults",
        "the local copy has no name",
        "it does not say why",
        "allows at most 80 lb",
    ):
        assert words in said
    assert mine(app) == ()
    assert box(app, "number_input", "aim").value == 120
    assert app.text_input(key="rules-initials").value == "CD"
    # Another rule does not show them, and what was typed waits.
    assert 'role="alert"' not in shown(pick(app, "closing", "closing-fine-dry"))
    pick(app, "closing", "closing-fine-wet")
    assert 'role="alert"' in shown(app)
    fill(app, aim=50.0)
    assert 'role="alert"' not in shown(app)
    assert len(mine(app)) == 1


def test_what_is_typed_is_there_after_another_page():
    app = pick(on_rules(), "swing", "swing-speed")
    box(app, "number_input", "value").set_value(0.07)
    box(app, "text_area", "why").set_value("Half a sentence").run()
    app = turned_to("rules", turned_to("plan", app))
    assert box(app, "number_input", "value").value == 0.07
    assert box(app, "text_area", "why").value == "Half a sentence"


def test_every_rule_opens_in_the_form():
    app = on_rules()
    for rule_set in RULES.sets:
        for rule in {it.kind: it for it in reversed(rule_set.rules)}.values():
            pick(app, rule_set.decides, rule.id)
            assert '<p class="zp-rules-now">' in shown(app)


def test_every_number_of_every_rule_has_a_box():
    for rule_set in RULES.sets:
        for rule in rule_set.rules:
            written = as_written(rule, rule_set.unit)
            said = {it.key: it.value for it in boxes(rule, rule_set.unit, rule_set.decides)}
            again = numbers_of(said, written["when"])
            fixed = rule.acts in ("speed", "slope")  # what they grow with is in the program
            for key in ("aim", "add", "value", "least", "most", *(() if fixed else ("per",))):
                assert again.get(key) == written[key], (rule.id, key)
            assert again.get("when", written["when"]) == written["when"]


def test_from_where_a_soil_waits_is_changed():
    app = pick(on_rules(), "stop", "too-wet")
    box(app, "number_input", "smear_pct from").set_value(95.0)
    assert "let one begin where the other ends" in shown(fill(app))
    # The test goes on to where the wait is to begin; then that can begin there.
    pick(app, "stop", "test-wet")
    box(app, "number_input", "smear_pct below").set_value(95.0)
    fill(app)
    pick(app, "stop", "too-wet")
    fill(app)
    (file,) = mine(app)
    assert file.name == "North farm stop.toml"
    assert b"smear_pct = { from = 95 }" in file.content
    assert "chance to smear 95 % or more" in shown(app)
    assert "wait → " in moved(app)


def test_the_landowners_words_have_a_box_and_are_kept():
    app = pick(on_rules(), "stop", "too-wet")
    assert (
        box(app, "text_area", "plain").value
        == "the soil smears like putty when wet instead of crumbling"
    )
    fill(app, why="We dug in May.")
    (file,) = mine(app)
    assert b'plain = "the soil smears like putty' in file.content
    box(app, "text_area", "plain").set_value("it turns to dough")
    fill(app, why="We dug in May.")
    (file,) = mine(app)
    assert b'plain = "it turns to dough"' in file.content
    assert "To the landowner: it turns to dough" in shown(app)
    box(app, "text_area", "plain").set_value(" ")
    fill(app, why="We dug in May.")
    (file,) = mine(app)
    assert b"plain" not in file.content


def test_a_source_of_ones_own_backs_the_number():
    app = pick(on_rules(), "swing", "swing-residue")
    box(app, "text_input", "cite").set_value("Us (2026), strip trial")
    box(app, "text_input", "link").set_value("https://example.org/trial")
    box(app, "selectbox", "confidence").set_value("measured")
    fill(app, value=0.003, above=30.0)
    (file,) = mine(app)
    assert b'cite = "Us (2026), strip trial", link = "https://example.org/trial"' in file.content
    assert b"per = { residue_pct = 1, above = 30 }" in file.content
    said = shown(app)
    assert '<a href="https://example.org/trial"' in said
    assert "Us (2026), strip trial (backs the value)" in said


def test_files_of_ones_own_are_sent_taken_home_and_taken_away(monkeypatch):
    app = send(on_rules(), upload("coop.toml", COOP), upload("empty.toml", b""))
    said = shown(app)
    assert "empty.toml has 3 faults" in said
    assert mine(app) == ()
    app = send(app, upload("coop.toml", COOP))
    said = shown(app)
    assert "empty.toml" not in said
    assert "<strong>Knolls</strong>" in said
    assert "a file takes it away" in said  # of the rule that it drops
    assert "<mark>coop.toml</mark>" in said
    offered = {}
    monkeypatch.setattr(
        st, "download_button", lambda _label, data, name, *_, **__: offered.update({name: data})
    )
    app.run()
    assert offered == {"coop.toml": COOP}
    app = press(app, "Put the stock rule back")
    assert "closing-spiked" in rows(app)
    app = press(app, "Take the file away")
    assert mine(app) == ()
    assert "all of them stock" in shown(app)


def test_a_rule_of_ones_own_is_taken_away():
    app = send(on_rules(), upload("coop.toml", COOP.replace(b'drop = ["closing-spiked"]', b"")))
    assert "knolls" in rows(app)
    app = press(app, "Take it away")
    assert "knolls" not in rows(app)
    assert mine(app) == ()


def test_rules_files_that_hold_html_are_only_letters():
    words = HOSTILE.replace('"', "'")
    hostile = COOP.decode().replace("Knolls", words).replace("They dry first.", words)
    cited = f'cite = "{words}", link = "javascript:alert(3)", backs = "direction"'
    hostile = hostile.replace('cite = "judgement"', cited)
    app = send(on_rules(), upload(f"{HOSTILE}.toml", hostile.encode()))
    pick(app, "closing", "knolls")
    fill(app, add=6.0, name=HOSTILE[:40], initials="<b>A</b>", why=HOSTILE)
    said = shown(app)
    assert "knolls" in rows(None, said)
    assert said.count("&lt;script&gt;alert(2)&lt;/script&gt; **x** $x$") >= 3
    assert "<script" not in said
    assert "<img src=x" not in said
    assert "<b>A</b>" not in said
    assert 'href="javascript' not in said
