"""The commands of a book, as a person at a terminal has them."""

import json
import sys

import pytest
from click.testing import CliRunner

from tests.book.county import CREEK, THREE, county, square
from zoneplan.cli import main
from zoneplan.demo import demo_field


def run(*words):
    """Run `zoneplan book` with these words."""
    return CliRunner().invoke(main, ["book", *map(str, words)])


def done(*words):
    """Run it, and see that it went well; give what it printed."""
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result.stdout


def listed(book, *words):
    """What `list --json` prints."""
    return json.loads(done("list", book, *words, "--json"))["fields"]


@pytest.fixture
def book(tmp_path):
    """A book of three fields with soil and a planter."""
    path = tmp_path / "season.book"
    done("new", path, "--season", "2027")
    file = county(tmp_path / "all.geojson", *THREE)
    columns = ("--grower", "owner", "--farm", "farm", "--field", "name")
    out = done("add", "fields", path, file, *columns)
    assert "3 new, 0 moved" in out
    assert "for all growers: new." in done("add", "soil", path, CREEK.survey)
    done("add", "planter", path, CREEK.machine)
    return path


@pytest.mark.slow
def test_a_season_from_outlines_to_hand_outs(book, tmp_path):
    assert [field["state"] for field in listed(book)] == ["to plan"] * 3
    assert "Planned 3 fields; 0 up to date." in done("plan", book, "--workers", 1)
    assert "Planned 0 fields; 3 up to date." in done("plan", book)
    north, *_ = listed(book)
    assert (north["grower"], north["farm"], north["field"]) == ("Ann", "Home", "North")
    assert north["acres"] == pytest.approx(10.5, abs=0.1)
    assert isinstance(north["needs_a_look"], list)
    assert {field["state"] for field in listed(book, "--state", "planned")} == {"planned"}
    out = done("review", book, "South", "--state", "agreed", "--by", "Ann", "--note", "fine")
    assert "Ann / Home / South, revision 1: agreed, by Ann." in out
    done("set", book, "--grower", "Ann", "--tillage", "no-till", "--speed", "4.5")
    states = {field["field"]: field["state"] for field in listed(book, "--grower", "Ann")}
    assert states == {"North": "out of date", "South": "out of date"}
    out = done("plan", book, "--workers", 1)
    assert "No longer agreed, for its numbers are others: Ann / Home / South" in out
    assert "Moved: Ann / Home / North:" in out
    needy = listed(book, "--needs-a-look")
    assert needy[0]["needs_a_look"][0] == "changed since agreed"
    shown = done("show", book, "Ann / Home / South")
    assert "no-till, 4.5 mph" in shown
    assert "agreed at revision 1, with other numbers since" in shown
    out = tmp_path / "hand-outs"
    printed = done("hand-out", book, "--out", out, "--grower", "Bob")
    assert "Bob: 1 field" in printed
    assert [folder.name for folder in out.iterdir() if folder.is_dir()] == ["Bob"]
    events = done("history", book, "South")
    assert "agreed" in events
    assert "planned" in events
    done("backup", book, tmp_path / "monday.book")
    done("restore", tmp_path / "monday.book", tmp_path / "again.book")
    assert listed(tmp_path / "again.book") == listed(book)
    done("export", book, "--out", tmp_path / "files")


@pytest.mark.slow
def test_a_preview_asks_before_it_changes(book):
    done("plan", book, "--workers", 1)
    out = done("preview", book, "--tillage", "no-till", "--workers", 1)
    assert "3 fields would get other numbers" in out
    assert "Nothing was changed" in out
    report = json.loads(done("preview", book, "--tillage", "no-till", "--workers", 1, "--json"))
    assert len(report["moves"]) == 3
    out = done("preview", book, "--tillage", "no-till", "--take", "South", "--workers", 1)
    assert "1 field was planned from it" in out
    moved = [field["field"] for field in listed(book) if field["revision"] == 2]
    assert moved == ["South"]
    assert {field["state"] for field in listed(book)} == {"planned"}


def test_a_change_is_taken_for_those_alone_that_it_is_for(book):
    asked = ("preview", book, "--tillage", "no-till", "--grower", "Bob", "--workers", 1)
    result = run(*asked, "--take", "South")
    assert result.exit_code == 1
    assert "The change is not for Ann / Home / South.\nNothing was changed." in result.stderr
    result = run(*asked, "--take", "Ann / Home / Nroth")
    assert 'Did you mean "Ann / Home / North"?' in result.stderr
    assert {field["state"] for field in listed(book)} == {"to plan"}


@pytest.mark.slow
def test_a_preview_is_taken_for_the_very_field_whose_names_stand_in_another(book, tmp_path):
    file = county(tmp_path / "bare.geojson", ("Ann", "", "North", square(8)))
    columns = ("--grower", "owner", "--farm", "farm", "--field", "name")
    done("add", "fields", book, file, *columns)
    (bare,) = (field for field in listed(book) if not field["farm"])
    words = ("preview", book, "--tillage", "no-till", "--workers", 1, "--take")
    assert "1 field was planned from it" in done(*words, f"#{bare['id']}")
    states = {field["id"]: field["state"] for field in listed(book)}
    assert [number for number, state in states.items() if state == "planned"] == [bare["id"]]
    result = run(*words, "Sooth")
    assert result.exit_code == 1
    assert result.stdout == ""  # before anything is planned


@pytest.mark.slow
def test_a_preview_of_another_planter_is_of_its_use(book, tmp_path):
    done("plan", book, "--workers", 1)
    other = tmp_path / "other.toml"
    other.write_bytes(demo_field("level").machine.read_bytes())
    words = ("preview", book, "--planter", other, "--grower", "Bob", "--workers", 1)
    assert "1 field would get other numbers" in done(*words)
    done(*words, "--take", "all")
    (bobs,) = (field for field in listed(book) if field["grower"] == "Bob")
    assert "springs" in bobs["totals"]["machine"]


def test_faults_are_named_and_the_rest_is_planned(book, tmp_path):
    away = [[degrees + 5 for degrees in place] for place in square(0)]
    file = county(tmp_path / "far.geojson", ("Cy", "Dale", "Far", away))
    columns = ("--grower", "owner", "--farm", "farm", "--field", "name")
    done("add", "fields", book, file, *columns)
    result = run("plan", book, "--workers", 1)
    assert result.exit_code == 3
    assert "Not planned: 1 field.\n  Cy / Dale / Far: No soil layer" in result.stdout
    assert "Planned 3 fields" in result.stdout
    again = run("plan", book)
    assert again.exit_code == 3
    assert "Passed over with the fault they had: 1 field" in again.stdout


def test_what_cannot_be_kept_is_a_table_and_nothing_is(book, tmp_path):
    rows = (("Cy", "Dale", "Mine", square(0)), ("Cy", "Dale", "Good", square(8)))
    file = county(tmp_path / "claimed.geojson", *rows)
    columns = ("--grower", "owner", "--farm", "farm", "--field", "name")
    result = run("add", "fields", book, file, *columns)
    assert result.exit_code == 1
    assert "two growers" in result.stdout
    assert "Nothing was kept" in result.stderr
    assert len(listed(book)) == 3
    assert "only looked over" in done("add", "fields", book, file, *columns, "--check")
    done("add", "fields", book, file, *columns, "--leave-out")
    assert [field["field"] for field in listed(book, "--grower", "Cy")] == ["Good"]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("list", "none.book"), "There is no book none.book"),
        (("list", "pyproject.toml"), "is no book"),
        (("new", "none/season.book"), "cannot be made"),
        (("list", "mysql://host/book"), "no kind of book"),
    ],
)
def test_what_is_wrong_is_said_without_a_trace(words, why):
    result = run(*words)
    assert result.exit_code == 1
    assert why in result.stderr


def test_the_command_that_puts_it_right_is_told(book, tmp_path):
    file = county(tmp_path / "again.geojson", *THREE)
    result = run("add", "fields", book, file)
    assert result.exit_code == 1
    assert "owner: 2 values, such as Ann, Bob" in result.stderr
    assert "Say it with --grower owner --farm farm --field name, or with" in result.stderr
    assert (
        "The command: zoneplan book plan BOOK"
        in run("review", book, "South", "--state", "agreed").stderr
    )
    silent = county(tmp_path / "silent.geojson", ("x", square(0)), columns=("colour",))
    assert "Say it with --texture-column NAME" in run("add", "soil", book, silent).stderr


def test_a_field_nobody_has_and_a_state_nobody_says(book):
    result = run("show", book, "Nowhere")
    assert result.exit_code == 1
    assert "has no field Nowhere" in result.stderr
    assert run("review", book, "South", "--state", "planned").exit_code == 2
    assert run("set", book).exit_code == 2
    result = run("set", book, "--unset", "sped")
    assert result.exit_code == 1
    assert "sped: there is no such value." in result.stderr


def test_a_name_never_steers_the_terminal(tmp_path):
    path = tmp_path / "season.book"
    done("new", path)
    name = "Ann \x1b[2J\u202eevil"
    file = county(tmp_path / "all.geojson", (name, "", name, square(0)))
    out = done("add", "fields", path, file, "--grower", "owner", "--field", "name")
    out += done("list", path) + done("list", path, "--json") + done("history", path)
    assert "\x1b" not in out
    assert "\u202e" not in out
    assert listed(path)[0]["grower"] == name


def test_help_knows_no_database():
    code = (
        "import sys; from zoneplan.cli import main\n"
        "try: main(['book', 'plan', '--help'])\n"
        "except SystemExit: pass\n"
        "assert 'sqlalchemy' not in sys.modules and 'alembic' not in sys.modules"
    )
    import subprocess

    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_what_another_had_set_is_told_to_who_sets_it_anew(book):
    """The last one stands, and nobody's word is replaced unseen; a value of one's own is."""
    done("set", book, "--speed", "5", "--tillage", "no-till", "--by", "Ann")
    assert "was" not in done("set", book, "--speed", "5.5", "--by", "Ann")
    assert "was" not in done("set", book, "--speed", "4", "--grower", "Bob", "--by", "Cy")
    out = done("set", book, "--speed", "6", "--by", "Cy")
    assert "Speed was 5.5 mph, set by Ann at " in out
    assert "Tillage" not in out
    out = done("set", book, "--unset", "speed", "--tillage", "tilled", "--by", "Ann")
    assert "Speed was 6 mph, set by Cy at " in out
    assert "Tillage was" not in out
    assert "speed from 6 mph to not set" in done("history", book)


def test_a_hand_out_of_nothing_says_what_to_do_first(book, tmp_path):
    result = run("hand-out", book, "--out", tmp_path / "out")
    assert result.exit_code == 1
    assert "Left out, for it is to plan: Ann / Home / North" in result.stdout
    assert f"3 fields left out. Plan them first: zoneplan book plan {book}" in result.stdout
    assert not (tmp_path / "out").exists()
